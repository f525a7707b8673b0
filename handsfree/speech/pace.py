"""How long somebody spoke, against how long the words thought to be heard take; and how far the speech stands out of the
noise.

A text that leaves out half of what was said ('sixty two' of 'sixty two decimal two ohms') is what the neural engine offers
most often in place of a right one. It may be as likely by its own words, but it is too short for the sound.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from handsfree.speech.engine import Samples

SECONDS = "speech seconds"  # evidence of an engine: seconds from the first to the last loud moment
ABOVE_NOISE = "above noise"  # evidence of an engine: decibels
_HOP = 160  # samples: 10 ms
_NOTHING = -80.0  # dB; a converter of 16 bit gives more than that in any room
_LOUD = 0.35  # of the way from the quiet to the loud moments, in decibels
# Medians over the readings and gate phrases of the fit corpus (tests/bench/corpus.py), synthetic voices at 0.85 to 1.3 of
# their usual rate: seconds = _ONSET + _SOUND * phonemes; the natural log of the ratio deviates by _SPREAD.
_ONSET, _SOUND, _SPREAD = 0.2, 0.077, 0.26


def levels(samples: Samples) -> NDArray[np.float64]:
    """Decibels every 10 ms, of 200 Hz to 4 kHz, over 50 ms each; none for less than that. `samples` mono, 16 kHz."""
    import numpy as np

    count = len(samples) // _HOP
    if count < 5:
        return np.zeros(0)
    frames = samples[: count * _HOP].reshape(count, _HOP) * np.hanning(_HOP)
    power = np.square(np.abs(np.fft.rfft(frames, axis=1)))[:, 2:40].sum(1)
    return 10 * np.log10(np.convolve(power, np.ones(5) / 5, "same") + 1e-9)


def spoken_seconds(level: NDArray[np.float64]) -> float:
    """From the first to the last moment that stands out of the noise; `level` as `levels` gives it. 0 for silence."""
    import numpy as np

    if not len(level):
        return 0.0
    quiet, loud = np.percentile(level, 12), np.percentile(level, 95)
    there = np.flatnonzero(level > quiet + _LOUD * (loud - quiet))
    return float(there[-1] - there[0] + 1) * _HOP / 16_000 if len(there) else 0.0


def above_noise(level: NDArray[np.float64]) -> float:
    """Decibels from the quiet to the loud moments of an utterance with a little of what went on around it; `level` as
    above. What a device gives before sound begins (nothing at all) is no quiet moment. 0 for silence."""
    import numpy as np

    level = level[level > _NOTHING]
    return float(np.percentile(level, 95) - np.percentile(level, 12)) if len(level) else 0.0


def misfit(sounds: int, seconds: float) -> float:
    """How many usual deviations so many phonemes are off from `seconds` of speech; 0 where the time is not known."""
    if seconds <= 0:
        return 0.0
    return abs(math.log(seconds / (_ONSET + _SOUND * max(1, sounds)))) / _SPREAD
