"""A second round of an adversary on records, by somebody who has read how they are written: whole by their own hashes, and
signed by the forger's own key."""

from __future__ import annotations

import csv
import dataclasses
import io
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from handsfree.journal import exports
from handsfree.journal.account import account
from handsfree.journal.events import Closed, Opened, ReadingTaken, Resumed, Stamped
from handsfree.journal.keys import DeviceKey
from handsfree.journal.page import visit_page
from handsfree.journal.prune import prune_visits
from handsfree.journal.rights import Rights
from handsfree.journal.shapes import file_allowed
from handsfree.journal.verify import verify
from handsfree.journal.writer import Journal
from tests.journal.made import TestClock, read_list, write_visit
from tests.journal.test_adversary import VISIT, Trusted, lines_of, put, trusted, written_anew

__all__ = ["trusted"]
LATE = datetime(2030, 1, 1, tzinfo=UTC)


def sealed_anew(entries: list[Stamped], key: DeviceKey | None = None) -> list[bytes]:
    """The lines of these events and a seal that fits them."""
    lines = written_anew(entries[:-1], key)
    seal = dataclasses.replace(entries[-1].event, events=len(entries) - 1, head=lines[-1][-67:-3].decode())
    return written_anew([*entries[:-1], dataclasses.replace(entries[-1], event=seal)], key)


def taken_up(folder: Path, key: DeviceKey | None, at: float, *events: object) -> None:
    with Journal.resume(folder, clock=TestClock(at=at), key=key) as journal:
        journal.append(Resumed("stopped"))
        for event in events:
            journal.append(event)
        journal.seal()


def test_a_visit_is_opened_once(tmp_path: Path, trusted: Trusted) -> None:
    """A second opening in the middle would put what follows in another name: some readers take the first, some the last."""
    folder = write_visit(tmp_path / VISIT)
    entries = read_list(folder)
    other = dataclasses.replace(entries[0].event, technician="Somebody else", visit="another", cabinet="HK-9")
    at = 6
    put(folder, sealed_anew([*entries[:at], dataclasses.replace(entries[at], event=other), *entries[at:]]))
    report = verify(folder, known=trusted.known)
    assert not report.holds
    assert report.at == at
    assert "opened" in report.problem
    seen = account(folder, known=trusted.known)
    assert seen.opened.cabinet == "HK-4"
    assert {row["visit"] for row in exports.reading_rows(seen.entries)} <= {VISIT}
    assert isinstance(entries[0].event, Opened)


def test_events_are_not_moved_between_the_stretches_of_two_signers(tmp_path: Path, trusted: Trusted) -> None:
    folder = write_visit(tmp_path / VISIT, key=trusted.one)
    taken_up(folder, trusted.two, 9000.0, Closed("fixed"))
    assert verify(folder, known=trusted.known, signed=True).holds
    lines = lines_of(folder)
    last = len(lines)
    for first, second in ((last - 2, 5), (last - 1, last - 2), (last - 3, last - 4)):
        moved = list(lines)
        moved[first], moved[second] = moved[second], moved[first]
        put(folder, moved)
        assert not verify(folder, known=trusted.known).holds
        assert not verify(folder, known=trusted.known, signed=True).holds
    for chained in (True, False):  # given a new chain the signatures no longer fit; given new ones it is all the forger's
        entries = read_list_of(lines, tmp_path)
        entries[5], entries[last - 2] = entries[last - 2], entries[5]
        put(folder, sealed_anew(entries, None if chained else trusted.two))
        report = verify(folder, known=trusted.known)
        assert not report.holds or not any(cover.device == "van-1" for cover in report.covers)


def read_list_of(lines: list[bytes], tmp_path: Path) -> list[Stamped]:
    place = tmp_path / "read" / VISIT
    place.mkdir(parents=True, exist_ok=True)
    put(place, lines)
    return read_list(place)


def test_a_signed_line_of_one_visit_is_none_of_another(tmp_path: Path, trusted: Trusted) -> None:
    """The same device, the same event number: what the first visit proved is not proved for the second."""
    one = write_visit(tmp_path / "a" / VISIT, key=trusted.one)
    other = tmp_path / "b" / VISIT
    with Journal.create(other, clock=TestClock(at=2000.0), key=trusted.one) as journal:
        for entry in read_list(one)[2:-1]:
            journal.append(entry.event)
        journal.seal()
    for at in range(2, len(lines_of(one)) - 1, 5):
        mixed = [*lines_of(one)[:at], lines_of(other)[at], *lines_of(one)[at + 1 :]]
        put(tmp_path / "a" / VISIT, mixed)
        assert not verify(one, known=trusted.known, sound=False).holds
        put(one, [*mixed[:at], *lines_of(tmp_path / "a" / VISIT)[at:]])
        shutil.rmtree(one)
        write_visit(one, key=trusted.one)


@pytest.mark.parametrize("between", [None, "one"])
def test_who_only_took_a_visit_up_twice_may_not_remove_its_sound(
    tmp_path: Path, trusted: Trusted, between: str | None
) -> None:
    """A trusted device, no remover: it resumes another's visit, lets somebody else write a little, and marks its sound as
    removed. Its own earlier stretch is no right to what was recorded before."""
    folder = write_visit(tmp_path / VISIT, key=trusted.one)
    taken_up(folder, trusted.two, 9000.0)
    taken_up(folder, trusted.one if between else None, 9100.0)
    late = TestClock(began=LATE)
    (done,) = prune_visits(folder, timedelta(days=90), now=late.wall(), key=trusted.two, clock=late)
    assert done.removed > 0
    removal = verify(folder, known=trusted.known).removals[-1]
    assert (removal.by, removal.right) == ("van-2", False)
    assert not verify(folder, known=trusted.known, sound=False).removals[-1].right
    assert verify(folder, known=trusted.known, rights=Rights(frozenset({trusted.two.public_key}))).removals[-1].right


def test_who_recorded_the_sound_may_remove_it_also_after_another_took_the_visit_up(tmp_path: Path, trusted: Trusted) -> None:
    folder = write_visit(tmp_path / VISIT, key=trusted.one)
    taken_up(folder, trusted.two, 9000.0)
    late = TestClock(began=LATE)
    list(prune_visits(folder, timedelta(days=90), now=late.wall(), key=trusted.one, clock=late))
    assert verify(folder, known=trusted.known).removals[-1].right


def test_sound_that_is_a_link_to_another_visit_is_told_and_never_removed(tmp_path: Path, trusted: Trusted) -> None:
    """A copied folder whose 'sound' is a link: removing the copy's old sound would remove the original's."""
    whole = write_visit(tmp_path / "kept" / VISIT)
    copy = tmp_path / "copies" / VISIT
    copy.mkdir(parents=True)
    shutil.copy(whole / "journal.jsonl", copy)
    (copy / "sound").symlink_to(whole / "sound", target_is_directory=True)
    report = verify(copy)
    assert not report.holds
    assert "link" in report.problem
    before = sorted(path.name for path in (whole / "sound").iterdir())
    list(prune_visits(copy.parent, timedelta(days=1), now=LATE))
    assert sorted(path.name for path in (whole / "sound").iterdir()) == before


@pytest.mark.parametrize("name", [
    "sound/00001.flac\n", "sound/٠٠٠٠١.flac", "sound/../00001.flac", "sound/00001.FLAC", "/sound/00001.flac",
    "sound//00001.flac", "attached/../journal.jsonl", "attached/a/b", "attached/.hidden", "attached/a..b", "attached/",
    "attached/a\u0000.png", "attached\\a.png", "attached/-rf", "attached/" + "a" * 200, "journal.jsonl", "",
])  # fmt: skip
def test_no_clip_name_leads_elsewhere(name: str) -> None:
    assert not file_allowed(name)


@pytest.mark.parametrize("by", [-30.0, -3600.0, -400 * 86_400.0])
def test_time_that_runs_backwards_is_told(tmp_path: Path, trusted: Trusted, by: float) -> None:
    """A device's own key does not help: the wall clock falls while the count goes on."""
    folder = write_visit(tmp_path / VISIT, key=trusted.one)
    moved = []
    for entry in read_list(folder):
        wall = datetime.fromisoformat(entry.wall) + timedelta(seconds=by if entry.n > 8 else 0.0)
        moved.append(dataclasses.replace(entry, wall=wall.isoformat(timespec="milliseconds")))
    put(folder, sealed_anew(moved, trusted.one))
    report = verify(folder, known=trusted.known)
    assert not report.holds
    assert report.at == 9
    assert "set back" in report.problem
    assert visit_page(account(folder, known=trusted.known))


FORMULAS = ("=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", " =1+1", "\u00a0=1", "＝1+1", "a;=1+1", 'b";=1')


@pytest.mark.parametrize("text", FORMULAS)
def test_no_exported_cell_is_a_formula(text: str, tmp_path: Path) -> None:
    """Names and words of a record are written by others; a spreadsheet opens the file by its own rules, with commas or with
    semicolons between the cells."""
    taken = ReadingTaken((text,), text, text, 3.0, text, 3.0, text, text, None, None, text)
    entries = [
        Stamped(0, "2026-02-11T09:30:00+01:00", 0.0, Opened(text, "k", "en", text, text, text, "0.1", "typed")),
        Stamped(1, "2026-02-11T09:31:00+01:00", 60.0, taken),
    ]
    made = exports.readings_csv(entries)
    for separator in (",", ";"):
        for row in csv.reader(io.StringIO(made, newline=""), delimiter=separator):
            for cell in row:
                begins = cell.strip()[:1]
                assert not begins or begins not in "=+-@＝＋－＠" or _number(cell), (cell, made)


def _number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return cell.isascii() and cell == cell.strip()
