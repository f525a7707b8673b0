"""Tampering: every byte of a small visit, random bytes of a large one, and whoever knows the format but not the key."""

from __future__ import annotations

import json
import random
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from handsfree.journal import keys
from handsfree.journal.canonical import as_line, canonical
from handsfree.journal.events import Resumed, SoundRemoved
from handsfree.journal.verify import verify
from handsfree.journal.writer import Journal
from tests.bench.journal import make
from tests.journal.made import TestClock, clip, story, with_clip, write_visit

Counted = Callable[[str, int, int], None]
Lines = list[dict[str, Any]]


@pytest.fixture
def key(fast: Path) -> keys.DeviceKey:
    return keys.make("van-7", fast / "keys")


def _small(folder: Path, key: keys.DeviceKey | None = None) -> Path:
    with Journal.create(folder, clock=TestClock(), key=key) as journal:
        for n, batch in enumerate(story()[:7]):
            journal.append(*(with_clip(journal, event, n) for event in batch))
        journal.seal()
    return folder


@pytest.mark.parametrize("signed", [False, True])
def test_every_byte_of_a_small_visit(signed: bool, fast: Path, key: keys.DeviceKey, counted: Counted) -> None:
    """Each byte of the journal and of each clip, changed in its lowest bit and to another at random."""
    folder = _small(fast / "visit", key if signed else None)
    known = keys.known(fast / "keys") if signed else {}
    assert verify(folder, known=known).holds
    chance, tried, missed = random.Random(1), 0, []
    for path in [folder / "journal.jsonl", *sorted((folder / "sound").iterdir())]:
        data = path.read_bytes()
        step = 1 if path.suffix == ".jsonl" else 7  # a clip is judged by one hash; its bytes are all alike
        with path.open("r+b", buffering=0) as file:
            for at in range(0, len(data), step):
                for new in (
                    {data[at] ^ 1, chance.choice([b for b in range(256) if b != data[at]])} if not signed else {data[at] ^ 1}
                ):
                    file.seek(at)
                    file.write(bytes([new]))
                    missed += [(path.name, at, new)] if verify(folder, known=known).holds else []
                    tried += 1
                file.seek(at)
                file.write(data[at : at + 1])
    assert verify(folder, known=known).holds
    counted(f"tampered bytes of a small visit ({'signed' if signed else 'unsigned'})", tried, len(missed))
    assert not missed, missed[:5]


def test_random_bytes_of_a_large_visit(fast: Path, counted: Counted) -> None:
    folder = fast / "large"
    make(folder, 5000)
    path = folder / "journal.jsonl"
    assert verify(folder).holds
    size, chance, missed, tried = path.stat().st_size, random.Random(2), [], 200
    with path.open("r+b", buffering=0) as file:
        for _ in range(tried):
            at = chance.randrange(size)
            file.seek(at)
            was = file.read(1)
            file.seek(at)
            file.write(bytes([was[0] ^ (1 << chance.randrange(8))]))
            report = verify(folder)
            missed += [at] if report.holds else []
            file.seek(at)
            file.write(was)
    assert verify(folder).holds
    counted("tampered bytes of a large visit", tried, len(missed))
    assert not missed


def test_the_end_cut_off_at_every_byte(fast: Path, counted: Counted) -> None:
    folder = _small(fast / "visit")
    path = folder / "journal.jsonl"
    data, missed = path.read_bytes(), []
    for size in range(len(data)):
        path.write_bytes(data[:size])
        missed += [size] if verify(folder).holds else []
    counted("ends cut off", len(data), len(missed))
    assert not missed


def _lines(folder: Path) -> Lines:
    return [json.loads(line)["entry"] for line in (folder / "journal.jsonl").read_text().splitlines()]


def _rechained(entries: Lines) -> bytes:
    """What a forger writes who knows the format: numbers, hashes and seals all right again."""
    prev, out = "", []
    for n, entry in enumerate(entries):
        entry = {**entry, "n": n, "prev": prev, "event": dict(entry["event"])}
        if entry["kind"] == "Sealed":
            entry["event"] = {"events": n, "head": prev}
        line, prev = as_line(canonical(entry))
        out.append(line)
    return b"".join(out)


def _edit(entries: Lines) -> Lines:
    entries[9]["event"]["words"] = "something else"
    return entries


def _remove(entries: Lines) -> Lines:
    return entries[:9] + entries[10:]


def _move(entries: Lines) -> Lines:
    return [*entries[:5], entries[6], entries[5], *entries[7:]]


def _add(entries: Lines) -> Lines:
    return [*entries[:9], {**entries[9]}, *entries[9:]]


def _cut(entries: Lines) -> Lines:
    return [*entries[:12], entries[-1]]


def _unsign(entries: Lines) -> Lines:
    entries = [entry for entry in entries if entry["kind"] != "SignedBy"]
    for entry in entries:
        entry.pop("signature", None)
    return entries


def _unsign_the_end(entries: Lines) -> Lines:
    for entry in entries[9:]:
        entry.pop("signature", None)
    return _edit(entries)


FORGERIES = [_edit, _remove, _move, _add, _cut, _unsign, _unsign_the_end]


@pytest.mark.parametrize("forgery", FORGERIES)
def test_a_forger_who_rechains_everything_needs_the_key(
    forgery: Callable[[Lines], Lines], fast: Path, key: keys.DeviceKey, counted: Counted
) -> None:
    folder = write_visit(fast / "visit", key=key)
    known = keys.known(fast / "keys")
    assert verify(folder, known=known, signed=True).holds
    (folder / "journal.jsonl").write_bytes(_rechained(forgery(_lines(folder))))
    report = verify(folder, known=known, signed=True)
    counted(f"forged with all hashes right: {forgery.__name__.strip('_')}", 1, int(report.holds))
    assert not report.holds
    if forgery in (_edit, _remove, _move, _add, _unsign_the_end):
        assert report.at is not None
        assert 5 <= report.at <= 10, report


def test_a_forger_with_another_key(fast: Path, key: keys.DeviceKey) -> None:
    other = keys.make("elsewhere", fast / "other")
    folder = write_visit(fast / "visit", key=other)
    assert "not known here" in verify(folder, known=keys.known(fast / "keys")).problem
    assert verify(folder).holds  # nothing known here: a remark says so
    assert "nothing says whose" in " ".join(verify(folder).remarks)


@pytest.mark.parametrize("seconds", [-3600.0, -2.5, 90.0])
def test_a_clock_moved_without_a_note(seconds: float, fast: Path) -> None:
    """The forger moves the wall times of all later events, all hashes right."""
    from datetime import datetime, timedelta

    folder = write_visit(fast / "visit")
    entries = _lines(folder)
    for entry in entries[20:]:
        entry["wall"] = (datetime.fromisoformat(entry["wall"]) + timedelta(seconds=seconds)).isoformat(
            timespec="milliseconds"
        )
    (folder / "journal.jsonl").write_bytes(_rechained(entries))
    report = verify(folder)
    assert report.at == 20
    assert "wall clock" in report.problem


def test_a_count_that_falls(fast: Path) -> None:
    folder = write_visit(fast / "visit")
    entries = _lines(folder)
    entries[20]["mono"] = 0.5
    (folder / "journal.jsonl").write_bytes(_rechained(entries))
    assert verify(folder).at == 20


def test_a_clip_swapped_removed_linked_or_replaced_by_a_folder(fast: Path) -> None:
    for number, change in enumerate(["swapped", "removed", "linked", "folder", "other"]):
        folder = write_visit(fast / str(number))
        one, two = folder / "sound" / "00001.flac", folder / "sound" / "00002.flac"
        data = one.read_bytes()
        if change == "swapped":
            one.write_bytes(two.read_bytes())
            two.write_bytes(data)
        elif change == "removed":
            one.unlink()
        elif change == "linked":
            one.unlink()
            (fast / "elsewhere.flac").write_bytes(data)
            one.symlink_to(fast / "elsewhere.flac")
        elif change == "folder":
            one.unlink()
            one.mkdir()
        else:
            one.write_bytes(clip(77))
        report = verify(folder)
        assert report.at == 3, (change, report)


def test_a_removal_is_believed_only_with_its_mark(fast: Path) -> None:
    folder = write_visit(fast / "visit")
    entries = _lines(folder)
    event = entries[3]["event"]
    (folder / event["clip"]).unlink()
    with Journal.resume(folder, clock=TestClock(at=2000.0)) as journal:
        journal.append(SoundRemoved(((event["clip"], "0" * 64),), "age"))
        journal.seal()
    assert "not with the hash" in verify(folder).problem
    with Journal.resume(folder, clock=TestClock(at=2100.0)) as journal:
        journal.append(SoundRemoved(((event["clip"], event["clip_sha256"]),), "age"))
        journal.seal()
    assert not verify(folder).holds  # the false mark stays false


def test_an_end_cut_off_back_to_an_earlier_seal_is_found_by_what_was_noted(fast: Path) -> None:
    folder = write_visit(fast / "visit")
    early = (folder / "journal.jsonl").read_bytes()
    with Journal.resume(folder, clock=TestClock(at=2000.0)) as journal:
        journal.append(Resumed("stopped"))
        journal.seal()
    report = verify(folder)
    (folder / "journal.jsonl").write_bytes(early)
    assert verify(folder).holds  # by itself a sealed record; so note its head
    assert "cut off" in verify(folder, events=report.events).problem
    assert "head hash" in verify(folder, head=report.head).problem
    shutil.rmtree(folder)
