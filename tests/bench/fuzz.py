"""Fuzz the reader for as long as you like. Run: python -m tests.bench.fuzz [SECONDS]

Whole records are changed at random (bytes put, dropped, doubled, spliced from elsewhere in the record, numbers made huge),
half of the time with the changed line's own hash made right again. Nothing may come out but a verdict or Trouble; nothing
changed may be accepted. Prints counts; stops at the first input that breaks this, and leaves it behind.
"""

from __future__ import annotations

import contextlib
import random
import sys
import tempfile
import time
from pathlib import Path

from handsfree.errors import Trouble
from handsfree.journal.canonical import as_line
from handsfree.journal.reader import read
from handsfree.journal.verify import verify
from handsfree.journal.writer import Journal
from tests.journal.made import TestClock, write_visit

PIECES = [
    b"",
    b"\x00",
    b"\xff\xfe",
    b"\n",
    b'"',
    b"\\u0000",
    b"\\ud800",
    b"{",
    b"[" * 3000,
    b"9" * 400,
    b"1e999",
    b"-0",
    b"NaN",
    b"null",
]


def changed(lines: list[bytes], chance: random.Random) -> bytes:
    """Some line changed; its own hash made right half of the time, but never its successor's `prev`."""
    lines = list(lines)
    n = chance.randrange(len(lines) - 1)
    entry = bytearray(lines[n][9:-78])
    for _ in range(chance.choice([1, 1, 1, 2, 5])):
        at, length = chance.randrange(len(entry) + 1), chance.choice([0, 0, 1, 1, 2, 8, 40])
        other = chance.choice(lines)
        start = chance.randrange(len(other))
        new = chance.choice([chance.choice(PIECES), chance.randbytes(chance.randrange(4)), other[start : start + length]])
        entry[at : at + length] = new
    lines[n] = as_line(bytes(entry))[0] if entry and chance.random() < 0.5 else lines[n][:9] + bytes(entry) + lines[n][-78:]
    if chance.random() < 0.1:
        chance.shuffle(lines)
    return b"".join(lines)


def main(seconds: float) -> int:
    chance, tried, same = random.Random(7), 0, 0
    with tempfile.TemporaryDirectory(
        prefix="handsfree-fuzz-", dir="/dev/shm" if Path("/dev/shm").is_dir() else None
    ) as name:
        whole = (write_visit(Path(name) / "whole", sound=False) / "journal.jsonl").read_bytes()
        lines, folder = whole.splitlines(keepends=True), Path(name) / "fuzzed"
        folder.mkdir()
        slowest, until = 0.0, time.monotonic() + seconds
        while time.monotonic() < until:
            data = changed(lines, chance)
            if data == whole:
                same += 1
                continue
            (folder / "journal.jsonl").write_bytes(data)
            began = time.monotonic()
            accepted = verify(folder).holds
            with contextlib.suppress(Trouble):
                list(read(folder))
            with contextlib.suppress(Trouble):
                Journal.resume(folder, clock=TestClock(at=9000.0)).close()
            slowest = max(slowest, time.monotonic() - began)
            tried += 1
            if accepted:
                Path("accepted.jsonl").write_bytes(data)
                print(f"input {tried} was accepted; it is in accepted.jsonl")
                return 1
    print(f"{tried} inputs, none accepted, no crash; the slowest took {slowest * 1000:.1f} ms")
    return 0


if __name__ == "__main__":
    sys.exit(main(float(sys.argv[1]) if len(sys.argv) > 1 else 60.0))
