"""A visit killed (SIGKILL) at every kind of question, in every state of its isolation: the real program, taken up again.

    python -m tests.bench.killed [--only KIND] [--after N] [--json]

The lines of the walks of `tests/visit/test_sayings.py` are typed into `handsfree visit`. After each line that leads to a
kind of question, or a state of the isolation, that was not tried yet, the process is killed and `handsfree visit --resume`
is run. Right is: the resume turns every source LIVE, says so aloud where one was not, and none is claimed or proved after
it; each lock that was on is still on record, its owner named aloud; no word is said of a step that needs a source ISOLATED;
the record verifies.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from handsfree.errors import Trouble
from handsfree.isolation.people import left_on
from handsfree.isolation.rules import Power
from handsfree.journal import reader
from handsfree.journal.events import Gate, Happening, Resumed, Say, Utterance
from handsfree.visit.sessions import state_of
from handsfree.visit.state import State
from tests.isolation.test_finds import OPENS
from tests.visit import data
from tests.visit.test_sayings import WALKS

PROGRAM = (sys.executable, "-m", "handsfree", "visit")
#: In place of the walk with a meter: with one point, as it has there, it may not start.
METER = (
    data.METER.replace(" points: [the terminals],", ""),
    ("four two", "affirm", OPENS, "affirm", *("zero", "affirm") * 3, "affirm"),
)
EVERY = tuple(METER if walk[0] is data.METER else walk for walk in WALKS)
LONGEST = 60.0  # s for a line to be taken
CLEARED = "Isolation is cleared: the visit was interrupted. Hands out."


@dataclass(frozen=True)
class Place:
    """Where a walk stands after so many of its lines."""

    walk: int
    lines: int
    kind: str
    power: str


class Typed:
    """The program, with lines typed into it."""

    def __init__(self, *words: str, cwd: Path) -> None:
        self.process = subprocess.Popen(
            [*PROGRAM, *words, "--typed", "--visits", "visits"], stdin=subprocess.PIPE, stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL, text=True, cwd=cwd,
        )  # fmt: skip

    def type(self, line: str) -> None:
        assert self.process.stdin
        self.process.stdin.write(f"{line}\n")
        self.process.stdin.flush()

    def kill(self) -> None:
        self.process.kill()
        self.process.wait(10)


def state_in(folder: Path) -> State | None:
    """None before anything is on record, and while a line of it is being written."""
    try:
        return state_of(reader.read(folder), folder)[0]
    except Trouble:
        return None


def heard(folder: Path) -> int:
    return sum(isinstance(entry.event, Utterance | Resumed) for entry in reader.read(folder))


def waited(folder: Path, count: int) -> None:
    """Until so many lines are on record, with all that they led to. AssertionError where they are not in time."""
    until = time.monotonic() + LONGEST
    size = -1
    while time.monotonic() < until:
        time.sleep(0.05)
        journal = folder / reader.JOURNAL
        if journal.is_file() and heard(folder) >= count and journal.stat().st_size == size:
            return
        size = journal.stat().st_size if journal.is_file() else -1
    raise AssertionError(f"{folder}: {count} lines were not taken within {LONGEST:.0f} s")


def walked(place: Path, text: str, lines: Sequence[str | Happening]) -> tuple[Typed, Path]:
    """The program after these lines, still running, and the folder of its visit."""
    (place / "walk.yaml").write_text(text, encoding="utf-8")
    program, folder = Typed("walk.yaml", cwd=place), place
    for count, line in enumerate(lines, 1):
        if isinstance(line, Resumed):
            program.kill()
            by = ("--technician", line.technician) if line.technician else ()
            program = Typed("--resume", str(folder), *by, cwd=place)
        else:
            assert isinstance(line, str)
            program.type(line)
        folder = next(iter(found for _ in wait() if (found := newest(place))))
        waited(folder, count)
    return program, folder


def wait() -> Iterator[None]:
    until = time.monotonic() + LONGEST
    while time.monotonic() < until:
        yield
        time.sleep(0.05)


def newest(place: Path) -> Path | None:
    return next((journal.parent for journal in place.glob("visits/*/journal.jsonl")), None)


def places() -> list[Place]:
    """The first line after which each kind of question is asked in each state of the isolation, by the machine alone."""
    from tests.visit.scenes import Scene, book
    from tests.visit.test_sayings import Unwatched, kind_of

    found: dict[tuple[str, str], Place] = {}
    for walk, (text, lines) in enumerate(EVERY):
        scene = Scene(book(text))
        scene.oracle, scene.ran = Unwatched(), None  # type: ignore[assignment]  # stand-ins
        scene.open(lock="")
        for count, line in enumerate(lines, 1):
            if isinstance(line, Utterance):
                break  # no keyboard says what was likely heard
            if isinstance(line, str):
                scene.one(line)
            else:
                scene.tell(line)
            if scene.state.frames:
                kind = (str(kind_of(scene)), scene.power)
                found.setdefault(kind, Place(walk, count, *kind))
    return list(found.values())


def wrong_after(before: State, folder: Path) -> list[str]:
    """What was not as it must be once it was taken up; [] where all was."""
    entries = list(reader.read(folder))
    at = max(n for n, entry in enumerate(entries) if isinstance(entry.event, Resumed))
    following = next((n for n, entry in enumerate(entries) if n > at and isinstance(entry.event, Utterance)), len(entries))
    said = " ".join(entry.event.text for entry in entries[at:following] if isinstance(entry.event, Say))
    after = state_of(iter(entries[: at + 1]), folder)[0]
    turned = {entry.event.source for entry in entries[at:following]
              if isinstance(entry.event, Gate) and (entry.event.how, entry.event.now) == ("resume", Power.LIVE)}  # fmt: skip
    several = len(before.interlock.sources) > 1
    begun = {name for name, hold in before.interlock.holds.items() if hold.power is not Power.LIVE}
    wrong = [f"{name} was not turned LIVE" for name in begun if (name if several else "") not in turned]
    wrong += [f"{name} still counts" for name, hold in after.interlock.holds.items() if hold.held or hold.proofs]
    if before.interlock.power is not Power.LIVE and CLEARED not in said:
        wrong.append("it is not said that the isolation is cleared")
    if after.interlock.locks != before.interlock.locks:
        wrong.append("the locks changed")
    for owner, source in left_on(before.interlock.locks):
        if f"The lock of {owner} is still on: {source}." not in said and f"the lock of {owner} is still on" not in said:
            wrong.append(f"the lock of {owner} on {source} is not named")
    hazards = [step.say for book in before.book.procedures.values() for step in book.steps if before.book.energy.needs(step)]
    wrong += [f"said while LIVE: {words}" for words in hazards if words in said]
    return wrong


def tried(here: Place) -> list[str]:
    text, lines = EVERY[here.walk]
    with tempfile.TemporaryDirectory() as made:
        place = Path(made)
        program, folder = walked(place, text, lines[: here.lines])
        program.kill()
        before = state_in(folder)
        assert before is not None
        again = subprocess.run(
            [*PROGRAM, "--resume", str(folder), "--typed"], input="", capture_output=True, text=True, cwd=place, check=False
        )
        if again.returncode or "Traceback" in again.stderr:
            return [f"the resume ended with {again.returncode}: {again.stderr.strip()[-200:]}"]
        found = wrong_after(before, folder)
        verify = [sys.executable, "-m", "handsfree", "verify", str(folder)]
        verified = subprocess.run(verify, capture_output=True, text=True, cwd=place, check=False)
        return found if verified.returncode == 0 else [*found, f"verify: {verified.stdout.strip()[-200:]}"]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", default="", help="a kind of question, as 'gate phrase'")
    parser.add_argument("--after", type=int, default=0, help="leave out so many of the places")
    parser.add_argument("--json", action="store_true", help="the last line is one object")
    asked = parser.parse_args()
    rows = []
    for here in places()[asked.after :]:
        if asked.only and here.kind != asked.only:
            continue
        wrong = tried(here)
        rows.append({"asked": here.kind, "isolation": here.power, "wrong": wrong})
        print(f"{here.power:<10} {here.kind:<28} {'; '.join(wrong) or 'LIVE, named'}", flush=True)
    bad = sum(bool(row["wrong"]) for row in rows)
    print(f"{len(rows)} places, {bad} not as they must be")
    if asked.json:
        print(json.dumps({"places": rows, "wrong": bad}))
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
