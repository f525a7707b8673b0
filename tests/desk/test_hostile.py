"""What one device key, or one folder, can do to the desk: nothing that stops it, nothing that counts. Each is done with real
records, whole by their own hashes."""

from __future__ import annotations

import dataclasses
import shutil
import time
from datetime import timedelta
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select

from handsfree.desk import people, quarantine, queries
from handsfree.desk.configuration import Desk
from handsfree.desk.drawing import TrendPoint, over_time
from handsfree.desk.files import Files
from handsfree.desk.heads import FILE, Heads
from handsfree.desk.measures import Between, first_fix
from handsfree.desk.queries import EVERYBODY, Filter
from handsfree.desk.refreshing import read_folders
from handsfree.desk.tables import Reading, Visit
from handsfree.errors import Trouble
from handsfree.journal import events as ev
from handsfree.journal.account import account
from handsfree.journal.events import EFFECTS, Closed, Opened, ReadingTaken
from handsfree.journal.findings import BROKEN, CAME_BACK, NO_RIGHT, NOT_COMPARED, NOT_THEIRS
from handsfree.journal.follow import ReplayMachine
from handsfree.journal.keys import make
from handsfree.journal.prune import prune_visits
from handsfree.journal.tree_heads import holds_proof
from handsfree.journal.verify import verify
from handsfree.journal.writer import Journal
from handsfree.relisten import again
from tests.desk import made
from tests.desk.conftest import PASSWORD
from tests.desk.made import Made, another_of
from tests.desk.test_pages import signed_in
from tests.desk.test_uploads import Device, empty
from tests.journal.made import TestClock, clip, read_list, write_visit
from tests.journal.test_forged import sealed_anew, taken_up

__all__ = ["empty"]
ALWAYS = Between(0.0, 4e9)
OPENED = Opened("v", "kiosk-warm", "en", made.BRANDNER, made.SUMMIT, "HK-4", "0.1", "typed")


def record(place: Path, name: str, *events: Any, key: Any = None, opened: Opened = OPENED) -> Path:
    with Journal.create(place / name, clock=TestClock(), key=key) as journal:
        journal.append(dataclasses.replace(opened, visit=name))
        for event in events:
            journal.append(event)
        journal.seal()
    return place / name


PAGES = ("/", "/visits", "/due", "/findings", "/measures", "/writer", "/visits?sort=gravest", "/visits.csv", "/findings.csv")


@pytest.mark.parametrize("not_before", [9e15, -9e15, 1e300, 4e11])
def test_a_due_time_that_no_calendar_has(desk: Desk, not_before: float) -> None:
    folder = record(desk.visits, "late", Closed("to be continued", not_before))
    read_folders(desk)
    browser = signed_in(desk, "Vera")
    for path in (*PAGES, f"/visits/{folder.name}"):
        assert browser.get(path).status_code == 200, path


@pytest.mark.parametrize("value", [1e17, -1e17, 1e300, 5e-324, 0.0])
def test_a_reading_beyond_all_measure(desk: Desk, value: float) -> None:
    wide = (-1e308, 1e308)
    taken = ReadingTaken(("kiosk-warm",), "air", "air temperature", value, "degC", value, "degC", "", wide, (0, 1))
    folder = record(desk.visits, "far", taken, Closed("fixed"))
    read_folders(desk)
    browser = signed_in(desk, "Vera")
    for path in (*PAGES, f"/visits/{folder.name}", f"/cabinet?site={made.SUMMIT}&cabinet=HK-4"):
        assert browser.get(path).status_code == 200, path


@pytest.mark.parametrize(
    "points",
    [
        [(0.0, 1e17)], [(0.0, 1e17), (1.0, 1e17)], [(0.0, 1.0), (1.0, 1e300)], [(1e18, 1.0)], [(0.0, float("inf"))],
        [(0.0, 1e11), (86_400.0, 1e11)], [(0.0, 5e-324), (1e9, 5e-324)], [(0.0, -1e-300), (1e9, 1e-300)],
    ],
)
def test_whatever_is_drawn_is_drawn_in_bounds(points: list[tuple[float, float]]) -> None:
    drawn = over_time("air", "°C", [TrendPoint(at, value, None, None, "", "v") for at, value in points])
    assert len(drawn) < 20_000
    assert "nan" not in drawn
    assert "inf" not in drawn


def test_texts_without_end_cost_a_row_and_no_more(desk: Desk) -> None:
    long = "x" * 200_000
    opened = dataclasses.replace(OPENED, technician=long, site=long, cabinet=long, procedure=long)
    made_ = ev.FindingMade(("kiosk-warm",), "a", long, long, ((long, long),))
    folder = record(desk.visits, "long", made_, ev.NoteKept("", "", long, 1.0), Closed(long, None, long), opened=opened)
    read_folders(desk)
    browser = signed_in(desk, "Vera")
    for path in PAGES:
        answer = browser.get(path)
        assert answer.status_code == 200, path
        assert len(answer.content) < 200_000, path
    assert browser.get(f"/visits/{folder.name}").status_code == 200


def test_a_record_that_takes_too_long_to_compare_is_left_off(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine that works for each happening, as asking 'what next' over and over did; the budget is made small."""
    monkeypatch.setattr("handsfree.journal.follow.departure.__defaults__", (0.2,))
    happened = 0

    def slow(state: Any, entry: Any) -> tuple[Any, tuple[Any, ...]]:
        nonlocal happened
        happened += 1
        until = time.thread_time() + 0.05
        while time.thread_time() < until:
            pass
        return state, ()

    folder = record(tmp_path, "slow", *[ev.TimerRang("x")] * 200)
    found = account(folder, ReplayMachine(lambda opened: 1, slow)).findings
    assert NOT_COMPARED in {finding.rule for finding in found}
    assert happened < 20
    assert not any(isinstance(entry.event, EFFECTS) for entry in read_list(folder))


#: Journals of some 139 kB, the procedure in each as its sender likes it.
_STEP = "  - id: {id}\n    kind: {kind}\n    say: Is it warm?\n{rest}"
_OVER = _STEP.format(id="over", kind="end", rest="    outcome: done\n")
_HEAD = "procedure: p\ntitle: P\nversion: 1\npurpose: x\nsteps:\n"


def _diamonds(count: int) -> str:
    """Two ways at each of many questions, which come together again: 2 to the power of `count` ways through."""
    found = []
    for n in range(count):
        on = f"q{n + 1}" if n + 1 < count else "over"
        answers = f"    answers:\n      warm: {{go: a{n}}}\n      cold: {{go: b{n}}}\n"
        found.append(_STEP.format(id=f"q{n}", kind="ask", rest=answers))
        found += [_STEP.format(id=f"{side}{n}", kind="instruct", rest=f"    go: {on}\n") for side in "ab"]
    return _HEAD + "".join(found) + _OVER


def _mesh(count: int) -> str:
    """Every question leads to every other."""
    answers = "".join(f"      word{chr(97 + n % 26)}{chr(97 + n // 26)}: {{go: q{n}}}\n" for n in range(count))
    asked = [_STEP.format(id=f"q{n}", kind="ask", rest=f"    unknown: over\n    answers:\n{answers}") for n in range(count)]
    return _HEAD + "".join(asked) + _OVER


_BOMB = "a: &a [x, x, x, x, x, x, x, x, x]\n" + "".join(
    f"{chr(98 + n)}: &{chr(98 + n)} [{', '.join(['*' + chr(97 + n)] * 9)}]\n" for n in range(9)
)
LARGE = {
    "two ways a hundred times": _diamonds(100), "two ways without end": _diamonds(560), "all to all": _mesh(70),
    "deep": "[" * 130_000, "names of names": _BOMB, "one line": f"title: '{'a ' * 65_000}'\nversion: {' ' * 9_000}",
}  # fmt: skip


@pytest.mark.parametrize("name", LARGE)
def test_a_journal_of_139_kilobytes_is_read_in_bounded_work(tmp_path: Path, name: str) -> None:
    """Seconds of this thread's own processor, not of a clock: four such kept a desk busy for 221."""
    import hashlib

    from handsfree.desk.readout import machine, read_out
    from handsfree.visit.advice import advice_digest
    from handsfree.visit.machine import RULES

    text = LARGE[name]
    opened = dataclasses.replace(
        OPENED, procedure="p", copies=(("p", text),), digests=(("p", hashlib.sha256(text.encode()).hexdigest()),),
        rules=RULES, hazards=advice_digest(),
    )  # fmt: skip
    asked = [ev.Utterance("accepted", "command", "what next", words="what next") for _ in range(100)]
    folder = record(tmp_path, "large", *asked, Closed("fixed"), opened=opened)
    began = time.thread_time()
    out = read_out(folder, None, machine())
    assert time.thread_time() - began < 15, "of which comparing may take ten"
    assert {row["rule"] for row in out.rows["findings"]} & {"record does not follow", NOT_COMPARED, "earlier program"}


def test_a_sender_whose_visits_take_long_waits_and_others_do_not(empty: Desk, season: Made) -> None:
    """Work is counted by sender: here the first one's is used up."""
    slow, other = Device(empty), Device(empty)
    who = people.of_upload_key(empty.people, slow.key)
    assert who is not None
    empty.buckets.spend(f"work {who.id}", empty.rates.work, 100.0)
    answer = slow.send(season.folders["once"])
    assert answer is not None
    assert answer.status_code == 503
    assert 100 < int(answer.headers["retry-after"]) <= 200, "forty seconds over, at a fifth of one a second"
    answer = other.send(season.folders["once"])
    assert answer is not None
    assert answer.status_code == 201
    for _ in range(100):  # what costs little is not counted by the number
        assert other.send(season.folders["once"]).status_code == 200  # type: ignore[union-attr]  # it has answered


def test_a_flac_of_42_bytes_ends_no_listening_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Deaf:
        name = "deaf"

        def hear(self, samples: Any, listening: Any) -> Any:
            raise ValueError("no samples")

    monkeypatch.setattr(again, "recogniser_here", lambda *_: Deaf())
    folder = tmp_path / "v"
    with Journal.create(folder, clock=TestClock()) as journal:
        journal.append(OPENED)
        for data in (b"fLaC" + b"\0" * 38, b"fLaC\0\0\0\x22" + b"\xff" * 34, b""):
            name, digest = journal.keep_sound(data)
            journal.append(ev.Utterance("accepted", "phrase", "yes", clip=name, clip_sha256=digest))
        journal.seal()
    answer = again.hear_batch(again.Batch(str(folder), 0, 1, None, ""))
    assert len(answer.left_out) == 3


# ---- in another's name -----------------------------------------------------------------------------------------------


def test_a_device_of_one_team_in_the_name_of_another(empty: Desk, tmp_path: Path) -> None:
    people.add(empty.people, "Anna", "technician", "summit", made.BRANDNER, "snow lamps over twelve sheds")
    device = Device(empty)
    with empty.people.begin() as connection:
        from sqlalchemy import update

        from handsfree.desk.people_tables import User

        connection.execute(update(User).where(User.role == "device").values(team="valley"))
    answer = device.send(record(tmp_path, "theirs", Closed("fixed")))
    assert answer is not None
    assert "is a device of team valley" in answer.json()["quarantined"]
    assert queries.findings(empty.engine, EVERYBODY)[0].rule == NOT_THEIRS
    assert first_fix(empty.engine, EVERYBODY, ALWAYS, 4e9).firsts == 0
    unknown = dataclasses.replace(OPENED, technician="Somebody new")
    answer = device.send(record(tmp_path, "new", Closed("fixed"), opened=unknown))
    assert answer is not None
    assert answer.json()["quarantined"] == ""


# ---- sound ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("signed", [False, True])
def test_only_a_mark_with_the_right_to_removes_stored_sound(empty: Desk, tmp_path: Path, signed: bool) -> None:
    key = make("van-1", tmp_path / "keys") if signed else None
    if key is not None:
        empty.known = {key.public_key: "van-1"}
    folder = write_visit(tmp_path / "2026-02-11-kiosk-4", key=key)
    device = Device(empty)
    device.send(folder)
    there = empty.visits / folder.name / "sound"
    before = sorted(path.name for path in there.iterdir())
    late = TestClock(began=TestClock().began + timedelta(days=100))
    (done,) = prune_visits(folder, timedelta(days=90), now=late.wall(), key=key, clock=late)
    assert done.removed == len(before)
    answer = device.send(folder)
    assert answer is not None
    assert answer.json()["quarantined"] == ""
    assert sorted(path.name for path in there.iterdir()) == ([] if signed else before)


def test_a_second_mark_removes_no_sound_of_another_device(empty: Desk, tmp_path: Path) -> None:
    """Who takes a visit up has the right to their own sound. A mark on that, and on what a mark without the right had named
    before, erased the sound of the first device at the desk."""
    one, two = (make(name, tmp_path / name) for name in ("van-1", "van-2"))
    empty.known = {one.public_key: "van-1", two.public_key: "van-2"}
    folder = write_visit(tmp_path / "2026-02-11-kiosk-4", key=one)
    device = Device(empty)
    device.send(folder)
    there = empty.visits / folder.name / "sound"
    before = sorted(path.name for path in there.iterdir())
    theirs = tuple((e.event.clip, e.event.clip_sha256) for e in read_list(folder) if getattr(e.event, "clip", ""))
    with Journal.resume(folder, clock=TestClock(at=9000.0), key=two) as journal:
        journal.append(ev.Resumed("stopped"))
        own = journal.keep_sound(clip(99))
        journal.append(ev.NoteKept(*own, "", 1.0))
        journal.append(ev.SoundRemoved(theirs, "mine now"))
        journal.append(ev.SoundRemoved((own, *theirs), "old"))
        journal.seal()
    for name, _ in (own, *theirs):
        (folder / name).unlink()
    answer = device.send(folder)
    assert answer is not None
    assert answer.json()["quarantined"] == ""
    assert sorted(path.name for path in there.iterdir()) == before


def test_a_desk_that_keeps_sound_in_a_store_misses_no_sound(empty: Desk, tmp_path: Path) -> None:
    """Every visit with sound was a record that does not hold there: its files are not beside it."""
    empty.files = Files(empty.visits, (tmp_path / "store").as_uri())
    people.add(empty.people, "Vera", "supervisor", "*", "", PASSWORD)
    folder = write_visit(tmp_path / "2026-02-11-kiosk-4")
    answer = Device(empty).send(folder)
    assert answer is not None
    assert answer.json()["quarantined"] == ""
    for read in (lambda desk: None, read_folders):
        read(empty)
        assert not {row.rule for row in queries.findings(empty.engine, EVERYBODY)} & {BROKEN, NO_RIGHT}
        page = signed_in(empty, "Vera").get(f"/visits/{folder.name}").text
        assert "BROKEN" not in page
        assert "missing" not in page


def test_a_mark_in_a_store_has_the_right_that_it_has_beside_its_record(empty: Desk, tmp_path: Path) -> None:
    """The device that recorded it removes its sound; another has taken the visit up since."""
    one, two = (make(name, tmp_path / name) for name in ("van-1", "van-2"))
    empty.known = {one.public_key: "van-1", two.public_key: "van-2"}
    empty.files = Files(empty.visits, (tmp_path / "store").as_uri())
    folder = write_visit(tmp_path / "2026-02-11-kiosk-4", key=one)
    taken_up(folder, two, 9000.0)
    late = TestClock(began=TestClock().began + timedelta(days=100))
    list(prune_visits(folder, timedelta(days=90), now=late.wall(), key=one, clock=late))
    Device(empty).send(folder)
    assert NO_RIGHT not in {row.rule for row in queries.findings(empty.engine, EVERYBODY)}
    assert verify(folder, known=empty.known, sound=False).removals == verify(folder, known=empty.known).removals


# ---- copies, cuts and swaps -------------------------------------------------------------------------------------------


def test_a_copied_folder_counts_once(desk: Desk, season: Made) -> None:
    before = first_fix(desk.engine, EVERYBODY, ALWAYS, 4e9)
    name = season.folders["once"].name
    shutil.copytree(desk.visits / name, desk.visits / "copy-of-it")
    read_folders(desk)
    assert first_fix(desk.engine, EVERYBODY, ALWAYS, 4e9) == before
    (row,) = [row for row in queries.visits(desk.engine, EVERYBODY, Filter()) if row.name == "copy-of-it"]
    assert row.standing == "copy"
    assert row.worst == "copy of another visit"
    assert "is a copy of visit" in signed_in(desk, "Vera").get("/findings").text


def test_a_visit_cut_or_swapped_in_the_folder_is_told_by_what_was_noted(desk: Desk, season: Made) -> None:
    read_folders(desk)
    folder = desk.visits / season.folders["once"].name
    desk.heads.note(*[(folder.name, n, read.head) for n, read in [(_events(folder), account(folder).report)]], by="test")
    lines = (folder / "journal.jsonl").read_bytes().splitlines(keepends=True)
    (folder / "journal.jsonl").write_bytes(b"".join(lines[: len(lines) // 2]))
    with Journal.resume(folder) as journal:
        journal.append(Closed("fixed"))
        journal.seal()
    read_folders(desk)
    first = queries.findings(desk.engine, EVERYBODY)[0]
    assert (first.name, first.standing) == (folder.name, "broken")
    assert "was noted here" in first.sentence


def test_fixed_that_came_back_is_a_finding_of_the_visit_that_said_so(desk: Desk, season: Made) -> None:
    first = season.folders["first"].name
    rows = [row for row in queries.findings(desk.engine, EVERYBODY) if row.rule == CAME_BACK]
    assert [(row.name, row.level) for row in rows] == [(first, "look")]
    assert "after 9 days, on 2026-02-20" in rows[0].sentence
    shutil.copytree(desk.visits / season.folders["once"].name, desk.visits / "copy")
    read_folders(desk)
    assert [row for row in queries.findings(desk.engine, EVERYBODY) if row.rule == CAME_BACK] == rows


def _events(folder: Path) -> int:
    return len(read_list(folder))


def test_a_visit_that_was_here_and_comes_back_shorter(empty: Desk, season: Made, tmp_path: Path) -> None:
    folder = season.folders["once"]
    device = Device(empty)
    device.send(folder)
    shutil.rmtree(empty.visits / folder.name)
    answer = device.send(another_of(folder, tmp_path, without=20))
    assert answer is not None
    assert "was noted here" in answer.json()["quarantined"]
    assert len(list(quarantine.quarantined_names(empty.visits))) == 1


def test_the_ledger_grows_holds_and_proves(tmp_path: Path) -> None:
    key = make("desk-1", tmp_path / "keys")
    heads = Heads(tmp_path / "own", key)
    for n in range(9):
        assert heads.note((f"visit-{n}", 10 + n, f"{n:064x}"), by="van-1") == 1
    assert heads.note(("visit-3", 13, f"{3:064x}"), by="van-1") == 0
    again = Heads(tmp_path / "own", key)
    assert [head.visit for head in again.all()] == [f"visit-{n}" for n in range(9)]
    proof = again.proof("visit-4")
    assert proof is not None
    assert holds_proof(proof, "visit-4", f"{4:064x}")
    assert not holds_proof(proof, "visit-5", f"{4:064x}")
    assert not holds_proof({**proof, "at": 5}, "visit-4", f"{4:064x}")
    assert not holds_proof({**proof, "tree": {**proof["tree"], "root": "0" * 64}}, "visit-4", f"{4:064x}")
    assert not holds_proof({}, "visit-4", "")
    assert again.tree_head().holds
    assert again.proof("nobody") is None


@pytest.mark.parametrize("what", ["changed", "shorter", "swapped"])
def test_a_ledger_that_was_changed_is_told(tmp_path: Path, what: str) -> None:
    heads = Heads(tmp_path)
    heads.note(*[(f"visit-{n}", n, f"{n:064x}") for n in range(4)], by="van-1")
    path = tmp_path / FILE
    lines = path.read_bytes().splitlines(keepends=True)
    if what == "changed":
        path.write_bytes(path.read_bytes().replace(b"visit-2", b"visit-9"))
    elif what == "shorter":
        path.write_bytes(b"".join(lines[:2]))
    else:
        path.write_bytes(b"".join([lines[1], lines[0], *lines[2:]]))
    ask = partial(heads.note, ("visit-5", 5, "5" * 64), by="van-1") if what == "shorter" else Heads(tmp_path).all
    with pytest.raises(Trouble) as caught:
        ask()
    assert caught.value.status == 3


# ---- whole, and not what the program would have written ----------------------------------------------------------------


def test_a_record_that_does_not_follow_from_the_program_is_in_no_figure(desk: Desk, season: Made) -> None:
    """It is whole by its hashes, and somebody wrote into it what never happened."""
    read_folders(desk)
    before = first_fix(desk.engine, EVERYBODY, ALWAYS, 4e9)
    folder = desk.visits / season.folders["once"].name
    entries = read_list(folder)
    at = next(n for n, e in enumerate(entries) if isinstance(e.event, ReadingTaken))
    entries[at] = dataclasses.replace(entries[at], event=dataclasses.replace(entries[at].event, value=3.5, given=3.5))
    (folder / "journal.jsonl").write_bytes(b"".join(sealed_anew(entries)))
    read_folders(desk)
    (row,) = [row for row in queries.visits(desk.engine, EVERYBODY, Filter()) if row.name == folder.name]
    assert (row.standing, row.worst, row.problem) == ("departing", "record does not follow", "")
    assert first_fix(desk.engine, EVERYBODY, ALWAYS, 4e9).firsts == before.firsts - 1
    with desk.engine.connect() as connection:
        taken = select(Reading.n).join(Visit, Visit.id == Reading.visit_id).where(Visit.name == folder.name)
        assert list(connection.scalars(taken)) == []
    browser = signed_in(desk, "Vera")
    for path in (*PAGES, f"/visits/{folder.name}"):
        assert browser.get(path).status_code == 200, path
    assert "in no figure" in browser.get("/visits").text
    assert desk.heads.last_of(folder.name) is not None, "what becomes of it is noted all the same"


@pytest.mark.parametrize("months", [1, 500])
def test_a_visit_nobody_closed_for_months_takes_no_longer_than_people_were_there(tmp_path: Path, months: int) -> None:
    """A device slept with its lid shut, or a record says so: one such visit made the mean of all 64,610 minutes."""
    from handsfree.desk.readout import read_out

    clock = TestClock()
    with Journal.create(tmp_path / "asleep", clock=clock) as journal:
        journal.append(dataclasses.replace(OPENED, visit="asleep"))
        journal.append(ev.StepEntered(("kiosk-warm",), "air", "read", "LIVE"))
        clock.at += 300.0
        journal.append(ev.TimerRang("x"))
        clock.at += months * 30 * 86_400.0
        journal.append(ev.TimerRang("y"))
        clock.at += 60.0
        journal.append(Closed("fixed"))
        journal.seal()
    out = read_out(tmp_path / "asleep")
    assert 360.0 <= out.visit["on_site"] < 400.0
    (step,) = out.rows["steps"]
    assert 360.0 <= step["seconds"] < 400.0


def test_what_takes_too_long_to_compare_is_in_no_figure(desk: Desk, season: Made, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody could tell whether it follows: an honest one takes a thousandth of the time it may."""
    monkeypatch.setattr("handsfree.journal.follow.departure.__defaults__", (-1.0,))
    folder = season.folders["once"]
    with Journal.resume(desk.visits / folder.name) as journal:  # one more line, so that it is read again
        journal.append(ev.Resumed("fixed"))
        journal.seal()
    read_folders(desk)
    (row,) = [row for row in queries.visits(desk.engine, EVERYBODY, Filter()) if row.name == folder.name]
    assert (row.standing, row.worst) == ("departing", NOT_COMPARED)
