"""The phonetic witness: what it makes of words nobody taught it, and what is said where its weights are not what they should
be."""

from __future__ import annotations

import importlib.metadata
import shutil
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from audio_fixtures import voices as made
from handsfree.errors import Trouble
from handsfree.language.base import load
from handsfree.language.meaning import GateAsked, Listening, Meaning, NumberAsked, Sense
from handsfree.speech import bars, phonetic, sounds
from handsfree.speech.ctc import freely, score
from handsfree.speech.engine import QUIET_BEFORE, Testimony, Witness
from handsfree.speech.phonetic import Phonetic
from handsfree.speech.recogniser import build_recogniser

pytestmark = pytest.mark.skipif(phonetic.missing(), reason="needs the phonetic witness")
GATE = Listening(gate=GateAsked("isolated", ("four", "two")))


@pytest.fixture(scope="module")
def engine() -> Phonetic:
    return Phonetic(load("en"))


def say(text: str, voice: str = "slt") -> np.ndarray:
    return made.padded(made.synthesise(text, voice))


def first(testimony: Testimony) -> Meaning:
    """But for the dictionary's words that sound nearest, which only stand beside."""
    return next(candidate.meaning for candidate in testimony.candidates if not _near(candidate.meaning))


@pytest.mark.parametrize("voice", ["slt", "espeak-gb"])
def test_words_that_nobody_taught_it_are_told_apart(engine: Phonetic, voice: str) -> None:
    """Invented answers of a procedure that there is not."""
    listening = Listening(phrases=("amber lantern", "copper thimble", "walnut"), commands=())
    for phrase in listening.phrases:
        assert first(engine.testify(say(phrase, voice), listening)).text == phrase


def test_numbers_are_found_without_another_witness(engine: Phonetic) -> None:
    listening = Listening(number=NumberAsked("degF", -40, 250), commands=())
    for said, value in (("forty three point five degrees", 43.5), ("minus twelve", -12.0), ("two hundred and eight", 208.0)):
        assert first(engine.testify(say(said), listening)).value == value


def test_a_gate_and_a_proof_are_heard_by_the_training_that_they_were_fitted_to(engine: Phonetic) -> None:
    """Everything else, by that which learnt from people as well."""
    sound = say("nothing runs")
    answers = Listening(phrases=("nothing runs", "it runs"), commands=())
    for asked, older in ((answers, False), (replace(answers, proof=True), True), (GATE, True)):
        assert engine.testify(sound, asked).free_score == pytest.approx(_freely(engine, sound, older))
    assert abs(_freely(engine, sound, True) - _freely(engine, sound, False)) > 0.1
    assert np.array_equal(engine.frames(sound).symbols, engine._model.frames(sound, True).symbols)  # dictated words


def _freely(engine: Phonetic, sound: np.ndarray, older: bool) -> float:
    frames = engine._model.frames(sound, older)
    return float(score(frames, [freely(frames)])[0])


def test_the_phrase_of_a_gate_lies_over_what_denies_it_and_every_other_number(engine: Phonetic) -> None:
    found = engine.testify(say("isolated lock four two", "awb"), GATE)
    scores = {c.meaning.sense: c.score for c in reversed(found.candidates)}
    assert scores[Sense.GATE] > scores[Sense.DENIAL] + 4


def _near(meaning: Meaning) -> bool:
    return meaning.text == "near word"


@pytest.mark.parametrize("said", ["not isolated lock four two", "isolated lock four three", "is it isolated lock four two"])
def test_what_denies_the_phrase_lies_over_it(engine: Phonetic, said: str) -> None:
    found = engine.testify(say(said), GATE)
    scores = {candidate.meaning.text: candidate.score for candidate in reversed(found.candidates)}
    assert first(found).sense is Sense.DENIAL
    assert scores["isolated, lock four two"] < found.candidates[0].score - 2


@pytest.mark.parametrize("voice", ["slt", "awb"])
@pytest.mark.parametrize("word", ["who", "was", "not", "he"])
def test_a_word_right_before_the_phrase_is_heard_by_its_loudness(engine: Phonetic, word: str, voice: str) -> None:
    def told(said: str) -> float:
        return 1.0 - dict(engine.testify(say(said, voice), GATE).evidence)[f"{QUIET_BEFORE} of isolated, lock four two"]

    assert told("isolated, lock four two") < bars.BEFORE.value / 2
    assert told(f"{word} isolated, lock four two") > bars.BEFORE.value


def test_what_another_offers_is_scored_and_stands_among_the_rest(engine: Phonetic) -> None:
    listening = Listening(number=NumberAsked("volt"), commands=())
    alone = engine.testify(say("two thousand three hundred and seventeen"), listening)
    offered = {"two thousand three hundred and seventeen": Meaning(Sense.NUMBER, "2317", 2317.0, spoken="two thousand…")}
    assert first(engine.also(alone, offered)).value == 2317.0
    assert engine.also(alone, {}) == alone


@pytest.mark.parametrize("sound", [np.zeros(0), np.zeros(100), np.zeros(16_000), np.full(8_000, np.nan)])
def test_odd_sound_gives_no_candidates(engine: Phonetic, sound: np.ndarray) -> None:
    found = engine.testify(sound.astype(np.float32), GATE)
    assert found.candidates == ()
    assert found.gives is Witness.SOUNDS


def test_a_word_no_dictionary_has_gets_its_sounds_from_its_letters(engine: Phonetic) -> None:
    assert sounds.ways("firnkasten") != ()
    listening = Listening(phrases=("firnkasten", "walnut"), commands=())
    assert first(engine.testify(say("walnut"), listening)).text == "walnut"


def test_an_accent_costs_less_than_another_word() -> None:
    for phoneme, written in sounds.WRITTEN.items():
        assert max(written.values()) == 1, phoneme
        assert all(0 < weight <= 1 for weight in written.values())


@pytest.mark.parametrize("harm", ["half", "turned", "gone"])
def test_weights_that_are_not_whole_are_told_in_a_sentence(
    harm: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    spec = find_spec(phonetic.PACKAGE)
    assert spec is not None
    assert spec.submodule_search_locations
    whole = (Path(next(iter(spec.submodule_search_locations))) / phonetic.WEIGHTS).read_bytes()
    (tmp_path / "assets").mkdir()
    if harm != "gone":
        harmed = {"half": whole[: len(whole) // 2], "turned": bytes([whole[0] ^ 255]) + whole[1:]}
        (tmp_path / phonetic.WEIGHTS).write_bytes(harmed[harm])
    monkeypatch.setattr("importlib.util.find_spec", lambda name: SimpleNamespace(submodule_search_locations=[str(tmp_path)]))
    with pytest.raises(Trouble, match=r"pip install --force-reinstall hama==1\.7\.0"):
        phonetic.weights()
    shutil.rmtree(tmp_path / "assets")


def test_another_version_is_told_in_a_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.metadata, "version", lambda name: "1.8.0")
    with pytest.raises(Trouble, match=r"fitted to hama 1\.7\.0, and 1\.8\.0 is installed"):
        phonetic.weights()
    with pytest.raises(Trouble, match=r"1\.8\.0"):
        build_recogniser("phonetic", "en", Path("no models added"))


def test_the_network_gives_what_the_packages_own_engine_gives() -> None:
    from hama import _engine

    from handsfree.speech.phonetic_adapted import CORRECTIONS, PEOPLE, corrected_file, tensors
    from handsfree.speech.phonetic_net import Net

    for corrections, share in ((CORRECTIONS, 0.0), (CORRECTIONS, phonetic.TAUGHT), (PEOPLE, phonetic.TAUGHT)):
        data = corrected_file(phonetic.weights(), corrections, share)
        sound = np.asarray(say("forty three point five degrees"), np.float32) + np.float32(1e-3)
        wanted = np.exp(_engine.AsrSession(data).run(["log_probs"], {"waveform": sound})[0][0])
        assert np.abs(np.exp(Net.of(tensors(data))(sound)) - wanted).max() < 5e-3


def test_half_a_file_of_what_it_was_taught_is_told_in_a_sentence(tmp_path: Path) -> None:
    from handsfree.speech.phonetic_adapted import CORRECTIONS, PEOPLE, corrected_file

    half = tmp_path / "adapted_phonetic.npz"
    for content in (CORRECTIONS.read_bytes()[:100_000], PEOPLE.read_bytes()[:100_000], b""):
        half.write_bytes(content)
        with pytest.raises(Trouble, match=r"training of the phonetic witness cannot be read .* install handsfree again"):
            corrected_file(phonetic.weights(), half)
    with pytest.raises(Trouble, match="install handsfree again"):
        corrected_file(phonetic.weights(), tmp_path / "none.npz")
