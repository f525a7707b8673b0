"""Finds the newest visit that did not reach its end."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

from handsfree.errors import Trouble
from handsfree.journal import reader
from handsfree.journal.events import Closed, Resumed
from handsfree.standby.core import Unfinished

_BY_A_PERSON = ("stopped", "to be continued")
_LOOKED_AT = 20  # the newest visits: an older one that nobody took up is for the desk


def newest(visits: Path, now: Callable[[], float] = time.time) -> Unfinished | None:
    """The newest visit that can be read, if it did not end; else None. A folder without a readable record is passed over: it
    must not keep the program from standing by."""
    if not visits.is_dir():
        return None
    found = (journal for folder in visits.iterdir() if (journal := folder / reader.JOURNAL).is_file())
    for journal in sorted(found, key=lambda path: path.stat().st_mtime, reverse=True)[:_LOOKED_AT]:
        ended = _outcome(journal)
        if ended is None:
            continue
        age = max(0.0, now() - journal.stat().st_mtime)
        return Unfinished(journal.parent, age, broken=not ended) if ended in ("", *_BY_A_PERSON) else None
    return None


def _outcome(journal: Path) -> str | None:
    """How it ended, '' where it did not; None where it cannot be read."""
    outcome: str | None = None
    try:
        for entry in reader.read(journal.parent):
            outcome = outcome or ""
            match entry.event:
                case Closed(outcome):
                    pass
                case Resumed():
                    outcome = ""
    except (Trouble, OSError):
        return None
    return outcome
