"""Whisper's log-mel spectrogram (Radford et al. 2022): 80 bands, 25 ms windows every 10 ms, 8 decades kept; and the noise
that lies under every sound the neural engines act on.

A microphone that is muted between words, and a recording that was cleaned, have moments of complete silence. The models
never heard such moments: after one, 'lock' becomes 'block' to them. So a little noise, always the same, is added to every
sound.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

HOP = 160  # samples at 16 kHz
_WINDOW = 400
_BANDS = 80
_FLOOR = 38.0  # dB below the loud moments: part of the sound that the weights were fitted on, not a threshold
_NOTHING = 1e-10  # mean square; the last bit of 16 gives ten times that
_LONGEST = 480_000  # samples of noise made: 30 s, what the model hears at most


@lru_cache(maxsize=1)
def _filters() -> NDArray[np.float32]:
    """Triangles of equal area on the Slaney mel scale: linear below 1 kHz, then in equal ratios, 27 steps to 6.4 kHz;
    (80, 201)."""
    mels = np.linspace(0.0, 45.245640471924965, _BANDS + 2)
    hertz = np.where(mels < 15.0, mels * 200.0 / 3, 1000.0 * np.exp((mels - 15.0) * np.log(6.4) / 27.0))
    bins = np.fft.rfftfreq(_WINDOW, 1 / 16_000)
    ramps = hertz[:, None] - bins[None, :]
    gaps = np.diff(hertz)[:, None]
    triangles = np.maximum(0, np.minimum(-ramps[:-2] / gaps[:-1], ramps[2:] / gaps[1:]))
    out: NDArray[np.float32] = (triangles * (2.0 / (hertz[2:] - hertz[:-2]))[:, None]).astype(np.float32)
    return out


@lru_cache(maxsize=1)
def _noise() -> NDArray[np.float32]:
    """Pink, of unit mean square. numpy's old generator, because its numbers are the same in every release."""
    spectrum = np.fft.rfft(np.random.RandomState(7).standard_normal(_LONGEST))
    spectrum /= np.sqrt(np.maximum(np.arange(len(spectrum)), 40 * _LONGEST / 16_000))  # flat below 40 Hz
    noise = np.fft.irfft(spectrum, _LONGEST)
    return np.asarray(noise / np.sqrt(np.mean(np.square(noise))), np.float32)


def on_floor(samples: NDArray[np.float32]) -> NDArray[np.float32]:
    """With noise under it, 38 dB below its loud moments (the 95th percentile of the power of 10 ms); at most 30 s of it.
    Of 12 gate phrases with complete silence before 'lock', the small engine wrote 8 as 'block' without it, none with it
    (tests/bench/results/hearing-log.md). float32 in and out."""
    count = len(samples) // HOP
    if not count:
        return samples
    power = np.square(samples[: count * HOP].reshape(count, HOP)).mean(axis=1)
    loud = np.percentile(power, 95)
    if loud < _NOTHING and (power >= _NOTHING).any():  # a short word in a long silence
        loud = np.percentile(power[power >= _NOTHING], 95)
    amplitude = np.sqrt(loud * 10 ** (-_FLOOR / 10))
    out = samples.copy()
    out[:_LONGEST] += _noise()[: len(out)] * np.float32(amplitude)
    return out


def log_mel(samples: NDArray[np.float32], frames: int) -> NDArray[np.float32]:
    """(80, frames) for `frames` hops of 10 ms; the sound is cut or followed by silence to fit."""
    padded = np.zeros(frames * HOP + _WINDOW, np.float32)
    kept = samples[: frames * HOP]
    padded[_WINDOW // 2 : _WINDOW // 2 + len(kept)] = kept
    padded[: _WINDOW // 2] = padded[_WINDOW // 2 + 1 : _WINDOW + 1][::-1]  # mirrored, as the model was trained
    windows = np.lib.stride_tricks.sliding_window_view(padded, _WINDOW)[::HOP][:frames]
    power = np.abs(np.fft.rfft(windows * np.hanning(_WINDOW + 1)[:-1].astype(np.float32), axis=-1)) ** 2
    levels = np.log10(np.maximum(_filters() @ power.T.astype(np.float32), 1e-10))
    out: NDArray[np.float32] = ((np.maximum(levels, levels.max() - 8.0) + 4.0) / 4.0).astype(np.float32)
    return out
