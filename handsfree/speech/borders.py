"""Whether somebody speaks right before a phrase begins. Pure.

Rules of this file:

- It looks at the level of the sound alone. What a model of words swallows in front of a phrase ('who' before 'isolated') is
  still loud.
- Loud means nearer to the phrase's own level than to the quietest of the sound, both measured on the sound itself, and at
  most 15 dB below the phrase: in a quiet room breath and the soft beginning of a vowel lie far over the quietest.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from handsfree.speech.engine import RATE

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from handsfree.speech.engine import Samples

#: How the share is measured, not when it keeps a gate shut: that is `bars.BEFORE`.
_STEP, _LONG = RATE // 100, RATE // 40  # samples
_LOW, _HIGH = 200.0, 4000.0  # Hz: where speech is louder than most machines
_FAR, _NEAR = 35, 6  # steps before the phrase's first sound is written: from here to there
_FEWEST = 3  # steps; of fewer nothing is said
_BELOW, _MOST = 0.45, 15.0  # of the way from the phrase down to the quietest, a share, and dB at the most
_LEAST = 3.0  # dB that this way is taken to have at least: even noise alone varies so much


def spoken_before(samples: Samples, first: float, last: float) -> float:
    """The share of loud hundredths of a second in the third of a second before the phrase. `samples`: mono, 16 kHz;
    `first`, `last`: seconds at which the phrase's first and last sound are written."""
    levels = _levels(samples)
    begins = min(max(round(first * 100), 0), len(levels))
    before = levels[max(0, begins - _FAR) : max(0, begins - _NEAR)]
    own = levels[begins : max(round(last * 100), begins + 5)]
    if len(before) < _FEWEST or not len(own):
        return 0.0
    usual = float(np.quantile(own, 0.7))
    way = max(usual - float(np.quantile(levels, 0.1)), _LEAST)
    return float((before > usual - min(_BELOW * way, _MOST)).mean())


def _levels(samples: Samples) -> NDArray[np.float64]:
    """dB of each hundredth of a second, in the band of speech."""
    padded = np.pad(samples, (0, max(0, _LONG - len(samples))))
    pieces = np.lib.stride_tricks.sliding_window_view(padded, _LONG)[::_STEP]
    power = np.abs(np.fft.rfft(pieces * np.hanning(_LONG), 512)) ** 2
    hertz = np.fft.rfftfreq(512, 1 / RATE)
    found: NDArray[np.float64] = 10 * np.log10(power[:, (hertz > _LOW) & (hertz < _HIGH)].sum(1) + 1e-7)
    return found
