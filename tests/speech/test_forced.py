"""The comparison by sound, and the time words take, on synthesised speech."""

import numpy as np
import pytest

from audio_fixtures.voices import synthesise
from handsfree.language.base import load
from handsfree.language.meaning import Listening, Meaning, NumberAsked, Sense
from handsfree.speech.engine import RATE, Candidate, Testimony
from handsfree.speech.forced import Forced
from handsfree.speech.pace import SECONDS, misfit, spoken_seconds
from handsfree.speech.weighing import contest, vetoed, weigh

ENGLISH = load("en")
VOLTS = Listening(number=NumberAsked("volt"))


def volts(spoken: str, value: float) -> Meaning:
    return Meaning(Sense.NUMBER, text="", value=value, unit="volt", spoken=spoken)


@pytest.mark.parametrize(("said", "other"), [("fifteen volts", "fifty volts"), ("ninety three volts", "fifty volts")])
def test_the_sound_prefers_what_was_said(said: str, other: str) -> None:
    values = {"fifteen volts": 15.0, "fifty volts": 50.0, "ninety three volts": 93.0}
    found = Forced().compare(synthesise(said, "slt"), [volts(said, values[said]), volts(other, values[other])])
    assert found.candidates[0].meaning.value == values[said]


def test_what_no_grammar_can_hold_is_left_out() -> None:
    assert not Forced().compare(synthesise("fifty volts", "slt"), [volts("", 1), volts("50%", 50)]).candidates


def test_numbers_that_sound_near_are_compared_too() -> None:
    heard = Testimony("whisper", (Candidate(volts("four hundred and forty volts", 440), -1.0),), "440 volts.", -1.0)
    assert "four hundred and fourteen volts" in {one.spoken for one in contest([heard], VOLTS, ENGLISH)}


@pytest.mark.parametrize(("scores", "forbidden"), [((-1.0, -0.9), True), ((-0.9, -1.0), False)])
def test_a_reading_must_fit_the_sound_best(scores: tuple[float, float], forbidden: bool) -> None:
    best, twin = volts("fifteen volts", 15), volts("fifty volts", 50)
    both = [Testimony(name, (Candidate(best, -1.0),), "15 volts.", -1.0) for name in ("whisper", "whisper primed")]
    forced = Testimony("forced", (Candidate(best, scores[0]), Candidate(twin, scores[1])), "")
    weighed = weigh([*both, forced], VOLTS, ENGLISH)
    assert weighed is not None
    assert weighed.best.value == 15
    assert bool(vetoed(weighed, [*both, forced], VOLTS, ENGLISH)) is forbidden


def test_half_of_what_was_said_gives_way_to_all_of_it() -> None:
    half, whole = volts("sixty two", 62), volts("sixty two point two volts", 62.2)
    evidence = ((SECONDS, 1.9),)
    heard = [
        Testimony(name, (Candidate(half, -1.0), Candidate(whole, -1.4)), "62", -1.0, evidence)
        for name in ("whisper", "whisper primed")
    ]
    weighed = weigh(heard, VOLTS, ENGLISH)
    assert weighed is not None
    assert weighed.best.value == 62.2


def test_speech_is_timed_without_the_silence_around_it() -> None:
    speech = synthesise("sixty two point two volts", "slt")
    padded = np.concatenate([np.zeros(RATE, np.float32), speech, np.zeros(RATE, np.float32)])
    hiss = np.random.default_rng(1).normal(0, 0.003, len(padded)).astype(np.float32)  # no microphone is silent
    speech, padded = speech + hiss[: len(speech)], padded + hiss
    assert spoken_seconds(padded) == pytest.approx(spoken_seconds(speech), abs=0.25)
    assert spoken_seconds(np.zeros(10, np.float32)) == 0
    assert misfit(8, 0.0) == 0
    assert misfit(6, 2.0) > 1 > misfit(22, 1.9)
