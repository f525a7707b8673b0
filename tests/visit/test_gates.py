"""What is said and recorded at a gate, sentence by sentence and event by event; whole visits are in test_visit."""

from __future__ import annotations

from typing import Any

import pytest

from handsfree.journal.events import Gate, ReadingTaken, Say, Tone, Utterance
from handsfree.language.meaning import Denial, Sense, Verdict, gate_text
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
    return scene.words("next step", "next step")


def at_meter(*lines: str) -> Scene:
    return Scene(book(data.METER)).open().words(OPENS, *lines)


def test_the_phrase_opens_with_its_tone_and_goes_on_to_the_proof() -> None:
    scene = at_gate().words(OPENS)
    assert tones(scene) == ["heard", "gate open"]
    assert said(scene)[0] == ENGLISH.prompt("phrase-taken")
    assert roles(scene)[0] == ("answer", True)
    (gate,) = events(scene, Gate)
    assert gate == Gate("ISOLATING", "ISOLATING", "phrase", OPENS, "isolate")
    assert scene.state.awaiting is Awaiting.SWITCH_TRIED


def test_the_clear_phrase_opens_and_asks_for_the_power() -> None:
    scene = at_clear()
    assert scene.state.awaiting is Awaiting.RESTORE_GATE
    scene.words("clear lock four two")
    assert tones(scene) == ["heard", "gate open"]
    assert said(scene) == [ENGLISH.prompt("restored-clear"), "Put the plug in. Say next step when the power is on."]
    assert roles(scene)[0][0] == "answer"
    assert events(scene, Gate) == [Gate("RESTORING", "RESTORING", "phrase", "clear lock four two", "restore")]
    assert (scene.step, scene.power, scene.state.awaiting) == ("restore", "RESTORING", Awaiting.RESTORE_POWER)


@pytest.mark.parametrize(("clearing", "line", "key", "how"), [
    (False, "next step", "gate-closed", "refused"),
    (True, "next step", "gate-closed-restore", "refused"),
    (False, "not isolated", "gate-denied-negation", "denied"),
    (True, "clear lock four three", "gate-denied-number", "denied"),
    (False, "affirm", "gate-again", "refused"),
])
def test_a_refusal_says_why_and_what_is_needed(clearing: bool, line: str, key: str, how: str) -> None:
    scene = (at_clear() if clearing else at_gate()).words(line)
    need = "clear-need" if clearing else "isolate-need"
    assert said(scene) == words(key, need)
    assert roles(scene) == [("refusal", True), ("question", True)]
    assert tones(scene)[-1] == "gate shut"
    (gate,) = events(scene, Gate)
    power = "RESTORING" if clearing else "ISOLATING"
    assert (gate.was, gate.now, gate.how) == (power, power, how)
    assert gate.why
    assert scene.state.interlock.failures == 1


@pytest.mark.parametrize("clearing", [False, True])
def test_the_third_failure_in_a_row_says_the_whole_phrase(clearing: bool) -> None:
    scene = at_clear() if clearing else at_gate()
    full = "gate-need-full-clear" if clearing else "gate-need-full"
    for n in (1, 2, 3, 4):
        scene.words("affirm")
        assert scene.state.interlock.failures == n
        assert said(scene)[1] == ENGLISH.prompt(full if n >= 3 else "clear-need" if clearing else "isolate-need")
        assert roles(scene)[1][0] == ("refusal" if n >= 3 else "question")


@pytest.mark.parametrize(("denial", "key"), [
    (Denial.NEGATION, "gate-denied-negation"), (Denial.STILL_ON, "gate-denied-live"),
    (Denial.QUESTION, "gate-denied-question"), (Denial.UNSURE, "gate-denied-unsure"), (Denial.HALF, "gate-denied-half"),
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
    assert (scene.state.interlock.phrase_given, scene.state.interlock.failures) == (False, 1)
    assert events(scene, Gate)[0].why == OPENS


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
    assert (scene.step, scene.power, scene.state.interlock.phrase_given) == ("isolate", "ISOLATING", False)


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
    assert said(scene) == ["The reading, in volts? You can say a reading, over range or cannot tell."]


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


@pytest.mark.parametrize(("reading", "dead"), [("twenty nine point nine", True), ("thirty", False), ("minus thirty", False),
                                               ("minus twenty nine", True)])  # fmt: skip
def test_dead_is_below_the_limit_whichever_way_round_the_leads_are(reading: str, dead: bool) -> None:
    scene = at_meter("affirm", reading)
    assert (scene.state.awaiting is Awaiting.DEAD_AFFIRM) is dead
    assert (ENGLISH.prompt("not-dead") in said(scene)) is not dead


def test_a_live_reading_is_read_back_recorded_and_cleared_at_once() -> None:
    scene = at_meter("affirm", "208")
    assert said(scene)[:2] == ["two hundred and eight volts.", ENGLISH.prompt("not-dead")]
    assert roles(scene)[:2] == [("readback", True), ("refusal", False)]
    (taken,) = events(scene, ReadingTaken)
    assert taken == ReadingTaken(
        ("meter",), "proof", "absence of voltage", 208.0, "volt", 208.0, "volt", expected=(0.0, 30.0)
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
    assert (taken.affirmed, taken.expected) == (True, (0.0, 30.0))
    assert scene.state.pending is None
    assert scene.state.awaiting is Awaiting.TESTER_AFTER
    assert said(scene) == words("prove-tester-after")
    assert scene.state.remembered[("meter",), "proof"].text == "0.05 volt"


@pytest.mark.parametrize("line", ["negative", "correction"])
def test_a_dead_reading_taken_back_is_asked_again_and_not_recorded(line: str) -> None:
    scene = at_meter("affirm", "eighteen", "next step")
    assert said(scene) == words("need-affirm")
    assert roles(scene) == [("question", True)]
    scene.words(line)
    assert said(scene) == words("reading-again")
    assert roles(scene) == [("question", True)]
    assert (scene.state.pending, scene.state.awaiting) == (None, Awaiting.DEAD_READING)
    assert not any(isinstance(entry.event, ReadingTaken) for entry in scene.record)


def test_isolated_is_told_with_its_tone_and_recorded_as_the_proof() -> None:
    scene = at_gate().words(OPENS, "nothing runs")
    assert tones(scene) == ["heard", "gate open"]
    assert said(scene)[0] == ENGLISH.prompt("isolated")
    assert roles(scene)[0] == ("notice", True)
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
    assert scene.state.interlock.phrase_given


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
    scene = Scene(book(UNPROVED)).open().words("nothing runs")
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
        ["Covers on. Say next step when it is so."], 1, Awaiting.RESTORE_CHECK)
    scene.words("go ahead")
    assert (scene.state.awaiting, scene.state.check) == (Awaiting.RESTORE_GATE, 1)
    assert said(scene) == words("clear-need")


def test_the_power_comes_back_at_the_persons_word_alone() -> None:
    scene = at_clear().words("clear lock four two")
    scene.tell(accepted(Sense.COMMAND, "affirm"))
    assert (scene.state.awaiting, scene.power) == (Awaiting.RESTORE_POWER, "RESTORING")
    assert said(scene) == ["Say next step when the power is on."]
    scene.words("power is on")
    assert events(scene, Gate) == [Gate("RESTORING", "LIVE", "restored", "", "restore")]
    assert said(scene)[0] == ENGLISH.prompt("restored")
    assert roles(scene)[0] == ("notice", True)
    assert scene.state.outcome == "done"
