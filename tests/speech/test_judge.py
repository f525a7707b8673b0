"""The verdict on testimony written by hand; no engine is run."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from handsfree.language.base import load
from handsfree.language.meaning import (
    TOO_LOUD,
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
from handsfree.speech import bars, judge
from handsfree.speech.engine import OTHER, QUIET_BEFORE, Candidate, Declared, Testimony, Witness
from handsfree.speech.recogniser import Recogniser
from handsfree.speech.weighing import SHAPES, Stake, acts, key, weigh

ENGLISH = load("en")
GATE = Listening(gate=GateAsked("isolated", ("four", "two")))
AFFIRM = Meaning(Sense.COMMAND, "affirm", spoken="affirm")
OPEN = Meaning(Sense.GATE, gate_text("isolated", ("four", "two")), spoken="isolated lock four two")
ANSWERS = Listening(phrases=("running", "humming", "stopped"))
DEAD = Listening(phrases=("nothing runs", "it runs"), proof=True)
OFF = Listening(phrases=("it runs",), also=("affirm",), proof=True)
READ = Listening(number=NumberAsked("degF", -20, 120))
SOUND = np.full(16_000, 0.1, np.float32)
DENIALS = (Denial.NEGATION, Denial.STILL_ON, Denial.QUESTION, Denial.UNSURE)


def answer(text: str) -> Meaning:
    return Meaning(Sense.PHRASE, text, spoken=text)


def number(value: float, unit: str | None = None) -> Meaning:
    return Meaning(Sense.NUMBER, f"{value:g}", float(value), unit, ENGLISH.say_number(value))


def denial(kind: Denial, spoken: str = "not so") -> Meaning:
    return Meaning(Sense.DENIAL, kind, spoken=spoken)


def tokens(*candidates: tuple[Meaning, float], free: str = "", other: float | None = None) -> Testimony:
    evidence = ((f"{OTHER}something else", other),) if other is not None else ()
    found = tuple(Candidate(*one) for one in sorted(candidates, key=lambda one: -one[1]))
    return Testimony("writes", found, free, -0.1, evidence, Witness.TOKENS)


def sounds(*candidates: tuple[Meaning, float], free_score: float = -1.0, count: int = 8) -> Testimony:
    found = tuple(Candidate(*one) for one in sorted(candidates, key=lambda one: -one[1]))
    acts = [one.meaning.text for one in found if one.meaning.sense in (Sense.GATE, Sense.PHRASE, Sense.COMMAND)]
    shape = ((f"{name} of {act}", most) for act in acts for name, (_, most) in SHAPES[Stake.GATE].items())
    return Testimony("hears", found, "AH", free_score, (("sounds", float(count)), *shape), Witness.SOUNDS)


def heard(listening: Listening, *testimonies: Testimony, failed: str = "") -> Heard:
    return judge.judge(testimonies, listening, ENGLISH, {}, failed)


def clear(meaning: Meaning, *others: Meaning) -> tuple[Testimony, Testimony]:
    """Both witnesses for this, all else far below."""
    return (
        tokens((meaning, -0.1), *((other, -14.0) for other in others), free=meaning.spoken, other=-14.0),
        sounds((meaning, -1.5), *((other, -20.0) for other in others)),
    )


def test_what_both_witnesses_have_clearly_in_front_is_taken() -> None:
    assert heard(ANSWERS, *clear(answer("running"), answer("humming"))).verdict is Verdict.ACCEPTED
    assert heard(GATE, *clear(OPEN, denial(Denial.NUMBER, "isolated lock four three"))).verdict is Verdict.ACCEPTED
    assert heard(READ, *clear(number(43.5), number(40.5))).verdict is Verdict.ACCEPTED
    assert heard(DEAD, *clear(answer("nothing runs"), answer("it runs"))).verdict is Verdict.ACCEPTED
    assert heard(OFF, *clear(AFFIRM, answer("it runs"))).verdict is Verdict.ACCEPTED


@pytest.mark.parametrize("kind", [*DENIALS, Denial.NUMBER])
@pytest.mark.parametrize("writes", [True, False])
def test_no_gate_and_no_proof_is_taken_where_a_denial_leads_to_either_witness(kind: Denial, writes: bool) -> None:
    for listening, meaning in ((GATE, OPEN), (DEAD, answer("nothing runs")), (OFF, AFFIRM)):
        one, other = clear(meaning)
        against = (denial(kind), 0.0)
        one, other = (tokens((meaning, -0.1), against), other) if writes else (one, sounds((meaning, -6.5), against))
        found = heard(listening, one, other)
        assert found.verdict is Verdict.ASKED_AGAIN
        assert found.meaning is not None
        assert found.meaning.text == kind


@pytest.mark.parametrize("kind", DENIALS)
def test_nothing_at_all_is_taken_or_proposed_where_a_true_denial_leads(kind: Denial) -> None:
    for listening, meaning in ((ANSWERS, answer("running")), (READ, number(43.5))):
        one, other = clear(meaning)
        assert heard(listening, one, sounds((meaning, -7.0), (denial(kind), -1.0))).verdict is Verdict.ASKED_AGAIN
        assert heard(listening, tokens((meaning, -0.3), (denial(kind), -0.2)), other).verdict is Verdict.ASKED_AGAIN


@pytest.mark.parametrize(
    "wrote",
    ["Not isolated, lock 42.", "Isolated, lock 43.", "Isolated, lock 42?", "isolated lock 42 I think", "It is still on."],
)
def test_a_denial_that_somebody_wrote_down_keeps_a_gate_shut_whatever_it_scored(wrote: str) -> None:
    _, other = clear(OPEN)
    found = heard(GATE, tokens((OPEN, -0.1), free=wrote), other)
    assert found.verdict is Verdict.ASKED_AGAIN
    assert found.meaning is not None
    assert found.meaning.sense is Sense.DENIAL


@pytest.mark.parametrize("what", ["before", "behind"])
def test_a_gate_and_a_proof_stay_shut_where_something_stands_before_or_behind_or_nobody_told(what: str) -> None:
    for listening, meaning in ((GATE, OPEN), (DEAD, answer("nothing runs")), (OFF, AFFIRM)):
        writes, hears = clear(meaning)
        assert heard(listening, writes, hears).verdict is Verdict.ACCEPTED
        more = tuple((name, -9.0 if name == f"{what} of {meaning.text}" else nats) for name, nats in hears.evidence)
        for evidence in (more, hears.evidence[:1]):
            assert heard(listening, writes, replace(hears, evidence=evidence)).verdict is not Verdict.ACCEPTED


@pytest.mark.parametrize("wrote", ["Something runs.", "Nothing runs but the fan.", "Nothing runs?", "It still runs."])
def test_a_proof_is_never_taken_over_a_denial_that_was_written(wrote: str) -> None:
    _, other = clear(answer("nothing runs"))
    assert heard(DEAD, tokens((answer("nothing runs"), -0.1), free=wrote), other).verdict is Verdict.ASKED_AGAIN


def test_affirm_is_weighed_as_a_proof_where_it_is_one_and_a_reading_needs_more_than_a_witness_that_nobody_fitted() -> None:
    for listening, stake in ((OFF, Stake.PROOF), (replace(OFF, proof=False), Stake.COMMAND)):
        weighed = weigh(clear(AFFIRM), listening, judge.fitted()["sounds+tokens"].ranking["other"])
        assert weighed is not None
        assert weighed.stake is stake
    assert bars.take(AFFIRM, True) is bars.TAKE_PROOF
    assert bars.take(AFFIRM, False) is bars.TAKE_COMMAND
    assert bars.UNFITTED.value < bars.take(number(0.2), True).value < 0.99


def test_a_gate_and_a_proof_are_never_proposed() -> None:
    for listening, meaning in ((GATE, OPEN), (DEAD, answer("nothing runs")), (OFF, AFFIRM)):
        for odds in np.linspace(0, 14, 15):
            verdict = heard(listening, tokens((meaning, -odds), other=-0.1), sounds((meaning, -odds))).verdict
            assert verdict is not Verdict.PROPOSED


def test_the_less_sure_the_less_is_done() -> None:
    """Taken, proposed, asked again, silent: in this order as the evidence falls."""
    order = [Verdict.ACCEPTED, Verdict.PROPOSED, Verdict.ASKED_AGAIN, Verdict.NOT_FOR_ME]
    met: list[int] = []
    for odds in np.linspace(0, 30, 61):
        near = (denial(Denial.HALF), -12.0)
        one = tokens((answer("running"), -0.1 - odds), near, other=-8.0 + odds / 2, free="something else")
        found = heard(ANSWERS, one, sounds((answer("running"), -1.5 - odds), near, (answer("humming"), -12.0 - odds)))
        met.append(order.index(found.verdict))
    assert met == sorted(met)
    assert met[0] == 0
    assert met[-1] > 0
    assert 1 in met


def test_which_of_two_is_asked_among_answers_of_one_question_alone() -> None:
    running, humming = answer("running"), answer("humming")
    louder = Meaning(Sense.COMMAND, "louder", spoken="louder")
    shares = ((running, 0.36), (humming, 0.34))
    assert judge.decide(running, 0.36, 0.9, shares, ANSWERS, proof=False)[2] == ()  # too little together
    shares = ((running, 0.39), (humming, 0.37))
    assert judge.decide(running, 0.39, 0.9, shares, ANSWERS, proof=False)[2] == (running, humming)
    shares = ((running, 0.39), (louder, 0.37))
    assert judge.decide(running, 0.39, 0.9, shares, ANSWERS, proof=False)[2] == ()
    shares = ((answer("nothing runs"), 0.39), (answer("it runs"), 0.37))
    assert judge.decide(shares[0][0], 0.39, 0.9, shares, DEAD, proof=True)[2] == ()


@pytest.mark.parametrize(("share", "opens"), [(0.0, True), (bars.BEFORE.value, True), (bars.BEFORE.value + 0.05, False)])
def test_no_gate_opens_where_somebody_spoke_right_before_the_phrase(share: float, opens: bool) -> None:
    writes, hears = clear(OPEN)
    told = replace(hears, evidence=(*hears.evidence, (f"{QUIET_BEFORE} of {OPEN.text}", 1.0 - share)))
    got = heard(GATE, writes, told)
    assert (got.verdict, got.reason) == ((Verdict.ACCEPTED, "") if opens else (Verdict.ASKED_AGAIN, judge.BEFORE))


def test_the_louder_it_is_before_a_gates_phrase_the_less_sure_it_is() -> None:
    writes, hears = clear(OPEN)
    told = [(*hears.evidence, (f"{QUIET_BEFORE} of {OPEN.text}", quiet)) for quiet in (1.0, 0.9, 0.8)]
    sure = [heard(GATE, writes, replace(hears, evidence=evidence)).sure for evidence in told]
    assert sure == sorted(sure, reverse=True)
    assert sure[0] > sure[-1]


@pytest.mark.parametrize("wrote", ["nothing much", "if nothing ran", "nothing rusts", "some noise"])
def test_a_proof_is_taken_only_where_it_was_written_word_for_word(wrote: str) -> None:
    best = answer("nothing runs")
    writes, hears = clear(best, answer("it runs"))
    assert heard(DEAD, writes, hears).verdict is Verdict.ACCEPTED
    got = heard(DEAD, replace(writes, free=wrote), hears)
    assert (got.verdict, got.reason) == (Verdict.ASKED_AGAIN, judge.OTHERWISE)


def test_a_word_that_nobody_offered_is_not_taken_for_the_nearest_answer() -> None:
    """'Cunning' where 'running' is an answer: one witness writes it, the other has it above the answer."""
    other = tokens((answer("running"), -7.0), free="Cunning.", other=-0.1)
    hears = sounds((answer("running"), -6.0), free_score=-0.5, count=6)
    hears = replace(hears, free="K AH N IH NG", evidence=(*hears.evidence, ("other word", -0.5)))
    assert heard(ANSWERS, other, hears).verdict is not Verdict.ACCEPTED
    assert heard(ANSWERS, tokens((answer("running"), -0.1), free="Running.", other=-6.0), hears).verdict is Verdict.ACCEPTED


def test_the_same_doubt_weighs_less_against_a_longer_answer() -> None:
    """What speaks against a phrase grows with its length: twelve nats are much for 'hot', less for five words."""
    answers = ("hot", "warm air", "no cold air comes out")
    asked = Listening(phrases=answers)
    sure = [
        heard(asked, tokens((answer(one), -5.0), other=-0.1), sounds((answer(one), -13.0), free_score=-1.0)).sure
        for one in answers
    ]
    assert sure == sorted(sure)
    assert sure[0] < bars.TAKE_ANSWER.value < sure[-1]


def test_the_phrase_of_a_gate_in_another_accent_is_the_phrase() -> None:
    """'Isolated, look four two': every figure right, one sound of 'lock' another. Never another number or 'unlock'."""
    number, hears = GATE.gate.lock if GATE.gate else (), clear(OPEN)[1]
    for word, taken in (("look", True), ("block", True), ("unlock", False), ("clear", False)):
        written = denial(Denial.HALF, f"isolated {word} {' '.join(number)}")
        writes = tokens((written, -0.1), (OPEN, -5.0), free=written.spoken, other=-14.0)
        assert (heard(GATE, writes, hears).verdict is Verdict.ACCEPTED) is taken, word
    other = denial(Denial.HALF, "isolated look nine nine")
    assert heard(GATE, tokens((other, -0.1), (OPEN, -5.0), other=-14.0), hears).verdict is not Verdict.ACCEPTED


def test_talk_that_was_not_meant_for_the_program_denies_nothing() -> None:
    """A denial is always the nearest to some talk; it is told only where the speech resembles what is in force."""
    near = denial(Denial.QUESTION, "is it stopped")
    writes = tokens((near, -12.0), free="does this train go to the summit", other=-0.5)
    far = writes, sounds((near, -60.0), free_score=-2.0, count=20)
    assert heard(ANSWERS, *far).verdict is Verdict.NOT_FOR_ME
    close = (tokens((near, -0.2), free="is it stopped?", other=-14.0), sounds((near, -3.0), count=10))
    assert (heard(ANSWERS, *close).verdict, heard(ANSWERS, *close).meaning) == (Verdict.ASKED_AGAIN, near)


def test_a_short_command_is_taken_only_where_it_was_written() -> None:
    note = Meaning(Sense.COMMAND, "note", spoken="note")
    writes, hears = clear(note)
    assert heard(ANSWERS, writes, hears).verdict is Verdict.ACCEPTED
    assert heard(ANSWERS, replace(writes, free="nope"), hears).verdict is Verdict.ASKED_AGAIN


def test_a_command_is_not_proposed() -> None:
    louder = Meaning(Sense.COMMAND, "louder", spoken="louder")
    assert judge.decide(louder, 0.7, 0.9, ((louder, 0.7),), ANSWERS, proof=False)[0] is Verdict.ASKED_AGAIN


def test_a_reading_in_another_unit_is_asked() -> None:
    found = heard(READ, *clear(number(43.5, "volt")))
    assert found.verdict is Verdict.ASKED_AGAIN
    assert found.reason == judge.OTHER_UNIT


def test_a_value_with_and_without_its_unit_is_one_act() -> None:
    found = acts(tokens((number(43.5, "degF"), -2.0), (number(43.5), -2.0)), Listening(number=NumberAsked("degF")))
    assert len(found) == 1
    assert found[0].meaning.unit == "degF"
    assert found[0].score == pytest.approx(-2.0 + 0.6931, abs=1e-3)
    assert key(number(43.5, "degC"), READ) != key(number(43.5), READ)


def test_an_implausible_value_gives_way_to_one_as_likely() -> None:
    assert acts(tokens((number(435), -2.0), (number(43.5), -3.0)), READ)[0].meaning.value == 43.5


def test_one_witness_alone_needs_more() -> None:
    """And a gate does not open to it any easier than to two."""
    fit = judge.fitted()
    for name in ("sounds", "tokens"):
        weighed = weigh([clear(answer("running"))[name == "sounds"]], ANSWERS, fit[name].ranking["other"])
        assert weighed is not None
        unpaired = judge.logistic(fit[name].stakes[Stake.CHOICE].odds(dict(weighed.features)))
        assert judge.probability(weighed, fit[name], {}) < unpaired


@pytest.mark.parametrize("stake", list(Stake))
def test_every_set_of_two_and_of_one_is_fitted_to_every_stake(stake: Stake) -> None:
    for name in ("sounds+tokens", "sounds", "tokens"):
        assert stake in judge.fitted()[name].stakes
        assert judge.fitted()[name].meant is not None


def test_all_evidence_speaks_for_an_act_or_not_at_all() -> None:
    for fit in judge.fitted().values():
        assert all(weight >= 0 for model in fit.stakes.values() for weight in model.weights)


def test_an_enrolment_makes_no_proof_easier() -> None:
    fit = judge.fitted()["sounds+tokens"]
    weighed = weigh(clear(answer("nothing runs")), DEAD, fit.ranking["other"])
    assert weighed is not None
    shifted = judge.probability(weighed, fit, {Stake.CHOICE: 1.5})
    assert shifted == judge.probability(weighed, fit, {})


def test_a_witness_that_found_nothing_in_force_speaks_against_it() -> None:
    _, hears = clear(answer("running"), answer("humming"))
    silent = Testimony("writes", (), "Put it on the shelf.", -1.0, ((f"{OTHER}Put it on the shelf.", -1.0),), Witness.TOKENS)
    both = heard(ANSWERS, *clear(answer("running"), answer("humming")))
    assert heard(ANSWERS, silent, hears).sure < both.sure
    _, hears = clear(OPEN, denial(Denial.NUMBER, "isolated lock four three"))
    assert heard(GATE, silent, hears).verdict is not Verdict.ACCEPTED


def test_evidence_that_nobody_fitted_is_believed_where_the_free_words_say_the_same_and_opens_no_gate() -> None:
    def grammar(meaning: Meaning, free: str) -> Testimony:
        return Testimony("old", (Candidate(meaning, -5.0),), free, -5.0, (("agree", 1.0),), Witness.GRAMMAR)

    assert "grammar" not in judge.fitted()
    assert heard(ANSWERS, grammar(answer("running"), "running")).verdict is Verdict.ACCEPTED
    assert heard(ANSWERS, grammar(answer("running"), "rumbling")).verdict is not Verdict.ACCEPTED
    assert heard(GATE, grammar(OPEN, "isolated lock four two")).verdict is not Verdict.ACCEPTED
    assert heard(DEAD, grammar(answer("nothing runs"), "nothing runs")).verdict is not Verdict.ACCEPTED


def test_nothing_heard_is_silence_and_a_denial_alone_is_asked_about() -> None:
    assert heard(ANSWERS, tokens(), sounds()).verdict is Verdict.NOT_FOR_ME
    found = heard(GATE, tokens((denial(Denial.NEGATION), -0.1)), sounds((denial(Denial.NEGATION), -1.5)))
    assert found.verdict is Verdict.ASKED_AGAIN


# ---- the recogniser about it


class Says:
    """An engine that says what it is told to, or fails."""

    language = "en"

    def __init__(self, testimony: Testimony | Exception) -> None:
        self.testimony = testimony
        self.name = testimony.engine if isinstance(testimony, Testimony) else "broken"
        self.declares = Declared(self.name, Witness.TOKENS, "says what it is told", cost="nothing")

    def testify(self, samples: object, listening: Listening) -> Testimony:
        if isinstance(self.testimony, Exception):
            raise self.testimony
        return self.testimony

    def also(self, testimony: Testimony, offered: object) -> Testimony:
        return testimony

    def dictate(self, samples: object) -> str:
        return ""


def test_an_engine_that_dies_in_the_middle_opens_no_gate_and_is_named() -> None:
    for one in clear(OPEN, denial(Denial.NUMBER, "isolated lock four three")):
        found = Recogniser([Says(one), Says(RuntimeError("out of memory"))], ENGLISH).hear(SOUND, GATE)
        assert found.verdict is Verdict.ASKED_AGAIN
        assert "out of memory" in found.reason


def test_where_one_engine_died_an_answer_that_the_other_has_clearly_is_still_heard() -> None:
    one = clear(answer("running"), answer("humming"))[0]
    found = Recogniser([Says(one), Says(RuntimeError("gone"))], ENGLISH).hear(SOUND, ANSWERS)
    assert found.meaning == answer("running")
    assert found.verdict in (Verdict.ACCEPTED, Verdict.PROPOSED)


def test_where_every_engine_died_the_caller_is_told() -> None:
    with pytest.raises(RuntimeError, match="gone"):
        Recogniser([Says(RuntimeError("gone"))], ENGLISH).hear(SOUND, ANSWERS)


def test_a_microphone_that_clips_opens_no_gate_but_takes_an_answer() -> None:
    loud = np.where(np.arange(16_000) % 10 < 5, 1.0, -1.0).astype(np.float32)
    gate = Recogniser([Says(one) for one in clear(OPEN)], ENGLISH).hear(loud, GATE)
    assert gate.verdict is Verdict.ASKED_AGAIN
    assert gate.reason.startswith(TOO_LOUD)
    twice = []
    for sound in (0.5 * loud, loud):
        doubts = Recogniser([Says(clear(answer("running"))[0])], ENGLISH, {Stake.CHOICE: -9.0})
        twice.append([doubts.together(doubts.hear(sound, ANSWERS), ANSWERS) for _ in range(2)])
    (quiet, again), (unsure, louder) = twice
    assert (unsure.verdict, unsure.reason) == (Verdict.ASKED_AGAIN, f"{TOO_LOUD}: its sound is cut off; {quiet.reason}")
    assert (unsure.sure, louder.sure) == (quiet.sure, again.sure)  # sayings add up all the same
    assert again.sure != quiet.sure
    said = Recogniser([Says(one) for one in clear(answer("running"))], ENGLISH).hear(loud, ANSWERS)
    assert said.verdict is Verdict.ACCEPTED


def twice(testimonies: tuple[Testimony, ...], listening: Listening, sound: np.ndarray = SOUND) -> list[Heard]:
    """Said to one recogniser again and again."""
    one = Recogniser([Says(each) for each in testimonies], ENGLISH)
    times = (5.0, 10.0, 15.0, 20.0)
    return [one.together(replace(one.hear(sound, listening), started=at - 1, ended=at), listening) for at in times]


def nearly(meaning: Meaning, listening: Listening) -> tuple[Testimony, Testimony]:
    """As sure as may be and not quite what it takes."""
    bar = bars.take(meaning, listening.proof).value
    writes, hears = clear(meaning)
    for worse in np.linspace(0.0, 6.0, 3001):
        no_nats = ("sounds", f"{QUIET_BEFORE} of {meaning.text}")
        told = tuple((name, value if name in no_nats else value - worse) for name, value in hears.evidence)
        if heard(listening, writes, replace(hears, evidence=told)).sure < bar:
            return writes, replace(hears, evidence=told)
    raise AssertionError("nothing puts it in doubt")


@pytest.mark.parametrize(("listening", "meaning"), [(GATE, OPEN), (OFF, AFFIRM)])
def test_a_gate_that_two_witnesses_nearly_hear_opens_when_it_is_said_again_and_to_no_other(
    listening: Listening, meaning: Meaning
) -> None:
    both = nearly(meaning, listening)
    assert [one.verdict for one in twice(both, listening)][:2] == [Verdict.ASKED_AGAIN, Verdict.ACCEPTED]
    loud = np.where(np.arange(16_000) % 10 < 5, 1.0, -1.0).astype(np.float32)
    assert {one.verdict for one in twice(both, listening, loud)} == {Verdict.ASKED_AGAIN}
    grammar = Testimony("old", (Candidate(meaning, -5.0),), meaning.spoken, -5.0, (("agree", 1.0),), Witness.GRAMMAR)
    assert heard(listening, grammar).sure == bars.UNFITTED.value
    for alone in ((grammar,), clear(meaning)[:1], clear(meaning)[1:]):
        assert {one.verdict for one in twice(alone, listening)} == {Verdict.ASKED_AGAIN}
    writes = replace(both[0], candidates=(), free="Put it on the shelf.")
    assert Verdict.ACCEPTED not in {one.verdict for one in twice((writes, both[1]), listening)}


def test_one_witness_alone_opens_no_gate_at_the_second_attempt_though_it_is_sure_enough_for_two() -> None:
    lone = clear(OPEN)[1:]
    first = twice(lone, GATE)[0]
    assert first.sure > 0.9
    assert (first.verdict, first.reason) == (Verdict.ASKED_AGAIN, judge.ONE)
    assert {one.verdict for one in twice(lone, GATE)} == {Verdict.ASKED_AGAIN}


def test_what_was_written_otherwise_proves_nothing_at_the_second_attempt() -> None:
    writes, hears = nearly(AFFIRM, OFF)
    otherwise = (replace(writes, free="Put it on the shelf."), hears)
    assert heard(OFF, *otherwise).sure == heard(OFF, writes, hears).sure
    assert {(one.verdict, one.reason) for one in twice(otherwise, OFF)} == {(Verdict.ASKED_AGAIN, judge.OTHERWISE)}


def test_every_bar_has_a_reason_a_cost_and_a_unit() -> None:
    assert len({bar.name for bar in bars.EVERY}) == len(bars.EVERY)
    for bar in bars.EVERY:
        assert bar.reason.endswith(".")
        assert bar.costs.endswith(".")
        assert bar.unit
        assert bars.written(bar)
    assert bars.PROPOSE.value < bars.TAKE_ANSWER.value < bars.TAKE_PROOF.value <= bars.TAKE_GATE.value
