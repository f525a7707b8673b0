"""Crashes: the process killed, the power cut. Nothing acknowledged is lost, the journal opens, and it carries on."""

from __future__ import annotations

import os
import random
import shutil
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import pytest

from handsfree.errors import Trouble
from handsfree.journal.disk import Disk
from handsfree.journal.events import Resumed
from handsfree.journal.verify import verify
from handsfree.journal.writer import Journal
from tests.faults.disks import KillDisk, PowerCut, PowerDisk, everything, nothing, reordered, torn_at
from tests.journal.made import TestClock, clip, read_list, story, with_clip

Counted = Callable[[str, int, int], None]
WHOLE = sum(len(batch) for batch in story()) + 1


def _write(folder: Path, disk: Disk, acknowledge: Callable[[int], object]) -> None:
    """The story, every third utterance with a clip; `acknowledge` is told the number of events after each append."""
    with Journal.create(folder, clock=TestClock(), disk=disk) as journal:
        for n, batch in enumerate(story()):
            journal.append(*(with_clip(journal, event, n) if n % 3 == 0 else event for event in batch))
            acknowledge(journal.count)
        journal.seal()
        acknowledge(journal.count)


def _resume_and_judge(folder: Path, acknowledged: int) -> str:
    """'' where all is well after the crash, else what was missed."""
    try:
        with Journal.resume(folder, clock=TestClock(at=2000.0)) as journal:
            survived = journal.count
            journal.append(Resumed("crash"))
            name, digest = journal.keep_sound(clip(3))
            assert digest
            assert name
            journal.seal()
    except Trouble as trouble:
        return "" if acknowledged == 0 and "nothing to resume" in str(trouble) else f"{acknowledged} acknowledged, {trouble}"
    if survived < acknowledged:
        return f"{acknowledged} acknowledged, {survived} survived"
    report = verify(folder)
    if not report.holds:
        return report.problem
    kinds = [type(entry.event).__name__ for entry in read_list(folder)]
    return "" if "Resumed" in kinds else "the resume is not in the record"


def test_the_process_is_killed_before_every_operation_and_within_every_write(fast: Path, counted: Counted) -> None:
    tried, missed, done = 0, [], False
    while not done:
        folder = fast / f"killed-{tried}"
        acknowledged, killed = _in_a_child(folder, tried)
        done = not killed
        if (folder / "journal.jsonl").exists():
            missed += [f"operation {tried}: {why}" for why in [_resume_and_judge(folder, acknowledged)] if why]
        else:
            missed += ["lost whole"] if acknowledged else []
        shutil.rmtree(folder, ignore_errors=True)
        tried += 1
    counted("points of SIGKILL", tried - 1, len(missed))
    assert not missed, missed[:3]
    assert tried > 120


def _in_a_child(folder: Path, kill_at: int) -> tuple[int, bool]:
    """(events acknowledged, was it killed) of a child that writes the story."""
    inlet, outlet = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            _write(folder, KillDisk(kill_at), lambda count: os.write(outlet, count.to_bytes(4, "big")))
        finally:
            os._exit(0)
    os.close(outlet)
    with os.fdopen(inlet, "rb") as stream:
        told = stream.read()
    _, status = os.waitpid(child, 0)
    return int.from_bytes(told[-4:], "big"), os.WIFSIGNALED(status)


@pytest.mark.parametrize("way", ["lost", "kept", "torn", "reordered"])
def test_the_power_is_cut_before_every_operation(way: str, fast: Path, counted: Counted) -> None:
    chance = random.Random(5)
    random.seed(5)
    ways = {
        "lost": [nothing],
        "kept": [everything],
        "torn": [torn_at((share + 0.5) / 24) for share in range(24)],
        "reordered": [reordered(chance) for _ in range(12)],
    }
    tried, missed, cut_at, done = 0, [], 0, False
    while not done:
        disk, acknowledged, done = PowerDisk(cut_at), [0], False
        base = fast / f"{way}-{cut_at}"
        try:
            _write(base, disk, acknowledged.append)
            done = True
        except PowerCut:
            pass
        pending = any(held.pending for held in disk.files.values())
        for number, keep in enumerate(ways[way] if pending else ways[way][:1]):
            folder = fast / f"{way}-{cut_at}-{number}"
            disk.settle(base, folder, keep)
            if (folder / "journal.jsonl").exists():
                missed += [f"{cut_at}/{number}: {why}" for why in [_resume_and_judge(folder, acknowledged[-1])] if why]
            else:
                missed += ["lost whole"] if acknowledged[-1] else []
            shutil.rmtree(folder)
            tried += 1
        shutil.rmtree(base)
        cut_at += 1
    counted(f"power cuts, un-synced writes {way}", tried, len(missed))
    assert not missed, missed[:3]
    assert acknowledged[-1] == WHOLE


def test_the_last_line_torn_at_every_byte(fast: Path, counted: Counted) -> None:
    """After any append, the next is torn at each of its bytes in turn."""
    _write(fast / "whole", PowerDisk(-1), lambda count: None)  # the folder; its files stay in memory
    disk = PowerDisk(-1)
    _write(fast / "model", disk, lambda count: None)
    data = disk.files[fast / "model" / "journal.jsonl"].durable
    ends = [at + 1 for at, byte in enumerate(data) if byte == 10]
    tried, missed = 0, []
    for line, (begin, end) in enumerate(pairwise(ends[4:13])):
        for at in range(begin + 1, end, 3):
            folder = fast / "torn"
            disk.settle(fast / "model", folder, nothing)
            (folder / "journal.jsonl").write_bytes(data[:at])
            missed += [why for why in [_resume_and_judge(folder, line + 5)] if why]
            shutil.rmtree(folder)
            tried += 1
    counted("torn last lines", tried, len(missed))
    assert not missed, missed[:3]


def test_a_crash_within_the_resume_after_a_crash(fast: Path, counted: Counted) -> None:
    disk = PowerDisk(-1)
    _write(fast / "model", disk, lambda count: None)
    data = disk.files[fast / "model" / "journal.jsonl"].durable
    lines = data.splitlines(keepends=True)
    tried, missed = 0, []
    for cut_at in range(40):
        folder = fast / f"again-{cut_at}"
        disk.settle(fast / "model", folder, nothing)
        (folder / "journal.jsonl").write_bytes(b"".join(lines[:30]) + lines[30][:77])
        second = PowerDisk(cut_at)
        try:
            with Journal.resume(folder, clock=TestClock(at=2000.0), disk=second) as journal:
                journal.append(Resumed("crash"))
        except PowerCut:
            pass
        second.settle(folder, folder, everything if cut_at % 2 else nothing)
        missed += [why for why in [_resume_and_judge(folder, 30)] if why]
        tried += 1
    counted("crashes within a resume", tried, len(missed))
    assert not missed, missed[:3]
