"""What an engine of words alone says, and each reason for which an act is forbidden however probable. Testimonies written by
hand stand in for the engines, which test_evaluate and test_pocketsphinx run."""

from __future__ import annotations

import math
from itertools import combinations

import pytest

from handsfree.language.base import load
from handsfree.language.meaning import Denial, GateAsked, Listening, Meaning, Sense, gate_text
from handsfree.language.phonetics import phonemes
from handsfree.procedure.load import load_procedure
from handsfree.procedure.model import Ask
from handsfree.resources import folder
from handsfree.speech.engine import Candidate, Testimony
from handsfree.speech.vetoes import vetoed
from handsfree.speech.weighing import SECOND, Stake, weigh

ENGLISH = load("en")
ANSWERS = Listening(phrases=("cool", "warm", "hot"))
COOL, WARM = (Meaning(Sense.PHRASE, word, spoken=word) for word in ("cool", "warm"))
NOT_COOL = Meaning(Sense.DENIAL, Denial.NEGATION, spoken="not cool")
GATE = Listening(gate=GateAsked("isolated", ("four", "two")))
OPEN = Meaning(Sense.GATE, gate_text("isolated", ("four", "two")), spoken="isolated lock four two")
DENIED = Meaning(Sense.DENIAL, Denial.NEGATION, spoken="not isolated lock four two")
OTHER_NUMBER = Meaning(Sense.DENIAL, Denial.NUMBER, spoken="isolated lock four three")
LOG = Meaning(Sense.DENIAL, Denial.NEAR, spoken="isolated log four two")


def words(*candidates: tuple[Meaning, float], free: str = "cool", **evidence: float) -> Testimony:
    """Of PocketSphinx, which has evidence of its own and no neural engine beside it."""
    return Testimony("pocketsphinx", tuple(Candidate(*c) for c in candidates), free, None, tuple(evidence.items()))


def features(testimony: Testimony, listening: Listening = ANSWERS) -> dict[str, float]:
    weighed = weigh([testimony], listening, ENGLISH)
    assert weighed is not None
    return dict(weighed.features)


def test_an_engine_of_words_leads_with_its_first_candidate_and_its_own_evidence() -> None:
    weighed = weigh([words(), words((COOL, -900.0), (WARM, -990.0), agree=0.8, pace=6.0, speech=3.0)], ANSWERS, ENGLISH)
    assert weighed is not None
    assert (weighed.best, weighed.stake, weighed.rivals, weighed.proof) == (COOL, Stake.CHOICE, (), False)
    found = dict(weighed.features)
    assert (found["agree"], found["pace"], found["speech"], found["shortest"]) == (0.8, 6.0, 1.0, 0)
    assert (found["sounds"], found["words"], found["over_denial"]) == (math.log(len(phonemes("cool"))), 1.0, 2.0)


def test_a_denial_in_front_leaves_an_engine_of_words_nothing_to_accept() -> None:
    assert weigh([words((NOT_COOL, -900.0), (COOL, -910.0))], ANSWERS, ENGLISH) is None
    assert weigh([words()], ANSWERS, ENGLISH) is None


def test_how_far_a_denial_lies_below_is_told_for_each_stretch_of_speech() -> None:
    frames = 6.0 * len(phonemes("cool"))
    assert features(words((COOL, -900.0), (WARM, -901.0), (NOT_COOL, -906.0), pace=6.0))["over_denial"] == 6.0 / frames
    frames = 7.0 * len(phonemes("cool"))  # a usual pace where none was measured
    assert features(words((COOL, -900.0), (NOT_COOL, -906.0), (NOT_COOL, -912.0)))["over_denial"] == 6.0 / frames
    assert features(words((COOL, -900.0), (NOT_COOL, -600.0)))["over_denial"] == -0.5
    assert features(words((COOL, -900.0), (NOT_COOL, -9900.0)))["over_denial"] == 2.0


@pytest.mark.parametrize(("gap", "near"), [(0.1, True), (0.17, True), (0.19, False), (9.0, False)])
def test_answers_within_a_hundredth_of_the_speech_are_rivals(gap: float, near: bool) -> None:
    both = words((COOL, -900.0), (NOT_COOL, -900.05), (WARM, -900.0 - gap), pace=6.0)  # 18 frames
    weighed = weigh([both], ANSWERS, ENGLISH)
    assert weighed is not None
    assert weighed.rivals == ((COOL, WARM) if near else ())


@pytest.mark.parametrize(("weakest", "reason"), [(0.5, ""), (0.49, "a word is missing"), (None, "a word is missing")])
def test_an_engine_of_words_must_have_found_every_word_of_a_gate(weakest: float | None, reason: str) -> None:
    evidence = {} if weakest is None else {"weakest": weakest}
    testimony = words((OPEN, -900.0), free="isolated lock four two", agree=0.9, **evidence)
    weighed = weigh([testimony], GATE, ENGLISH)
    assert weighed is not None
    assert vetoed(weighed, [testimony], GATE, ENGLISH) == reason


@pytest.mark.parametrize(("agree", "loop", "forbidden"), [(0.45, 0.0, False), (0.0, 0.45, False), (0.44, 0.44, True)])
def test_some_words_of_the_engine_must_resemble_what_is_acted_on(agree: float, loop: float, forbidden: bool) -> None:
    testimony = words((COOL, -900.0), agree=agree, agree_loop=loop)
    weighed = weigh([testimony], ANSWERS, ENGLISH)
    assert weighed is not None
    assert vetoed(weighed, [testimony], ANSWERS, ENGLISH) == ("something else was heard" if forbidden else "")


def neural(*candidates: tuple[Meaning, float], free: str = "Isolated, lock 4 2.", second: bool = False) -> Testimony:
    return Testimony(SECOND if second else "whisper", tuple(Candidate(*c) for c in candidates), free, -0.2, ())


def verdict(first: Testimony, *second: Testimony) -> str:
    weighed = weigh([first, *second], GATE, ENGLISH)
    assert weighed is not None
    return vetoed(weighed, [first, *second], GATE, ENGLISH)


SURE, SURE_TOO = neural((OPEN, -0.1)), neural((OPEN, -0.1), second=True)


def test_a_gate_opens_to_two_engines_that_wrote_the_phrase_and_found_nothing_near() -> None:
    assert verdict(SURE, SURE_TOO) == ""


def test_one_neural_engine_opens_no_gate() -> None:
    assert verdict(SURE) == "it may be a word that sounds alike"


@pytest.mark.parametrize(("first", "second", "reason"), [
    (((OPEN, -0.1), (DENIED, -3.0)), ((OPEN, -0.1),), "a denial is as likely"),
    (((OPEN, -0.1), (DENIED, -3.2)), ((OPEN, -0.1),), ""),
    (((OPEN, -0.1),), ((OPEN, -0.1), (DENIED, -3.0)), "the witnesses differ"),
    (((OPEN, -0.1),), ((OPEN, -0.1), (DENIED, -3.2)), ""),
    (((OPEN, -0.1), (LOG, -2.0)), ((OPEN, -0.1),), "it may be a word that sounds alike"),
    (((OPEN, -0.1), (LOG, -2.2)), ((OPEN, -0.1),), ""),
    (((OPEN, -0.1),), ((OPEN, -0.1), (LOG, -2.0)), "it may be a word that sounds alike"),
    (((OPEN, -0.1),), ((OPEN, -0.1), (LOG, -2.2)), ""),
    (((OPEN, -0.1),), ((DENIED, -0.1), (OPEN, -2.0)), "a denial was heard"),
    (((OTHER_NUMBER, -0.1), (OPEN, -2.0)), ((OPEN, -0.1),), "a denial was heard"),
    (((OPEN, -0.1),), ((OTHER_NUMBER, -0.1), (OPEN, -0.4)), "the witnesses differ"),
])  # fmt: skip
def test_what_lies_near_a_gates_phrase_forbids_it(
    first: tuple[tuple[Meaning, float], ...], second: tuple[tuple[Meaning, float], ...], reason: str
) -> None:
    assert verdict(neural(*first), neural(*second, second=True)) == reason


@pytest.mark.parametrize(("free", "reason"), [
    ("Isolated, block 4 2.", "'block' was heard"), ("Isolated, lock 4.", "not the whole phrase"),
    ("Warm.", "not the whole phrase"), ("Not isolated, lock 4 2.", "a denial was heard"),
    ("Isolated, lock 4 3.", "a denial was heard"),
])  # fmt: skip
def test_what_the_first_engine_wrote_forbids_a_gate_by_its_name(free: str, reason: str) -> None:
    assert verdict(neural((OPEN, -0.1), free=free), SURE_TOO) == reason


@pytest.mark.parametrize(("free", "reason"), [
    ("Isolated, block 4 2.", "'block' was heard"), ("Not isolated, lock 4 2.", "a denial was heard"),
    ("Isolated, lock 4 3.", "the witnesses differ"), ("Isolated, lock 4.", "the witnesses differ"),
])  # fmt: skip
def test_what_the_second_engine_wrote_forbids_it_too(free: str, reason: str) -> None:
    assert verdict(SURE, neural((OPEN, -0.1), free=free, second=True)) == reason


@pytest.mark.parametrize(("against", "odds"), [(2.0, 2.0), (4.5, 4.5), (6.5, 6.5), (9.0, 7.0)])
def test_odds_go_on_where_the_share_no_longer_tells(against: float, odds: float) -> None:
    found = features(neural((COOL, -0.1), (WARM, -0.1 - against), free="Cool."))
    assert found["odds"] == pytest.approx(odds)
    assert found["share"] == pytest.approx(-math.log1p(math.exp(-against)))


def test_what_stands_against_an_act_adds_up_in_its_odds() -> None:
    found = features(neural((COOL, -0.1), (WARM, -3.1), (NOT_COOL, -3.1), free="Cool."))
    assert found["odds"] == pytest.approx(3.0 - math.log(2))


def test_no_two_ways_of_saying_one_answer_of_what_ships_are_taken_for_each_other() -> None:
    """They would be asked about for ever: 'drags or it drags?'"""
    asked = 0
    for path in sorted(folder("procedures").glob("*.yaml")):
        procedure = load_procedure(path)
        for step in procedure.steps:
            for answer in step.answers if isinstance(step, Ask) and procedure.language == "en" else ():
                ways = [Meaning(Sense.PHRASE, way, spoken=way) for way in (answer.say, *answer.also)]
                asked += len(ways) > 1
                for one, other in combinations(ways, 2):
                    listening = Listening(phrases=(one.text, other.text))
                    pair = [
                        Testimony(name, (Candidate(one, -0.1), Candidate(other, -0.2)), one.text, -0.1)
                        for name in ("whisper", SECOND)
                    ]
                    weighed = weigh(pair, listening, ENGLISH)
                    assert weighed is not None
                    assert not weighed.tied, (path.name, one.text, other.text)
    assert asked > 20
