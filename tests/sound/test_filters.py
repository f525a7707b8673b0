"""The filters in numpy against scipy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import solve_toeplitz
from scipy.signal import butter, fftconvolve, lfilter, sosfilt

from handsfree.sound.filters import Sections, convolved, smoothed, toeplitz_solved
from handsfree.speech.endpoint import BAND, FRAME

RNG = np.random.default_rng(11)


@pytest.mark.parametrize("length", [0, 1, 255, 256, 257, 16_000])
@pytest.mark.parametrize("keep", [0.0, 0.5, float(np.exp(-1 / 480)), 0.99999])
def test_smoothing(length: int, keep: float) -> None:
    x = np.abs(RNG.standard_normal(length))
    assert smoothed(x, keep) == pytest.approx(lfilter([1 - keep], [1, -keep], x), abs=1e-12)


@pytest.mark.parametrize(("a", "b"), [(1, 1), (7, 3), (3, 7), (4096, 4096), (5000, 3200)])
def test_convolution(a: int, b: int) -> None:
    x, y = RNG.standard_normal(a), RNG.standard_normal(b)
    assert convolved(x, y) == pytest.approx(fftconvolve(x, y), abs=1e-9)


@pytest.mark.parametrize("size", [1, 2, 3, 50, 800])
def test_a_symmetric_toeplitz_system(size: int) -> None:
    """Its column is the autocorrelation of coloured noise, as in the echo's fit."""
    x = np.convolve(RNG.standard_normal(8000), np.ones(9) / 9)
    column = np.correlate(x, x, "full")[len(x) - 1 :][:size].copy()
    column[0] *= 1.001
    right = RNG.standard_normal(size)
    solved = toeplitz_solved(column, right)
    assert solved is not None
    assert solved == pytest.approx(solve_toeplitz(column, right), rel=1e-6, abs=1e-9 * np.abs(solved).max())


@pytest.mark.parametrize("column", [[0.0, 0.0], [1.0, 1.0], [1.0, -1.0, 1.0], []])
def test_a_singular_one_is_none(column: list[float]) -> None:
    assert toeplitz_solved(np.array(column), np.ones(len(column))) is None


def test_the_band_of_the_end_of_speech_frame_by_frame() -> None:
    x = RNG.standard_normal(40 * FRAME).astype(np.float32)
    whole = sosfilt(butter(2, [250, 4000], "bandpass", fs=16_000, output="sos"), x)
    band = Sections(BAND, FRAME)
    assert np.concatenate([band.feed(one) for one in x.reshape(-1, FRAME)]) == pytest.approx(whole, abs=1e-9)


def test_a_frame_of_another_length_is_refused() -> None:
    with pytest.raises(ValueError, match="480"):
        Sections(BAND, FRAME).feed(np.zeros(3))
