"""Whole visits through the machine, by typed words: what is refused, what is asked again, what opens."""

from __future__ import annotations

from dataclasses import replace

import pytest

from handsfree.isolation.interlock import Interlock
from handsfree.journal.events import (
    Alarm,
    CautionTaken,
    Closed,
    Corrected,
    Gate,
    ListenFor,
    NoteKept,
    ReadingTaken,
    Resumed,
    Say,
    SetTimer,
    SoundBack,
    SoundLost,
    TimerRang,
    Utterance,
)
from handsfree.language.meaning import EMERGENCY, Sense, Verdict
from handsfree.visit.questions import flow_of
from tests.visit import data
from tests.visit.scenes import ENGLISH, Scene, accepted, book

#: Standing by: the way on, and what is heard at every moment.
STANDING_BY = ListenFor(commands=("go ahead", "help", "stop", "power is on", *EMERGENCY))


def at_gate() -> Scene:
    return Scene(book(data.WHOLE)).open().words("next step", "warm", "43.5")


def isolated() -> Scene:
    scene = at_gate().words("isolated lock four two", "nothing runs")
    assert scene.power == "ISOLATED"
    return scene


def test_a_whole_visit_ends_and_replays_to_the_same_state() -> None:
    scene = isolated().words("understood", "next step")
    assert scene.step == "rest"
    scene.tell(TimerRang("wait"), after=61)
    scene.tell(TimerRang("wait"), after=60)
    assert scene.step == "touch"
    scene.words("next step", "next step", "next step", "next step", "clear, lock four two", "next step")
    assert scene.state.outcome == "done"
    assert scene.power == "LIVE"
    assert scene.again() == scene.state


def test_the_lock_number_is_spoken_once_and_never_again() -> None:
    scene = Scene(book(data.WHOLE)).open("seven three nine")
    scene.words("next step", "warm", "43.5", "say again", "isolated lock seven three nine", "nothing runs", "where am i")
    said = [entry.event.text for entry in scene.record if isinstance(entry.event, Say)]
    assert sum("seven three nine" in text.casefold() for text in said) == 1


@pytest.mark.parametrize("line", [
    "next step", "go ahead", "affirm", "understood", "nothing runs", "isolated", "lock four two", "isolated lock",
    "isolated lock four", "isolated lock four three", "isolated lock two four", "isolated lock four two two",
    "not isolated lock four two", "is it isolated lock four two", "isolated lock four two I think",
    "isolated, no, lock four two",
   
    "clear lock four two", "power is isolated", "it is isolated", "isolation lock four two", "four two", "yes",
    "isolated lock forty three", "isn't isolated lock four two", "isolated? lock four two maybe",
])
def test_nothing_else_opens_the_gate(line: str) -> None:
    scene = at_gate().words(line)
    assert (scene.step, scene.power, scene.state.interlock.held) == ("isolate", "ISOLATING", False)
    assert scene.said


@pytest.mark.parametrize(("line", "reason"), [
    ("not isolated", "You said it is not."),
    ("is it isolated", "That was a question."),
    ("power is still on", "The supply is on."),
    ("isolated I think", "You do not sound sure."),
    ("isolated lock", "I heard the word, not the number."),
    ("isolated lock four three", "That is not your number."),
])
def test_a_denial_is_told_why(line: str, reason: str) -> None:
    assert reason in at_gate().words(line).said


def test_three_failures_say_what_is_needed_and_offer_to_stop() -> None:
    scene = at_gate().words("next step", "not isolated")
    assert "stop the visit" not in scene.said
    scene.words("isolated lock four three")
    assert "You can type it" in scene.said
    scene.words("isolated lock four three")
    assert "stop the visit" in scene.said
    assert scene.words("isolated lock four two").step == "proof"


def test_hazard_and_restore_are_not_reached_by_the_phrase_without_proof() -> None:
    scene = at_gate().words("isolated lock four two", "next step", "go ahead", "go back", "affirm")
    assert (scene.step, scene.power) == ("proof", "ISOLATING")
    scene.words("it runs")
    assert (scene.step, scene.power) == ("isolate", "ISOLATING")
    assert not scene.state.interlock.held


def test_power_is_on_clears_at_once_and_comes_back_where_it_was() -> None:
    scene = isolated().words("understood")
    assert scene.step == "reach"
    scene.words("power is on")
    assert "Isolation is cleared" in scene.said
    assert (scene.step, scene.power) == ("isolate", "ISOLATING")
    scene.words("isolated lock four two", "nothing runs")
    assert (scene.step, scene.power) == ("reach", "ISOLATED")


def test_a_break_clears_even_if_no_timer_rings() -> None:
    scene = isolated().words("understood")
    scene.words("next step", after=31 * 60)
    assert "the break was too long" in scene.said
    assert scene.step == "isolate"


def test_a_call_for_help_after_too_long_a_break_is_answered() -> None:
    """Found by reading: what was said first after the break was dropped, whatever it was."""
    scene = isolated().words("understood")
    scene.words("i am hurt", after=31 * 60)
    assert "the break was too long" in scene.said
    assert [effect for effect in scene.last if isinstance(effect, Alarm)]


def test_a_clearing_that_a_lost_loudspeaker_swallowed_is_said_after_a_restart() -> None:
    """At a step that needs no isolation: the source is LIVE at once."""
    scene = isolated().words("understood", "next step")
    scene.tell(SoundLost("headset", "loudspeaker"))
    assert (scene.step, scene.power) == ("rest", "LIVE")
    scene.tell(Resumed("interrupted"), after=20)
    assert "Isolation is cleared: the visit was interrupted." in scene.said


def test_a_break_timer_is_set_and_clears() -> None:
    scene = isolated()
    assert any(isinstance(e, SetTimer) and e.timer == "break" for e in scene.last)
    scene.tell(TimerRang("break"), after=30 * 60 + 1)
    assert scene.power != "ISOLATED"


def test_a_resume_closes_the_gate_and_tells_where() -> None:
    scene = isolated().words("understood")
    scene.tell(Resumed("interrupted"), after=20)
    assert "The visit goes on" in scene.said
    assert "Isolation is cleared" in scene.said
    assert (scene.step, scene.power) == ("isolate", "ISOLATING")


def test_lost_sound_closes_the_gate_and_stands_by() -> None:
    scene = isolated().words("understood")
    scene.tell(SoundLost("headset", "microphone"))
    assert scene.power != "ISOLATED"
    scene.words("isolated lock four two")
    assert not scene.state.interlock.held
    scene.tell(SoundBack("headset", "microphone"))
    scene.words("go ahead", "isolated lock four two", "nothing runs")
    assert scene.step == "reach"


def test_that_lost_sound_cleared_the_isolation_is_said_when_it_can_be_heard() -> None:
    """What is said into a loudspeaker that is gone reaches nobody, and hands are in the cabinet."""
    scene = isolated().words("understood")
    for part in ("microphone", "loudspeaker"):
        scene.tell(SoundLost("headset", part))
    scene.tell(SoundBack("headset", "microphone"))
    assert not [effect for effect in scene.last if isinstance(effect, Say)]
    scene.tell(SoundBack("headset", "loudspeaker"))
    assert scene.said.startswith("Isolation is cleared: the visit was interrupted. Hands out.")
    assert scene.said.endswith("Standing by. Say go ahead.")


def test_going_back_from_an_unconfirmed_isolation_is_live_again() -> None:
    scene = at_gate().words("go back")
    assert (scene.step, scene.power) == ("air", "LIVE")
    scene.words("44", "correction")
    assert (scene.step, scene.power) == ("air", "LIVE")
    assert any(isinstance(e, Corrected) for e in scene.last)


def test_going_back_stops_at_the_gate() -> None:
    scene = isolated().words("understood", "go back", "go back", "go back")
    assert (scene.step, scene.power) == ("warn", "ISOLATED")
    assert "nothing to go back to" in scene.said


def test_a_caution_wants_understood() -> None:
    scene = isolated().words("next step", "go ahead")
    assert scene.step == "warn"
    scene.words("understood")
    assert any(isinstance(e, CautionTaken) and e.level == "warning" for e in scene.last)


def test_readings_convert_and_keep_both() -> None:
    scene = Scene(book(data.WHOLE)).open().words("next step", "warm", "6 degrees celsius")
    (taken,) = [e for e in scene.last if isinstance(e, ReadingTaken)]
    assert (round(taken.value or 0, 6), taken.unit, taken.given, taken.given_unit) == (42.8, "degF", 6.0, "degC")


def test_a_unit_that_cannot_be_is_asked_about() -> None:
    scene = Scene(book(data.WHOLE)).open().words("next step", "warm", "12 volts")
    assert scene.step == "air"
    assert "volts" in scene.said


def test_an_implausible_reading_needs_affirm() -> None:
    scene = Scene(book(data.WHOLE)).open().words("next step", "warm", "435")
    assert "hardly possible" in scene.said
    assert scene.words("next step").step == "air"
    assert scene.words("negative", "43.5").step == "isolate"


def test_what_may_be_taken_for_another_number_is_said_by_its_digits() -> None:
    scene = Scene(book(data.WHOLE)).open().words("next step", "warm", "fifteen")
    assert scene.said.startswith("One five.")


def test_over_range_is_an_answer_of_its_own() -> None:
    scene = Scene(book(data.WHOLE)).open().words("next step", "warm", "off scale")
    assert scene.step == "look"
    assert any(isinstance(e, ReadingTaken) and e.state == "over range" and e.value is None for e in scene.last)


def test_a_near_tie_is_asked_never_settled() -> None:
    scene = Scene(book(data.WHOLE)).open().words("next step", "warm")
    tie = Utterance(Verdict.ASKED_AGAIN, Sense.NUMBER, "15", 15.0, rivals=(("number", "15", 15.0), ("number", "50", 50.0)))
    scene.tell(tie)
    assert "fifteen, one five or fifty, five zero" in scene.said
    assert scene.step == "air"


def test_stand_by_listens_for_go_ahead_only() -> None:
    scene = Scene(book(data.WHOLE)).open().words("stand by")
    assert scene.state.listening == STANDING_BY
    scene.tell(accepted(Sense.COMMAND, "next step"))
    assert scene.step == "look"
    scene.words("go ahead")
    assert "Look at the cabinet" in scene.said


def test_stopping_is_asked_twice() -> None:
    scene = Scene(book(data.WHOLE)).open().words("stop the visit", "affirm")
    assert not scene.state.closed
    scene.words("negative", "stop the visit", "affirm", "affirm")
    assert scene.state.outcome == "stopped"


def test_a_note_takes_the_next_sentence_whatever_it_says() -> None:
    scene = Scene(book(data.WHOLE)).open().words("note")
    assert scene.state.listening is not None
    assert scene.state.listening.note
    scene.tell(NoteKept("", "", "isolated lock four two"))
    assert scene.step == "look"


def test_a_meter_proves_itself_before_and_after() -> None:
    scene = Scene(book(data.METER)).open().words("isolated lock four two")
    assert "Prove the tester" in scene.said
    scene.words("affirm", "zero volts", "affirm")
    assert scene.power == "ISOLATING"
    scene.words("affirm")
    assert (scene.step, scene.power) == ("touch", "ISOLATED")


@pytest.mark.parametrize("lines", [("negative",), ("affirm", "208"), ("affirm", "zero", "affirm", "negative")])
def test_a_meter_that_proves_nothing_isolates_nothing(lines: tuple[str, ...]) -> None:
    scene = Scene(book(data.METER)).open().words("isolated lock four two", *lines)
    assert (scene.step, scene.power) == ("isolate", "ISOLATING")


def test_a_procedure_with_no_gate_before_its_hazard_is_stopped_at_run_time_too() -> None:
    scene = Scene(book(data.BAD)).open().words("next step")
    assert scene.state.outcome == "stopped"
    assert "touch" not in scene.oracle.entered


def test_a_wait_of_a_day_closes_and_resumes_with_what_is_left() -> None:
    scene = Scene(book(data.DAYS)).open().words("next step")
    (closed,) = [e for e in scene.last if isinstance(e, Closed)]
    assert closed.outcome == "to be continued"
    assert closed.not_before == pytest.approx(scene.now + 86400)
    assert "24 hours from now" in scene.said
    scene.tell(Resumed("to be continued"), after=20 * 3600)
    assert "4 hours" in scene.said
    scene.tell(TimerRang("wait"), after=5 * 3600)
    assert scene.step == "after"


def test_a_wait_cut_short_is_asked_and_recorded() -> None:
    scene = isolated().words("understood", "next step", "next step")
    assert "Cut the wait short" in scene.said
    scene.words("affirm")
    assert scene.step == "touch"
    assert scene.state.remembered[("whole",), "rest"].state == "cut short"


def test_restoring_keeps_its_order() -> None:
    scene = isolated().words("understood", "next step", "next step", "affirm", "next step")
    assert scene.step == "restore"
    assert scene.power == "RESTORING"
    scene.words("clear lock four two")
    assert scene.state.check == 0
    scene.words("next step", "next step", "next step", "isolated lock four two")
    assert scene.power == "RESTORING"
    scene.words("clear lock four three")
    assert "That is not your number" in scene.said
    scene.words("clear lock four two", "next step")
    assert scene.state.outcome == "done"


def test_every_gate_change_is_recorded_in_order() -> None:
    scene = isolated().words("power is on")
    gates = [entry.event for entry in scene.record if isinstance(entry.event, Gate)]
    assert [(gate.was, gate.now) for gate in gates] == [
        ("LIVE", "ISOLATING"), ("ISOLATING", "ISOLATING"), ("ISOLATING", "ISOLATED"), ("ISOLATED", "LIVE"),
        ("LIVE", "ISOLATING"),  # what to do now
    ]


def test_not_for_me_does_nothing_at_all() -> None:
    scene = at_gate()
    before = scene.state
    effects = scene.tell(Utterance(Verdict.NOT_FOR_ME, Sense.GATE, "isolated, lock four two"), after=0.0)
    assert effects == ()
    assert scene.state.interlock == before.interlock


def test_what_next_and_why_rest_on_the_answers_so_far() -> None:
    text = data.WHOLE.replace("title: Whole visit", "title: Whole visit\ncomplaint: too_warm").replace(
        "answers: {cool: air, warm: , iced over", "answers: {cool: air, warm: {tells: display=dark}, iced over"
    )
    scene = Scene(book(text)).open().words("why")
    before = scene.said
    scene.words("next step", "warm", "why")
    assert "no supply" in scene.said
    assert "no supply" not in before
    assert scene.words("what next").said
    assert scene.step == "air"


def test_what_next_has_nothing_to_say_without_a_complaint() -> None:
    assert Scene(book(data.WHOLE)).open().words("what next").said == "Nothing to suggest here."


@pytest.mark.parametrize("lines", [
    (), ("next step",), ("next step", "warm"), ("next step", "warm", "43.5"), ("stop the visit",),
])
def test_a_resume_tells_the_new_ear_what_is_in_force(lines: tuple[str, ...]) -> None:
    """After a crash the ear is a new one: also where the same is in force as before, it has to be told."""
    scene = Scene(book(data.WHOLE)).open().words(*lines)
    scene.tell(Resumed("interrupted"))
    told = [effect for effect in scene.last if isinstance(effect, ListenFor)]
    assert told == [scene.state.listening]
    assert told[0] != ListenFor(commands=())


def test_a_dead_reading_counts_once_affirmed() -> None:
    """The reading that isolates is read back both ways and needs its 'affirm'."""
    scene = Scene(book(data.METER)).open().words("isolated lock four two", "affirm", "four point one volts")
    assert "Four point one volts?" in scene.said
    assert not any(isinstance(entry.event, ReadingTaken) for entry in scene.record)
    scene.words("next step")
    assert (scene.step, scene.power) == ("proof", "ISOLATING")
    scene.words("negative", "eighty volts")
    assert "still live" in scene.said
    assert (scene.step, scene.power) == ("isolate", "ISOLATING")
    scene.words("isolated lock four two", "affirm", "three", "correction", "two", "affirm", "affirm")
    assert scene.power == "ISOLATED"
    taken = [(e.event.value, e.event.affirmed) for e in scene.record if isinstance(e.event, ReadingTaken)]
    assert taken == [(80.0, False), (2.0, True)]


def test_the_quiet_reminder_never_speaks_a_step_behind_the_gate() -> None:
    """After a day away the visit has gone to its isolation, and asks for the lock number."""
    scene = isolated().words("understood", "stop the visit", "affirm", "affirm")
    scene.tell(Resumed("stopped"), after=13 * 3600)
    assert (scene.step, scene.power) == ("isolate", "LIVE")
    scene.tell(TimerRang("quiet"), after=180)
    assert "Reach" not in scene.said
    assert ENGLISH.prompt("lock-asked") in scene.said
    assert scene.words("four two", "affirm").step == "isolate"


def test_the_words_of_a_hazard_step_have_one_gate() -> None:
    """Asked for in any way, at a step that no procedure that was proved would stand at."""
    scene = isolated().words("understood")
    for interlock, spoken in ((scene.state.interlock, True), (Interlock(scene.book.energy.sources), False)):
        flow = flow_of(replace(scene.state, interlock=interlock))
        flow.say("Reach into the fan.", "step", sound="own.flac")
        flow.prompt("quiet", "notice", text="Reach into the fan.")
        said = [effect for effect in flow.effects if isinstance(effect, Say)]
        assert len(said) == 2
        assert all(("Reach" in one.text) is spoken for one in said)
        assert bool(said[0].sound) is spoken


def test_the_quiet_reminder_of_a_restore_says_what_is_awaited() -> None:
    scene = isolated().words("understood", "next step", "next step", "affirm", "next step")
    for line, words in ((None, "Tools out."), ("next step", "Covers on."), ("next step", "switched off"),
                        ("next step", "clear, lock, and your number"),
                        ("clear lock four two", "Put the plug in.")):
        if line is not None:
            scene.words(line)
        scene.tell(TimerRang("quiet"), after=180)
        assert words in scene.said
        assert "Power comes back" not in scene.said


SHORT_WAIT = data.DAYS.replace("24 h", "3 min")


def test_sound_that_comes_back_stands_by_as_it_says() -> None:
    """A wait ran out while nobody could speak: 'go ahead' tells the next step, and does not pass it unheard."""
    scene = Scene(book(SHORT_WAIT)).open().words("next step")
    scene.tell(SoundLost("headset", "microphone"))
    scene.tell(TimerRang("wait"), after=181)
    assert scene.step == "thaw"
    scene.tell(SoundBack("headset", "microphone"))
    assert scene.state.listening == STANDING_BY
    scene.words("go ahead")
    assert SetTimer("wait", 0.0) in scene.last
    scene.tell(TimerRang("wait"))
    assert scene.step == "after"
    assert "Look at the coil" in scene.said


@pytest.mark.parametrize(("before", "then"), [
    (("stand by",), ("go ahead",)), (("stop the visit",), ("negative",)), (("stop the visit", "affirm"), ("negative",)),
])
def test_what_is_laid_over_a_wait_outlasts_it(before: tuple[str, ...], then: tuple[str, ...]) -> None:
    scene = Scene(book(SHORT_WAIT)).open().words("next step", *before)
    listening = scene.state.listening
    scene.tell(TimerRang("wait"), after=181)
    assert (scene.step, scene.state.listening) == ("thaw", listening)
    scene.words(*then)
    scene.tell(TimerRang("wait"))
    assert scene.step == "after"


def test_a_note_begun_in_a_wait_stays_a_note() -> None:
    scene = Scene(book(SHORT_WAIT)).open().words("next step", "note")
    scene.tell(TimerRang("wait"), after=181)
    scene.tell(NoteKept("", "", "next step"))
    assert "Note kept" in scene.said
    scene.tell(TimerRang("wait"))
    assert scene.step == "after"


@pytest.mark.parametrize("mark", ["?", "？", "﹖", "⁇", "؟", " ?"])
def test_a_question_in_any_script_opens_nothing(mark: str) -> None:
    scene = at_gate().words(f"isolated lock 42{mark}")
    assert not scene.state.interlock.held
    assert "That was a question." in scene.said


NO_GATE = """
procedure: no-gate
title: A proof with no isolation
steps:
  - {id: proof, kind: prove, method: switch, say: Try the switch.}
  - {id: done, kind: end, outcome: done, say: Done.}
"""


@pytest.mark.parametrize("line", ["nothing runs", "it runs"])
def test_a_proof_with_no_isolation_is_never_done(line: str) -> None:
    """No such procedure is allowed to run; one that does is stopped, not called done."""
    scene = Scene(book(NO_GATE)).open()
    scene.tell(accepted(Sense.PHRASE, line))
    assert scene.power == "LIVE"
    assert scene.state.outcome == "stopped"


@pytest.mark.parametrize("line", ["nothing runs?", "nothing runs？"])
def test_a_question_proves_nothing(line: str) -> None:
    scene = at_gate().words("isolated lock four two", line)
    assert (scene.step, scene.power) == ("proof", "ISOLATING")


def test_power_is_on_is_heard_while_stopping_is_asked() -> None:
    scene = isolated().words("stop the visit", "power is on")
    assert scene.power != "ISOLATED"


def test_a_stopped_visit_asks_for_the_lock_number_again() -> None:
    """A number affirmed wrongly would else keep the gate shut for good."""
    scene = at_gate().words("stop the visit", "affirm", "affirm")
    scene.lock = "seven three"
    scene.tell(Resumed("stopped"))
    scene.words("isolated lock seven three", "nothing runs")
    assert scene.power == "ISOLATED"


def test_one_plug_that_takes_both_is_back_once() -> None:
    scene = Scene(book(data.WHOLE)).open()
    for part in ("loudspeaker", "microphone"):
        scene.tell(SoundLost("headset", part))
    scene.tell(SoundBack("headset", "microphone"))
    assert not [effect for effect in scene.last if isinstance(effect, Say)]
    scene.tell(SoundBack("headset", "loudspeaker"))
    assert scene.said == "Sound is back. Standing by. Say go ahead."
    assert scene.words("go ahead").said == "Going ahead. Look at the cabinet."
