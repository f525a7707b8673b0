"""What stands after the place where a record breaks: shown to every reader, vouched for by nothing.

Rules of this file:

- A line that is whole by its own hash and an event of ours is given as that event. It may still have been moved, added or
  written anew: nothing of it counts in a figure, a finding or a customer's report.
- A line that is not is given as what can still be read in it, so that the break itself can be looked at.
- Bytes of any kind go in; nothing comes out as an error.
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
    """One line after the break. `entry`: the event, None where it is none. `whole`: its own hash holds. `text`: what can be
    read where there is no event."""

    entry: Stamped | None
    whole: bool
    text: str = ""


def after(visit: Path, at: int) -> Iterator[Scrap]:
    """The lines from byte `at` on, in the order they stand."""
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
