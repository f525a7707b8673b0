"""How words sound: pronunciations from the dictionary, eSpeak NG and letters; distances; the recogniser takes them."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.language import espeak
from handsfree.language.english import LANGUAGE
from handsfree.language.phonetics import (
    PHONEMES,
    by_letters,
    common,
    dictionary,
    distance,
    lacking,
    nearest,
    phonemes,
    pronunciations,
    similarity,
    sound_distance,
)


def test_the_dictionary_has_only_known_phonemes() -> None:
    assert {sound for ways in dictionary().values() for way in ways for sound in way} <= set(PHONEMES)
    assert pronunciations("lock") == (("L", "AA", "K"),)
    assert len(pronunciations("read")) == 2


def test_lacking() -> None:
    assert lacking(["lock", "amps", "Fahrenheit", "qwzx", "amps"]) == ("amps", "qwzx")


def test_espeak_agrees_with_the_dictionary() -> None:
    """eSpeak NG's pronunciations, mapped, against the CMU dictionary's for the words of the grammar: near on the whole."""
    words = sorted(word for word in LANGUAGE.vocabulary() if word in dictionary() and len(word) > 2)
    apart = []
    for word in words:
        ipa = espeak.ipa(word)
        assert ipa is not None
        apart.append(min(sound_distance(espeak.arpabet(ipa), way) for way in dictionary()[word]))
    assert sum(apart) / len(apart) < 0.12
    assert sum(one > 0.5 for one in apart) == 0


def test_every_word_of_the_grammar_has_a_pronunciation() -> None:
    for word in LANGUAGE.vocabulary() | {w for ways in LANGUAGE.commands.values() for way in ways for w in way.split()}:
        assert set(pronunciations(word)[0]) <= set(PHONEMES)
        assert pronunciations(word)[0], word
    assert by_letters("kilohms") == ("K", "IH", "L", "AA", "HH", "M", "S")


@given(st.from_regex(r"[a-z]{1,12}", fullmatch=True))
@settings(max_examples=50, deadline=None)
def test_any_word_can_be_said(word: str) -> None:
    assert set(pronunciations(word)[0]) <= set(PHONEMES)
    assert set(by_letters(word)) <= set(PHONEMES)


# recognition-notes fact 3: what a free decode writes for these two words; the third pair is only there to compare with
def test_sounds_alike_though_spelled_otherwise() -> None:
    assert distance("the firm", "affirm") < 0.35
    assert distance("will iran", "warm") < distance("will iran", "cool")
    assert distance("warm", "warm") == 0
    assert similarity("fifteen", "fifty") > similarity("fifteen", "eleven")
    assert similarity("five", "nine") > similarity("five", "six")
    assert distance("", "") == 0
    assert distance("cat", "") == 1


@given(
    st.lists(st.sampled_from(PHONEMES), max_size=8).map(tuple), st.lists(st.sampled_from(PHONEMES), max_size=8).map(tuple)
)
def test_distance_is_a_share(a: tuple[str, ...], b: tuple[str, ...]) -> None:
    assert 0 <= sound_distance(a, b) <= 1
    assert (sound_distance(a, b) == 0) == (a == b)


@pytest.mark.parametrize("word", ["isolated", "lock", "warm", "louder"])
def test_nearest_are_common_words_that_sound_otherwise(word: str) -> None:
    found = nearest(word, 3)
    assert len(found) == 3
    for other in found:
        assert common(other)
        assert 0 < distance(word, other) < 0.5


def test_no_two_commands_sound_alike() -> None:
    """No way to say one phrase lies within a fifth of another's: near ties would be asked about at every step."""
    ways = [(way, name) for name, said in (*LANGUAGE.commands.items(), *LANGUAGE.states.items()) for way in said]
    near = [(a, b) for a, first in ways for b, second in ways if first < second and distance(a, b) <= 0.2]
    assert near == []


@pytest.mark.parametrize(("unit", "most"), [("degF", 999), ("ohm", 999_999), ("", 9999)])
def test_the_number_grammar_runs_in_pocketsphinx(unit: str, most: float) -> None:
    """The real engine compiles it and its decoder accepts it, with pronunciations given for what the dictionary lacks."""
    from pocketsphinx import Config, Decoder

    text = LANGUAGE.number_grammar_jsgf(unit, most)
    assert ("<thousands>" in text) == (most >= 1000)
    rules = re.sub(r"<[^>]*>|#JSGF[^;]*;|grammar \w+;|public", "", text)
    decoder = Decoder(Config(lm=None, loglevel="FATAL"))
    for word in lacking(re.findall(r"[a-z']+", rules)):
        decoder.add_word(word, " ".join(phonemes(word)), True)
        assert decoder.lookup_word(word) is not None
    decoder.add_jsgf_string("number", text)
    decoder.activate_search("number")
    decoder.start_utt()
    decoder.process_raw(bytes(32_000), full_utt=True)
    decoder.end_utt()
    assert decoder.hyp() is None or LANGUAGE.numbers(decoder.hyp().hypstr.split())
