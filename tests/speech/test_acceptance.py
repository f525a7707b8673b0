"""What acceptance makes of testimony written by hand; no engine is run."""

from __future__ import annotations

import json
import math
from contextlib import nullcontext
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from handsfree.errors import Trouble
from handsfree.language.base import load
from handsfree.language.meaning import Denial, GateAsked, Listening, Meaning, NumberAsked, Sense, Verdict, gate_text
from handsfree.speech import acceptance
from handsfree.speech.acceptance import fitted
from handsfree.speech.engine import Candidate, Testimony
from handsfree.speech.near_words import twin
from handsfree.speech.pace import ABOVE_NOISE
from handsfree.speech.recogniser import Recogniser
from handsfree.speech.vetoes import vetoed
from handsfree.speech.weighing import SECOND, Stake, acts, apart, key, weigh

ENGLISH = load("en")
GATE = Listening(gate=GateAsked("isolated", ("four", "two")))
OPEN = Meaning(Sense.GATE, gate_text("isolated", ("four", "two")), spoken="isolated lock four two")


def number(value: float, unit: str | None) -> Meaning:
    return Meaning(Sense.NUMBER, f"{value:g}", float(value), unit, ENGLISH.say_number(value))


def whisper(
    *candidates: Candidate, free: str = "", free_score: float = -2.0, other: str = "", second: bool = False
) -> Testimony:
    evidence = ((f"other: {other}", free_score),) if other else ()
    return Testimony(SECOND if second else "whisper", candidates, free, free_score, evidence)


class Says:
    """An engine that says what it is told to. Stands in for the real ones, which test_evaluate runs."""

    language = "en"

    def __init__(self, testimony: Testimony) -> None:
        self.name, self.testimony = testimony.engine, testimony

    def testify(self, samples: object, listening: Listening) -> Testimony:
        return self.testimony

    def dictate(self, samples: object) -> str:
        return ""


SOUND = np.zeros(16_000, np.float32)


def hear(listening: Listening, *testimonies: Testimony) -> object:
    return Recogniser([Says(t) for t in testimonies], ENGLISH).hear(SOUND, listening)


def test_a_value_with_and_without_its_unit_is_one_act() -> None:
    listening = Listening(number=NumberAsked("degF"))
    found = acts(whisper(Candidate(number(43.5, "degF"), -2.0), Candidate(number(43.5, None), -2.0)), listening)
    assert len(found) == 1
    assert found[0].meaning.unit == "degF"
    assert found[0].score == pytest.approx(-2.0 + 0.6931, abs=1e-3)
    assert key(number(43.5, "degC"), listening) != key(number(43.5, None), listening)


def test_an_implausible_value_gives_way_to_one_as_likely() -> None:
    listening = Listening(number=NumberAsked("degF", -20, 120))
    found = acts(whisper(Candidate(number(435, None), -2.0), Candidate(number(43.5, None), -3.0)), listening)
    assert found[0].meaning.value == 43.5


@pytest.mark.parametrize(
    "free", ["Not isolated, lock 42.", "Isolated, lock 43.", "Isolated, lock 42?", "isolated lock 42 I think"]
)
def test_a_gate_is_never_accepted_over_a_denial(free: str) -> None:
    sure = Candidate(OPEN, -0.5)
    first, second = whisper(sure, free=free), whisper(sure, free="Isolated, lock 4 2.", second=True)
    weighed = weigh([first, second], GATE, ENGLISH)
    assert weighed is not None
    assert vetoed(weighed, [first, second], GATE, ENGLISH)
    heard = hear(GATE, first, second)
    assert heard.verdict is Verdict.ASKED_AGAIN  # type: ignore[attr-defined]


def test_a_gate_needs_every_word() -> None:
    sure = Candidate(OPEN, -0.5)
    plain = whisper(sure, free="isolated")
    weighed = weigh([plain], GATE, ENGLISH)
    assert weighed is not None
    assert vetoed(weighed, [plain], GATE, ENGLISH) == "not the whole phrase"


def test_what_sounds_the_same_counts_less_against_than_what_does_not() -> None:
    alike = weigh(
        [whisper(Candidate(OPEN, -4.0), free="isolated look for two", other="isolated look for two")], GATE, ENGLISH
    )
    unlike = weigh([whisper(Candidate(OPEN, -4.0), free="hand me the torch", other="hand me the torch")], GATE, ENGLISH)
    assert alike is not None
    assert unlike is not None
    assert dict(alike.features)["far"] > dict(unlike.features)["far"]


def test_a_denial_alone_is_asked_about_and_nothing_at_all_is_not() -> None:
    denial = Meaning(Sense.DENIAL, Denial.NEGATION, spoken="not isolated")
    heard = hear(GATE, whisper(Candidate(denial, -1.0), free="Not isolated."))
    assert heard.verdict is Verdict.ASKED_AGAIN  # type: ignore[attr-defined]
    assert heard.meaning == denial  # type: ignore[attr-defined]
    assert hear(GATE, whisper()).verdict is Verdict.NOT_FOR_ME  # type: ignore[attr-defined]


def test_fifteen_or_fifty_is_asked() -> None:
    listening = Listening(number=NumberAsked("volt"))
    both = (Candidate(number(15, "volt"), -2.0), Candidate(number(50, "volt"), -2.2))
    heard = hear(listening, whisper(*both, free="15 volts"), whisper(*both, free="50 volts", second=True))
    assert heard.verdict is Verdict.ASKED_AGAIN  # type: ignore[attr-defined]
    assert {rival.value for rival in heard.rivals} == {15, 50}  # type: ignore[attr-defined]


@pytest.mark.parametrize(("first", "second", "asked"), [(0.9, 12.0, True), (1.1, 1.1, False), (12.0, 0.9, True)])
def test_numbers_taken_for_one_another_are_asked_where_either_engine_has_them_near(
    first: float, second: float, asked: bool
) -> None:
    listening = Listening(number=NumberAsked("degF", -100, 200))
    said = Candidate(number(91.3, "degF"), -0.1)
    pair = [
        whisper(said, Candidate(number(91.32, "degF"), -0.1 - gap), free="91.3", second=at > 0)
        for at, gap in enumerate((first, second))
    ]
    weighed = weigh(pair, listening, ENGLISH)
    assert weighed is not None
    assert weighed.tied == asked


@pytest.mark.parametrize(
    ("value", "other"),
    [(13, 30), (30, 13), (-14, -40), (115, 150), (150, 115), (13.5, 30.5), (90.1, 19.1), (12, None), (20, None), (0, None),
     (31, None), (100, None), (10, None), (15_000, 50_000), (113_000, 130_000), (1_015, 1_050), (15_200, 50_200)],
)  # fmt: skip
def test_the_like_of_a_number_in_teen_or_ty(value: float, other: float | None) -> None:
    assert twin(value) == other


@pytest.mark.parametrize(
    ("likely", "other", "gap", "asked"),
    [(14, 40, 0.6, True), (80, 18, 0.9, True), (19, 90, 9.0, False), (91.3, 91.32, 0.7, True), (91.32, 91.3, 0.7, True),
     (18.6, 18.86, 6.0, False), (15, 60, 6.0, False), (-14, -40, 0.6, True), (14, -40, 6.0, False)],
)  # fmt: skip
def test_numbers_that_are_taken_for_one_another_are_asked_however_sure(
    likely: float, other: float, gap: float, asked: bool
) -> None:
    listening = Listening(number=NumberAsked("degF", -100, 200))
    both = (Candidate(number(likely, "degF"), -0.1), Candidate(number(other, "degF"), -0.1 - gap))
    pair = [whisper(*both, free=ENGLISH.say_number(likely), second=second) for second in (False, True)]
    weighed = weigh(pair, listening, ENGLISH)
    assert weighed is not None
    assert weighed.tied == asked
    assert vetoed(weighed, pair, listening, ENGLISH) == ("a near tie" if asked else "")
    heard = hear(listening, *pair)
    assert heard.verdict is (Verdict.ASKED_AGAIN if asked else Verdict.ACCEPTED)  # type: ignore[attr-defined]
    if asked:
        assert {rival.value for rival in heard.rivals} == {likely, other}  # type: ignore[attr-defined]


@pytest.mark.parametrize(("word", "taken"), [("why", False), ("note", False), ("next", True)])
def test_a_very_short_command_must_be_surer_than_a_longer_one(word: str, taken: bool) -> None:
    """'Dry' and 'right' were heard as 'why' by both engines, 'no' as 'note'."""
    said = Candidate(Meaning(Sense.COMMAND, word, spoken=word), -0.1)
    other = Candidate(Meaning(Sense.PHRASE, "cool", spoken="cool"), -4.0)
    free = f"{word.capitalize()}."
    pair = [whisper(said, other, free=free, other="some talk", free_score=-2.5, second=second) for second in (False, True)]
    heard = hear(Listening(phrases=("cool", "warm", "hot")), *pair)
    assert 0.95 < heard.sure < 0.9993  # type: ignore[attr-defined]
    assert (heard.verdict is Verdict.ACCEPTED) == taken  # type: ignore[attr-defined]


@pytest.mark.parametrize(("word", "alone"), [("why", False), ("note", False), ("next step", True)])
def test_no_very_short_command_is_settled_by_the_first_engine_alone(word: str, alone: bool) -> None:
    """On the fit's clips all its mistakes were such. 'Says' would hand over what it has: here the second engine breaks."""

    class Breaks(Says):
        def testify(self, samples: object, listening: Listening) -> Testimony:
            raise LookupError

    surely = whisper(Candidate(Meaning(Sense.COMMAND, word, spoken=word), -0.01), free=f"{word.capitalize()}.")
    listening = Listening(phrases=("cool", "warm", "hot"))
    recogniser = Recogniser([Says(surely), Breaks(whisper(second=True))], ENGLISH)
    with nullcontext() if alone else pytest.raises(LookupError):
        assert recogniser.hear(SOUND, listening).verdict is Verdict.ACCEPTED


@pytest.mark.parametrize(("said", "like"), [(14.0, 40.0), (40.0, 14.0), (-19.0, -90.0)])
def test_a_number_whose_like_is_one_stress_away_must_be_surer_than_others(said: float, like: float) -> None:
    """'Forty' was heard as '14' by both engines, which did not find '40' at all."""
    listening = Listening(number=NumberAsked("degF", -100, 200))

    def told(value: float, below: float) -> Any:
        pair = (Candidate(number(value, "degF"), -0.1), Candidate(number(7, "degF"), -0.1 - below))
        return hear(listening, *(whisper(*pair, free=f"{value:g} degrees", second=second) for second in (False, True)))

    assert told(said, 12.0).verdict is Verdict.ACCEPTED
    least = fitted()[f"whisper+{SECOND}"][Stake.READING].threshold
    just = next(below / 10 for below in range(120) if told(25.0, below / 10).sure >= least)
    assert told(25.0, just).sure < 0.99
    assert told(25.0, just).verdict is Verdict.ACCEPTED
    unsure = told(said, just)
    assert unsure.verdict is Verdict.ASKED_AGAIN
    assert [rival.value for rival in unsure.rivals] == [said, like]


@pytest.mark.parametrize(
    ("first", "second", "taken"), [(3.9, 9.0, False), (9.0, 3.9, False), (4.1, 4.1, True), (4.1, None, True)]
)
def test_a_number_must_lie_well_above_its_like_to_either_engine(first: float, second: float | None, taken: bool) -> None:
    listening = Listening(number=NumberAsked("degF", -100, 200))
    pair = [
        whisper(
            Candidate(number(14, "degF"), -0.1), *([] if gap is None else [Candidate(number(40, None), -0.1 - gap)]),
            free="14 degrees", second=at > 0,
        )
        for at, gap in enumerate((first, second))
    ]  # fmt: skip
    heard: Any = hear(listening, *pair)
    assert (heard.verdict is Verdict.ACCEPTED) == taken
    if not taken:
        assert {rival.value for rival in heard.rivals} == {14, 40}


@pytest.mark.parametrize(("said", "spoken"), [(14.0, "one four"), (70.0, "seven zero"), (16.5, "one six point five")])
def test_a_number_said_figure_by_figure_has_no_like(said: float, spoken: str) -> None:
    """It is what 'fourteen or forty? Give it digit by digit' asks for."""
    sure = Candidate(replace(number(said, "degF"), spoken=spoken), -0.1)
    pair = (sure, Candidate(number(7, "degF"), -5.1))
    heard = hear(
        Listening(number=NumberAsked("degF", -100, 200)),
        *(whisper(*pair, free=f"{said:g} degrees", second=second) for second in (False, True)),
    )
    assert heard.verdict is Verdict.ACCEPTED  # type: ignore[attr-defined]


def test_the_committed_model_is_whole_and_a_damaged_one_is_trouble(tmp_path: Path) -> None:
    decides = {"whisper": {Stake.CHOICE}, f"whisper+{SECOND}": set(Stake)}  # the first engine alone may settle a choice
    assert {engines: set(stakes) for engines, stakes in fitted().items()} == decides
    for stakes in fitted().values():
        for model in stakes.values():
            assert len(model.names) == len(model.weights) == len(model.means) == len(model.scales)
            assert 0.5 < model.threshold < 1
    path = tmp_path / "model.json"
    whole = json.loads(Path(acceptance.__file__).with_name("acceptance_model.json").read_text(encoding="utf-8"))
    whole["models"]["whisper"]["choice"]["bias"] = float("nan")
    for text in ("", "{}", json.dumps({"models": {"whisper": {"choice": {}}}}), json.dumps(whole)):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(Trouble):
            fitted.__wrapped__(path)


def test_a_gate_on_which_one_pass_found_nothing_stays_shut() -> None:
    sure = Candidate(OPEN, -0.1)
    for pair in ((whisper(sure, free="Isolated, lock 42."), whisper(second=True)), (whisper(), whisper(sure, second=True))):
        heard = hear(GATE, *pair)
        assert heard.verdict is not Verdict.ACCEPTED  # type: ignore[attr-defined]


@pytest.mark.parametrize("word", ["block", "clock", "locker", "unlock", "log"])
def test_a_gate_stays_shut_on_a_word_like_one_of_its_own(word: str) -> None:
    sure = Candidate(OPEN, -0.1)
    plain = whisper(sure, free=f"isolated {word} 42")
    heard = hear(GATE, plain, whisper(sure, free="Isolated, lock 4 2.", second=True))
    assert heard.verdict is Verdict.ASKED_AGAIN  # type: ignore[attr-defined]


def test_a_gate_stays_shut_on_a_word_like_its_own_that_the_second_engine_alone_wrote() -> None:
    sure = Candidate(OPEN, -0.1)
    heard = hear(GATE, whisper(sure, free="Isolated, lock 4 2."), whisper(sure, free="Isolated, block 4 2.", second=True))
    assert heard.verdict is Verdict.ASKED_AGAIN  # type: ignore[attr-defined]


def test_a_choice_that_the_engines_lead_differently_is_asked() -> None:
    why = Candidate(Meaning(Sense.COMMAND, "why", spoken="why"), -0.1)
    pair = [whisper(ANSWER, free="Warm."), whisper(why, free="Why.", second=True)]
    listening = Listening(phrases=("cool", "warm", "hot"))
    weighed = weigh(pair, listening, ENGLISH)
    assert weighed is not None
    assert vetoed(weighed, pair, listening, ENGLISH) == "the witnesses differ"


STEP = Candidate(Meaning(Sense.COMMAND, "next step", spoken="next step"), -0.1)


def test_a_command_of_whose_sound_the_first_engine_wrote_nothing_is_asked() -> None:
    for free, answer in (("Next step.", Verdict.ACCEPTED), ("The lorry was.", Verdict.ASKED_AGAIN)):
        heard = hear(WARM, whisper(STEP, free=free), whisper(STEP, free="Next step.", second=True))
        assert heard.verdict is answer  # type: ignore[attr-defined]


def test_a_reading_in_a_unit_that_does_not_fit_is_asked_and_weighs_less() -> None:
    ohms = Listening(number=NumberAsked("ohm"))
    sure = [whisper(Candidate(number(27.1, "ampere"), -0.1), free="27.1 amps", second=second) for second in (False, True)]
    heard = hear(ohms, *sure)
    assert heard.verdict is Verdict.ASKED_AGAIN  # type: ignore[attr-defined]
    assert (heard.meaning.value, heard.meaning.unit) == (27.1, "ampere")  # type: ignore[attr-defined]
    near = whisper(Candidate(number(27.1, "ampere"), -0.5), Candidate(number(27.1, "ohm"), -2.0))
    assert acts(near, ohms)[0].meaning.unit == "ohm"


def test_a_value_written_another_way_is_as_like_as_can_be() -> None:
    volts = Listening(number=NumberAsked("volt"))
    weighed = weigh([whisper(Candidate(number(82.0, "volt"), -0.1), free="82.0 volts.")], volts, ENGLISH)
    assert weighed is not None
    assert dict(weighed.features)["alike"] == 1.0


SWITCH = Listening(phrases=("nothing runs", "it runs"), proof=True)
NOTHING = Meaning(Sense.PHRASE, "nothing runs", spoken="nothing runs")


@pytest.mark.parametrize("free", ["Something runs.", "Nothing runs but the fan.", "Nothing runs?", "It still runs."])
def test_a_proof_is_never_accepted_over_a_denial(free: str) -> None:
    sure = Candidate(NOTHING, -0.2)
    heard = hear(SWITCH, whisper(sure, free=free), whisper(sure, free="Nothing runs.", second=True))
    assert heard.verdict is not Verdict.ACCEPTED  # type: ignore[attr-defined]


def test_a_proof_needs_the_passes_to_agree() -> None:
    runs = Candidate(Meaning(Sense.PHRASE, "it runs", spoken="it runs"), -3.0)
    pair = [whisper(Candidate(NOTHING, -0.2), free="Nothing runs."), whisper(runs, free="It runs.", second=True)]
    weighed = weigh(pair, SWITCH, ENGLISH)
    assert weighed is not None
    assert weighed.proof
    assert vetoed(weighed, pair, SWITCH, ENGLISH) == "the witnesses differ"
    agreed = [whisper(Candidate(NOTHING, -0.2), free="Nothing runs.", second=second) for second in (False, True)]
    weighed = weigh(agreed, SWITCH, ENGLISH)
    assert weighed is not None
    assert not vetoed(weighed, agreed, SWITCH, ENGLISH)


AFFIRM = Listening(commands=("affirm", "negative"), proof=True)
YES = Candidate(Meaning(Sense.COMMAND, "affirm", spoken="affirm"), -0.1)


@pytest.mark.parametrize("like", ["firm", "confirm", "a farm"])
@pytest.mark.parametrize("second", [False, True])
def test_a_proof_that_one_engine_takes_for_a_word_like_it_is_asked(like: str, second: bool) -> None:
    near = Candidate(Meaning(Sense.DENIAL, Denial.NEAR, spoken=like), -0.2)
    other = whisper(near, replace(YES, score=-3.2), free=f"{like.capitalize()}.", second=second)
    sure = whisper(YES, free="Affirm.", second=not second)
    heard = hear(AFFIRM, *((sure, other) if second else (other, sure)))
    assert heard.verdict is not Verdict.ACCEPTED  # type: ignore[attr-defined]
    agreed = hear(AFFIRM, whisper(YES, free="Affirm."), whisper(YES, free="Affirm.", second=True))
    assert agreed.verdict is Verdict.ACCEPTED  # type: ignore[attr-defined]


def test_a_proof_needs_an_act_of_each_engine_and_the_words_of_both() -> None:
    sure = [whisper(Candidate(NOTHING, -0.2), free="Nothing runs.", second=second) for second in (False, True)]
    assert hear(SWITCH, *sure).verdict is Verdict.ACCEPTED  # type: ignore[attr-defined]
    rungs = whisper(lead(Denial.NEAR, -0.2, "nothing rungs"), free="Nothing rungs.", second=True)
    assert hear(SWITCH, sure[0], rungs).verdict is not Verdict.ACCEPTED  # type: ignore[attr-defined]
    wrote = whisper(Candidate(NOTHING, -0.2), free="Nothing rungs.", other="Nothing rungs.")
    assert hear(SWITCH, wrote, sure[1]).verdict is not Verdict.ACCEPTED  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("first", "second", "asked"),
    [(-9.0, -9.0, False), (-3.0, -9.0, True), (-9.0, -3.0, True), (-3.2, -9.0, False), (-9.0, -3.2, False)],
)
def test_true_denials_must_lie_below_what_proves_to_both_engines(first: float, second: float, asked: bool) -> None:
    for listening, act, words in ((GATE, OPEN, "Isolated, lock 4 2."), (SWITCH, NOTHING, "Nothing runs.")):
        pair = [
            whisper(Candidate(act, -0.1), lead(Denial.NEGATION, score, "not so"), free=words, second=at > 0)
            for at, score in enumerate((first, second))
        ]
        weighed = weigh(pair, listening, ENGLISH)
        assert weighed is not None
        assert bool(vetoed(weighed, pair, listening, ENGLISH)) == asked


@pytest.mark.parametrize("which", [False, True])
@pytest.mark.parametrize(
    "leader",
    [Meaning(Sense.COMMAND, "power is on", spoken="power is on"), Meaning(Sense.DENIAL, Denial.HALF, spoken="isolated")],
)
def test_what_proves_stands_in_front_of_all_else_to_both_engines(leader: Meaning, which: bool) -> None:
    for listening, act, words in ((GATE, OPEN, "Isolated, lock 4 2."), (SWITCH, NOTHING, "Nothing runs.")):
        plain = whisper(Candidate(act, -0.1), free=words, second=not which)
        behind = whisper(Candidate(leader, -0.1), Candidate(act, -0.6), free=words, second=which)
        pair = (plain, behind) if which else (behind, plain)
        assert hear(listening, *pair).verdict is Verdict.ASKED_AGAIN  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    "wrote",
    ["Isolated, lock 43.", "Isolated lock 142", "Isolated, lock 42 43.", "Isolated, lock 4.", "Unisolated lock 42",
     "Insulated, lock 42.", "Isolate lock 42", "Violated lock 42", "Isolated, lock 42 is missing."],
)  # fmt: skip
@pytest.mark.parametrize("second", [False, True])
def test_a_gate_opens_to_nothing_but_its_phrase_in_the_words_of_both(wrote: str, second: bool) -> None:
    sure = Candidate(OPEN, -0.1)
    pair = [whisper(sure, free=wrote if at == second else "Isolated, lock 4 2.", second=at) for at in (False, True)]
    assert hear(GATE, *pair).verdict is not Verdict.ACCEPTED  # type: ignore[attr-defined]


def test_a_proof_that_ties_with_its_opposite_is_asked() -> None:
    for listening, yes, no, words in (
        (AFFIRM, YES.meaning, Meaning(Sense.COMMAND, "negative", spoken="negative"), "Affirm."),
        (SWITCH, NOTHING, Meaning(Sense.PHRASE, "it runs", spoken="it runs"), "Nothing runs."),
    ):
        pair = [whisper(Candidate(yes, -0.7), Candidate(no, -0.75), free=words, second=second) for second in (False, True)]
        weighed = weigh(pair, listening, ENGLISH)
        assert weighed is not None
        assert vetoed(weighed, pair, listening, ENGLISH) == "a near tie"
        assert hear(listening, *pair).verdict is Verdict.ASKED_AGAIN  # type: ignore[attr-defined]


def test_an_enrolment_makes_no_proof_and_no_number_in_teen_or_ty_easier() -> None:
    volts, seven = NumberAsked("volt"), Candidate(number(7, "volt"), -2.1)
    for listening, value, gap in ((Listening(number=volts, proof=True), 0.0, 2.1), (Listening(number=volts), 14.0, 3.0)):
        act, other = Candidate(number(value, "volt"), -0.1), replace(seven, score=-0.1 - gap)
        pair = [whisper(act, other, free=f"{value:g} volts", second=second) for second in (False, True)]
        for shift in (0.0, 1.5):
            heard = Recogniser([Says(t) for t in pair], ENGLISH, {Stake.READING: shift}).hear(SOUND, listening)
            assert heard.verdict is Verdict.ASKED_AGAIN, (value, shift, heard.sure)


def test_one_neural_engine_alone_settles_nothing_grave() -> None:
    """Nothing was fitted to it alone but choices."""
    volts = Listening(number=NumberAsked("volt"))
    for listening, act, words in (
        (volts, number(15, "volt"), "15 volts"), (GATE, OPEN, "Isolated, lock 4 2."),
        (Listening(number=NumberAsked("volt"), proof=True), number(0, "volt"), "0 volts"),
    ):  # fmt: skip
        heard = hear(listening, whisper(Candidate(act, -0.01), free=words))
        assert heard.verdict is not Verdict.ACCEPTED  # type: ignore[attr-defined]


def lead(which: Denial, score: float, spoken: str) -> Candidate:
    return Candidate(Meaning(Sense.DENIAL, which, spoken=spoken), score)


WARM = Listening(phrases=("cool", "warm", "hot"), commands=None)
ANSWER = Candidate(Meaning(Sense.PHRASE, "warm", spoken="warm"), -0.2)


@pytest.mark.parametrize("free", ["Not yet.", "No.", "Go away!", "The lorry is in the yard.", ""])
def test_a_gate_needs_words_of_the_second_engine_that_are_near_it(free: str) -> None:
    sure = Candidate(OPEN, -0.1)
    heard = hear(GATE, whisper(sure, free="Isolated, lock 42."), whisper(Candidate(OPEN, -13.0), free=free, second=True))
    assert heard.verdict is not Verdict.ACCEPTED  # type: ignore[attr-defined]


@pytest.mark.parametrize("which", [Denial.NEGATION, Denial.STILL_ON, Denial.QUESTION, Denial.UNSURE])
def test_a_denial_that_leads_in_the_second_engine_forbids_what_proves(which: Denial) -> None:
    for listening, act, words in ((GATE, OPEN, "Isolated, lock 42."), (SWITCH, NOTHING, "Nothing runs.")):
        pair = [
            whisper(Candidate(act, -0.1), free=words),
            whisper(lead(which, -0.2, "not so"), Candidate(act, -5.0), free=words, second=True),
        ]
        weighed = weigh(pair, listening, ENGLISH)
        assert weighed is not None
        assert vetoed(weighed, pair, listening, ENGLISH) == "a denial was heard"


def test_a_denial_that_leads_in_the_first_engine_forbids_any_act() -> None:
    never = lead(Denial.NEGATION, -0.1, "not warm")
    heard = hear(WARM, whisper(never, ANSWER, free="Warm."), whisper(ANSWER, free="Warm.", second=True))
    assert heard.verdict is Verdict.ASKED_AGAIN  # type: ignore[attr-defined]
    heard = hear(WARM, whisper(ANSWER, free="Not warm."), whisper(ANSWER, free="Warm.", second=True))
    assert heard.verdict is not Verdict.ACCEPTED  # type: ignore[attr-defined]


def test_nothing_is_accepted_in_which_one_engine_found_nothing() -> None:
    volts = Listening(number=NumberAsked("volt"))
    for listening, act, words in (
        (SWITCH, Candidate(NOTHING, -0.1), "Nothing runs."), (volts, Candidate(number(15, "volt"), -0.1), "15 volts"),
        (GATE, Candidate(OPEN, -0.1), "Isolated, lock 42."),
    ):  # fmt: skip
        for pair in ((whisper(act, free=words), whisper(second=True)), (whisper(), whisper(act, free=words, second=True))):
            assert hear(listening, *pair).verdict is not Verdict.ACCEPTED  # type: ignore[attr-defined]


def test_what_the_second_engine_alone_heard_is_asked_about() -> None:
    power = Candidate(Meaning(Sense.COMMAND, "power is on", spoken="power is on"), -0.1)
    everything = Listening(gate=GATE.gate, commands=None)
    heard = hear(everything, whisper(free="Hours and on."), whisper(power, free="Power is on.", second=True))
    assert heard.verdict is not Verdict.ACCEPTED  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("first", "second", "opens"),
    [(-8.0, -8.0, True), (-2.2, -8.0, True), (-8.0, -2.2, True), (-8.0, -1.9, False), (-1.9, -9.0, False)],
)
def test_what_sounds_like_a_gate_must_lie_below_it_to_both_engines(first: float, second: float, opens: bool) -> None:
    """'Isolated log' and 'isolated block', which the engines write as the phrase, are told by how near they come."""
    near = [
        Candidate(Meaning(Sense.DENIAL, Denial.NEAR, spoken="isolated log four two"), score) for score in (first, second)
    ]
    words = "Isolated, lock 4 2."
    pair = [whisper(Candidate(OPEN, -0.1), one, free=words, second=n > 0) for n, one in enumerate(near)]
    weighed = weigh(pair, GATE, ENGLISH)
    assert weighed is not None
    assert (vetoed(weighed, pair, GATE, ENGLISH) == "") == opens


@pytest.mark.parametrize(
    ("first", "second", "denial"),
    [
        ("Power is not isolated.", "Power is not isolated.", Denial.NEGATION),
        ("Power is not isolated.", "How is it?", Denial.NEGATION),
        ("Power is isolated.", "It's not isolated.", Denial.NEGATION),
        ("Is it isolated?", "Is it isolated?", Denial.QUESTION),
    ],
)
def test_a_denial_somebody_wrote_down_at_a_gate_is_never_met_with_silence(first: str, second: str, denial: Denial) -> None:
    """Whatever was found likeliest in force: nothing at all, or a command that the words do not resemble."""
    back = Candidate(Meaning(Sense.COMMAND, "go back", spoken="go back"), -9.0)
    for found in ((), (back,)):
        heard = hear(GATE, whisper(*found, free=first), whisper(*found, free=second, second=True))
        assert heard.verdict is Verdict.ASKED_AGAIN  # type: ignore[attr-defined]
        assert (heard.meaning.sense, heard.meaning.text) == (Sense.DENIAL, denial)  # type: ignore[attr-defined]


def test_speech_beside_a_gate_is_still_met_with_silence() -> None:
    train = "Does this train stop at the summit?"
    back = Candidate(Meaning(Sense.COMMAND, "go back", spoken="go back"), -9.0)
    heard = hear(GATE, whisper(back, free=train), whisper(back, free=train, second=True))
    assert heard.verdict is Verdict.NOT_FOR_ME  # type: ignore[attr-defined]


def _in_noise(testimony: Testimony, decibels: float) -> Testimony:
    return replace(testimony, evidence=(*testimony.evidence, (ABOVE_NOISE, decibels)))


def _gate(decibels: float | None, second: float, first: float = 5.0) -> Any:
    """By two engines; a look-alike lies that far below to each."""
    log = Meaning(Sense.DENIAL, Denial.NEAR, spoken="isolated log four two")
    pair = [
        whisper(Candidate(OPEN, -0.1), Candidate(log, -0.1 - below), free="Isolated, lock 4 2.", second=at > 0)
        for at, below in enumerate((first, second))
    ]
    return hear(GATE, *(pair if decibels is None else [_in_noise(one, decibels) for one in pair]))


def test_a_gate_must_be_surer_where_the_noise_is_loud() -> None:
    """What sounded like a gate and was taken for one on the fit's clips was said in noise."""
    quiet, loud, untold = (_gate(decibels, 2.6) for decibels in (24.0, 12.0, None))
    assert quiet.verdict is Verdict.ACCEPTED
    assert (loud.verdict, loud.reason) == (Verdict.ASKED_AGAIN, "not sure enough")
    assert untold.sure <= loud.sure <= quiet.sure < fitted()[f"whisper+{SECOND}"][Stake.GATE].threshold
    assert untold.verdict is Verdict.ASKED_AGAIN  # nobody said how loud it was
    assert _gate(12.0, 6.8, 6.8).verdict is Verdict.ACCEPTED


@pytest.mark.parametrize("decibels", [22.1, 21.9])
def test_quiet_begins_at_22_decibels(decibels: float) -> None:
    assert (_gate(decibels, 4.0).verdict is Verdict.ACCEPTED) == (decibels > 22)


NOT_COOL = Meaning(Sense.DENIAL, Denial.NEGATION, spoken="it isn't cool")
COOL = Meaning(Sense.PHRASE, "cool", spoken="cool")


def _cool(*against: tuple[float, ...]) -> Any:
    """'Cool' by two engines, a true denial and some talk each that far below."""
    pair = [
        replace(
            whisper(Candidate(COOL, -0.1), Candidate(NOT_COOL, -0.1 - denial), free="Cool.", second=at > 0),
            evidence=(("other: some talk", -0.1 - talk),),
        )
        for at, (denial, talk) in enumerate(against)
    ]
    return hear(Listening(phrases=("cool", "warm", "hot")), *pair)


@pytest.mark.parametrize(
    ("first", "second", "taken"),
    [(9.0, 9.0, True), (2.7, 9.0, False), (9.0, 2.7, False), (2.7, 2.7, False), (3.2, 3.2, True)],
)
def test_no_answer_is_taken_over_a_true_denial_near_it_not_by_the_first_engine_alone(
    first: float, second: float, taken: bool
) -> None:
    heard = _cool((first, 2.0), (second, 9.0))  # the talk keeps the first from settling it alone
    assert (heard.verdict is Verdict.ACCEPTED) == taken
    if not taken:
        assert heard.reason == "a denial is as likely"


def _outweighed(
    meaning: Meaning, *talk: float, second_words: str = "", phrases: tuple[str, ...] = ("cool", "warm", "hot"),
    commands: tuple[str, ...] | None = None, shift: float = 0.0,
) -> Any:  # fmt: skip
    """By two engines, something else that means nothing in force so far below (negative: above)."""
    own = f"{meaning.spoken.capitalize()}."
    pair = [
        replace(
            whisper(Candidate(meaning, -0.1), free=second_words if second_words and at else own, second=at > 0),
            evidence=(("other: some talk", -0.1 - below),),
        )
        for at, below in enumerate(talk)
    ]
    recogniser = Recogniser([Says(t) for t in pair], ENGLISH, {Stake.CHOICE: shift})
    return recogniser.hear(SOUND, Listening(phrases=phrases, commands=commands))


@pytest.mark.parametrize(
    ("first", "second", "answer", "command"),
    [(1.5, 1.5, True, True), (-0.5, -0.5, True, False), (3.0, -1.5, True, True), (3.0, -3.0, True, False),
     (-3.9, 9.0, True, False), (-4.1, 9.0, False, False)],
)  # fmt: skip
def test_what_all_else_outweighs_is_no_command_but_may_be_an_answer(
    first: float, second: float, answer: bool, command: bool
) -> None:
    """'Closed' in noise is written 'Blows' by one engine: there is no such answer. A command is in force everywhere."""
    for meaning, taken in ((COOL, answer), (STEP.meaning, command)):
        heard = _outweighed(meaning, first, second)
        assert (heard.verdict is Verdict.ACCEPTED) == taken, meaning
        if not taken:
            assert heard.reason == "the witnesses differ"


def test_an_answer_that_all_else_outweighs_to_both_engines_is_left_to_the_probability() -> None:
    heard = _outweighed(COOL, -3.5, -3.5)
    assert (heard.verdict, heard.reason) == (Verdict.ASKED_AGAIN, "not sure enough")


def test_among_a_recorders_free_words_nothing_may_be_outweighed() -> None:
    """What ends a list, or takes an item back, is listened for while anything may be said."""
    assert _outweighed(COOL, -3.0, 9.0).verdict is Verdict.ACCEPTED
    assert _outweighed(COOL, -3.0, 9.0, commands=("stop the visit",)).reason == "the witnesses differ"


@pytest.mark.parametrize(("words", "taken"), [("Cool.", True), ("The hose is warm here, cool.", False)])
def test_no_answer_is_taken_where_an_engine_wrote_another(words: str, taken: bool) -> None:
    assert (_outweighed(COOL, -3.0, 9.0, second_words=words).verdict is Verdict.ACCEPTED) == taken


def test_a_way_of_saying_the_same_answer_is_no_other() -> None:
    drags = Meaning(Sense.PHRASE, "drags", spoken="drags")
    heard = _outweighed(drags, -3.0, 9.0, second_words="It drags.", phrases=("drags", "it drags", "free"))
    assert heard.verdict is Verdict.ACCEPTED


@pytest.mark.parametrize(("below", "taken"), [(-1.9, True), (-2.1, False)])
def test_no_reading_is_taken_where_one_engine_is_for_something_else_by_far(below: float, taken: bool) -> None:
    said = Candidate(number(72, "degF"), -0.1)
    first = replace(whisper(said, free="72 degrees."), evidence=(("other: some talk", -0.1 - below), (ABOVE_NOISE, 20.0)))
    second = whisper(said, free="72 degrees.", second=True)
    heard: Any = hear(Listening(number=NumberAsked("degF", -100, 200)), first, second)
    assert (heard.reason == "the witnesses differ") != taken


def test_a_command_must_be_surer_than_an_answer() -> None:
    sure = {m: [_outweighed(m, at / 10, at / 10) for at in range(-20, 60)] for m in (COOL, STEP.meaning)}
    least = {m: min(h.sure for h in heard if h.verdict is Verdict.ACCEPTED) for m, heard in sure.items()}
    assert least[COOL] < 0.95 < 0.97 <= least[STEP.meaning] < 0.98


def test_an_enrolment_does_not_lower_an_answers_bar_without_end() -> None:
    answers = [_outweighed(COOL, at / 10, at / 10, shift=1.5) for at in range(-35, 20)]
    plain = [_outweighed(COOL, at / 10, at / 10) for at in range(-35, 20)]
    taken = [without.sure for within, without in zip(answers, plain, strict=True) if within.verdict is Verdict.ACCEPTED]
    assert 0.8 <= min(taken) < 0.82


def _near(first: str, second: str, *gaps: float, listening: Listening | None = None) -> Any:
    """Two answers by two engines, the second so far below the first."""
    one, other = (Meaning(Sense.PHRASE, words, spoken=words) for words in (first, second))
    pair = [
        whisper(Candidate(one, -0.1), Candidate(other, -0.1 - below), free=f"{first.capitalize()}.", second=at > 0)
        for at, below in enumerate(gaps)
    ]
    return hear(listening or Listening(phrases=(first, second, "green")), *pair)


@pytest.mark.parametrize(("first", "second", "asked"), [(2.9, 9.0, True), (3.1, 2.9, True), (3.1, 3.1, False)])
@pytest.mark.parametrize("answers", [("running", "humming"), ("fan running", "fan humming")])
def test_answers_that_sound_alike_are_asked_where_either_engine_has_them_near(
    answers: tuple[str, str], first: float, second: float, asked: bool
) -> None:
    heard = _near(*answers, first, second)
    assert (heard.verdict is Verdict.ASKED_AGAIN) == asked
    if asked:
        assert (heard.reason, {rival.text for rival in heard.rivals}) == ("a near tie", set(answers))


@pytest.mark.parametrize(
    "ways", [("drags", "it drags"), ("cord intact", "intact"), ("stop recording", "stop the recording"), ("cool", "tight"),
             ("delete it", "delete that"), ("it stops", "stops")],
)  # fmt: skip
def test_ways_of_saying_one_answer_and_unlike_answers_are_not_asked(ways: tuple[str, str]) -> None:
    assert _near(*ways, 2.5, 2.5).verdict is Verdict.ACCEPTED


def test_a_recorders_ways_of_saying_one_thing_are_not_asked() -> None:
    ways = ("fan blades", "fan blade")
    recorder = Listening(phrases=ways, commands=("stop the visit",))
    assert _near(*ways, 2.5, 2.5, listening=recorder).verdict is Verdict.ACCEPTED
    assert _near(*ways, 2.5, 2.5).verdict is Verdict.ASKED_AGAIN


def test_no_and_the_command_note_are_asked() -> None:
    no, note = Meaning(Sense.PHRASE, "no", spoken="no"), Meaning(Sense.COMMAND, "note", spoken="note")
    pair = [
        whisper(Candidate(no, -0.1), Candidate(note, -0.1 - gap), free="No.", second=gap < 3) for gap in (3.5, 2.0)
    ]
    heard: Any = hear(Listening(phrases=("yes", "no")), *pair)
    assert (heard.verdict, [r.text for r in heard.rivals]) == (Verdict.ASKED_AGAIN, ["no", "note"])


def test_what_an_engine_did_not_find_at_all_is_not_apart_from_anything() -> None:
    listening = Listening(number=NumberAsked("degF"))
    fourteen, forty = number(14, "degF"), number(40, None)
    found, not_found = whisper(Candidate(fourteen, -0.1)), whisper(Candidate(number(7, "degF"), -0.1))
    assert apart([found, found], fourteen, forty, listening) == math.inf
    assert apart([found, not_found], fourteen, forty, listening) == -math.inf


def test_enrolment_makes_no_very_short_command_easier() -> None:
    said = Candidate(Meaning(Sense.COMMAND, "note", spoken="note"), -0.1)
    pair = [whisper(said, free="Note.", other="some talk", free_score=-2.5, second=second) for second in (False, True)]
    recogniser = Recogniser([Says(t) for t in pair], ENGLISH, {Stake.CHOICE: 1.5})
    assert recogniser.hear(SOUND, Listening(phrases=("cool", "warm"))).verdict is not Verdict.ACCEPTED
