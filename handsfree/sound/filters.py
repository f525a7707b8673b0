"""The few filters that a visit needs, in numpy. Importing scipy.signal for them would take 80 MB and 0.9 s of processor time
on a device where the whole visit must stay under 300 MB. The tests check each filter against scipy's.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

Signal = NDArray[np.float64]

_AT_ONCE = 256  # samples smoothed by one product
RIDGE = 1e-3  # of the power of what was played: no weight for what lies 30 dB under its loudest band
_ENOUGH = 1e-4  # of the gradient's size at the beginning


def smoothed(x: NDArray[Any], keep: float) -> Signal:
    """y[n] = keep * y[n-1] + (1 - keep) * x[n], from rest."""
    age = np.arange(_AT_ONCE)[:, None] - np.arange(_AT_ONCE)
    within = np.where(age >= 0, (1.0 - keep) * keep ** np.maximum(age, 0), 0.0)
    blocks = np.zeros((-(-len(x) // _AT_ONCE), _AT_ONCE))
    blocks.ravel()[: len(x)] = x
    blocks = blocks @ within.T
    fading, last = keep ** np.arange(1, _AT_ONCE + 1), 0.0
    for block in blocks:
        block += last * fading
        last = block[-1]
    return np.asarray(blocks.ravel()[: len(x)])


def convolved(a: NDArray[Any], b: NDArray[Any]) -> Signal:
    """The whole convolution, len(a) + len(b) - 1 samples; by FFT."""
    length = len(a) + len(b) - 1
    size = 1 << (length - 1).bit_length()
    return np.asarray(np.fft.irfft(np.fft.rfft(a, size) * np.fft.rfft(b, size), size)[:length])


def least_squares(x: Signal, d: Signal, taps: int, most: int = 20) -> Signal:
    """The part of `d` that a filter of `taps` over `x` makes, least squares: sample i of it is of the `taps` samples of `x`
    up to i + taps. `x` has len(d) + taps samples; where it has more, what the same filter makes of these follows. Conjugate
    gradients on the normal equations, by FFT, at most `most` of them; the preconditioner is T. Chan's circulant of the
    autocorrelation (R. Chan and M. Ng, SIAM Review 38 (1996), from memory). A ridge of RIDGE keeps it solvable where `x` has
    a narrow band."""
    n = len(d)
    size = 1 << (n + 2 * taps - 1).bit_length()
    spectrum = np.fft.rfft(x[: n + taps], size)

    def made(weights: Signal) -> Signal:
        return np.asarray(np.fft.irfft(spectrum * np.fft.rfft(weights, size), size)[taps : taps + n])

    def gathered(rest: Signal) -> Signal:
        late = np.concatenate([np.zeros(taps), rest])
        return np.asarray(np.fft.irfft(np.conj(spectrum) * np.fft.rfft(late, size), size)[:taps])

    auto = np.fft.irfft(np.abs(spectrum) ** 2, size)[:taps]
    if auto[0] <= 0.0:
        return np.zeros(len(x) - taps)
    ridge = RIDGE * auto[0] + 1e-9
    lag = np.arange(taps)
    circulant = ((taps - lag) * auto + lag * np.concatenate([[0.0], auto[:0:-1]])) / taps
    scale = np.maximum(np.fft.rfft(circulant).real, 0.0) + ridge
    weights, rest = np.zeros(taps), gathered(d)
    eased = np.fft.irfft(np.fft.rfft(rest) / scale, taps)
    way, left = eased, float(rest @ eased)
    enough = _ENOUGH * left
    for _ in range(most):
        if left <= enough:
            break
        turned = gathered(made(way)) + ridge * way
        step = left / float(way @ turned)
        weights, rest = weights + step * way, rest - step * turned
        eased = np.fft.irfft(np.fft.rfft(rest) / scale, taps)
        before, left = left, float(rest @ eased)
        way = eased + left / before * way
    return convolved(x, weights)[taps : len(x)]


class Sections:
    """Second-order sections over frames of one length, one after the other without a seam. `sections`: (b0, b1, b2, a1, a2)
    of each, a0 being 1. The filter is linear, so its output for a frame is the sum of two parts: the frame convolved with
    the impulse response, and the ringing of the state before it. Both responses are worked out once."""

    def __init__(self, sections: Sequence[tuple[float, float, float, float, float]], frame: int) -> None:
        self._sections, self._frame = sections, frame
        size = 2 * len(sections)
        units = np.eye(size)
        rings = [self._run(0.0, unit) for unit in units]
        self._ringing = np.array([sounds for sounds, _ in rings]).T  # (frame, size): out, of each part of the state
        self._carried = np.array([states[-1] for _, states in rings]).T  # (size, size): state after the frame
        self._response, states = self._run(1.0, np.zeros(size))
        self._taken = states[::-1].T  # (size, frame): state after the frame, of each sample in it
        self._state = np.zeros(size)

    def _run(self, first: float, state: Signal) -> tuple[Signal, Signal]:
        """The plain recursion (direct form II transposed) over one sample `first` and silence."""
        sounds, states, now = np.zeros(self._frame), np.zeros((self._frame, len(state))), state.copy()
        for n in range(self._frame):
            x = first if n == 0 else 0.0
            for at, (b0, b1, b2, a1, a2) in enumerate(self._sections):
                y = b0 * x + now[2 * at]
                now[2 * at] = b1 * x - a1 * y + now[2 * at + 1]
                now[2 * at + 1] = b2 * x - a2 * y
                x = y
            sounds[n], states[n] = x, now
        return sounds, states

    def feed(self, frame: NDArray[Any]) -> Signal:
        """One frame through. ValueError for one of another length."""
        if len(frame) != self._frame:
            raise ValueError(f"a frame of {len(frame)} samples, not {self._frame}")
        x = np.asarray(frame, dtype=np.float64)
        out = np.convolve(x, self._response)[: self._frame] + self._ringing @ self._state
        self._state = self._carried @ self._state + self._taken @ x
        return np.asarray(out)
