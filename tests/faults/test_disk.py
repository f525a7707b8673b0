"""A disk that is full, read-only or failing in mid-visit: the program says so, stops, and has lost nothing acknowledged."""

from __future__ import annotations

import errno
import os
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from handsfree.errors import Trouble
from handsfree.journal.events import Resumed, Tone
from handsfree.journal.verify import verify
from handsfree.journal.writer import Journal
from tests.faults.disks import FailingDisk
from tests.journal.made import OPENED, TestClock, clip, read_list, story, with_clip

Counted = Callable[[str, int, int], None]
SAID = {errno.ENOSPC: "disk is full", errno.EROFS: "read-only", errno.EIO: "disk failed", errno.EDQUOT: "quota"}


@pytest.mark.parametrize("code", SAID)
@pytest.mark.parametrize("half", [False, True])
@pytest.mark.parametrize("can_cut", [False, True])
def test_the_disk_fails_at_every_operation(code: int, half: bool, can_cut: bool, fast: Path, counted: Counted) -> None:
    tried, missed, failed = 0, [], True
    while failed:
        folder, acknowledged, failed = fast / f"v{tried}", 0, False
        try:
            with Journal.create(
                folder, clock=TestClock(), disk=FailingDisk(tried, code, half=half, can_cut=can_cut)
            ) as journal:
                for n, batch in enumerate(story()):
                    journal.append(*(with_clip(journal, event, n) for event in batch))
                    acknowledged = journal.count
        except Trouble as trouble:
            failed = True
            if SAID[code] not in str(trouble) or trouble.status != 2:
                missed.append(f"{tried}: said {trouble}")
            with pytest.raises(Trouble, match="closed"):
                journal.append(Tone("heard"))
        if failed and acknowledged:
            missed += [f"{tried}: {why}" for why in [_carries_on(folder, acknowledged)] if why]
        tried += 1
    counted(f"disks failing ({errno.errorcode[code]}, half written {half}, cut works {can_cut})", tried - 1, len(missed))
    assert not missed, missed[:3]
    assert tried > 50


def _carries_on(folder: Path, acknowledged: int) -> str:
    with Journal.resume(folder, clock=TestClock(at=2000.0)) as journal:
        survived = journal.count
        journal.append(Resumed("disk"))
        journal.seal()
    if survived < acknowledged:
        return f"{acknowledged} acknowledged, {survived} survived"
    return verify(folder).problem


@pytest.fixture
def tiny() -> Iterator[Path]:
    """A real file system of 96 kB, where this process may mount one (root); skipped where not."""
    import tempfile

    mount = Path(tempfile.mkdtemp(prefix="handsfree-tiny-"))
    try:
        done = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=96k", "none", mount], capture_output=True, check=False)
    except OSError:
        pytest.skip("there is no mount command here")
    if done.returncode:
        mount.rmdir()
        pytest.skip("only root may mount a file system; the failing disk above stands for it")
    yield mount
    subprocess.run(["umount", mount], check=True)
    mount.rmdir()


def test_a_real_disk_that_fills_up(tiny: Path, counted: Counted) -> None:
    folder, acknowledged = tiny / "visit", 0

    def go_on(journal: Journal) -> None:
        nonlocal acknowledged
        while True:
            journal.append(Tone("heard"))
            acknowledged = journal.count
            if acknowledged % 10 == 0:
                journal.keep_sound(clip(acknowledged))

    with Journal.create(folder, clock=TestClock()) as journal:
        journal.append(OPENED)
        with pytest.raises(Trouble, match="disk is full") as caught:
            go_on(journal)
    assert caught.value.status == 2
    assert acknowledged > 20
    assert len(read_list(folder)) >= acknowledged
    for unnamed in (folder / "sound").iterdir():  # what a person does: free some space
        unnamed.unlink()
    assert _carries_on(folder, acknowledged) == ""
    counted("real disks filled", 1, 0)


@pytest.mark.skipif(not hasattr(os, "fork") or not hasattr(os, "seteuid"), reason="needs fork and a user to become")
def test_a_real_folder_made_read_only_in_mid_visit(fast: Path, counted: Counted) -> None:
    """Mode bits do not stop root, so the visit runs in a child that has become another user where it may."""
    fast.chmod(0o777)
    folder = fast / "visit"
    inlet, outlet = os.pipe()
    child = os.fork()
    if child == 0:
        said = "nothing"
        try:
            if os.geteuid() == 0:
                os.seteuid(65534)
            with Journal.create(folder, clock=TestClock()) as journal:
                journal.append(OPENED)
                (folder / "sound").chmod(0o555)
                try:
                    journal.keep_sound(clip(1))
                except Trouble as trouble:
                    said = str(trouble)
                (folder / "sound").chmod(0o755)
        finally:
            os.write(outlet, said.encode())
            os._exit(0)
    os.close(outlet)
    with os.fdopen(inlet) as stream:
        assert "may not be written" in stream.read()
    os.waitpid(child, 0)
    assert _carries_on(folder, 1) == ""
    counted("real folders made read-only", 1, 0)


def test_two_processes_do_not_write_one_visit(fast: Path) -> None:
    with Journal.create(fast / "visit", clock=TestClock()) as journal:
        journal.append(OPENED)
        with pytest.raises(Trouble, match="in use by another"):
            Journal.resume(fast / "visit")
    with Journal.resume(fast / "visit", clock=TestClock(at=2000.0)) as journal:
        journal.append(Resumed("x"))
