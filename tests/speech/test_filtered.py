"""The copy in which steady noise is softer, on sound made of noise and tones."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from handsfree.speech.engine import RATE
from handsfree.speech.filtered import filtered

AT = np.arange(3 * RATE) / RATE
TONE = 0.3 * np.sin(2 * np.pi * 700 * AT) * ((AT >= 1) & (AT < 2))


def level(sound: NDArray[np.float32], first: float, last: float) -> float:
    """dB of the seconds from and to these."""
    return 10 * float(np.log10(np.square(sound[round(first * RATE) : round(last * RATE)], dtype=np.float64).mean()))


@pytest.mark.parametrize("noise", [0.003, 0.03, 0.1])
def test_steady_noise_gets_softer_and_what_stands_out_of_it_stays(noise: float) -> None:
    sound = (TONE + noise * np.random.default_rng(1).standard_normal(3 * RATE)).astype(np.float32)
    out = filtered(sound)
    assert level(out, 0.2, 0.8) < level(sound, 0.2, 0.8) - 8
    assert level(out, 1.1, 1.9) == pytest.approx(level(TONE.astype(np.float32), 1.1, 1.9), abs=1)


def test_without_noise_it_is_the_same_sound() -> None:
    assert filtered(TONE.astype(np.float32)) == pytest.approx(TONE, abs=0.01)


@pytest.mark.parametrize("many", [0, 1, 100, 2400, RATE])
def test_it_is_as_long_as_the_sound_and_finite(many: int) -> None:
    out = filtered(np.full(many, 0.5, np.float32))
    assert out.shape == (many,)
    assert np.isfinite(out).all()
    assert not filtered(np.zeros(many, np.float32)).any()
