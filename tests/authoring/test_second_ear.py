"""Which written words may be others, by both witnesses."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from audio_fixtures.voices import padded, synthesise
from handsfree.authoring import free_words
from handsfree.authoring.live import dictation_for
from handsfree.authoring.second_ear import BAR, SecondEar
from handsfree.authoring.trade_ear import used
from handsfree.language import base
from handsfree.speech import phonetic, sounds
from handsfree.speech.ctc import Frames
from handsfree.speech.phonetic import Phonetic
from handsfree.speech.recogniser import build_recogniser


class Heard:
    """Hears the sounds of a text, clearly."""

    def __init__(self, text: str) -> None:
        way = sounds.ways(text)[0]
        self._frames = np.full((2 * len(way), len(sounds.SYMBOL)), 1e-4)
        for at, symbol in enumerate(way):
            self._frames[2 * at, symbol] = 0.9
        self._blank = np.array([1e-4, 0.9] * len(way))

    def frames(self, samples: Any) -> Frames:
        return Frames(self._frames, self._blank)

    def ways(self, text: str) -> tuple[tuple[int, ...], ...]:
        return sounds.ways(text)


SOUND = np.zeros(100, np.float32)


def ear(said: str, dislike: float = 1.0) -> SecondEar:
    """Of who said `said`; the writing engine likes what it wrote better than any other text, by so many nats."""

    def weigh(samples: Any, texts: Sequence[str]) -> list[float]:
        return [0.0, *[-dislike for _ in texts[1:]]]

    often = dict.fromkeys(["air", "cold", "cut", "the", "hose", "barb", "tarp", "burr", "take", "out", "upper"], 1e-5)
    return SecondEar(Heard(said), weigh, lambda word: often.get(word, 0.0))  # type: ignore[arg-type]  # no real witness


def test_a_word_that_was_not_heard_is_doubted_and_what_was_heard_is_offered() -> None:
    (doubt,) = ear("cut the hose at the barb").doubts(SOUND, "Cut the hose at the valve.")
    assert (doubt.at, doubt.word) == (5, "valve")
    assert "barb" in doubt.others


def test_what_the_writing_engine_finds_impossible_is_not_asked_about() -> None:
    assert ear("cut the hose at the barb", 200.0).doubts(SOUND, "Cut the hose at the valve.") == ()


def test_words_rightly_written_numbers_and_slight_words_are_not_asked_about() -> None:
    said = "cut the hose at the barb"
    assert ear(said).doubts(SOUND, "Cut the hose at the barb.") == ()
    assert all(one.word != "Cut" for one in ear("put the hose here").doubts(SOUND, "Cut the hose here.", ("cut",)))
    assert any(one.word == "there" for one in ear("cold air").doubts(SOUND, "Cold there.", ("there",))), "in an answer"
    assert ear("two turns").doubts(SOUND, "3", ()) == ()


def test_a_spelling_that_hardly_anybody_writes_is_doubted_for_one_of_the_same_sound() -> None:
    assert ear("take the barb out").doubts(SOUND, "Take the barbe out.") != ()


def test_a_rare_word_is_offered() -> None:
    (doubt,) = (one for one in ear("the tarps cut").doubts(SOUND, "The tops cut.") if one.word == "tops")
    assert "tarp" in doubt.others


def test_a_word_that_was_left_out_is_offered() -> None:
    (doubt,) = (one for one in ear("take the upper burr out").doubts(SOUND, "Take the upper out.") if one.word == "upper")
    assert "upper burr" in doubt.others


def test_a_word_that_the_writer_used_before_comes_first() -> None:
    (again,) = (one for one in ear("the burrs cut").doubts(SOUND, "The bars cut.", (), ("burrs",)) if one.word == "bars")
    assert again.others[0] == "burrs"


def test_silence_and_words_without_sounds_ask_nothing() -> None:
    assert ear("go").doubts(SOUND, "") == ()
    assert ear("go").doubts(SOUND, "- … -") == ()


@pytest.mark.parametrize("written", ["25mm", "10:30", "12-volt"])
def test_what_holds_a_figure_is_left(written: str) -> None:
    assert ear("identified the hose").doubts(SOUND, f"{written} of the hose there.", ("of", "the", "hose", "there")) == ()


def test_of_a_long_text_fewer_others_are_weighed() -> None:
    """Before, 36 whole texts were weighed however long: 37 seconds of speech took 17 of the processor and 1.6 GB."""
    asked: list[int] = []

    def weigh(samples: Any, texts: Sequence[str]) -> list[float]:
        asked.append(sum(len(text.split()) for text in texts))
        return [0.0] * len(texts)

    often = dict.fromkeys(["hose", "barb", "cut", "the"], 1e-5)
    long = SecondEar(Heard("cut the hose at the barb"), weigh, lambda word: often.get(word, 0.0))  # type: ignore[arg-type]
    for times in (1, 20, 40):
        long.doubts(SOUND, " ".join(["Cut the nose at the barn."] * times))
    assert len(asked) == 3
    assert max(asked) <= 1_200 + 240


def test_a_text_longer_than_the_engine_reads_is_written_and_asks_nothing(tmp_path: Path) -> None:
    """An engine that repeats itself: before, the words were lost with a traceback."""
    write = free_words.writers("en", tmp_path)[-1]
    sound = padded(synthesise("Oil the hinge of the lid.", "slt"))
    assert write.weigh(sound, ["go " * 441]) != []
    assert write.weigh(sound, ["go", "go " * 500]) == []
    real = SecondEar(Phonetic(base.load("en")), write.weigh, lambda word: used().get(word, 0.0))
    assert real.doubts(sound, "oil the lid " * 160) == ()


def test_where_the_weights_of_sounds_are_damaged_the_trade_listens(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The recogniser has told it; before, the first free words ended the recording."""
    monkeypatch.setattr(phonetic, "SHA256", "0" * 64)
    phonetic._load.cache_clear()
    try:
        dictation = dictation_for(build_recogniser("whisper", "en", tmp_path), "en", tmp_path)
        sound = padded(synthesise("Oil the hinge of the lid.", "slt"))
        assert dictation.write(sound).text == "Oil the hinge of the lid."
    finally:
        phonetic._load.cache_clear()


def test_the_real_witnesses(tmp_path: Path) -> None:
    write = free_words.writers("en", tmp_path)[-1]
    sound = padded(synthesise("Oil the hinge of the lid.", "slt"))
    plain, other = write.weigh(sound, ["Oil the hinge of the lid.", "Boil the fringe of a bed."])
    assert math.isfinite(plain)
    assert plain > other - BAR
    real = SecondEar(Phonetic(base.load("en")), write.weigh, lambda word: used().get(word, 0.0))
    assert [one for one in real.doubts(sound, "Oil the fringe of the lid.", ("the", "of")) if one.word == "fringe"]
    assert not [one for one in real.doubts(sound, "Oil the hinge of the lid.", ("the", "of")) if one.word in ("oil", "lid")]
