"""What is said and recorded at a gate, sentence by sentence and event by event; whole visits are in test_visit."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from handsfree.journal.events import Gate, LockChanged, ReadingTaken, Say, Tone, Utterance
from handsfree.language.meaning import TOO_LOUD, WITNESS_FAILED, Denial, Sense, Verdict, gate_text
from handsfree.visit.state import Awaiting, Result
from tests.visit import data
from tests.visit.scenes import ENGLISH, Scene, accepted, book

OPENS = "isolated lock four two"


def said(scene: Scene) -> list[str]:
    return [effect.text for effect in scene.last if isinstance(effect, Say)]


def roles(scene: Scene) -> list[tuple[str, bool]]:
    return [(effect.role, effect.cuttable) for effect in scene.last if isinstance(effect, Say)]


def events(scene: Scene, kind: type[Any]) -> list[Any]:
    return [effect for effect in scene.last if isinstance(effect, kind)]


def tones(scene: Scene) -> list[str]:
    return [effect.name for effect in events(scene, Tone)]


def words(*keys: str) -> list[str]:
    return [ENGLISH.prompt(key) for key in keys]


def at_gate() -> Scene:
    return Scene(book(data.WHOLE)).open().words("next step", "warm", "43.5")


def at_clear() -> Scene:
    scene = at_gate().words(OPENS, "nothing runs", "understood", "next step", "next step", "affirm", "next step")
    return scene.words("next step", "next step", "next step")


def at_meter(*lines: str) -> Scene:
    return Scene(book(data.METER)).open().words(OPENS, *lines)


def test_the_phrase_opens_with_its_tone_and_goes_on_to_the_proof() -> None:
    scene = at_gate().words(OPENS)
    assert tones(scene) == ["heard", "gate open"]
    assert said(scene) == ["Now prove it dead. Try the switch. Nothing runs, or it runs?"]
    assert roles(scene) == [("step", False)]
    (gate,) = events(scene, Gate)
    assert gate == Gate("ISOLATING", "ISOLATING", "phrase", "the phrase of the first person", "isolate")
    assert scene.state.awaiting is Awaiting.SWITCH_TRIED


def test_the_clear_phrase_opens_and_asks_for_the_power() -> None:
    scene = at_clear()
    assert scene.state.awaiting is Awaiting.RESTORE_GATE
    scene.words("clear lock four two")
    assert tones(scene) == ["heard", "gate open"]
    assert said(scene) == ["Clear. Put the plug in."]
    assert events(scene, Gate) == [
        Gate("RESTORING", "RESTORING", "phrase", "the phrase of the first person", "restore")
    ]
    assert events(scene, LockChanged) == [LockChanged("the first person", "mains", False)]
    assert (scene.step, scene.power, scene.state.awaiting) == ("restore", "RESTORING", Awaiting.RESTORE_POWER)


@pytest.mark.parametrize(("clearing", "line", "key", "how"), [
    (False, "next step", "gate-closed", "refused"),
    (True, "next step", "gate-closed-restore", "refused"),
    (False, "not isolated", "gate-denied-negation", "denied"),
    (True, "clear lock four three", "gate-denied-number", "denied"),
    (False, "affirm", "gate-not-phrase", "refused"),
])
def test_a_refusal_says_why_and_what_is_needed(clearing: bool, line: str, key: str, how: str) -> None:
    scene = (at_clear() if clearing else at_gate()).words(line)
    plug = ["gate-leave-off"] if clearing else []
    assert said(scene) == words(key, *plug, "clear-need" if clearing else "isolate-need")
    assert roles(scene) == [("refusal", True), *([("refusal", False)] if clearing else []), ("question", True)]
    assert tones(scene)[-1] == "gate shut"
    (gate,) = events(scene, Gate)
    power = "RESTORING" if clearing else "ISOLATING"
    assert (gate.was, gate.now, gate.how) == (power, power, how)
    assert gate.why
    assert scene.state.interlock.failures == 1


@pytest.mark.parametrize("clearing", [False, True])
def test_each_failure_in_a_row_says_what_helps_more(clearing: bool) -> None:
    """Nearer, then the keyboard, then a safe stop that names whose locks are on; 'do not plug in' once."""
    scene = at_clear() if clearing else at_gate()
    need = ENGLISH.prompt("a-gate-clear" if clearing else "a-gate-isolated")
    for n, key in enumerate(("", "gate-nearer", "gate-typed", "gate-stop", "gate-stop"), 1):
        scene.words("affirm")
        assert scene.state.interlock.failures == n
        assert (ENGLISH.prompt("gate-leave-off") in said(scene)) is (clearing and n == 1)
        assert not key or ENGLISH.prompt(key, need=need) in said(scene)
        assert ("The lock of the first person is still on: mains." in said(scene)) is (clearing and n >= 4)


def test_who_speaks_into_a_microphone_that_clips_is_told_at_a_gate_and_at_a_question() -> None:
    loud = f"{TOO_LOUD}: its sound is cut off"
    scene = at_gate()
    before = (scene.state.awaiting, scene.power)
    opens = accepted(Sense.GATE, gate_text("isolated", ("four", "two")))
    scene.tell(replace(opens, verdict=Verdict.ASKED_AGAIN, engine="e", reason=loud))
    assert said(scene)[0] == ENGLISH.prompt("microphone-loud")
    assert (scene.state.awaiting, scene.power) == before
    scene = Scene(book(data.WHOLE)).open().words("next step")
    warm = replace(accepted(Sense.PHRASE, "warm"), verdict=Verdict.ASKED_AGAIN, engine="e")
    scene.tell(replace(warm, reason=loud))
    assert said(scene)[0] == ENGLISH.prompt("microphone-loud")
    scene.tell(replace(warm, reason="not sure enough"))
    assert ENGLISH.prompt("microphone-loud") not in said(scene)


def test_where_a_witness_failed_a_gate_says_so_and_asks_for_the_keyboard() -> None:
    scene = at_gate()
    before = (scene.state.awaiting, scene.power)
    opens = accepted(Sense.GATE, gate_text("isolated", ("four", "two")))
    scene.tell(replace(opens, verdict=Verdict.ASKED_AGAIN, engine="e", reason=f"{WITNESS_FAILED}: MemoryError: gone"))
    assert said(scene)[0] == ENGLISH.prompt("witness-failed")
    assert (scene.state.awaiting, scene.power) == before
    scene.words(OPENS)
    assert scene.state.awaiting is Awaiting.SWITCH_TRIED


@pytest.mark.parametrize(("line", "key"), [
    ("isolated", "gate-no-figures"), ("isolated lock", "gate-no-figures"), ("four two", "gate-no-word"),
    ("lock four two", "gate-no-word"),
])
def test_the_half_that_was_missing_is_said_and_never_the_figures(line: str, key: str) -> None:
    scene = at_gate().words(line)
    assert said(scene)[0] == ENGLISH.prompt(key)
    assert not {"four", "two"} & set(scene.said.replace(",", " ").split())
    assert not any("four" in gate.why or "two" in gate.why for gate in events(scene, Gate))


@pytest.mark.parametrize("clearing", [False, True])
def test_a_doubtful_voice_is_asked_once_more_and_another_never_opens(clearing: bool) -> None:
    scene = at_clear() if clearing else at_gate()
    opens = accepted(Sense.GATE, gate_text("clear" if clearing else "isolated", ("four", "two")))
    before = scene.state.awaiting
    scene.tell(replace(opens, voice="other"))
    assert said(scene)[0] == ENGLISH.prompt("gate-other-voice")
    assert scene.state.awaiting is before
    scene.tell(replace(opens, voice="doubtful"))
    assert said(scene) == words("gate-voice-again")
    assert scene.state.awaiting is before
    scene.tell(replace(opens, voice="other"))
    assert scene.state.awaiting is before
    scene.tell(replace(opens, voice="same"))
    assert scene.state.awaiting is not before


@pytest.mark.parametrize(("denial", "key"), [
    (Denial.NEGATION, "gate-denied-negation"), (Denial.STILL_ON, "gate-denied-live"),
    (Denial.QUESTION, "gate-denied-question"), (Denial.UNSURE, "gate-denied-unsure"), (Denial.HALF, "gate-again"),
    (Denial.NUMBER, "gate-denied-number"), ("one of a newer version", "gate-again"),
])
def test_each_denial_has_its_sentence(denial: str, key: str) -> None:
    scene = at_gate()
    scene.tell(Utterance(Verdict.ASKED_AGAIN, Sense.DENIAL, denial, words="what the engine wrote"))
    assert said(scene)[0] == ENGLISH.prompt(key)
    (gate,) = events(scene, Gate)
    assert (gate.how, gate.why) == ("denied", "what the engine wrote")


def test_the_phrase_asked_again_is_one_failure_and_stays_shut() -> None:
    scene = at_gate()
    scene.tell(Utterance(Verdict.ASKED_AGAIN, Sense.GATE, gate_text("isolated", ("four", "two")), spoken=OPENS, words="x"))
    assert said(scene)[0] == ENGLISH.prompt("gate-again")
    assert (scene.state.interlock.held, scene.state.interlock.failures) == (False, 1)
    assert events(scene, Gate)[0].why == "isolated lock … …"


def test_a_tester_is_asked_about_until_it_is_answered() -> None:
    scene = at_meter()
    assert scene.state.awaiting is Awaiting.TESTER_BEFORE
    scene.words("next step")
    assert said(scene) == words("need-affirm")
    assert roles(scene) == [("question", True)]
    assert scene.state.awaiting is Awaiting.TESTER_BEFORE
    scene.words("affirm")
    assert scene.state.awaiting is Awaiting.DEAD_READING
    assert said(scene)
    scene.words("zero", "affirm", "go ahead")
    assert said(scene) == words("need-affirm")
    assert (scene.state.awaiting, scene.power) == (Awaiting.TESTER_AFTER, "ISOLATING")


def test_a_bad_tester_starts_the_isolation_anew_and_cannot_be_talked_over() -> None:
    scene = at_meter("negative")
    assert said(scene)[0] == ENGLISH.prompt("tester-bad")
    assert roles(scene)[0] == ("refusal", False)
    assert (scene.step, scene.power, scene.state.interlock.held) == ("isolate", "ISOLATING", False)


@pytest.mark.parametrize("line", ["off scale", "unsteady"])
def test_no_state_of_a_meter_is_a_dead_reading(line: str) -> None:
    scene = at_meter("affirm", line)
    assert scene.state.awaiting is Awaiting.DEAD_READING
    assert said(scene) == words("reading-again")
    assert roles(scene) == [("question", True)]


def test_a_dead_reading_not_understood_is_asked_for_and_then_told_how() -> None:
    scene = at_meter("affirm")
    scene.tell(Utterance(Verdict.ASKED_AGAIN))
    assert said(scene) == ["The reading, in volts?"]
    scene.tell(Utterance(Verdict.ASKED_AGAIN))
    assert said(scene) == ["The reading, in volts? You can say a reading, say again or power is on."]


def test_amperes_are_no_dead_reading_and_millivolts_are_volts() -> None:
    scene = at_meter("affirm", "zero amps")
    assert said(scene) == [ENGLISH.prompt("unit-doubt", spoken="amps", asked="volts")]
    assert roles(scene) == [("question", True)]
    assert scene.state.pending is None
    scene.words("fifty millivolts")
    assert scene.state.pending is not None
    assert (scene.state.pending.value, scene.state.pending.given) == (pytest.approx(0.05), 50.0)
    assert scene.state.pending.given_unit == "millivolt"
    assert scene.state.awaiting is Awaiting.DEAD_AFFIRM


def test_what_is_no_reading_is_told_what_is_needed() -> None:
    scene = at_meter("affirm", "next step")
    assert said(scene) == ["The reading, in volts?"]
    assert roles(scene) == [("question", True)]
    scene.tell(accepted(Sense.NUMBER, "", None, "volt"))
    assert said(scene)[0].startswith("The reading, in volts?")


@pytest.mark.parametrize(("reading", "dead"), [("four point nine", True), ("five", False), ("minus five", False),
                                               ("minus four", True)])  # fmt: skip
def test_dead_is_below_the_limit_whichever_way_round_the_leads_are(reading: str, dead: bool) -> None:
    scene = at_meter("affirm", reading)
    assert (scene.state.awaiting is Awaiting.DEAD_AFFIRM) is dead
    assert (ENGLISH.prompt("not-dead") in said(scene)) is not dead


def test_a_live_reading_is_read_back_recorded_and_cleared_at_once() -> None:
    scene = at_meter("affirm", "208")
    assert said(scene)[:2] == ["Two hundred and eight volts.", ENGLISH.prompt("not-dead")]
    assert roles(scene)[:2] == [("readback", True), ("refusal", False)]
    (taken,) = events(scene, ReadingTaken)
    assert taken == ReadingTaken(
        ("meter",), "proof", "absence of voltage, the terminals", 208.0, "volt", 208.0, "volt", expected=(0.0, 5.0)
    )
    assert taken.affirmed is False
    assert scene.state.remembered[("meter",), "proof"] == Result("208 volt", 208.0, "volt")
    cleared = events(scene, Gate)[0]
    assert (cleared.was, cleared.now, cleared.how) == ("ISOLATING", "LIVE", "found live")
    assert cleared.why == ENGLISH.prompt("why-live")


def test_a_dead_reading_affirmed_is_recorded_with_both_values() -> None:
    scene = at_meter("affirm", "fifty millivolts", "affirm")
    (taken,) = events(scene, ReadingTaken)
    assert (taken.value, taken.unit, taken.given, taken.given_unit) == (pytest.approx(0.05), "volt", 50.0, "millivolt")
    assert (taken.affirmed, taken.expected) == (True, (0.0, 5.0))
    assert scene.state.pending is None
    assert scene.state.awaiting is Awaiting.TESTER_AFTER
    assert said(scene) == [ENGLISH.prompt("prove-tester-after", cue="")]
    assert scene.state.remembered[("meter",), "proof"].text == "0.05 volt"


@pytest.mark.parametrize("line", ["negative", "correction"])
def test_a_dead_reading_taken_back_is_asked_again_and_not_recorded(line: str) -> None:
    scene = at_meter("affirm", "three", "next step")
    assert said(scene) == words("need-affirm")
    assert roles(scene) == [("question", True)]
    scene.words(line)
    assert said(scene) == words("reading-again")
    assert roles(scene) == [("question", True)]
    assert (scene.state.pending, scene.state.awaiting) == (None, Awaiting.DEAD_READING)
    assert not any(isinstance(entry.event, ReadingTaken) for entry in scene.record)


def test_isolated_is_told_with_its_tone_and_recorded_as_the_proof() -> None:
    scene = at_gate().words(OPENS, "nothing runs")
    assert tones(scene) == ["heard", "heard", "gate open"]
    assert said(scene)[-1] == "Isolated. Warning. The fins are sharp. Say understood."
    assert events(scene, Gate) == [Gate("ISOLATING", "ISOLATED", "proof", "proof", "proof")]
    assert scene.state.remembered[("whole",), "proof"] == Result("nothing runs")


@pytest.mark.parametrize("said_", ["understood", "next step", "warm"])
def test_the_switch_is_asked_about_until_it_is_answered(said_: str) -> None:
    scene = at_gate().words(OPENS)
    scene.tell(accepted(Sense.PHRASE if said_ == "warm" else Sense.COMMAND, said_))
    assert said(scene) == ["Nothing runs or it runs?"]
    assert roles(scene) == [("question", True)]
    assert (scene.step, scene.power) == ("proof", "ISOLATING")


@pytest.mark.parametrize("sense", [Sense.COMMAND, Sense.DENIAL, Sense.GATE])
@pytest.mark.parametrize("words_", ["nothing runs", "it runs"])
def test_the_words_of_the_answer_in_another_sense_are_no_answer(sense: Sense, words_: str) -> None:
    scene = at_gate().words(OPENS)
    scene.tell(accepted(sense, words_))
    assert (scene.step, scene.power) == ("proof", "ISOLATING")
    assert scene.state.interlock.held


def test_it_runs_is_live() -> None:
    scene = at_gate().words(OPENS, "it runs")
    assert said(scene)[0] == ENGLISH.prompt("not-dead")
    assert events(scene, Gate)[0].how == "found live"


UNPROVED = """
procedure: unproved
title: A proof with no isolation before it
steps:
  - {id: proof, kind: prove, method: switch, say: Try the switch.}
  - {id: done, kind: end, outcome: done, say: Done.}
"""


def test_a_proof_with_no_isolation_before_it_stops_the_visit_and_is_never_done() -> None:
    """Only a procedure that no proof of its graph has seen gets here."""
    scene = Scene(book(UNPROVED)).open()
    assert scene.state.outcome == "stopped"
    assert scene.power == "LIVE"
    assert ENGLISH.prompt("hazard-no-isolation") in said(scene)
    refusals = [one for one in scene.last if isinstance(one, Say) and one.role == "refusal"]
    assert [one.cuttable for one in refusals] == [False]
    assert "done" not in scene.oracle.entered


def test_each_restore_check_waits_for_its_own_next_step() -> None:
    scene = at_gate().words(OPENS, "nothing runs", "understood", "next step", "next step", "affirm", "next step")
    assert (scene.state.awaiting, scene.state.check) == (Awaiting.RESTORE_CHECK, 0)
    scene.tell(accepted(Sense.COMMAND, "affirm"))
    assert (said(scene), scene.state.check) == (["Say next step when it is so."], 0)
    scene.words("next step")
    assert (said(scene), scene.state.check, scene.state.awaiting) == (
        ["Covers on."], 1, Awaiting.RESTORE_CHECK)
    scene.words("go ahead")
    assert said(scene) == ["Check: switched off, all hands clear. Tell everybody here that the power comes back."]
    scene.words("next step")
    assert (scene.state.awaiting, scene.state.check) == (Awaiting.RESTORE_GATE, 2)
    assert said(scene) == words("clear-need")


def test_the_power_comes_back_at_the_persons_word_alone() -> None:
    scene = at_clear().words("clear lock four two")
    scene.tell(accepted(Sense.COMMAND, "affirm"))
    assert (scene.state.awaiting, scene.power) == (Awaiting.RESTORE_POWER, "RESTORING")
    assert said(scene) == ["Say next step when the power is on."]
    scene.words("power is on")
    assert events(scene, Gate) == [Gate("RESTORING", "LIVE", "restored", "", "restore")]
    assert said(scene)[0] == "It is live. That was it. Visit closed."
    assert scene.state.outcome == "done"


@pytest.mark.parametrize("line", ["isolated lock number four two", "it is isolated lock four two"])
def test_a_word_too_many_at_a_gate_is_told_and_opens_nothing(line: str) -> None:
    """The prompt says 'and your number'; who says 'lock number four two' is told what to leave out."""
    scene = at_gate().words(line)
    assert said(scene)[0] == ENGLISH.prompt("gate-wording")
    assert scene.state.awaiting is Awaiting.GATE


@pytest.mark.parametrize("voice", ["", "same"])
def test_where_no_voice_was_compared_that_is_said_once_and_the_record_has_it_as_unknown(voice: str) -> None:
    """Found: three voices opened a gate between them, and nothing told that no voice had been looked at."""
    scene = at_gate()
    spoken = replace(accepted(Sense.GATE, "isolated, lock four two"), voice=voice)
    unknown = not voice
    scene.tell(spoken)
    first = next(effect for effect in scene.last if isinstance(effect, Gate))
    assert ("Your voice was not compared. Your number is enough." in scene.said) is unknown
    assert first.why == "the phrase of the first person" + (", voice not compared" if unknown else "")
    scene.words("nothing runs", "understood", "next step", "next step", "affirm", *("next step",) * 4)
    scene.tell(replace(spoken, text="clear, lock four two"))
    again = next(effect for effect in scene.last if isinstance(effect, Gate))
    assert ("not compared" in again.why, "not compared" in scene.said) == (unknown, False)
