"""A whole visit through the real machine, crashed after every event and taken up again."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path

from handsfree.journal.events import Say
from handsfree.journal.follow import follow
from handsfree.journal.reader import read_list
from handsfree.journal.verify import verify
from handsfree.visit.interlock import Power
from handsfree.visit.state import Awaiting, State
from tests.journal.visited import MACHINE, resume, visit


def test_a_visit_crashed_after_each_event_carries_on_at_its_step_told_aloud_with_the_gate_shut(
    fast: Path, counted: Callable[[str, int, int], None]
) -> None:
    """The journal ends after event n, for every n, and the machine takes it up."""
    done = visit(fast / "visits")
    lines = (done / "journal.jsonl").read_bytes().splitlines(keepends=True)
    steps = list(follow(read_list(done), MACHINE))
    last = next(n for n, step in enumerate(steps) if step.state.closed)
    tried, missed = 0, []
    for n in range(1, last):
        folder = fast / str(n)
        shutil.copytree(done / "sound", folder / "sound", copy_function=os.link)
        (folder / "journal.jsonl").write_bytes(b"".join(lines[:n]))
        resume(folder, [], at=9000.0)
        missed += [(n, why) for why in [_wrong(folder, steps[n - 1].state)] if why]
        shutil.rmtree(folder)
        tried += 1
    counted("crashes of a whole visit, one after each event, taken up by the machine", tried, len(missed))
    assert not missed, missed[:5]
    assert tried > 200


def _wrong(folder: Path, before: State) -> str:
    """What is not as it must be after the resume, '' where all is."""
    entries = read_list(folder)
    resumed = next(n for n, entry in enumerate(entries) if type(entry.event).__name__ == "Resumed")
    after = list(follow(entries, MACHINE))
    now = after[resumed].state
    if now is None or any(step.departure is not None for step in after):
        return "the record does not follow from the machine"
    if now.interlock.power is Power.ISOLATED or now.interlock.phrase_given:
        return "the gate is open"
    spoken = " ".join(entry.event.text for entry in entries[resumed:] if isinstance(entry.event, Say)).lower()
    if not spoken:
        return "nothing is said"
    if before.interlock.power is Power.ISOLATED and "isolation" not in spoken:
        return "that isolation is cleared is not said"
    waits = before.awaiting in (Awaiting.WAIT, Awaiting.CUT_WAIT)  # over by then, so the visit goes on
    if before.frames and before.interlock.power is Power.LIVE and not waits and now.frames != before.frames:
        return f"it goes on at {now.frames}, not at {before.frames}"
    return verify(folder).problem
