"""The sound that the speaker encoder is given: the spoken part of an utterance at one level, 40 bands, windows of 0.8 s."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from handsfree.speech.engine import RATE

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from handsfree.speech.engine import Samples

_HOP, _FFT, _WINDOW, _BANDS = 160, 512, 400, 40
_FRAMES, _STRIDE = 80, 40  # of a window of the encoder, and between two
_LEVEL = 0.1  # root mean square
_BELOW = 25.0  # dB under the loud moments where speech begins and ends


def _powers(samples: Samples) -> NDArray[np.float64]:
    """Mean square of each 10 ms, smoothed over three."""
    count = len(samples) // _HOP
    power = np.square(samples[: count * _HOP].reshape(count, _HOP).astype(np.float64)).mean(axis=1)
    return np.convolve(power, np.ones(3) / 3, "same") if count >= 3 else power


def above_noise(samples: Samples) -> float:
    """dB from the quiet moments (10th percentile) to the loud ones (95th): the silence around it tells the noise."""
    power = _powers(samples)
    if not len(power):
        return 0.0
    low, high = np.percentile(power, (10, 95)) + 1e-10
    return float(10 * np.log10(high / low))


def spoken_part(samples: Samples) -> Samples:
    """Without what is quiet at both ends."""
    power = _powers(samples)
    loud = np.flatnonzero(power > np.percentile(power, 95) * 10 ** (-_BELOW / 10)) if len(power) else power
    if not len(loud):
        return samples[:0]
    return samples[max(0, int(loud[0]) - 3) * _HOP : (int(loud[-1]) + 4) * _HOP]


@cache
def _filters() -> NDArray[np.float32]:
    """Triangles on the Slaney mel scale, equal area; (40, 257)."""
    mels = np.linspace(0.0, 45.245640471924965, _BANDS + 2)
    hertz = np.where(mels < 15.0, mels * 200.0 / 3, 1000.0 * np.exp((mels - 15.0) * np.log(6.4) / 27.0))
    ramps = hertz[:, None] - np.fft.rfftfreq(_FFT, 1 / RATE)[None, :]
    gaps = np.diff(hertz)[:, None]
    triangles = np.maximum(0, np.minimum(-ramps[:-2] / gaps[:-1], ramps[2:] / gaps[1:]))
    return np.asarray(triangles * (2.0 / (hertz[2:] - hertz[:-2]))[:, None], np.float32)


@cache
def _window() -> NDArray[np.float32]:
    """Hamming, 25 ms, in the middle of 32 ms."""
    out = np.zeros(_FFT, np.float32)
    at = (_FFT - _WINDOW) // 2
    out[at : at + _WINDOW] = 0.54 - 0.46 * np.cos(2 * np.pi * np.arange(_WINDOW) / _WINDOW)
    return out


def windows(speech: Samples) -> NDArray[np.float32]:
    """(count, 80, 40) log10 powers; speech shorter than one window is repeated to fill it."""
    least = _FFT + (_FRAMES - 1) * _HOP
    level = np.float32(_LEVEL / np.sqrt(np.mean(np.square(speech)) + 1e-9))
    sound = np.resize(speech, max(least, len(speech))) * level
    cut = np.lib.stride_tricks.sliding_window_view(sound, _FFT)[::_HOP] * _window()
    power = np.abs(np.fft.rfft(cut, axis=-1)) ** 2
    frames = np.log10(_filters() @ power.T.astype(np.float32) + 1e-10).T
    starts = range(0, len(frames) - _FRAMES + 1, _STRIDE)
    return np.stack([frames[at : at + _FRAMES] for at in starts]).astype(np.float32)
