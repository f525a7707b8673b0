"""The filters in numpy against scipy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, fftconvolve, lfilter, sosfilt

from handsfree.sound.filters import RIDGE, Sections, convolved, least_squares, smoothed
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


@pytest.mark.parametrize(("taps", "length"), [(1, 40), (2, 900), (51, 4000), (400, 9000)])
def test_the_echo_fit_is_the_least_squares_one(taps: int, length: int) -> None:
    """Of coloured noise through an unknown filter with something else beside it; the ridge is numpy's too."""
    x = np.convolve(RNG.standard_normal(length + taps), np.ones(5) / 5, "same")
    d = np.convolve(x, RNG.standard_normal(taps))[taps : taps + length] + RNG.standard_normal(length)
    columns = np.array([x[taps - k : taps - k + length] for k in range(taps)]).T
    ridge = np.sqrt(RIDGE * np.sum(np.square(x))) * np.eye(taps)
    weights = np.linalg.lstsq(np.vstack([columns, ridge]), np.concatenate([d, np.zeros(taps)]), rcond=None)[0]
    wanted = columns @ weights
    found = least_squares(x, d, taps, most=400)
    assert np.linalg.norm(found - wanted) < 0.02 * np.linalg.norm(wanted)
    assert np.linalg.norm(d - least_squares(x, d, taps)) < 1.02 * np.linalg.norm(d - wanted), "twenty steps are enough"


def test_the_echo_fit_goes_on_with_its_filter_beyond_what_was_fitted() -> None:
    x, room = RNG.standard_normal(5050), RNG.standard_normal(50) * 0.9 ** np.arange(50)
    d = np.convolve(x, room)[50:5050]
    found = least_squares(x, d[:4000], 50, most=400)
    assert found.shape == (5000,)
    assert np.linalg.norm(found - d) < 0.02 * np.linalg.norm(d)


def test_of_silence_nothing_is_fitted() -> None:
    assert not least_squares(np.zeros(150), RNG.standard_normal(100), 50).any()
    assert not least_squares(RNG.standard_normal(150), np.zeros(100), 50).any()


def test_the_band_of_the_end_of_speech_frame_by_frame() -> None:
    x = RNG.standard_normal(40 * FRAME).astype(np.float32)
    whole = sosfilt(butter(2, [250, 4000], "bandpass", fs=16_000, output="sos"), x)
    band = Sections(BAND, FRAME)
    assert np.concatenate([band.feed(one) for one in x.reshape(-1, FRAME)]) == pytest.approx(whole, abs=1e-9)


def test_a_frame_of_another_length_is_refused() -> None:
    with pytest.raises(ValueError, match="480"):
        Sections(BAND, FRAME).feed(np.zeros(3))
