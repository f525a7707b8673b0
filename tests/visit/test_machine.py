"""`advance` at its edges: what is no happening, asking again, timers, losses, resumes. Whole visits are in test_visit."""

from __future__ import annotations

from dataclasses import replace

import pytest

from handsfree.journal.events import (
    ClockMoved,
    DropTimer,
    NoteKept,
    PromptEnded,
    Resumed,
    Say,
    SetTimer,
    SoundDropped,
    SoundLost,
    Stamped,
    StopAsked,
    TimerRang,
    Tone,
    Utterance,
)
from handsfree.language.meaning import Sense, Verdict
from handsfree.visit.machine import QUIET_SECONDS, advance, start
from handsfree.visit.state import Awaiting, Overlay
from tests.visit import data
from tests.visit.scenes import ENGLISH, Scene, accepted, book

UNSURE = Utterance(Verdict.ASKED_AGAIN, words="mumble")


def said(scene: Scene) -> list[str]:
    return [effect.text for effect in scene.last if isinstance(effect, Say)]


def begun(*lines: str) -> Scene:
    return Scene(book(data.WHOLE)).open().words(*lines)


def isolated(*lines: str) -> Scene:
    return begun("next step", "warm", "43.5", "isolated lock four two", "nothing runs", *lines)


def test_what_is_no_happening_is_refused() -> None:
    state = start(book(data.WHOLE), ENGLISH)
    with pytest.raises(ValueError, match="Tone is not a happening"):
        advance(state, Stamped(0, "", 0.0, Tone("x")))
    with pytest.raises(ValueError, match="first happening of a visit is Opened"):
        advance(state, Stamped(0, "", 0.0, UNSURE))


def test_what_is_only_for_the_record_changes_nothing() -> None:
    scene = begun()
    before = scene.state
    scene.tell(PromptEnded(3, True), after=0.0)
    assert scene.last == (SetTimer("quiet", QUIET_SECONDS),) or scene.last == ()
    assert (scene.state.awaiting, scene.state.frames, scene.state.interlock) == (
        before.awaiting, before.frames, before.interlock)  # fmt: skip


def test_a_closed_visit_hears_nothing_but_its_resume() -> None:
    scene = begun("stop the visit", "affirm", "affirm")
    before = scene.state
    assert scene.tell(accepted(Sense.COMMAND, "next step")) == ()
    assert scene.state is before
    assert scene.tell(Resumed("interrupted"))


def test_the_first_asking_again_is_short_and_the_second_helps() -> None:
    scene = begun()
    scene.tell(UNSURE)
    assert said(scene) == ["Say next step when it is done."]
    scene.tell(UNSURE)
    assert said(scene) == ["Say next step when it is done. You can also say: say again or go back."]
    assert scene.words("next step").state.tries == 0


@pytest.mark.parametrize(("lines", "help_"), [
    (("next step",), "Cool, warm or iced over? You can say cannot tell, not fitted or say again."),
    (("next step", "warm"), "The reading, in degrees Fahrenheit? You can say a reading, over range or cannot tell."),
    (("next step", "warm", "435"), "Affirm or negative? You can say that is right, yes or no."),
    (("stop the visit",), "Stop the visit? Affirm or negative. You can say that is right, yes or no."),
    (("stop the visit", "affirm"), "Once more. Stop here? Affirm or negative. You can say that is right, yes or no."),
])
def test_the_help_is_that_of_what_is_awaited(lines: tuple[str, ...], help_: str) -> None:
    scene = begun(*lines)
    scene.tell(UNSURE)
    scene.tell(UNSURE)
    assert said(scene) == [help_]


def test_the_lock_number_and_a_caution_have_help_of_their_own() -> None:
    fresh = Scene(book(data.WHOLE)).open("")
    fresh.words("next step", "warm", "43.5")
    fresh.tell(UNSURE)
    fresh.tell(UNSURE)
    assert said(fresh)[0].startswith(ENGLISH.prompt("lock-asked"))
    caution = isolated()
    caution.tell(UNSURE)
    caution.tell(UNSURE)
    assert said(caution)[0].startswith(ENGLISH.prompt("need-understood"))


def test_a_near_tie_of_phrases_is_asked_by_their_names() -> None:
    scene = begun("next step")
    scene.tell(Utterance(Verdict.ASKED_AGAIN, rivals=(("phrase", "cool", None), ("command", "go back", None))))
    assert said(scene) == ["Cool, warm or iced over?"], "only answers of the same question are set against each other"
    scene.tell(Utterance(Verdict.ASKED_AGAIN, rivals=(("phrase", "cool", None), ("phrase", "warm", None))))
    assert said(scene) == ["Was that cool or warm?"]
    assert scene.step == "shown"


def test_a_near_tie_of_what_is_never_spoken_is_plainly_asked_again() -> None:
    scene = begun()
    scene.tell(Utterance(Verdict.ASKED_AGAIN, rivals=(("gate", "isolated, lock four two", None), ("denial", "half", None))))
    assert said(scene) == ["Say next step when it is done."]


def test_a_reading_not_surely_heard_in_a_unit_that_does_not_fit_is_asked_about_by_its_unit() -> None:
    scene = begun("next step", "warm")
    amps = Utterance(Verdict.ASKED_AGAIN, Sense.NUMBER, "27.1", 27.1, "ampere", words="27.1 amps")
    scene.tell(amps)
    assert said(scene) == ["I heard amps, but this step asks for degrees Fahrenheit. Give the reading again."]
    assert scene.step == begun("next step", "warm").step
    fits = replace(amps, unit="degC")
    scene.tell(fits)
    assert said(scene)[0].startswith("The reading, in degrees Fahrenheit?")


def test_standing_by_nobody_is_asked_again_and_a_note_takes_no_command() -> None:
    scene = begun("stand by")
    scene.tell(UNSURE)
    assert said(scene) == []
    assert scene.state.overlay is Overlay.STAND_BY
    noting = begun("note")
    noting.tell(UNSURE)
    assert said(noting) == []
    noting.tell(accepted(Sense.COMMAND, "next step"))
    assert (noting.step, noting.state.overlay) == ("look", Overlay.NOTE)


def test_power_is_on_is_heard_while_asked_whether_to_stop() -> None:
    scene = isolated("understood", "stop the visit", "power is on")
    assert scene.power != "ISOLATED"
    assert "Isolation is cleared" in scene.said


def test_quiet_is_told_once_and_not_in_a_wait_nor_under_an_overlay() -> None:
    scene = begun()
    scene.tell(TimerRang("quiet"), after=QUIET_SECONDS)
    assert said(scene) == [ENGLISH.prompt("quiet", text="Look at the cabinet.")]
    assert not any(isinstance(effect, SetTimer) for effect in scene.last)
    for other in (isolated("understood", "next step"), begun("stand by")):
        other.tell(TimerRang("quiet"), after=QUIET_SECONDS)
        assert said(other) == []


def test_an_unknown_timer_and_a_wait_that_is_over_already_do_nothing() -> None:
    scene = begun()
    scene.tell(TimerRang("wait"))
    scene.tell(TimerRang("something new"))
    assert said(scene) == []
    assert scene.step == "look"


def test_a_wait_tells_what_is_left_but_not_under_an_overlay() -> None:
    scene = isolated("understood", "next step")
    scene.tell(TimerRang("wait"), after=60.0)
    assert said(scene) == ["Half time: one minute left."]
    assert any(isinstance(effect, SetTimer) and effect.timer == "wait" for effect in scene.last)
    scene.words("stop the visit")
    scene.tell(TimerRang("wait"), after=1.0)
    assert said(scene) == []
    assert any(isinstance(effect, SetTimer) and effect.timer == "wait" for effect in scene.last)


def test_a_note_nobody_waits_for_is_nothing_and_an_empty_one_is_told() -> None:
    scene = begun()
    scene.tell(NoteKept("", "", "words"))
    assert said(scene) == []
    scene.words("note")
    scene.tell(NoteKept("", "", ""))
    assert said(scene)[0] == f"{ENGLISH.prompt('note-lost')} Look at the cabinet."
    scene.words("note")
    scene.tell(NoteKept("sound/00001.flac", "00" * 32, ""))
    assert said(scene)[0] == f"{ENGLISH.prompt('note-kept')} Look at the cabinet."


def test_lost_speech_is_asked_again_and_lost_noise_is_not() -> None:
    scene = begun()
    scene.tell(SoundDropped(6400, False))
    assert said(scene) == []
    scene.tell(SoundDropped(6400, True))
    assert said(scene) == [ENGLISH.prompt("sound-dropped")]


def test_lost_sound_on_a_live_cabinet_clears_nothing() -> None:
    scene = begun()
    scene.tell(SoundLost("headset", "microphone"))
    assert "Isolation is cleared" not in scene.said
    assert scene.state.overlay is Overlay.STAND_BY


def test_a_clock_that_moved_and_a_stop_from_outside_are_told() -> None:
    scene = begun()
    scene.tell(ClockMoved(-7.0))
    assert said(scene) == [ENGLISH.prompt("clock-moved")]
    scene.tell(StopAsked("the battery is empty"))
    assert said(scene)[0] == ENGLISH.prompt("stop-asked", why="the battery is empty")
    assert scene.state.outcome == "stopped"
    assert {effect.timer for effect in scene.last if isinstance(effect, DropTimer)} == {"wait", "break", "quiet"}


def test_a_resume_while_the_number_is_asked_for_asks_again() -> None:
    scene = Scene(book(data.WHOLE)).open("")
    scene.words("next step", "warm", "43.5", "four two")
    scene.tell(Resumed("interrupted"))
    assert (scene.state.awaiting, scene.state.lock_offered) == (Awaiting.LOCK_NUMBER, ())
    assert said(scene)[-1] == ENGLISH.prompt("lock-number")


@pytest.mark.parametrize(("why", "hours", "asked"), [
    ("interrupted", 0.1, False), ("interrupted", 12.1, True), ("stopped", 0.1, True),
])
def test_after_a_day_or_a_stop_the_lock_number_is_asked_for_again(why: str, hours: float, asked: bool) -> None:
    scene = begun("next step", "warm", "43.5")
    assert scene.state.interlock.lock
    scene.tell(Resumed(why), after=hours * 3600)
    assert (scene.state.awaiting is Awaiting.LOCK_NUMBER) is asked
    assert bool(scene.state.interlock.lock) is not asked


CIRCLE = """
procedure: circle
title: A circle
steps:
  - {id: ask, kind: ask, say: Is it cold?, answers: {cold: {go: one}, warm: }}
  - {id: one, kind: decide, cases: [{when: ask == "warm", go: ask}], otherwise: two}
  - {id: two, kind: decide, cases: [{when: ask == "warm", go: ask}], otherwise: one}
"""


def test_a_circle_of_steps_that_wait_for_nobody_stops_the_visit_and_says_so() -> None:
    """The proofs refuse such a procedure; a machine that is given one all the same does not run for ever."""
    scene = Scene(book(CIRCLE)).open()
    scene.tell(accepted(Sense.PHRASE, "cold"))
    assert ENGLISH.prompt("circles") in " ".join(said(scene))
    assert (scene.state.closed, scene.state.outcome) == (True, "stopped")


def test_a_visit_without_a_step_left_is_done() -> None:
    scene = Scene(book("procedure: short\ntitle: Short\nsteps:\n  - {id: look, kind: instruct, say: Look at it.}\n")).open()
    scene.words("next step")
    assert (scene.state.closed, scene.state.outcome) == (True, "done")
