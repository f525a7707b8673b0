"""Sayings of one thing, weighed together."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.language.meaning import (
    TOGETHER,
    Denial,
    GateAsked,
    Heard,
    Listening,
    Meaning,
    NumberAsked,
    Sense,
    Verdict,
    gate_text,
)
from handsfree.speech import bars
from handsfree.speech.judge import BEFORE, DENIED, FAILED, OTHERWISE, UNFOUND, UNLIKE, decide
from handsfree.speech.sayings import WITHIN, Sayings, add_attempt, all_of

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


PROOF = Listening(phrases=("nothing runs", "it runs"), also=("affirm",), proof=True)
DEAD = Meaning(Sense.PHRASE, "nothing runs", spoken="nothing runs")
AFFIRM = Meaning(Sense.COMMAND, "affirm", spoken="affirm")
GRAVE = [(GATE, OPEN, bars.TAKE_GATE), (PROOF, AFFIRM, bars.TAKE_PROOF)]


@pytest.mark.parametrize(("listening", "act", "bar"), GRAVE)
def test_a_gate_and_an_affirm_that_were_nearly_sure_are_taken_at_the_second_saying(
    listening: Listening, act: Meaning, bar: bars.Bar
) -> None:
    sure = bar.value - 0.03
    first, second = said(act, sure, 0.0, listening), said(act, sure, 5.0, listening)
    assert first.verdict is Verdict.ASKED_AGAIN
    together = all_of([first, second], listening)
    assert together.verdict is Verdict.ACCEPTED
    assert bars.TAKE_TWICE.value <= together.sure < 1
    assert together.reason == TOGETHER


@pytest.mark.parametrize(("listening", "act", "bar"), GRAVE)
@pytest.mark.parametrize("sure", [0.3, 0.6, 0.8])
@pytest.mark.parametrize("times", [2, 3, 9])
def test_what_is_in_doubt_opens_nothing_however_often_it_is_said(
    listening: Listening, act: Meaning, bar: bars.Bar, sure: float, times: int
) -> None:
    """A near miss said again errs alike again: two sayings add up, never three."""
    assert sure < bar.value
    some = [said(act, sure, 5.0 * at, listening) for at in range(times)]
    assert all_of(some, listening).verdict is Verdict.ASKED_AGAIN


@pytest.mark.parametrize(
    ("first", "second", "opens"), [(0.8, 0.93, False), (0.8, 0.94, True), (0.93, 0.87, False), (0.93, 0.885, True)]
)
def test_two_attempts_open_from_98_percent_on(first: float, second: float, opens: bool) -> None:
    together = all_of([said(OPEN, first, 0.0, GATE), said(OPEN, second, 5.0, GATE)], GATE)
    assert (together.verdict is Verdict.ACCEPTED) == opens


@pytest.mark.parametrize("voice", ["other", "doubtful"])
def test_what_another_said_adds_nothing(voice: str) -> None:
    theirs = replace(said(OPEN, 0.95, 0.0, GATE), voice=voice)
    assert all_of([theirs, said(OPEN, 0.95, 5.0, GATE)], GATE).verdict is Verdict.ASKED_AGAIN
    assert all_of([said(OPEN, 0.95, 0.0, GATE), replace(theirs, started=5.0)], GATE).verdict is Verdict.ASKED_AGAIN


def test_a_denial_that_came_too_early_parts_two_attempts_all_the_same() -> None:
    early = Heard(Verdict.NOT_FOR_ME, Meaning(Sense.DENIAL, Denial.NEGATION), 0.2, reason="said before the words had ended",
                  started=3.0, ended=4.0)  # fmt: skip
    some = [said(OPEN, 0.95, 0.0, GATE), early, said(OPEN, 0.95, 5.0, GATE)]
    assert all_of(some, GATE).verdict is Verdict.ASKED_AGAIN
    assert all_of([some[0], some[2]], GATE).verdict is Verdict.ACCEPTED


@pytest.mark.parametrize(("first", "second"), [(0.95, 0.49), (0.49, 0.95)])
def test_each_of_two_sayings_must_lead_by_itself(first: float, second: float) -> None:
    assert all_of([said(OPEN, first, 0.0, GATE), said(OPEN, second, 5.0, GATE)], GATE).verdict is Verdict.ASKED_AGAIN


@pytest.mark.parametrize("reason", [UNFOUND, OTHERWISE, BEFORE, UNLIKE, FAILED, DENIED])
def test_what_a_witness_held_against_a_gate_holds_when_it_is_said_again(reason: str) -> None:
    doubted = replace(said(OPEN, 0.95, 0.0, GATE), reason=reason)
    assert all_of([doubted, said(OPEN, 0.95, 5.0, GATE)], GATE).verdict is Verdict.ASKED_AGAIN
    assert all_of([said(OPEN, 0.95, 0.0, GATE), replace(doubted, started=5.0)], GATE).verdict is Verdict.ASKED_AGAIN


def test_an_answer_and_a_reading_that_prove_dead_stand_on_one_saying() -> None:
    """Of near misses said twice, 'nothing much' was taken for 'nothing runs'."""
    reads = Listening(number=NumberAsked("volt", 0.0, 1000.0), proof=True)
    volts = Meaning(Sense.NUMBER, "0.5", 0.5, "volt", spoken="zero point five volts")
    for listening, dead in ((reads, volts), (PROOF, DEAD)):
        for times in (2, 3):
            some = [said(dead, 0.95, 5.0 * at, listening) for at in range(times)]
            assert all_of(some, listening).verdict is Verdict.ASKED_AGAIN


def test_two_different_gates_acts_add_nothing_to_each_other() -> None:
    why = Meaning(Sense.COMMAND, "why", spoken="why")
    first = said(why, 0.55, 0.0, GATE, (OPEN, 0.44))
    assert all_of([first, said(OPEN, 0.95, 5.0, GATE)], GATE).verdict is Verdict.ASKED_AGAIN


@given(st.lists(st.floats(0.0, 1.0), min_size=1, max_size=5))
def test_a_gate_opens_on_one_sure_saying_or_on_two_that_lead(sures: list[float]) -> None:
    heard = all_of([said(OPEN, sure, 5.0 * at, GATE) for at, sure in enumerate(sures)], GATE)
    alone = sures[-1] >= bars.TAKE_GATE.value
    two = len(sures) > 1 and min(sures[-2:]) >= bars.PROPOSE.value and sures[-1] + sures[-2] > 1.58
    if heard.verdict is Verdict.ACCEPTED:
        assert alone or two
    assert heard.verdict is Verdict.ACCEPTED or not alone


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
    _, before = add_attempt(None, said(answer("running"), 0.8), ANSWERS)
    other = replace(ANSWERS, phrases=("running", "dark"))
    heard, _ = add_attempt(before, said(answer("running"), 0.8, 5.0, other), other)
    assert heard.sure == pytest.approx(0.8)


def test_a_denial_wipes_out_what_was_said_before_and_is_none_itself() -> None:
    _, before = add_attempt(None, said(OPEN, 0.95, 0.0, GATE), GATE)
    denied = Heard(Verdict.ASKED_AGAIN, Meaning(Sense.DENIAL, Denial.NEGATION), 0.2, reason=DENIED, started=5.0, ended=6.0)
    heard, before = add_attempt(before, denied, GATE)
    assert heard.verdict is Verdict.ASKED_AGAIN
    assert before is None
    assert add_attempt(before, said(OPEN, 0.95, 8.0, GATE), GATE)[0].verdict is Verdict.ASKED_AGAIN


def test_speech_of_others_between_two_sayings_changes_nothing() -> None:
    _, before = add_attempt(None, said(answer("running"), 0.8), ANSWERS)
    other, kept = add_attempt(before, Heard(Verdict.NOT_FOR_ME, None, 0.0, started=3.0, ended=4.0), ANSWERS)
    assert other.verdict is Verdict.NOT_FOR_ME
    assert kept == before


def test_what_was_taken_leaves_nothing_behind() -> None:
    heard, before = add_attempt(None, said(answer("running"), 0.99), ANSWERS)
    assert heard.verdict is Verdict.ACCEPTED
    assert before is None


def test_no_gate_opens_on_what_only_an_earlier_saying_found() -> None:
    other = Meaning(Sense.COMMAND, "why", spoken="why")
    before = Sayings(GATE, {(OPEN.sense, OPEN.text): 9.0}, 1.0)
    heard, _ = add_attempt(before, said(other, 0.4, 5.0, GATE, (OPEN, 0.3)), GATE)
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
    _, before = add_attempt(None, said(OPEN, 0.97, 0.0, GATE), GATE)
    torn = replace(said(OPEN, 0.999, 5.0, GATE), verdict=Verdict.ASKED_AGAIN, reason=reason)
    assert add_attempt(before, torn, GATE)[0] == torn
