"""A copy of the sound in which steady noise is softer. Pure.

Rules of this file:

- The noise is what the quietest fifth of the sound holds, in each band. Each moment of each band is weakened by what it most
  likely holds of it (Wiener's filter, its signal-to-noise ratio by the decision-directed estimate of Ephraim and Malah 1984;
  the constants are from memory).
- The copy is heard beside the sound, never in its place: what a filter swallows must not be lost.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from handsfree.speech.engine import Samples

_LONG, _STEP = 512, 160  # samples of a window and between two
_QUIET = 0.2  # the share of the sound that counts as noise alone
_MORE = 1.5  # of the noise is taken off as much more, for it varies
_KEPT = 0.9  # the weight of the moment before in a band's signal-to-noise ratio
_LEAST = 0.15  # no band of any moment becomes softer than this, as an amplitude


def filtered(samples: Samples) -> Samples:
    """`samples`: mono, 16 kHz. As many again."""
    window = np.hanning(_LONG + 1)[:-1]
    room = np.zeros(_LONG, np.float32)
    padded = np.concatenate([room, samples, room])
    bands = np.fft.rfft(np.lib.stride_tricks.sliding_window_view(padded, _LONG)[::_STEP] * window)
    pieces = np.fft.irfft(bands * _gains(np.abs(bands) ** 2), _LONG) * window
    out, weight = np.zeros(len(padded)), np.zeros(len(padded))
    for at, piece in enumerate(pieces):
        here = slice(at * _STEP, at * _STEP + _LONG)
        out[here] += piece
        weight[here] += window**2
    whole: Samples = (out / np.maximum(weight, 1e-3))[_LONG : _LONG + len(samples)].astype(np.float32)
    return whole


def _gains(power: NDArray[np.float64]) -> NDArray[np.float64]:
    """(moments, bands), of the power at each."""
    edge = _LONG // _STEP + 1  # windows that reach over the ends
    real = power[edge:-edge] if len(power) > 2 * edge else power
    total = real.sum(1)
    noise = real[total <= np.quantile(total, _QUIET)].mean(0) * _MORE + 1e-10
    out, before = np.empty_like(power), np.ones(power.shape[1])
    for at, over in enumerate(power / noise):
        prior = _KEPT * before + (1 - _KEPT) * np.maximum(over - 1, 0)
        out[at] = prior / (1 + prior)
        before = out[at] ** 2 * over
    return np.maximum(out, _LEAST)
