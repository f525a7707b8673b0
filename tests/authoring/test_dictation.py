"""The words of the trade as a language model, and dictation with it, measured on procedures it has not seen."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from audio_fixtures.voices import padded, synthesise
from handsfree.authoring import trade_words
from handsfree.authoring.dictation import Dictation, as_sentences
from handsfree.authoring.trade_ear import HeardWord, load
from handsfree.language.tokens import tokens
from handsfree.resources import shipped_folder

#: Left out of the model that hears the sentences below, which are theirs.
HELD_OUT = ("platform-check", "condenser-cleaning", "fans-check-and-exchange")
SENTENCES = (
    "Brush the condenser along its fins, from top to bottom.",
    "Hold your palm in front of the delivery opening. How does the air feel?",
    "Put your thermometer between the middle bottles.",
    "Turn the fan by hand. Does it turn freely?",
)


def _entries(arpa: str) -> Iterator[tuple[int, float, tuple[str, ...], float]]:
    size = 0
    for line in arpa.splitlines():
        if line.endswith("-grams:"):
            size = int(line[1])
        elif size and line and line[0] in "-0123456789":
            first, *rest = line.split()
            words = tuple(rest[:size])
            yield size, float(first), words, float(rest[size]) if len(rest) > size else 0.0


said = st.lists(st.lists(st.sampled_from(["fan", "grille", "lock", "plug"]), min_size=1, max_size=5).map(tuple), min_size=1)


@given(said)
def test_the_probabilities_after_every_history_sum_to_one(sentences: list[tuple[str, ...]]) -> None:
    arpa = trade_words.arpa(sentences, {"fan": 0.01, "tree": 0.02})
    entries = list(_entries(arpa))
    prob = {words: 10**p for _, p, words, _ in entries}
    back = {words: 10**b for _, _, words, b in entries}
    vocabulary = [words[0] for size, _, words, _ in entries if size == 1 and words != ("<s>",)]

    def of(words: tuple[str, ...]) -> float:
        if words in prob:
            return prob[words]
        return back.get(words[:-1], 1.0) * of(words[1:])

    histories = [words for size, _, words, _ in entries if size < 3 and words[-1] != "</s>"] + [()]
    for history in histories:
        assert math.isclose(sum(of((*history, word)) for word in vocabulary), 1.0, abs_tol=2e-3), history


def test_shipped_procedures_bring_the_words_of_the_trade() -> None:
    words = {word for sentence in trade_words.sentences(shipped_folder("procedures")) for word in sentence}
    assert {"condenser", "evaporator", "grille", "relay", "thermometer", "compressor"} <= words
    assert not any(word.isdigit() for word in words)


def _wrong(reference: str, heard: list[str]) -> tuple[int, int]:
    from rapidfuzz.distance import Levenshtein

    said_words = list(tokens(reference))
    return Levenshtein.distance(said_words, heard), len(said_words)


def test_it_hears_sentences_it_has_not_seen_far_better_than_everyday_language() -> None:
    """Measured when it was made, 10 sentences by slt, rms, awb and kal16, 352 words: 9.7 % wrong against 39.5 %. The
    procedures said more then, and shared phrases with those left out ("in front of the delivery opening"). With what they
    say now, four sentences by the same voices, 160 words: 16 % against 42 %. The bound went from 15 to 20 % for that."""
    from handsfree.speech import pocketsphinx

    ear, everyday = load(None, HELD_OUT), pocketsphinx.load()
    trade = general = words = 0
    for voice in ("slt", "rms", "awb", "kal16"):
        for sentence in SENTENCES:
            sound = padded(synthesise(sentence, voice))
            wrong, count = _wrong(sentence, [word.text for word in ear.words(sound)])
            trade, words = trade + wrong, words + count
            general += _wrong(sentence, everyday.dictate(sound).split())[0]
    assert trade / words < 0.2
    assert trade < general / 2


def test_silence_says_nothing() -> None:
    import numpy as np

    ear = load(None, HELD_OUT)
    assert ear.words(np.zeros(100, dtype=np.float32)) == ()
    assert Dictation(None, ear, None).write(np.zeros(100, dtype=np.float32)).text == ""


def test_pauses_end_sentences() -> None:
    places = ("open", 0, 1, False), ("it", 2, 3, True), ("look", 4, 5, False), ("inside", 6, 7, False)
    words = tuple(HeardWord(word, 1, begin, end, pause) for word, begin, end, pause in places)
    assert as_sentences(words) == "Open it. Look inside."


class _Fixed:
    """An ear that hears what it is told to: what the two make of the same sound is the thing tested, not their hearing."""

    def __init__(self, *words: tuple[str, float]) -> None:
        self._words = tuple(HeardWord(text, sure, at, at) for at, (text, sure) in enumerate(words))

    def words(self, samples: object) -> tuple[HeardWord, ...]:
        return self._words


def test_a_word_heard_otherwise_is_the_writers_to_settle() -> None:
    sound = padded(synthesise("x", "slt"))
    ear: Any = _Fixed(("brush", 1.0), ("the", 1.0), ("fins", 0.6))  # a class of its own: only `words` is asked of it
    written = Dictation(None, ear, lambda samples: "brush the fans").write(sound)
    assert written.text == "Brush the fins."
    assert [(doubt.at, doubt.word, doubt.others[0]) for doubt in written.doubts] == [(2, "fins", "fans")]


def test_the_better_engine_writes_and_the_trade_doubts() -> None:
    sound = padded(synthesise("x", "slt"))
    ear = _Fixed(("brush", 1.0), ("the", 1.0), ("fins", 1.0), ("ten", 1.0), ("times", 1.0))
    # The ear is a stand-in: it has what is asked of it here, not all that its type has.
    written = Dictation(lambda samples, among: "Brush the fans 10 times.", ear, None, "whisper").write(sound)  # type: ignore[arg-type]  # no real ear
    assert written.text == "Brush the fans 10 times."
    assert [(doubt.at, doubt.word, doubt.others) for doubt in written.doubts] == [(2, "fans", ("fins",))]


def test_the_neural_engine_writes_sentences() -> None:
    from handsfree.authoring.live import dictation_for
    from handsfree.errors import Trouble
    from handsfree.speech.recogniser import build_recogniser

    try:
        recogniser = build_recogniser("whisper", "en", Path("no-models"))
    except Trouble:
        pytest.skip("the weights of the neural engine are not installed")
    dictation = dictation_for(recogniser, "en")
    written = dictation.write(padded(synthesise(SENTENCES[0], "rms")))
    assert tokens(written.text) == tokens(SENTENCES[0])
    assert dictation.name == "whisper"


def test_one_of_very_many_is_heard_by_the_neural_engine() -> None:
    """All the ways of saying the units of a reading at once."""
    from handsfree.authoring.words import load_words
    from handsfree.errors import Trouble
    from handsfree.language.meaning import Listening, Verdict
    from handsfree.speech.recogniser import build_recogniser

    try:
        recogniser = build_recogniser("whisper", "en", Path("no-models"))
    except Trouble:
        pytest.skip("the weights of the neural engine are not installed")
    units = load_words("en").language.units
    listening = Listening(phrases=tuple(dict.fromkeys(way for ways in units.values() for way in ways)), commands=())
    assert len(listening.phrases) > 100
    heard = recogniser.hear(padded(synthesise("degrees Fahrenheit", "rms")), listening)
    assert heard.verdict == Verdict.ACCEPTED
    assert heard.meaning is not None
    assert heard.meaning.text == "degrees fahrenheit"


def test_two_that_write_freely_doubt_each_word_in_which_they_differ() -> None:
    import numpy as np

    first, second = (lambda samples, among: "Put chocks under it."), (lambda samples: "put bricks under it")
    written = Dictation(first, None, None, "whisper", second).write(np.zeros(100, dtype=np.float32))
    assert written.text == "Put chocks under it."
    assert [(doubt.at, doubt.word, doubt.others) for doubt in written.doubts] == [(1, "chocks", ("bricks",))]


def test_the_words_of_the_trade_are_told_to_whoever_writes(monkeypatch: pytest.MonkeyPatch) -> None:
    """`record --words 'burr, hopper'`: before, nobody expected them and 'burr' was written 'bar'."""
    from handsfree.authoring import free_words
    from handsfree.authoring.live import dictation_for
    from handsfree.speech import phonetic

    told: list[str] = []
    monkeypatch.setattr(phonetic, "missing", lambda: True)
    monkeypatch.setattr(free_words, "writers", lambda *_: (lambda samples, among: told.append(among) or "The burrs cut.",))
    ear: Any = SimpleNamespace(engines=[SimpleNamespace(declares=SimpleNamespace(everyday=False), name="x")])
    sound = np.zeros(16_000, np.float32)
    dictation_for(ear, "en", None, "burr,\n  hopper").write(sound)
    assert "burr, hopper." in told[-1]
    assert len(told[-1]) > len("burr, hopper."), "beside how such sentences read"
    dictation_for(ear, "en", None, "burr").write(sound, "like a page")
    assert told[-1] == "like a page"
    dictation_for(ear, "en", None, "").write(sound)
    assert told[-1] == ""
