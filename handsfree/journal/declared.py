"""What the procedures of a visit declare, read from the copies that its record has of them.

Nothing here knows the model of a procedure: a record may have copies of one that only an earlier program could read. What
cannot be read declares nothing. Every value is read as text, because others write a record: as a number, '1:01:01:…' of a
megabyte took 46 s.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import islice
from typing import Any

import yaml

#: Letters of all copies that are read of a visit, and of a part's name; no honest one comes near.
LONGEST_COPIES, LONGEST_PART = 1_000_000, 80
#: Steps of a procedure, and entries of one list in it, that are read: an alias makes a long list of a few letters.
MOST_STEPS, MOST_ENTRIES = 1000, 20


@dataclass(frozen=True)
class DeclaredReading:
    """`fact`: what it tells, '' for nothing; `instrument`: by what, '' for none; `series`: those that it belongs to."""

    quantity: str
    fact: str
    instrument: str
    series: tuple[str, ...]


@dataclass(frozen=True)
class DeclaredSteps:
    """Of one procedure, by step: `parts`, the new part that it puts in; `makes`, the facts that it makes, (name, value);
    `works`, the questions of which an answer says that work made something so."""

    parts: dict[str, str]
    makes: dict[str, tuple[tuple[str, str], ...]]
    works: frozenset[str]
    reads: tuple[DeclaredReading, ...]


def declared_in(copies: Iterable[tuple[str, str]]) -> dict[str, DeclaredSteps]:
    """`copies`: (procedure, its text). By procedure, what it declares."""
    found, left = {}, LONGEST_COPIES
    for name, text in copies:
        if any(word in text for word in _TELLING) and (left := left - len(text)) >= 0:
            found[name] = declared_by(text)
    return found


def declared_at(told: Mapping[str, DeclaredSteps], path: Sequence[str]) -> DeclaredSteps | None:
    """What is declared by the procedure in which a step lies. `told`: of `declared_in`."""
    return told.get(path[-1]) if path else None


#: A text without any of them declares nothing that is read here.
_TELLING = ("part:", "makes:", "quantity:")


@lru_cache(maxsize=64)
def declared_by(text: str) -> DeclaredSteps:
    """What one procedure's text declares; nothing if it is no procedure."""
    steps = _steps(text)
    return DeclaredSteps(
        {step["id"]: step["part"][:LONGEST_PART] for step in steps if isinstance(step.get("part"), str)},
        {step["id"]: made for step in steps if (made := _pairs(step.get("makes")))},
        frozenset(step["id"] for step in steps if any(_pairs(each.get("makes")) for each in _mappings(step.get("answers")))),
        tuple(
            DeclaredReading(quantity, _text(step.get("fact")), _text(step.get("instrument")), _texts(step.get("series")))
            for step in steps
            if (quantity := _text(step.get("quantity")))
        ),
    )


def _steps(text: str) -> list[dict[str, Any]]:
    try:
        found = yaml.load(text, getattr(yaml, "CBaseLoader", yaml.BaseLoader))  # of texts, lists and mappings alone
        return [step for step in found["steps"] if isinstance(step, dict) and isinstance(step.get("id"), str)][:MOST_STEPS]
    except (yaml.YAMLError, KeyError, TypeError, ValueError, RecursionError):
        return []


def _text(value: Any) -> str:
    return value if isinstance(value, str) else ""


def _texts(value: Any) -> tuple[str, ...]:
    some = value[:MOST_ENTRIES] if isinstance(value, list) else [value]
    return tuple(each for each in some if isinstance(each, str) and each)


def _mappings(value: Any) -> list[dict[str, Any]]:
    some = islice(value.values(), MOST_ENTRIES) if isinstance(value, dict) else ()
    return [each for each in some if isinstance(each, dict)]


def _pairs(value: Any) -> tuple[tuple[str, str], ...]:
    if not isinstance(value, dict):
        return ()
    some = islice(value.items(), MOST_ENTRIES)
    return tuple((name, text) for name, text in some if isinstance(name, str) and isinstance(text, str))
