"""Sayings of one thing, weighed together."""

from __future__ import annotations

from dataclasses import replace

import pytest

from handsfree.language.meaning import Denial, GateAsked, Heard, Listening, Meaning, Sense, Verdict, gate_text
from handsfree.speech import bars
from handsfree.speech.judge import DENIED, FAILED, decide
from handsfree.speech.sayings import WITHIN, Sayings, add, all_of

ANSWERS = Listening(phrases=("running", "humming", "stopped"))
GATE = Listening(gate=GateAsked("isolated", ("four", "two")))
OPEN = Meaning(Sense.GATE, gate_text("isolated", ("four", "two")))


def answer(text: str) -> Meaning:
    return Meaning(Sense.PHRASE, text, spoken=text)


def said(
    best: Meaning, sure: float, at: float = 0.0, listening: Listening = ANSWERS, *others: tuple[Meaning, float]
) -> Heard:
    shares = ((best, sure), *others)
    verdict, reason, rivals = decide(best, sure, 0.9, shares, listening, proof=listening.proof)
    return Heard(verdict, best, sure, reason=reason, rivals=rivals, meant=0.9, shares=shares, started=at, ended=at + 1)


def test_what_was_said_twice_the_same_is_taken_where_once_was_not_enough() -> None:
    first, second = said(answer("running"), 0.7), said(answer("running"), 0.7, 5.0)
    assert first.verdict is Verdict.PROPOSED
    together = all_of([first, second], ANSWERS)
    assert together.verdict is Verdict.ACCEPTED
    assert together.sure > 0.7


@pytest.mark.parametrize("sure", [0.6, bars.TAKE_GATE.value - 0.01, bars.TAKE_GATE.value - 0.001])
def test_a_gate_stands_on_one_saying_alone(sure: float) -> None:
    """A near miss said three times errs alike three times."""
    assert sure < bars.TAKE_GATE.value
    some = [said(OPEN, sure, 5.0 * at, GATE) for at in range(3)]
    assert all_of(some, GATE).verdict is Verdict.ASKED_AGAIN
    assert all_of([*some, said(OPEN, 0.999, 20.0, GATE)], GATE).verdict is Verdict.ACCEPTED


def test_a_second_saying_tells_two_apart() -> None:
    first = said(answer("running"), 0.45, 0.0, ANSWERS, (answer("humming"), 0.40))
    second = said(answer("humming"), 0.48, 5.0, ANSWERS, (answer("running"), 0.05))
    together = all_of([first, second], ANSWERS)
    assert together.meaning == answer("humming")
    assert together.sure > 0.48


def test_a_changed_mind_begins_anew() -> None:
    first, second = said(answer("running"), 0.85), said(answer("stopped"), 0.7, 5.0)
    together = all_of([first, second], ANSWERS)
    assert together.meaning == answer("stopped")
    assert together.sure == pytest.approx(0.7)


@pytest.mark.parametrize("later", [WITHIN + 2.0, 3600.0])
def test_what_was_said_long_ago_counts_no_more(later: float) -> None:
    assert all_of([said(answer("running"), 0.8), said(answer("running"), 0.8, later)], ANSWERS).sure == pytest.approx(0.8)


def test_another_question_begins_anew() -> None:
    _, before = add(None, said(answer("running"), 0.8), ANSWERS)
    other = replace(ANSWERS, phrases=("running", "dark"))
    heard, _ = add(before, said(answer("running"), 0.8, 5.0, other), other)
    assert heard.sure == pytest.approx(0.8)


def test_a_denial_wipes_out_what_was_said_before_and_is_none_itself() -> None:
    _, before = add(None, said(OPEN, 0.95, 0.0, GATE), GATE)
    denied = Heard(Verdict.ASKED_AGAIN, Meaning(Sense.DENIAL, Denial.NEGATION), 0.2, reason=DENIED, started=5.0, ended=6.0)
    heard, before = add(before, denied, GATE)
    assert heard.verdict is Verdict.ASKED_AGAIN
    assert before is None
    assert add(before, said(OPEN, 0.95, 8.0, GATE), GATE)[0].verdict is Verdict.ASKED_AGAIN


def test_speech_of_others_between_two_sayings_changes_nothing() -> None:
    _, before = add(None, said(answer("running"), 0.8), ANSWERS)
    other, kept = add(before, Heard(Verdict.NOT_FOR_ME, None, 0.0, started=3.0, ended=4.0), ANSWERS)
    assert other.verdict is Verdict.NOT_FOR_ME
    assert kept == before


def test_what_was_taken_leaves_nothing_behind() -> None:
    heard, before = add(None, said(answer("running"), 0.99), ANSWERS)
    assert heard.verdict is Verdict.ACCEPTED
    assert before is None


def test_no_gate_opens_on_what_only_an_earlier_saying_found() -> None:
    other = Meaning(Sense.COMMAND, "why", spoken="why")
    before = Sayings(GATE, {(OPEN.sense, OPEN.text): 9.0}, 1.0)
    heard, _ = add(before, said(other, 0.4, 5.0, GATE, (OPEN, 0.3)), GATE)
    assert heard.verdict is not Verdict.ACCEPTED


def test_no_gate_opens_to_a_witness_that_failed_however_often() -> None:
    failed = replace(said(OPEN, 0.97, 5.0, GATE), reason=f"{FAILED}: gone", verdict=Verdict.ASKED_AGAIN)
    assert all_of([said(OPEN, 0.97, 0.0, GATE), failed], GATE).verdict is Verdict.ASKED_AGAIN


def test_earlier_sayings_count_less_than_the_last() -> None:
    assert 0 < bars.AGAIN.value < 1
    with pytest.raises(ValueError, match="nothing was said"):
        all_of([], ANSWERS)


@pytest.mark.parametrize("reason", ["sound was lost in the middle of it", "said while the program was speaking"])
def test_what_others_took_back_is_not_made_good_by_what_was_said_before(reason: str) -> None:
    _, before = add(None, said(OPEN, 0.97, 0.0, GATE), GATE)
    torn = replace(said(OPEN, 0.999, 5.0, GATE), verdict=Verdict.ASKED_AGAIN, reason=reason)
    assert add(before, torn, GATE)[0] == torn
