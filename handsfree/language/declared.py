"""Units that a trade adds in files of its own, `procedures/units/NAME.yaml`, with how they are written and said:

    newton: {symbols: [N], en: [newtons, newton], es: [newtons, newton]}

The name is pint's. In each language, the first way is the plural, the second the singular."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from handsfree.errors import Trouble
from handsfree.language.registry import registry
from handsfree.resources import shipped_folder

FOLDER = "units"
_NAME = re.compile(r"^[A-Za-z]\w{0,39}$", re.ASCII)
_WAY = re.compile(r"^[^\W\d_]+( [^\W\d_]+){0,4}$")


@dataclass(frozen=True)
class DeclaredUnit:
    """`ways`: by language, the plural first."""

    symbols: tuple[str, ...]
    ways: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


@cache
def declared() -> Mapping[str, DeclaredUnit]:
    """By pint's name. Trouble for a file that cannot be read or says something else."""
    return dict(_units())


def _units() -> Iterator[tuple[str, DeclaredUnit]]:
    places = dict.fromkeys(place.resolve() for place in (shipped_folder("procedures") / FOLDER, Path("procedures") / FOLDER))
    for path in (path for place in places if place.is_dir() for path in sorted(place.glob("*.yaml"))):
        import yaml

        from handsfree import plain_yaml

        try:
            data = plain_yaml.load(path.read_text("utf-8")) or {}
        except (OSError, UnicodeDecodeError, yaml.YAMLError) as error:
            raise Trouble(f"The file of units {path.name} cannot be read: {' '.join(str(error).split())[:200]}") from None
        if not isinstance(data, dict):
            raise Trouble(f"{path.name} must hold units, as 'newton: {{symbols: [N], en: [newtons, newton]}}'.")
        for name, fields in data.items():
            yield str(name), _unit(path.name, str(name), fields)


def _unit(file: str, name: str, fields: Any) -> DeclaredUnit:
    fit = isinstance(fields, dict) and all(
        isinstance(value, list) and value and all(isinstance(one, str) for one in value) for value in fields.values()
    )
    if not fit or not fields.get("symbols"):
        raise Trouble(f"{file}: '{name}' needs its signs and its words, as '{{symbols: [N], en: [newtons, newton]}}'.")
    if not _NAME.match(name) or name not in registry():
        raise Trouble(f"{file}: pint knows no unit '{name}'; write its English name, such as 'newton'.")
    ways = {code: tuple(words) for code, words in fields.items() if code != "symbols"}
    for way in (way for words in ways.values() for way in words):
        if not _WAY.match(way):
            raise Trouble(f"{file}: '{name}' is said '{way}'; write up to five words, as they are spoken.")
    return DeclaredUnit(tuple(fields["symbols"]), ways)


def with_units(text: str, code: str) -> str:
    """The text of a grammar with the declared units among its own."""
    own = [f"({' | '.join(one.ways[code])}) {{{name}}}" for name, one in declared().items() if code in one.ways]
    return re.sub(r"(<unit>\s*=)", lambda found: f"{found[1]} {' | '.join(own)} |", text, count=1) if own else text
