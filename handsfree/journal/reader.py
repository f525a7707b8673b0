"""Reading a journal, one line at a time, in constant memory.

Rules of this file:

- `walk` judges every line and its place in the chain. It stops at the first bad one, and says where and why.
- Half-written bytes of one append at the end (a *torn tail*) do not belong to the record: they were never acknowledged. They
  can only be the last bytes, and complete lines in them all carry the same time, because one append stamps once.
- Nothing read here is trusted to name a file: see `shapes.CLIP` and `shapes.ATTACHED`.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from handsfree.errors import Trouble
from handsfree.journal.canonical import LONGEST, entry_in
from handsfree.journal.events import Stamped, from_data
from handsfree.journal.shapes import Envelope, envelope

JOURNAL = "journal.jsonl"
SOUND = "sound"
ATTACHED = "attached"


class Broken(Exception):
    """The chain is broken here. `n`: the event, `at`: the byte where its line begins."""

    def __init__(self, n: int, at: int, why: str) -> None:
        super().__init__(f"event {n} (byte {at}): {why}")
        self.n = n
        self.at = at
        self.why = why


def visits_in(place: Path) -> list[Path]:
    """The folder of a visit, or those in a folder of visits. Trouble if there is none."""
    if (place / JOURNAL).is_file():
        return [place]
    if not place.is_dir():
        raise Trouble(f"There is no folder {place}; name a visit's folder, or the folder that visits are kept in.")
    found = [path for path in sorted(place.iterdir()) if (path / JOURNAL).is_file() and not path.name.startswith(".")]
    if not found:
        raise Trouble(f"There is no visit in {place}; name a visit's folder, or the folder that visits are kept in.")
    return found


def journal_of(visit: Path) -> Path:
    """The journal of a visit's folder (or the journal itself). Trouble if there is none."""
    path = visit if visit.is_file() else visit / JOURNAL
    if not path.is_file():
        raise Trouble(f"{visit} holds no visit: there is no {JOURNAL} in it. Give the folder of a visit.")
    return path


def lines(stream: BinaryIO) -> Iterator[tuple[int, bytes]]:
    """(byte where it begins, line with its newline) of each; the last may lack its newline. A line of more than LONGEST
    bytes comes in pieces, all of which are bad."""
    at = 0
    while line := stream.readline(LONGEST):
        yield at, line
        at += len(line)


def walk(stream: BinaryIO) -> Iterator[tuple[int, bytes, Envelope, str]]:
    """(byte, entry, envelope, hash) of each event in order. Broken at the first bad one: its form, its hash, its number,
    the hash of the one before, or a count that falls."""
    n, prev, mono = 0, "", 0.0
    for at, line in lines(stream):
        entry = entry_in(line)
        if entry is None:
            raise Broken(n, at, "the line is torn or was changed: its bytes do not match its own hash")
        try:
            found = envelope(entry)
        except ValueError as error:
            raise Broken(n, at, str(error)) from None
        if found.n != n:
            raise Broken(n, at, f"event {found.n} is here: events were removed, moved or added")
        if found.prev != prev:
            raise Broken(n, at, "it does not follow from the event before it: one of the two was changed or moved")
        if found.mono < mono:
            raise Broken(n, at, f"the count falls from {mono} s to {found.mono} s")
        n, prev, mono = n + 1, line[-67:-3].decode(), found.mono
        yield at, entry, found, prev


def stamped(entry: bytes) -> Stamped:
    """An entry as the event it records; the entry must have been judged."""
    data = json.loads(entry)
    event = from_data(data["kind"], data["event"])
    return Stamped(data["n"], data["wall"], float(data["mono"]), event, data["prev"], data.get("signature", ""))


@dataclass(frozen=True)
class Tail:
    """Bytes at the end that no append acknowledged: where they begin, how many, what is wrong with them."""

    at: int
    size: int
    why: str


def read(visit: Path) -> Iterator[Stamped]:
    """Every event in order, without a torn tail. Trouble (status 3) if the record is broken."""
    path = journal_of(visit)
    try:
        with path.open("rb") as stream:
            for _, entry, _, _ in walk(stream):
                yield stamped(entry)
    except Broken as broken:
        if torn_tail(path, broken) is None:
            raise Trouble(f"The record of {visit} is broken at {broken}. Run 'handsfree verify {visit}'.", 3) from None
    except OSError as error:
        raise Trouble(f"{path} cannot be read: {error.strerror}. Check the disk and who may read it.") from None


def torn_tail(path: Path, broken: Broken) -> Tail | None:
    """The torn tail that begins at `broken`; None if it is not one but a record that was changed."""
    times: set[Any] = set()
    with path.open("rb") as stream:
        stream.seek(broken.at)
        first = True
        for _, line in lines(stream):
            entry = entry_in(line)
            if entry is not None:
                try:
                    found = envelope(entry)
                except ValueError:
                    return None  # complete by its own hash, yet not an event of ours: somebody wrote it
                if first:
                    return None  # complete, but not what should be here
                times.add((found.mono, found.wall))
                if len(times) > 1 or found.n <= broken.n:
                    return None
            first = False
        size = stream.tell() - broken.at
    return Tail(broken.at, size, broken.why)
