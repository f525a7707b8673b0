"""How fast a journal of a million events is written, verified, read and replayed.

Run: python -m tests.bench.journal [EVENTS]. Events are a mixture like a visit's; the sizes of lines are printed. Writing is
timed twice: as a visit writes (an fsync an append), on fewer events, and in one go, as the file for the rest is made.
"""

from __future__ import annotations

import hashlib
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from handsfree.journal.canonical import line_of
from handsfree.journal.events import (
    Gate,
    ListenFor,
    Opened,
    PromptEnded,
    ReadingTaken,
    Say,
    Sealed,
    SetTimer,
    Stamped,
    StepEntered,
    Tone,
    Utterance,
)
from handsfree.journal.reader import read
from handsfree.journal.verify import verify
from handsfree.journal.writer import Journal

OPENED = Opened("bench", "bench", "en", "A", "B", "C", "0.1", "typed")


def mixture() -> Iterator[object]:
    """Events like those of a visit, for ever; numbers as the parts give them, some with all their 17 digits."""
    n = 0
    while True:
        n += 1
        path, step = ("warm-cabinet", "fan-circuit"), f"step-{n % 37}"
        yield Utterance(
            "accepted",
            "number",
            "",
            40 + n % 9 / 2,
            "degF",
            f"forty point {n % 10}",
            0.97,
            "forty point five",
            (),
            (("phone", -1.25), ("free", 0.75)),
            "pocketsphinx",
            float(n),
            n + 1.52,
        )
        yield Tone("heard")
        yield ReadingTaken(
            path, step, "air temperature", 40.5, "degF", (n % 97) / 3, "degF", "", (-20, 120), (33, 41), "1 degF"
        )
        yield StepEntered(path, step, "read", "LIVE")
        yield Say(n, f"Read the air temperature at the top shelf. Say the number, {n}.", "step", True, step)
        yield ListenFor(("yes", "no"), "degF", -20, 120, "", (), None, None)
        yield SetTimer("silence", 30)
        yield PromptEnded(n)
        if n % 20 == 0:
            yield Gate("ISOLATING", "ISOLATED", "proof", "the switch was tried", step)


def make(folder: Path, events: int) -> float:
    """A sealed journal of so many events, written in one go. Seconds it took."""
    (folder / "sound").mkdir(parents=True)
    began, prev, n, source = time.perf_counter(), "", 0, mixture()
    with (folder / "journal.jsonl").open("wb") as out:
        while n < events:
            event = OPENED if n == 0 else Sealed(n, prev) if n == events - 1 else next(source)
            at = n / 10
            wall = time.strftime("%Y-%m-%dT%H:%M:%S", time.gmtime(1_790_000_000 + at)) + f".{n % 10}00+00:00"
            line, prev = line_of(Stamped(n, wall, at, event, prev))
            out.write(line)
            n += 1
    return time.perf_counter() - began


def as_a_visit_writes(folder: Path, events: int) -> float:
    source, began = mixture(), time.perf_counter()
    with Journal.create(folder) as journal:
        journal.append(OPENED)
        for _ in range(events - 1):
            journal.append(next(source))
    return time.perf_counter() - began


def _timed(what: str, size: int, events: int, work: object) -> float:
    began = time.perf_counter()
    work()  # type: ignore[operator]  # a function
    took = time.perf_counter() - began
    print(f"{what:<22} {took:8.2f} s   {size / took / 1e6:8.1f} MB/s   {took / events * 1e6:6.2f} µs an event")
    return took


def main(events: int) -> None:
    with tempfile.TemporaryDirectory(prefix="handsfree-bench-") as name:
        folder = Path(name)
        some = min(events, 5000)
        took = as_a_visit_writes(folder / "live", some)
        print(f"append, fsync each     {took:8.2f} s   {took / some * 1e3:.3f} ms an event, {some} events")
        took = make(folder / "big", events)
        path = folder / "big" / "journal.jsonl"
        size = path.stat().st_size
        print(f"made                {took:11.2f} s   {size / 1e6:.1f} MB, {size / events:.0f} B an event, {events} events")
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        plain = _timed(
            "sha256sum", size, events, lambda: subprocess.run(["sha256sum", path], check=True, capture_output=True)
        )
        _timed("hashlib", size, events, lambda: hashlib.file_digest(path.open("rb"), "sha256"))
        ours = _timed("verify", size, events, lambda: check(folder / "big"))
        print(f"verify is at {plain / ours:.3f} of the speed of sha256sum (wanted: at least 0.1)")
        grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
        print(f"memory grown by verifying: {grown} kB")
        _timed("read as events", size, events, lambda: sum(1 for _ in read(folder / "big")))
        replayed(folder, events)
    print(f"on {os.cpu_count()} cores")


def replayed(folder: Path, events: int) -> None:
    """A real visit (two hundred and some events) followed by the real machine again and again, and told in rows."""
    from handsfree.journal.follow import departure
    from handsfree.journal.rows import rows
    from tests.journal.visited import MACHINE, visit

    done = visit(folder / "visits")
    entries = list(read(done))
    times = max(1, events // len(entries))
    size = (done / "journal.jsonl").stat().st_size * times

    def follow_all() -> None:
        for _ in range(times):
            assert departure(entries, MACHINE) is None

    _timed("follow (advance)", size, times * len(entries), follow_all)
    _timed("rows", size, times * len(entries), lambda: [sum(1 for _ in rows(entries)) for _ in range(times)])


def check(folder: Path) -> None:
    report = verify(folder)
    assert report.holds, report


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
