"""The embedded engine on real synthesised voices."""

from __future__ import annotations

import threading

import numpy as np
import pytest

from handsfree.errors import Trouble
from handsfree.language.meaning import GateAsked, Listening, NumberAsked, Sense
from handsfree.speech.engine import Testimony
from handsfree.speech.pocketsphinx import PocketSphinx, load
from handsfree.speech.pocketsphinx_rivals import weakest_word
from tests.speech.fixtures_voices import voices

CHOICES = Listening(phrases=("cool", "warm", "hot"))
NUMBER = Listening(number=NumberAsked("degF", -40, 250))
GATE = Listening(gate=GateAsked("isolated", ("four", "two")))


@pytest.fixture(scope="module")
def engine() -> PocketSphinx:
    return load()


def say(text: str, voice: str = "slt") -> np.ndarray:
    return np.asarray(voices.padded(voices.synthesise(text, voice)))


def evidence(testimony: Testimony) -> dict[str, float]:
    return dict(testimony.evidence)


def test_clean_recorded_voices_are_mostly_heard(engine: PocketSphinx) -> None:
    """Measured: 20 of 27. Single short words of slt and awb ("cool", "hot") are what fails; they come out as decoys."""
    said = [(CHOICES, t) for t in ("cool", "warm", "hot", "next step", "say again", "stand by")]
    said += [(NUMBER, "forty three point five"), (NUMBER, "minus twelve"), (GATE, "isolated lock four two")]
    right = 0
    for voice in ("slt", "rms", "awb"):
        for listening, text in said:
            candidates = engine.testify(say(text, voice), listening).candidates
            right += bool(candidates) and candidates[0].meaning.spoken == text
    assert right >= 18


@pytest.mark.parametrize("text", ["not isolated", "is it isolated", "not isolated lock four two"])
@pytest.mark.parametrize("voice", ["slt", "rms", "kal16"])
def test_denials_find_their_own_place(engine: PocketSphinx, text: str, voice: str) -> None:
    """Without decoys in the grammar these were heard as their opposite, three voices of three."""
    best = engine.testify(say(text, voice), GATE).candidates[0].meaning
    assert best.sense is Sense.DENIAL


def test_where_nothing_is_in_force_nothing_is_found(engine: PocketSphinx) -> None:
    assert engine.testify(say("warm"), Listening(commands=())).candidates == ()


def test_evidence_parts_right_from_unrelated(engine: PocketSphinx) -> None:
    right = [evidence(engine.testify(say(text), CHOICES)) for text in ("say again", "stand by", "next step")]
    other = [evidence(engine.testify(say(text), CHOICES)) for text in voices.CHATTER[:3]]
    assert min(e["agree"] for e in right) > max(e.get("agree", 0.0) for e in other)
    assert min(e["over_free"] for e in right) > max(e.get("over_free", -9.0) for e in other)


def test_a_teen_brings_its_ty_as_a_rival(engine: PocketSphinx) -> None:
    values = {c.meaning.value for c in engine.testify(say("one hundred and fifteen"), NUMBER).candidates}
    assert {115.0, 150.0} <= values


def test_digits_of_a_lock_number(engine: PocketSphinx) -> None:
    best = engine.testify(say("four two"), Listening(digits=(2, 4))).candidates[0].meaning
    assert (best.sense, best.text) == (Sense.DIGITS, "four two")


def test_the_same_sound_gives_the_same_evidence(engine: PocketSphinx) -> None:
    sound = voices.mix(say("say again"), voices.compressor_noise(3, 1), 10)
    first = engine.testify(sound, CHOICES)
    engine.testify(say("forty three point five"), NUMBER)
    assert engine.testify(sound, CHOICES) == first


def test_words_that_no_dictionary_has_can_be_answers(engine: PocketSphinx) -> None:
    listening = Listening(phrases=("hochgrat", "snib"), commands=())
    found = engine.testify(say("snib", "rms"), listening)
    assert found.candidates
    assert {c.meaning.text for c in found.candidates} & {"snib", "hochgrat"}


ODD = (np.zeros(0), np.zeros(16_000), np.full(16_000, np.nan), np.zeros(100), np.full(9_000, 1e-6))


@pytest.mark.parametrize("sound", ODD)
def test_odd_sound_gives_no_candidates(engine: PocketSphinx, sound: np.ndarray) -> None:
    assert engine.testify(sound.astype(np.float32), CHOICES).candidates == ()


def test_noise_alone_does_not_raise(engine: PocketSphinx) -> None:
    engine.testify(voices.fan_noise(1.0, 1) * 0.1, GATE)
    engine.testify(np.random.default_rng(0).uniform(-1, 1, 8_000).astype(np.float32), NUMBER)


def test_dictation(engine: PocketSphinx) -> None:
    assert "brother" in engine.dictate(say("My brother used to work for the post office."))
    assert engine.dictate(np.zeros(0, dtype=np.float32)) == ""


def test_several_threads_get_the_answers_of_one(engine: PocketSphinx) -> None:
    sounds = [say("warm", "rms"), say("say again", "rms"), say("stand by", "rms")]
    alone = [engine.testify(sound, CHOICES) for sound in sounds]
    found: dict[int, Testimony] = {}
    threads = [
        threading.Thread(target=lambda at=at, s=sound: found.__setitem__(at, engine.testify(s, CHOICES)))
        for at, sound in enumerate(sounds)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [found[at] for at in range(3)] == alone


def test_other_languages_are_refused_in_a_sentence() -> None:
    with pytest.raises(Trouble, match="English only"):
        load("es")


def test_weakest_word() -> None:
    from handsfree.language.phonetics import phonemes

    assert weakest_word("isolated lock four two", phonemes("isolated lock for two")) == 1.0
    assert weakest_word("isolated lock four two", phonemes("isolated luck for")) < 0.7
