"""The likeliest numbers, against each number scored by itself. Frames are made up: what was said, blurred."""

from __future__ import annotations

import random
from functools import cache

import numpy as np
import pytest

from handsfree.language.base import load
from handsfree.speech import sounds
from handsfree.speech.ctc import Frames, score
from handsfree.speech.phonetic_numbers import Parts, numbers, parts

ENGLISH = load("en")


@cache
def known(unit: str) -> Parts:
    return parts(ENGLISH, unit, sounds.ways)


def blurred(text: str, seed: int) -> Frames:
    """Three frames a sound, one of them now and then another sound, and a tenth of each frame spread over all."""
    draw = np.random.default_rng(seed)
    labels = []
    for sound in sounds.ways(text)[0]:
        labels += [sound, sound if draw.random() < 0.97 else int(draw.integers(len(sounds.SYMBOL))), -1]
    size = len(sounds.SYMBOL)
    table = np.eye(size + 1)[labels] * 0.9 + 0.1 * draw.dirichlet(np.full(size + 1, 0.3), len(labels))
    return Frames(np.maximum(table[:, :size], 1e-4), np.maximum(table[:, size], 1e-4))


def best(frames: Frames, begin: str, end: str = "") -> float:
    ways = [first + last for first in sounds.ways(begin) for last in (sounds.ways(end) if end else ((),))]
    return float(score(frames, ways).max())


def halved(words: str, of: Parts) -> list[tuple[str, str]]:
    """Every beginning and ending that the words are."""
    begins, ends = {part.words for part in of.beginnings.parts}, {part.words for part in of.endings.parts} | {""}
    split = words.split()
    pairs = [(" ".join(split[:at]), " ".join(split[at:])) for at in range(1, len(split) + 1)]
    return [(begin, end) for begin, end in pairs if begin in begins and end in ends]


@pytest.mark.parametrize(("unit", "said"), [
    ("degF", "forty three point five"), ("degF", "minus twelve degrees"), ("degF", "one hundred and fifteen"),
    ("volt", "two hundred thirty volts"), ("ohm", "zero point three five ohms"), ("degC", "four"),
    ("ohm", "nine thousand nine hundred ohms"), ("volt", "one one five point two"),
])  # fmt: skip
def test_each_number_found_has_its_own_score_and_none_is_likelier(unit: str, said: str) -> None:
    frames = blurred(said, seed=len(said))
    found = numbers(frames, known(unit))
    assert found[0][0] == said
    values = [value for _, value in found]
    assert values == sorted(values, reverse=True)
    own = [max(best(frames, *pair) for pair in halved(words, known(unit))) for words, _ in found]
    assert values[0] == pytest.approx(own[0])
    assert all(value <= most + 1e-6 for value, most in zip(values, own, strict=True))  # not every way of the others is kept
    draw, names = random.Random(said), {words for words, _ in found}
    for _ in range(400):
        begin, end = draw.choice(known(unit).beginnings.parts).words, draw.choice(known(unit).endings.parts).words
        end = end if draw.random() < 0.7 else ""
        assert f"{begin} {end}".strip() in names or best(frames, begin, end) <= values[0]


@pytest.mark.parametrize("unit", ["degF", "ohm"])
def test_every_text_is_a_head_and_a_tail_of_the_trees(unit: str) -> None:
    """So cutting them loses no number, and few heads and tails make many."""
    for halves in (known(unit).beginnings, known(unit).endings):
        assert len(halves.parts) > 5 * (len(halves.heads.ends) + len(halves.tails.ends))
        for part, head, tail in zip(halves.parts, halves.head, halves.tail, strict=True):
            first, last = part.sounds[: part.cut], part.sounds[part.cut :]
            assert halves.last[head] == (first[-1] if first else -1)
            assert halves.first[tail] == (last[0] if last else -2)


@pytest.mark.parametrize("value", [7, 43, 208, 43.5, 212.06])
@pytest.mark.parametrize("unit", ["degF", "degC", "ampere", "psi", "kilopascal", "revolutions_per_minute", "kilogram"])
def test_a_number_is_found_in_whichever_way_its_unit_is_said(value: float, unit: str) -> None:
    """All that the language says, rare words aside: else the right number looks unlikely, and another leads."""
    ways = [way for way in ENGLISH.spoken_forms(value, unit) if not {"double", "niner", "half"} & set(way.split())]
    assert ways
    assert [way for way in ways if not halved(way, known(unit))] == []


@pytest.mark.parametrize("unit", ["degF", "degC"])
def test_below_zero_is_found_on_either_side_of_the_unit(unit: str) -> None:
    for value in (-7, -12.5):
        ways = [way for way in ENGLISH.spoken_forms(value, unit) if not {"double", "niner", "half"} & set(way.split())]
        ways = [way for way in ways if "below degree" not in way and "below fahr" not in way and "below c" not in way]
        assert any("below zero degrees" in way for way in ways)
        assert [way for way in ways if not halved(way, known(unit))] == []
