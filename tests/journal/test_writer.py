"""The writer by itself, on the real file system in a folder of its own; failures by a disk that fails to order."""

from __future__ import annotations

import errno
import hashlib
import io
import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from handsfree.errors import Trouble
from handsfree.journal import keys
from handsfree.journal.disk import AppendFile, RealDisk
from handsfree.journal.events import (
    Attached,
    ClockMoved,
    EndOpen,
    NoteKept,
    Opened,
    Resumed,
    Sealed,
    SignedBy,
    TailDropped,
    TimerRang,
    Tone,
    Utterance,
)
from handsfree.journal.verify import verify
from handsfree.journal.writer import Journal, flac
from tests.journal.made import TestClock, read_list

OPENED = Opened("v", "p", "en", "A. Brandner (invented)", "Hochgrat (invented)", "HK-4", "0.1", "typed")
CLOSED = "is closed: nothing more can be written to it. Resume the visit."


class FailingFile:
    def __init__(self, file: AppendFile, disk: FailingDisk) -> None:
        self._file, self._disk = file, disk

    def write(self, data: bytes) -> None:
        self._disk.perhaps("write", lambda: self._file.write(data[: len(data) // 2]))
        self._file.write(data)

    def sync(self) -> None:
        self._disk.perhaps("sync")
        self._file.sync()

    def cut(self, size: int) -> None:
        self._disk.perhaps("cut")
        self._file.cut(size)

    def close(self) -> None:
        self._disk.closed += 1
        self._file.close()


class FailingDisk(RealDisk):
    """Fails at what is named in `at`, with `code`; a write does half its work first."""

    def __init__(self, *at: str, code: int = errno.ENOSPC) -> None:
        self.at, self.code, self.closed, self.made = set(at), code, 0, []  # type: ignore[var-annotated]  # a list of names

    def perhaps(self, what: str, first: Callable[[], object] = lambda: None) -> None:
        if what in self.at:
            first()
            raise OSError(self.code, "it failed")

    def make_folder(self, path: Path) -> None:
        self.perhaps("folder")
        self.made.append(path.name)
        super().make_folder(path)

    def append_to(self, path: Path, *, new: bool) -> AppendFile:
        self.perhaps("open")
        return FailingFile(super().append_to(path, new=new), self)

    def keep(self, path: Path, data: bytes) -> None:
        self.perhaps("keep")
        super().keep(path, data)


def begin(folder: Path, disk: RealDisk | None = None, key: keys.DeviceKey | None = None) -> tuple[Journal, TestClock]:
    clock = TestClock()
    journal = Journal.create(folder, clock=clock, disk=disk, key=key)
    journal.append(OPENED)
    return journal, clock


def on_disk(folder: Path) -> list[bytes]:
    return (folder / "journal.jsonl").read_bytes().splitlines(keepends=True)


# ---- creating and appending -----------------------------------------------------------------------------------------


def test_a_new_visit_is_a_folder_with_an_empty_journal(tmp_path: Path) -> None:
    with Journal.create(tmp_path / "v", clock=TestClock()) as journal:
        assert (journal.count, journal.size, journal.head, journal.folder) == (0, 0, "", tmp_path / "v")
    assert sorted(path.name for path in (tmp_path / "v").iterdir() if path.name != "journal.lock") == [
        "attached", "journal.jsonl", "sound"]  # fmt: skip
    with pytest.raises(Trouble, match=r"exists already\. Give the visit its own folder, or resume that one\."):
        Journal.create(tmp_path / "v")
    (tmp_path / "empty").mkdir()
    with pytest.raises(Trouble, match="exists already"):
        Journal.create(tmp_path / "empty")


def test_what_append_returns_is_what_the_record_says(tmp_path: Path) -> None:
    journal, _ = begin(tmp_path / "v")
    first = on_disk(tmp_path / "v")
    assert (journal.count, journal.size) == (1, len(first[0]))
    assert journal.head == json.loads(first[0])["sha256"]
    written = journal.append(TimerRang("wait"), Tone("waiting"))
    assert [stamped.n for stamped in written] == [1, 2]
    assert [stamped.event for stamped in written] == [TimerRang("wait"), Tone("waiting")]
    assert written[0].prev == json.loads(first[0])["sha256"]
    assert written[0].mono == written[1].mono  # one append, one stamp
    assert written[0].wall == written[1].wall
    lines = on_disk(tmp_path / "v")
    assert (journal.count, journal.size) == (3, sum(map(len, lines)))
    assert journal.head == json.loads(lines[-1])["sha256"]
    assert list(written) == read_list(tmp_path / "v")[1:]
    seal = journal.seal()
    assert seal.event == Sealed(3, written[1].prev and json.loads(lines[-1])["sha256"])
    journal.close()
    assert verify(tmp_path / "v").holds


def test_whole_numbers_come_back_as_the_record_has_them(tmp_path: Path) -> None:
    """A float that is whole is written as a whole number; what is acted on is what a reader will get."""
    journal, _ = begin(tmp_path / "v")
    (stamped,) = journal.append(Utterance("accepted", "number", "43", 43.0, "degF"))
    assert stamped == read_list(tmp_path / "v")[-1]
    journal.close()


def test_a_closed_journal_says_so(tmp_path: Path) -> None:
    journal, _ = begin(tmp_path / "v")
    assert journal.append() == ()
    journal.close()
    journal.close()
    photo = tmp_path / "photo.jpg"
    photo.write_bytes(b"x")
    acts = (lambda: journal.append(Tone("x")), lambda: journal.keep_sound(b"x"), lambda: journal.attach(photo), journal.seal)
    for act in acts:
        with pytest.raises(Trouble, match=CLOSED):
            act()
    assert len(on_disk(tmp_path / "v")) == 1


def test_one_process_writes_a_visit_at_a_time(tmp_path: Path) -> None:
    journal, clock = begin(tmp_path / "v")
    with pytest.raises(Trouble, match=r"is in use by another handsfree\. Stop that one first\."):
        Journal.resume(tmp_path / "v", clock=clock)
    journal.close()
    Journal.resume(tmp_path / "v", clock=clock).close()


def test_lone_surrogates_are_mended_and_what_cannot_be_is_an_error(tmp_path: Path) -> None:
    journal, _ = begin(tmp_path / "v")
    (note,) = journal.append(NoteKept("", "", "bad \udc80 byte"))
    assert note.event == NoteKept("", "", "bad \ufffd byte")
    rivals = (("phrase", "x\ud800", None), ("number", "15", 15.0))
    (heard,) = journal.append(Utterance("asked again", rivals=rivals))
    assert heard.event.rivals == (("phrase", "x\ufffd", None), ("number", "15", 15.0))
    before = on_disk(tmp_path / "v")
    with pytest.raises(ValueError, match="no canonical form"):
        journal.append(Utterance("accepted", value=float("nan")))
    assert on_disk(tmp_path / "v") == before
    journal.append(Tone("x"))
    journal.close()
    assert [stamped.n for stamped in read_list(tmp_path / "v")] == [0, 1, 2, 3]


# ---- the clock ------------------------------------------------------------------------------------------------------


def test_a_jump_of_the_wall_clock_stands_before_the_happening(tmp_path: Path) -> None:
    journal, clock = begin(tmp_path / "v")
    clock.moved = 90.0
    written = journal.append(TimerRang("wait"), Tone("waiting"))
    assert [type(stamped.event) for stamped in written] == [ClockMoved, TimerRang, Tone]
    assert written[0].event == ClockMoved(90.0)
    assert [type(stamped.event) for stamped in journal.append(TimerRang("wait"))] == [TimerRang]
    journal.close()


def test_a_jump_never_stands_between_a_happening_and_its_effects(tmp_path: Path) -> None:
    journal, clock = begin(tmp_path / "v")
    clock.moved = 90.0
    assert [type(stamped.event) for stamped in journal.append(Tone("waiting"))] == [Tone]
    assert [type(stamped.event) for stamped in journal.append(TimerRang("wait"))] == [ClockMoved, TimerRang]
    journal.close()


# ---- signing --------------------------------------------------------------------------------------------------------


def test_with_a_key_every_event_is_signed_after_its_device_is_named(tmp_path: Path) -> None:
    key = keys.make("van-7", tmp_path / "keys")
    folder = tmp_path / "v"
    with Journal.create(folder, clock=TestClock(), key=key) as journal:
        written = journal.append(OPENED, Tone("x"), Tone("z"))
        assert [type(stamped.event) for stamped in written] == [Opened, SignedBy, Tone, Tone]
        assert written[1].event == SignedBy("van-7", key.public_key)
        assert [bool(stamped.signature) for stamped in written] == [False, True, True, True]
        assert [type(stamped.event) for stamped in journal.append(Tone("y"))] == [Tone]
        journal.seal()
    assert verify(folder, known=keys.known(tmp_path / "keys"), signed=True).holds
    with Journal.resume(folder, clock=TestClock(at=2000.0), key=key) as journal:
        (again,) = journal.append(Resumed("interrupted"))
        assert again.signature
        journal.seal()
    other = keys.make("van-8", tmp_path / "other")
    with Journal.resume(folder, clock=TestClock(at=3000.0), key=other) as journal:
        written = journal.append(Resumed("interrupted"), Tone("x"))
        assert [type(stamped.event) for stamped in written] == [SignedBy, Resumed, Tone]
        journal.seal()
    assert [name[:5] for name in verify(folder).signers] == ["van-7", "van-8"]
    assert verify(folder).holds


# ---- disks that fail ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("code", "why"), [
    (errno.ENOSPC, "the disk is full. The visit stops here, safely recorded up to now; free some space"),
    (errno.EDQUOT, "the disk quota is used up. The visit stops here, safely recorded up to now; free some space"),
    (errno.EROFS, "the disk is read-only. The visit stops here, safely recorded up to now; make it writable"),
    (errno.EACCES, "its folder may not be written. The visit stops here, safely recorded up to now; allow writing"),
    (errno.EPERM, "its folder may not be written. The visit stops here, safely recorded up to now; allow writing"),
    (errno.EIO, "the disk failed (it failed). The visit stops here; look after the disk"),
    (0, "the disk failed (it failed). The visit stops here; look after the disk"),
])
def test_each_failure_of_the_disk_has_its_sentence(code: int, why: str, tmp_path: Path) -> None:
    folder = tmp_path / "v"
    with pytest.raises(Trouble) as trouble:
        Journal.create(folder, disk=FailingDisk("folder", code=code))
    reason, advice = why.split(". ")[0], why.split("; ")[1]
    assert trouble.value.sentence == f"A record cannot be started in {folder}: {reason}; {advice}, then start again."
    disk = FailingDisk(code=code)
    journal = Journal.create(folder, disk=disk, clock=TestClock())
    journal.append(OPENED)
    disk.at = {"write"}
    with pytest.raises(Trouble) as trouble:
        journal.append(Tone("x"))
    assert trouble.value.sentence == (
        f"Nothing can be recorded in {folder}: {why}, then resume the visit."
    )


@pytest.mark.parametrize("at", ["write", "sync"])
def test_after_a_failure_nothing_half_written_is_left_and_nothing_more_is_taken(at: str, tmp_path: Path) -> None:
    disk = FailingDisk()
    journal, clock = begin(tmp_path / "v", disk)
    acknowledged = on_disk(tmp_path / "v")
    disk.at = {at}
    with pytest.raises(Trouble, match="the disk is full"):
        journal.append(Tone("x"), Tone("y"))
    assert on_disk(tmp_path / "v") == acknowledged
    assert (journal.count, journal.size, disk.closed) == (1, len(acknowledged[0]), 1)
    disk.at = set()
    with pytest.raises(Trouble, match=CLOSED):
        journal.append(Tone("z"))
    with Journal.resume(tmp_path / "v", clock=clock) as again:  # the lock is free
        assert again.count == 1
        assert [type(stamped.event) for stamped in read_list(tmp_path / "v")] == [Opened]


def test_where_the_disk_lets_nothing_be_cut_the_resume_does(tmp_path: Path) -> None:
    disk = FailingDisk()
    journal, clock = begin(tmp_path / "v", disk)
    acknowledged = on_disk(tmp_path / "v")
    disk.at = {"write", "cut"}
    with pytest.raises(Trouble, match="the disk is full"):
        journal.append(Tone("x"))
    assert disk.closed == 1
    torn = (tmp_path / "v" / "journal.jsonl").read_bytes().removeprefix(acknowledged[0])
    assert torn
    with Journal.resume(tmp_path / "v", clock=clock) as again:
        again.seal()
    events = [stamped.event for stamped in read_list(tmp_path / "v")]
    assert events[1] == TailDropped(len(torn), hashlib.sha256(torn).hexdigest(), "attached/001-torn.bin")
    assert (tmp_path / "v" / "attached" / "001-torn.bin").read_bytes() == torn
    assert verify(tmp_path / "v").holds


def test_a_file_that_cannot_be_kept_closes_the_journal(tmp_path: Path) -> None:
    disk = FailingDisk()
    journal, clock = begin(tmp_path / "v", disk)
    disk.at = {"keep"}
    with pytest.raises(Trouble, match="the disk is full"):
        journal.keep_sound(b"sound")
    with pytest.raises(Trouble, match=CLOSED):
        journal.append(Tone("x"))
    Journal.resume(tmp_path / "v", clock=clock).close()


# ---- resuming -------------------------------------------------------------------------------------------------------


def test_a_resume_goes_on_where_the_record_ends(tmp_path: Path) -> None:
    journal, clock = begin(tmp_path / "v")
    journal.append(Tone("x"))
    journal.close()
    size = (tmp_path / "v" / "journal.jsonl").stat().st_size
    clock.at += 100.0
    with Journal.resume(tmp_path / "v", clock=clock) as again:
        assert (again.count, again.size, again.head) == (2, size, json.loads(on_disk(tmp_path / "v")[-1])["sha256"])
        assert again.now() >= 100.0
        mark, stamped = again.append(Resumed("interrupted"))
        assert mark.event == EndOpen(2)
        assert (stamped.n, stamped.prev) == (3, json.loads(on_disk(tmp_path / "v")[2])["sha256"])
        again.seal()
    assert verify(tmp_path / "v").holds


def test_what_cannot_be_resumed_is_told_and_left_as_it_is(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match=r"holds no visit to resume: there is no journal\.jsonl in it\."):
        Journal.resume(tmp_path)
    folder = tmp_path / "v"
    begin(folder)[0].close()
    path = folder / "journal.jsonl"
    good = path.read_bytes()
    path.write_bytes(b"")
    for _ in range(2):  # twice: the lock was let go
        with pytest.raises(Trouble, match=r"has no event on disk: there is nothing to resume\. Begin a new visit\."):
            Journal.resume(folder)
    path.write_bytes(good.replace(b"Hochgrat", b"Hochgrad") + good)
    for _ in range(2):
        with pytest.raises(Trouble, match="cannot be resumed: its record was changed at event 0 ") as trouble:
            Journal.resume(folder)
        assert trouble.value.status == 3
    path.write_bytes(good)
    for _ in range(2):
        with pytest.raises(Trouble, match="Nothing can be recorded in"):
            Journal.resume(folder, disk=FailingDisk("open"))
    Journal.resume(folder).close()


def test_a_resume_sweeps_away_sound_that_no_event_names(tmp_path: Path) -> None:
    journal, clock = begin(tmp_path / "v")
    sound, attached = tmp_path / "v" / "sound", tmp_path / "v" / "attached"
    name, digest = journal.keep_sound(b"one")
    assert (name, digest) == ("sound/00001.flac", hashlib.sha256(b"one").hexdigest())
    journal.append(NoteKept(name, digest, "words"))
    assert journal.keep_sound(b"two")[0] == "sound/00002.flac"
    journal.close()
    (sound / "other.txt").write_text("not ours")
    (sound / "00003.flac.bak").write_text("not ours")
    (attached / "007-photo.jpg").write_bytes(b"left by a crash")
    (attached / "readme").write_bytes(b"no number")
    with Journal.resume(tmp_path / "v", clock=clock) as again:
        assert sorted(path.name for path in sound.iterdir()) == ["00001.flac", "00003.flac.bak", "other.txt"]
        assert again.keep_sound(b"three")[0] == "sound/00002.flac"
        (tmp_path / "my photo (1).jpg").write_bytes(b"photo")
        file, digest = again.attach(tmp_path / "my photo (1).jpg")
        assert (file, digest) == ("attached/008-my-photo-1-.jpg", hashlib.sha256(b"photo").hexdigest())
        again.append(Attached("step", file, digest))
        again.seal()
    assert verify(tmp_path / "v").holds
    assert (attached / "007-photo.jpg").exists()
    with Journal.resume(tmp_path / "v", clock=clock) as third:
        assert third.keep_sound(b"four")[0] == "sound/00002.flac"  # 00002 was named by no event


def test_folders_that_a_copy_left_out_are_made_again(tmp_path: Path) -> None:
    journal, clock = begin(tmp_path / "v")
    journal.close()
    (tmp_path / "v" / "sound").rmdir()
    (tmp_path / "v" / "attached").rmdir()
    with Journal.resume(tmp_path / "v", clock=clock) as again:
        assert again.keep_sound(b"x")[0] == "sound/00001.flac"


def test_a_torn_append_of_several_lines_is_cut_kept_and_noted(tmp_path: Path) -> None:
    journal, clock = begin(tmp_path / "v")
    journal.append(Tone("a"), Tone("b"), Tone("c"))
    journal.close()
    path = tmp_path / "v" / "journal.jsonl"
    lines = on_disk(tmp_path / "v")
    torn = b"\0" * len(lines[1]) + lines[2] + lines[3][:40]  # a sector lost in the middle of one write
    path.write_bytes(lines[0] + torn)
    with Journal.resume(tmp_path / "v", clock=clock) as again:
        assert again.count == 2
        again.seal()
    assert read_list(tmp_path / "v")[1].event == TailDropped(
        len(torn), hashlib.sha256(torn).hexdigest(), "attached/001-torn.bin")  # fmt: skip
    assert (tmp_path / "v" / "attached" / "001-torn.bin").read_bytes() == torn


# ---- files beside ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("given", "kept"), [
    ("photo.jpg", "attached/001-photo.jpg"), ("ä ö/ü.png".replace("/", "_"), "attached/001--_-.png"),
    ("x" * 100 + ".png", "attached/001-" + "x" * 76 + ".png"), ("tray..after...png", "attached/001-tray.after.png"),
])
def test_an_attachment_has_a_plain_name_of_bounded_length(given: str, kept: str, tmp_path: Path) -> None:
    journal, _ = begin(tmp_path / "v")
    (tmp_path / given).write_bytes(b"data")
    assert journal.attach(tmp_path / given)[0] == kept
    assert (tmp_path / "v" / kept).read_bytes() == b"data"
    journal.append(Attached("step", kept, hashlib.sha256(b"data").hexdigest()))
    assert verify(tmp_path / "v").open_end  # nothing else is wrong with it
    assert journal.attach(tmp_path / given)[0].startswith("attached/002-")
    journal.close()


def test_an_attachment_that_cannot_be_read_closes_nothing(tmp_path: Path) -> None:
    journal, _ = begin(tmp_path / "v")
    with pytest.raises(Trouble, match=r"nowhere\.jpg cannot be attached: No such file or directory\."):
        journal.attach(tmp_path / "nowhere.jpg")
    journal.append(Tone("x"))
    journal.close()


@pytest.mark.parametrize("rate", [16_000, 8_000])
def test_flac_keeps_the_samples_to_the_bit(rate: int) -> None:
    samples = (np.sin(np.arange(1600) / 9) * 20_000).astype(np.int16)
    data = flac(samples, rate) if rate != 16_000 else flac(samples)
    back, found = soundfile.read(io.BytesIO(data), dtype="int16")
    assert found == rate
    assert np.array_equal(back, samples)
    assert soundfile.info(io.BytesIO(data)).subtype == "PCM_16"
    assert soundfile.info(io.BytesIO(data)).format == "FLAC"


def test_the_count_is_the_visits_own_and_does_not_fall(tmp_path: Path) -> None:
    journal, clock = begin(tmp_path / "v")
    first = journal.now()
    assert 0.0 < first < 5.0
    clock.at -= 100.0
    assert journal.now() == first
    journal.close()
