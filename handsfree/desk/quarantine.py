"""Visits that arrived and cannot be vouched for: kept complete, shown first, counted nowhere.

Rules of this file:

- A folder each under `.desk/quarantine`, named after the visit, a tilde and the beginning of its upload's name. No visit's
  own name has a tilde, so none is ever mistaken for the other, nor takes its place.
- Beside the record is a sentence that says why it is here, and who sent it.
- A limited number per sender: visits that fail to verify are cheap to make.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from itertools import zip_longest
from pathlib import Path

from handsfree.journal.reader import JOURNAL
from handsfree.outputs import replace_file

FOLDER, WHY, MARK = "quarantine", "quarantined.json", "~"
#: Of one sender at once.
MOST = 100


@dataclass(frozen=True)
class Why:
    """`rule`: the finding it is shown with, '' for the record's own. `n`: the event from which it differs from the stored
    one, None if it does not."""

    sentence: str
    rule: str = ""
    sender: str = ""
    n: int | None = None


def place(visits: Path) -> Path:
    return visits / ".desk" / FOLDER


def folder_of(visits: Path, name: str) -> Path:
    """Where a visit lies, by its name in the desk's tables."""
    return aside if MARK in name and (aside := place(visits) / name).is_dir() else visits / name


def quarantined_names(visits: Path) -> Iterator[str]:
    found = place(visits)
    if found.is_dir():
        yield from sorted(entry.name for entry in os.scandir(found) if entry.is_dir() and MARK in entry.name)


def full(visits: Path, sender: str) -> bool:
    return sum(why_of(place(visits) / name).sender == sender for name in quarantined_names(visits)) >= MOST


def keep(visits: Path, staged: Path, upload: str, why: Why) -> str:
    """Move a visit's folder here; the name it has now. What is here already stays as it is."""
    name = f"{staged.name}{MARK}{upload[:8]}"
    to = place(visits) / name
    if not to.exists():
        place(visits).mkdir(parents=True, exist_ok=True)
        replace_file(staged / WHY, json.dumps(asdict(why)).encode(), 0o600)
        os.rename(staged, to)
    return name


def why_of(folder: Path) -> Why:
    """All '' if it is not in quarantine, or if the reason cannot be read."""
    try:
        raw = json.loads((folder / WHY).read_bytes())
        n = raw.get("n")
        return Why(str(raw["sentence"])[:1000], str(raw.get("rule", ""))[:60], str(raw.get("sender", ""))[:100],
                   n if type(n) is int else None)
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return Why("")


def parting(one: Path, other: Path) -> int:
    """The number of the first line in which two journals differ."""
    with (one / JOURNAL).open("rb") as a, (other / JOURNAL).open("rb") as b:
        pairs = zip_longest(a, b)
        return next((n for n, (left, right) in enumerate(pairs) if left != right), 0)


def drop(visits: Path, name: str) -> None:
    if MARK in name:
        shutil.rmtree(place(visits) / name, ignore_errors=True)
