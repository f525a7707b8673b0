"""Who it is: a number that is not on that person's lock, names that are known, and what a note may hide."""

from __future__ import annotations

from dataclasses import replace

import pytest

from handsfree.journal.events import Alarm, LockChanged, NoteKept, Opened, Resumed, SoundBack, SoundLost, TimerRang
from handsfree.language.meaning import Sense
from handsfree.settings import Settings
from handsfree.visit.state import Awaiting, Overlay
from tests.isolation.test_finds import CHARGE, LIFT, OPENS, TESTED
from tests.visit import followed as to
from tests.visit.followed import A, B, Followed
from tests.visit.scenes import ENGLISH, Scene, accepted, book

ALONE = LIFT.replace("people: 2, ", "")
LOOK_FIRST = ALONE.replace("steps:\n", "steps:\n  - {id: look, kind: instruct, say: Look.}\n")
BO, CY = "B. Alder (invented)", "C. Birch (invented)"


@pytest.fixture(autouse=True)
def _no_oracle(monkeypatch: pytest.MonkeyPatch) -> None:
    """The oracle of `scenes` knows one person."""
    monkeypatch.setattr("tests.visit.scenes.Oracle.sees", lambda *_: None)


def stopped() -> Scene:
    """The first person's lock, number 42, is on; the visit was stopped and is taken up."""
    scene = Scene(book(ALONE)).open().words(OPENS, "nothing runs", "understood")
    scene.words("stop the visit", "affirm", "affirm")
    scene.lock = ""
    scene.tell(Resumed("stopped"))
    return scene


def test_a_number_misremembered_makes_no_second_person() -> None:
    scene = stopped().words("four three")
    assert scene.state.awaiting is Awaiting.WHO
    assert "four two" not in scene.said
    scene.words("the first person")
    assert scene.state.awaiting is Awaiting.LOCK_NUMBER
    scene.words("four two", "affirm")
    assert scene.state.interlock.person.name == "the first person"


def test_who_insists_on_the_wrong_number_is_asked_again_and_takes_nothing_off() -> None:
    scene = stopped()
    for _ in range(3):
        scene.words("four three", "the first person")
    assert scene.state.awaiting is Awaiting.LOCK_NUMBER
    assert scene.state.interlock.locks


def test_somebody_new_is_told_who_they_are_with_the_number() -> None:
    scene = stopped().words("four three", "somebody new")
    assert scene.said.startswith("Four three, for the second person?")
    scene.words("affirm")
    assert scene.state.interlock.person.name == "the second person"


@pytest.mark.parametrize("line", ["next step", "affirm", "isolated lock four three", "somebody", "yes"])
def test_no_other_word_says_who_it_is(line: str) -> None:
    scene = stopped().words("four three", line)
    assert scene.state.awaiting is Awaiting.WHO


def known(text: str = LIFT) -> Scene:
    scene = Scene(book(text))
    scene.lock = "four two"
    scene.tell(Opened("v", scene.book.main, "en", BO, "", "", "t", "typed", technicians=(BO, CY)))
    scene.words(OPENS, "nothing runs", "understood")
    return scene


def test_a_second_person_says_their_name_where_names_are_known_and_the_record_has_it() -> None:
    scene = known()
    assert scene.state.awaiting is Awaiting.WHO
    assert scene.said.endswith(ENGLISH.prompt("who-comes", choices=f"{CY} or somebody new"))
    scene.words(CY)
    assert ENGLISH.prompt("lock-number-of", owner=CY) in scene.said
    scene.words("five six", "affirm", "isolated lock five six")
    assert scene.step == "out"
    on = {e.event.owner for e in scene.record if isinstance(e.event, LockChanged)}
    assert on == {BO, CY}


def test_who_is_on_no_list_is_the_second_person() -> None:
    scene = known().words("somebody new", "five six", "affirm", "isolated lock five six")
    assert {lock.owner for lock in scene.state.interlock.locks} == {BO, "the second person"}


def test_a_second_person_before_the_first_leaves_nobody_unlocked() -> None:
    scene = Scene(book(ALONE))
    scene.tell(Opened("v", scene.book.main, "en", "", "", "", "t", "typed"))
    assert scene.state.awaiting is Awaiting.LOCK_NUMBER
    scene = Scene(book(LOOK_FIRST))
    scene.tell(Opened("v", scene.book.main, "en", "", "", "", "t", "typed"))
    scene.words("second person")
    assert scene.said == ENGLISH.prompt("lock-number-of", owner="The first person")
    scene.words("four two", "affirm")
    assert scene.said.endswith(ENGLISH.prompt("lock-number-of", owner="The second person"))
    scene.words("five six", "affirm", "done", "affirm", "isolated lock five six")
    assert not scene.state.interlock.held, "the first one's lock is not on"
    scene.words(OPENS, "isolated lock five six")
    assert {lock.owner for lock in scene.state.interlock.locks} == {"the first person", "the second person"}


def test_a_second_person_who_was_only_misheard_binds_nobody() -> None:
    scene = Scene(book(LOOK_FIRST))
    scene.tell(Opened("v", scene.book.main, "en", "", "", "", "t", "typed"))
    scene.words("second person", "negative")
    assert (scene.step, scene.state.awaiting, scene.state.another) == ("look", Awaiting.DONE, False)
    assert not scene.state.interlock.people


def joining() -> Scene:
    """The charge and the plug are isolated; a second person has just stated their number."""
    look = "  - {id: look, kind: instruct, say: Look on.}\n  - {id: hold"
    scene = Scene(book(CHARGE.replace("  - {id: hold", look))).open()
    scene.words("understood", OPENS, "next step", "affirm", "zero", "affirm", "affirm", *TESTED)
    assert scene.step == "look"
    scene.words("second person", "five six", "affirm")
    assert scene.state.awaiting is Awaiting.JOIN_GATE
    return scene


def test_whoever_was_asked_for_their_lock_is_asked_still_after_a_charge_came_back() -> None:
    scene = joining()
    for _ in range(4):
        scene.one("say again", after=540.0)
    assert not scene.state.interlock.hold("capacitors").held
    assert scene.said == ENGLISH.prompt("join-need", owner="The second person")
    scene.words("isolated lock five six")
    assert {lock.owner for lock in scene.state.interlock.locks} == {"the first person", "the second person"}


@pytest.mark.parametrize(("line", "after"), [("power is on", 1.0), ("say again", 3600.0)])
def test_no_lock_is_asked_for_where_nothing_is_isolated_any_more(line: str, after: float) -> None:
    scene = joining()
    scene.one(line, after)
    assert not scene.state.interlock.held
    assert (scene.step, scene.state.awaiting) == ("off", Awaiting.GATE)


def test_after_a_transfer_the_next_who_comes_has_a_name_of_their_own() -> None:
    scene = Scene(book(LIFT)).open().words(OPENS, "nothing runs", "understood", "five six", "affirm")
    scene.words("isolated lock five six", "i am leaving", "clear lock four two", "second person", "seven eight", "affirm")
    scene.words("isolated lock seven eight")
    assert {lock.owner for lock in scene.state.interlock.locks} == {"the second person", "the third person"}
    assert len({one.number for one in scene.state.interlock.people if one.here}) == 2


def test_the_names_are_a_setting() -> None:
    assert Settings(technicians=f"{BO}, {CY} ,").who_may_come == (BO, CY)


# ---- notes ----------------------------------------------------------------------------------------------------------


def noting(**note: str) -> Scene:
    scene = Scene(book(ALONE)).open().words(OPENS, "nothing runs", "note")
    scene.tell(NoteKept("note-1.flac", "0" * 64, **note))
    return scene


def test_a_spoken_note_that_was_likely_power_is_on_acts() -> None:
    scene = noting(alarm="power is on")
    assert scene.power != "ISOLATED"
    assert "Isolation is cleared" in scene.said


def test_a_note_of_which_no_word_was_understood_says_what_to_do_should_it_have_been_that() -> None:
    assert ENGLISH.prompt("note-not-understood") in noting().said
    assert ENGLISH.prompt("note-not-understood") not in noting(text="the gasket is torn").said


@pytest.mark.parametrize("note", [{"alarm": "i am hurt"}, {"text": "I am hurt!"}, {"text": "Fire."}])
def test_an_alarm_in_a_note_is_answered(note: dict[str, str]) -> None:
    scene = noting(**note)
    assert [e.event.kind for e in scene.record if isinstance(e.event, Alarm)]
    assert scene.state.overlay is Overlay.STAND_BY


def test_the_word_alone_in_a_note_is_no_alarm() -> None:
    scene = noting(text="the fire label is torn off")
    assert not [e for e in scene.record if isinstance(e.event, Alarm)]
    assert scene.power == "ISOLATED"


@pytest.mark.parametrize(("lines", "word", "asked"), [
    ((), "second person", Awaiting.LOCK_NUMBER),
    (to.TO_WAIT, "second person", Awaiting.LOCK_NUMBER),
    (to.TWO_WAIT, "i am leaving", Awaiting.LEAVE_GATE),
])  # fmt: skip
def test_what_was_likely_heard_is_asked_no_more_once_a_person_is_asked(
    lines: tuple[str, ...], word: str, asked: Awaiting
) -> None:
    """Or its question would be read again where a number or a phrase is awaited."""
    scene = Followed().takes(*lines)
    scene.state = replace(scene.state, overlay=Overlay.PROPOSAL, proposed=accepted(Sense.COMMAND, "next step"))
    scene.tell(accepted(Sense.COMMAND, word))
    assert (scene.state.awaiting, scene.state.overlay) == (asked, Overlay.NONE)
    assert "Next step?" not in scene.said


@pytest.mark.parametrize("where", [to.TO_ARM, to.TO_WAIT, to.TO_WORK])
@pytest.mark.parametrize("asked", [(), (B,)])
def test_whoever_is_about_to_join_is_counted_before_what_was_cleared_is_isolated_anew(
    where: tuple[str, ...], asked: tuple[str, ...]
) -> None:
    """They said that they are here. Isolated without them, the work would begin with no lock of theirs on."""
    scene = Followed().takes(*where, "second person", *asked)
    before = scene.state.awaiting
    scene.tell(TimerRang("break"), after=3600.0)
    assert not scene.state.interlock.held
    assert scene.state.awaiting is before
    scene.takes(*(() if asked else (B,)), "affirm")
    assert len(scene.here) == 2
    while scene.state.awaiting is not Awaiting.GATE:
        scene.takes("affirm")
    scene.takes(f"isolated lock {A}")
    assert scene.state.awaiting is Awaiting.GATE, "the second person has not said it yet"


#: Where one is about to join while plug and arm are held: names are known, a number is due, or has been read back.
COMING: dict[str, tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]] = {
    "who": ((CY,), (), (CY, B, "affirm")),
    "a number": ((), (), (B, "affirm")),
    "a number affirmed": ((), (B,), ("affirm",)),
}


@pytest.mark.parametrize("coming", COMING)
@pytest.mark.parametrize("on", ["plug", "arm", ENGLISH.prompt("all-sources")])
def test_whoever_is_about_to_join_is_asked_on_once_it_is_known_which_source_is_on(coming: str, on: str) -> None:
    names, so_far, left = COMING[coming]
    scene = Followed(technicians=names).takes(*to.TO_WAIT, "second person", *so_far)
    before = scene.state.awaiting
    scene.takes("power is on")
    assert scene.state.awaiting is Awaiting.WHICH_SOURCE
    scene.takes(on)
    assert (scene.state.awaiting, scene.state.interlock.doubt) == (before, False)
    assert scene.told[0].startswith("Isolation is cleared: power is on. Hands out.")
    scene.takes(*left)
    assert len(scene.here) == 2
    if on in ("plug", "arm"):
        assert scene.state.awaiting is Awaiting.JOIN_GATE, "what is still held lacks their lock"
        scene.takes(f"isolated lock {B}")


@pytest.mark.parametrize("nobody", [("negative",), ()])
def test_who_did_not_come_after_all_is_forgotten(nobody: tuple[str, ...]) -> None:
    """They take it back, or the program was started again meanwhile."""
    scene = Followed().takes(*to.TO_WAIT, "second person", "power is on", "plug", *nobody)
    if not nobody:
        scene.tell(Resumed("crash"))
    assert scene.here == ["the first person"]
    scene.takes("power is on")
    assert scene.state.awaiting not in (Awaiting.WHO, Awaiting.LOCK_NUMBER)


def test_a_sound_that_is_lost_while_it_is_asked_which_source_is_on_forgets_nobody() -> None:
    scene = Followed().takes(*to.TO_WAIT, "second person", "power is on")
    scene.tell(SoundLost("", "microphone"))
    scene.tell(SoundBack("", "microphone"))
    scene.takes("go ahead")
    assert scene.state.awaiting is Awaiting.LOCK_NUMBER
    assert scene.state.joining == "the second person"
