"""Whether somebody speaks right before a phrase, on sound made of noise and tones."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from handsfree.speech.borders import spoken_before
from handsfree.speech.engine import RATE

BEGINS, ENDS = 1.0, 2.0  # seconds


def sound(noise: float, *tones: tuple[float, float], loud: float = 0.3) -> NDArray[np.float32]:
    """Three seconds of noise, with a tone of 700 Hz from and to each of these seconds."""
    out = noise * np.random.default_rng(1).standard_normal(3 * RATE)
    at = np.arange(3 * RATE) / RATE
    for first, last in tones:
        out += loud * np.sin(2 * np.pi * 700 * at) * ((at >= first) & (at < last))
    return out.astype(np.float32)


@pytest.mark.parametrize("noise", [1e-5, 0.003, 0.03])
def test_a_word_right_before_is_loud_and_silence_there_is_not(noise: float) -> None:
    assert spoken_before(sound(noise, (BEGINS, ENDS)), BEGINS, ENDS) == 0.0
    assert spoken_before(sound(noise, (0.75, ENDS)), BEGINS, ENDS) > 0.5
    assert spoken_before(sound(noise, (0.75, 0.9), (BEGINS, ENDS)), BEGINS, ENDS) > 0.3


def test_what_was_said_long_before_or_is_much_softer_does_not_count() -> None:
    assert spoken_before(sound(0.003, (0.1, 0.5), (BEGINS, ENDS)), BEGINS, ENDS) == 0.0
    softly = sound(0.003, (0.7, 0.95), loud=0.01) + sound(0.0, (BEGINS, ENDS))
    assert spoken_before(softly, BEGINS, ENDS) == 0.0


def test_of_a_sound_that_begins_with_the_phrase_nothing_is_said() -> None:
    assert spoken_before(sound(0.003, (0.0, ENDS)), 0.05, ENDS) == 0.0
    assert spoken_before(np.zeros(100, np.float32), 0.0, 0.0) == 0.0
    assert spoken_before(np.zeros(RATE, np.float32), 5.0, 9.0) == 0.0
