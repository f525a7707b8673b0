"""The dictionary kept as text, against the plain way to read it."""

from __future__ import annotations

from pathlib import Path

import pocketsphinx
import pytest

from handsfree.language import phonetics
from handsfree.language.pronouncing import Pronouncing, Some

SMALL = "a AH\na(2) EY\na's EY Z\nab AE B\nabc EY B IY S IY\nb B IY\n"


def test_every_word_of_the_real_one_has_the_pronunciations_of_its_lines() -> None:
    lines = (Path(pocketsphinx.get_model_path()) / "en-us" / "cmudict-en-us.dict").read_text(encoding="utf-8").splitlines()
    plain: dict[str, tuple[tuple[str, ...], ...]] = {}
    for line in lines:
        word, *sounds = line.split()
        word = word.split("(")[0]
        plain[word] = (*plain.get(word, ()), tuple(sounds))
    kept = phonetics.dictionary()
    assert list(kept) == list(plain)
    assert [kept[word] for word in list(plain)[::97]] == [plain[word] for word in list(plain)[::97]]
    assert [tuple(one) for one in kept.firsts(range(len(kept)))] == [sounds[0] for sounds in plain.values()]


@pytest.mark.parametrize("word", ["", "aa", "a(2)", "abcd", "c", "A"])
def test_a_word_that_is_not_there(word: str) -> None:
    small = Pronouncing(SMALL, ("AH",))
    assert word not in small
    with pytest.raises(KeyError):
        small[word]


def test_the_first_the_last_and_those_between() -> None:
    small = Pronouncing(SMALL, ("AH", "B"))
    assert dict(small) == {
        "a": (("AH",), ("EY",)), "a's": (("EY", "Z"),), "ab": (("AE", "B"),), "abc": (("EY", "B", "IY", "S", "IY"),),
        "b": (("B", "IY"),),
    }
    assert list(Some(small, [4, 0])) == ["b", "a"]
    assert dict(Pronouncing("", ())) == {}
