"""What the procedures of a visit declare, read from the copies that its record has of them.

Nothing here knows the model of a procedure: a record may have copies of one that only an earlier program could read. What
cannot be read declares nothing. Every value is read as text, because others write a record: as a number, '1:01:01:…' of a
megabyte took 46 s.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache

import yaml

#: Letters of all copies that are read of a visit, and of a part's name; no honest one comes near.
LONGEST_COPIES, LONGEST_PART = 1_000_000, 80


def parts_declared(copies: Iterable[tuple[str, str]]) -> dict[str, dict[str, str]]:
    """`copies`: (procedure, its text). By procedure, the steps that put in a new part, and its name."""
    found, left = {}, LONGEST_COPIES
    for name, text in copies:
        if "part:" in text and (left := left - len(text)) >= 0:
            found[name] = parts_in(text)
    return found


@lru_cache(maxsize=64)
def parts_in(text: str) -> dict[str, str]:
    """The steps of a procedure's text that put in a new part, and its name."""
    try:
        found = yaml.load(text, getattr(yaml, "CBaseLoader", yaml.BaseLoader))  # of texts, lists and mappings alone
        steps = found["steps"]
        return {
            step["id"]: step["part"][:LONGEST_PART]
            for step in steps
            if isinstance(step, dict) and isinstance(step.get("id"), str) and isinstance(step.get("part"), str)
        }
    except (yaml.YAMLError, KeyError, TypeError, ValueError, RecursionError):
        return {}
