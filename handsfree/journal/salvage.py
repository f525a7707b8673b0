"""What comes after the place where a record is broken: every reader sees it, and nothing vouches for it.

Rules of this file:

- A line that is complete by its own hash, and an event of ours, is shown as that event. It may still have been moved, added
  or rewritten: it counts in no figure, finding or customer's report.
- Any other line is shown as far as it can be read, so that the break itself can be examined.
- It accepts any bytes and never raises an error.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from handsfree.journal.canonical import entry_in
from handsfree.journal.events import Stamped, from_data
from handsfree.journal.reader import journal_of, lines, stamped
from handsfree.journal.shapes import envelope

_KIND = re.compile(rb'"kind":"([A-Za-z]{1,30})"')
_LONGEST_READ = 400


@dataclass(frozen=True)
class Scrap:
    """One line after the break. `entry`: the event, None if it is not one. `whole`: its own hash is right. `text`: what can
    be read if there is no event."""

    entry: Stamped | None
    whole: bool
    text: str = ""


def after(visit: Path, at: int) -> Iterator[Scrap]:
    """The lines from byte `at` on, in order."""
    with journal_of(visit).open("rb") as stream:
        stream.seek(at)
        for _, line in lines(stream):
            yield scrap(line)


def scrap(line: bytes) -> Scrap:
    entry = entry_in(line)
    if entry is not None:
        try:
            envelope(entry)
            return Scrap(stamped(entry), True)
        except (ValueError, TypeError, KeyError, RecursionError):
            return Scrap(None, True, _legible(line))
    return _damaged(line)


def _damaged(line: bytes) -> Scrap:
    """Its hash is wrong; its JSON may still be an event."""
    try:
        raw = json.loads(line.decode())["entry"]
        event = from_data(raw["kind"], raw["event"])
        n, mono, wall = raw["n"], float(raw["mono"]), str(raw["wall"])
        if type(n) is int and 0 <= n < 2**31 and abs(mono) < 1e12 and len(wall) < 60:
            return Scrap(Stamped(n, wall, mono, event), False)
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError, OverflowError):
        pass
    return Scrap(None, False, _legible(line))


def _legible(line: bytes) -> str:
    kind = _KIND.search(line)
    what = f"{kind[1].decode()}: " if kind is not None else ""
    text = "".join(c if c.isprintable() else "\ufffd" for c in line[:_LONGEST_READ].decode(errors="replace"))
    return f"{what}{text}{'…' if len(line) > _LONGEST_READ else ''}"
