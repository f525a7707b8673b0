"""A whole visit through the real machine, crashed after every event and taken up again."""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from handsfree.errors import Trouble
from handsfree.isolation.rules import Power
from handsfree.journal.events import Say
from handsfree.journal.follow import follow
from handsfree.journal.verify import verify
from handsfree.visit import sessions
from handsfree.visit.state import Awaiting, State
from tests.faults.disks import FailingDisk
from tests.journal.made import TestClock, read_list
from tests.journal.visited import LINES, MACHINE, PROCEDURE, resume, run, visit


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
    assert tried == last - 1 > 150  # each event of it, as many as a whole visit has


def _wrong(folder: Path, before: State) -> str:
    """What is not as it must be after the resume, '' where all is."""
    entries = read_list(folder)
    resumed = next(n for n, entry in enumerate(entries) if type(entry.event).__name__ == "Resumed")
    after = list(follow(entries, MACHINE))
    now = after[resumed].state
    if now is None or any(step.departure is not None for step in after):
        return "the record does not follow from the machine"
    if now.interlock.power is Power.ISOLATED or now.interlock.held:
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


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EROFS])
def test_a_disk_that_fills_in_mid_visit_is_told_aloud_and_the_visit_stops(
    code: int, fast: Path, counted: Callable[[str, int, int], None]
) -> None:
    """The real runner; the record's file fails from its nth write on. What was not recorded was not performed."""
    tried, missed = 0, []
    for fail_at in range(3, 120, 4):
        clock = TestClock()
        session = sessions.begin(
            sessions.provable(str(PROCEDURE)), fast / str(fail_at), sessions.Who(), "typed", clock=clock
        )
        disk = FailingDisk(fail_at, code, half=True)
        session.journal._file = disk.append_to(session.folder / "journal.jsonl", new=False)
        said: list[str] = []
        with pytest.raises(Trouble) as caught:
            run(session, LINES, clock, said=said)
        recorded = [entry.event.text for entry in read_list(session.folder) if isinstance(entry.event, Say)]
        missed += [] if said[-1] == session.state.language.prompt("unrecorded") else [f"{fail_at}: not told"]
        missed += [] if said[:-1] == recorded[: len(said) - 1] else [f"{fail_at}: said what is not recorded"]
        missed += [] if caught.value.status == 2 else [f"{fail_at}: status"]
        resume(session.folder, [], at=9000.0)
        missed += [f"{fail_at}: {why}" for why in [verify(session.folder).problem] if why]
        tried += 1
    counted(f"visits whose disk failed ({errno.errorcode[code]})", tried, len(missed))
    assert not missed, missed[:3]
