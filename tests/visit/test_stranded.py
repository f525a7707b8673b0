"""A visit whose procedure may not run any more is taken up for its locks alone; no number is lost with a record."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.errors import Trouble
from handsfree.journal.events import DeskAnswered, Gate, LockChanged, Opened, Resumed, Say, StepEntered
from handsfree.procedure.load import load_book
from handsfree.trade import faultmodel
from handsfree.visit import advice, sessions, wayout
from handsfree.visit.machine import RULES, start
from handsfree.visit.rebuilt import rebuilt
from handsfree.visit.state import Awaiting
from tests.isolation.test_finds import CLEARS, LIFT, OPENS
from tests.visit.scenes import ENGLISH, Scene, book

ALONE = LIFT.replace("people: 2, ", "")
WHY = ("lift.yaml: it may not run",)


@pytest.fixture(autouse=True)
def _no_oracle(monkeypatch: pytest.MonkeyPatch) -> None:
    """The oracle of `scenes` knows the procedure alone."""
    monkeypatch.setattr("tests.visit.scenes.Oracle.sees", lambda *_: None)


def locked() -> Scene:
    scene = Scene(book(ALONE)).open().words(OPENS, "nothing runs", "understood")
    assert scene.step == "out"
    return scene


def barred(scene: Scene, technician: str = "", why: str = "interrupted") -> Scene:
    scene.lock = ""
    scene.tell(Resumed(why, technician=technician, barred=WHY))
    return scene


def test_it_is_said_and_only_the_restore_is_left() -> None:
    scene = barred(locked())
    assert ENGLISH.prompt("barred") in scene.said
    assert "The lock of the first person is still on: plug." in scene.said
    assert scene.power == "LIVE"
    scene.words("four two", "affirm")
    assert scene.state.path == (wayout.NAME,)
    scene.words("next step", "next step", "next step")
    assert scene.state.awaiting is Awaiting.RESTORE_GATE
    scene.words(CLEARS, "next step")
    assert scene.state.outcome == "made safe"
    assert not scene.state.interlock.locks
    assert ENGLISH.prompt("barred-end") in scene.said


def test_no_word_of_the_procedure_is_read_again() -> None:
    scene = locked()
    begun = len(scene.record)
    barred(scene).words("go back", "correction", "say again", "where am i", "what next", "four two", "affirm")
    scene.words("go back", "say again", "next step", "go back", "say again", "help")
    said = " ".join(e.event.text for e in scene.record[begun:] if isinstance(e.event, Say))
    assert not [step.say for step in scene.book.procedures["lift"].steps if step.say in said]
    assert {e.event.path for e in scene.record[begun:] if isinstance(e.event, StepEntered)} == {(wayout.NAME,)}
    assert not any(e.event.now in ("ISOLATING", "ISOLATED") for e in scene.record[begun:] if isinstance(e.event, Gate))


def test_who_finds_the_lock_of_another_takes_it_off_by_the_steps_for_that_alone() -> None:
    scene = barred(locked(), "B. Alder (invented)").words("five six", "affirm", "next step", "next step", "next step")
    assert scene.state.awaiting is Awaiting.OWNER_GONE
    scene.words("clear lock five six")
    assert scene.state.interlock.locks
    scene.words("affirm", "affirm", "affirm", "affirm")
    assert not scene.state.interlock.locks


def test_a_crash_there_leads_back_there_and_a_replay_to_the_same() -> None:
    scene = barred(locked()).words("four two", "affirm", "next step")
    scene.tell(Resumed("interrupted"))
    assert scene.state.path == (wayout.NAME,)
    assert scene.state.awaiting is Awaiting.RESTORE_CHECK
    again = scene.again()
    assert (again.frames, again.interlock, again.awaiting) == (
        scene.state.frames, scene.state.interlock, scene.state.awaiting
    )  # fmt: skip


def kept(tmp_path: Path, lines: tuple[str, ...]) -> Path:
    """The record of a visit on disk, interrupted after these lines."""
    path = tmp_path / "lift.yaml"
    path.write_text(ALONE, encoding="utf-8")
    the_book = load_book(path)
    session = sessions.begin(the_book, tmp_path / "visits", sessions.Who(), "typed")
    session.journal.append(session.first)
    scene = Scene(the_book)
    scene.tell(session.first)
    for effect in scene.last:
        session.journal.append(effect)
    for line in lines:
        before = len(scene.record)
        scene.words(line)
        for entry in scene.record[before:]:
            session.journal.append(entry.event)
    session.journal.close()
    return session.folder


def unfit(monkeypatch: pytest.MonkeyPatch) -> None:
    """A rule that was not known when the visit began."""
    from handsfree.procedure import safe
    from handsfree.procedure.remarks import Remark, Weight

    fault = Remark("lift.yaml", 3, "out", "graph", Weight.ERROR, "It may not run.", "")
    monkeypatch.setattr(safe, "faults_of", lambda book, known=None: (fault,))


def test_taken_up_from_disk_with_a_lock_on_it_says_why(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = kept(tmp_path, ("four two", "affirm", OPENS))
    unfit(monkeypatch)
    session = sessions.resume(folder)
    session.journal.close()
    assert isinstance(session.first, Resumed)
    assert ["It may not run" in why for why in session.first.barred] == [True]


def test_with_no_lock_on_it_is_refused_as_before(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = kept(tmp_path, ("four two",))
    unfit(monkeypatch)
    with pytest.raises(Trouble, match="not safe to run"):
        sessions.resume(folder)


def test_a_record_of_other_rules_keeps_whose_lock_it_is() -> None:
    """Else whoever states any number under the same name would take it off."""
    scene = locked()
    state = rebuilt(start(scene.book, ENGLISH), scene.record)
    assert [(one.name, one.number, one.here) for one in state.interlock.people] == [
        ("the first person", ("four", "two"), False)
    ]
    assert {(lock.owner, lock.source) for lock in state.interlock.locks} == {("the first person", "plug")}
    later = Scene(scene.book)
    later.state = state
    later.tell(Resumed("interrupted"))
    later.words("five six", "affirm")
    assert later.state.interlock.person.name != "the first person"


def test_a_record_of_other_rules_keeps_whom_to_call_who_may_come_and_what_the_desk_asks() -> None:
    scene = Scene(book(ALONE))
    asked = (("a", "Vera", "Why?"), ("b", "Vera", "When?"))
    scene.tell(Opened("v", "lift", "en", "", "", "", "t", "typed", emergency="one one two", technicians=("C. Birch",),
                      questions=asked))  # fmt: skip
    scene._stamp(DeskAnswered("a"))
    state = rebuilt(start(scene.book, ENGLISH), scene.record)
    assert (state.emergency, state.technicians, state.questions) == ("one one two", ("C. Birch",), asked[1:])


def test_a_lock_that_came_off_is_not_on_in_what_is_rebuilt() -> None:
    scene = locked().words("next step", "next step", "next step", "next step", CLEARS)
    assert [e.event.on for e in scene.record if isinstance(e.event, LockChanged)] == [True, False]
    assert not rebuilt(start(scene.book, ENGLISH), scene.record).interlock.locks


def test_a_visit_begun_under_another_fault_model_starts_from_what_is_on_record(monkeypatch: pytest.MonkeyPatch) -> None:
    """The fault model has a say in what is asked next: gone over again by another, a record would not follow."""
    scene = Scene(book(ALONE))
    scene.tell(Opened("v", "lift", "en", "", "", "", "t", "typed", rules=RULES, hazards=advice.advice_digest()))
    resumed: list[bool] = []
    monkeypatch.setattr(sessions, "recorded_book", lambda opened: scene.book)
    monkeypatch.setattr(sessions, "rebuilt", lambda state, entries: resumed.append(True) or state)
    sessions.state_of(scene.record, Path())
    assert not resumed
    monkeypatch.setattr(faultmodel, "digest", lambda: "another")
    sessions.state_of(scene.record, Path())
    assert resumed
