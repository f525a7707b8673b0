"""How loud sound is: active speech level, noise floor, signal to noise, clipping.

Source: ITU-T P.56 (12/2011), method B ("speech voltmeter"): the level while speech is active. A pause is any stretch where
the two-stage envelope stays below a threshold for longer than the hangover. Constants as in its table 1: envelope time
constant 0.03 s, hangover 0.2 s, margin 15.9 dB (from memory). Levels are unweighted, in dB relative to full scale: a
full-scale square wave is 0 dB (so a full-scale sine is -3.01 dB).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from handsfree.sound.filters import smoothed
from handsfree.sound.samples import RATE, Samples

ENVELOPE = 0.03  # s, time constant of each of the two smoothing stages
HANGOVER = 0.2  # s
MARGIN = 15.9  # dB between the active level and the threshold that decided activity
QUIETEST = -120.0  # dB, reported for no sound at all
#: A sample this near full scale counts as clipped: 16-bit full scale less one step, and what a resampler rounds.
FULL = 0.999
_THRESHOLDS = 2.0 ** np.arange(-15, 1)  # 6.02 dB apart, down to one step of 16 bits


@dataclass(frozen=True)
class SpeechLevel:
    """`active`: dB full scale while speech is active; `activity`: share of time, 0 to 1; `long_term`: dB over all."""

    active: float
    activity: float
    long_term: float


def decibels(power: float) -> float:
    return max(QUIETEST, 10.0 * float(np.log10(power))) if power > 0 else QUIETEST


def power(samples: Samples) -> float:
    """Mean square."""
    return float(np.mean(np.square(samples, dtype=np.float64))) if len(samples) else 0.0


def speech_level(samples: Samples, rate: int = RATE) -> SpeechLevel:
    """Active level by ITU-T P.56 method B. Silence gives QUIETEST with no activity."""
    x = np.asarray(samples, dtype=np.float64)
    energy = float(np.dot(x, x))
    if energy <= 0.0:
        return SpeechLevel(QUIETEST, 0.0, QUIETEST)
    long_term = decibels(energy / len(x))
    g = float(np.exp(-1.0 / (rate * ENVELOPE)))
    q = smoothed(smoothed(np.abs(x), g), g)
    counts = np.array([_active_samples(q, float(c), round(HANGOVER * rate)) for c in _THRESHOLDS])
    levels = np.array([decibels(energy / n) if n else np.inf for n in counts])
    cuts = 20.0 * np.log10(_THRESHOLDS)
    return SpeechLevel(*_crossing(levels, cuts, energy, len(x), long_term))


def _active_samples(envelope: np.ndarray, threshold: float, hangover: int) -> int:
    """How many samples lie above the threshold or within the hangover after one that does."""
    above = np.flatnonzero(envelope >= threshold)
    if not len(above):
        return 0
    gaps = np.minimum(np.diff(above), hangover + 1)
    return int(gaps.sum() + min(hangover + 1, len(envelope) - above[-1]))


def _crossing(
    levels: np.ndarray, cuts: np.ndarray, energy: float, length: int, long_term: float
) -> tuple[float, float, float]:
    """Where (level - threshold) falls through the margin, interpolated between the thresholds on either side."""
    delta = levels - cuts  # falls as the threshold rises, until nothing is active
    below = np.flatnonzero(delta <= MARGIN)
    if not len(below):
        return long_term, 1.0, long_term
    j = int(below[0])
    if j == 0:
        active = float(levels[0])
    else:
        share = (delta[j - 1] - MARGIN) / (delta[j - 1] - delta[j])
        active = float(levels[j - 1] + share * (levels[j] - levels[j - 1]))
    activity = min(1.0, energy / length / 10 ** (active / 10))
    return active, activity, long_term


def frame_powers(samples: Samples, rate: int = RATE, seconds: float = 0.02) -> np.ndarray:
    """Mean square of each whole frame about its own mean, since sound cards add DC."""
    size = max(1, int(rate * seconds))
    whole = len(samples) // size * size
    if not whole:
        return np.zeros(0)
    return np.asarray(np.asarray(samples[:whole], dtype=np.float64).reshape(-1, size).var(axis=1))


def noise_floor(samples: Samples, rate: int = RATE) -> float:
    """Noise floor in dB full scale: the median frame of a stretch said to be silent, so that a cough or a clank in it does
    not count (common practice, no source)."""
    powers = frame_powers(samples, rate)
    return decibels(float(np.median(powers))) if len(powers) else QUIETEST


def signal_to_noise(speech: Samples, noise: Samples, rate: int = RATE) -> float:
    """Active speech level over the noise floor, dB. The noise's power is first taken off that of the speech.
    QUIETEST where speech does not rise above the noise."""
    active = 10 ** (speech_level(speech, rate).active / 10)
    floor = 10 ** (noise_floor(noise, rate) / 10)
    return decibels((active - floor) / floor) if active > floor else QUIETEST


def clipped(samples: Samples) -> float:
    """Share of samples at full scale in runs of two or more: one alone is a peak that just fits."""
    at_top = np.abs(samples) >= FULL
    if len(at_top) < 2:
        return 0.0
    pairs = at_top[:-1] & at_top[1:]
    in_run = np.zeros(len(at_top), dtype=bool)
    in_run[:-1] |= pairs
    in_run[1:] |= pairs
    return float(in_run.mean())


def at_level(samples: Samples, level: float, peak: float = 0.97) -> Samples:
    """The same speech at an active level of `level` dB, less where its peak would pass `peak`."""
    now = speech_level(samples).active
    top = float(np.max(np.abs(samples))) if len(samples) else 0.0
    if now <= QUIETEST or top <= 0:
        return samples
    gain = min(10 ** ((level - now) / 20), peak / top)
    return (samples * gain).astype(np.float32)


def level_without_noise(samples: Samples, rate: int = RATE) -> float:
    """dB full scale of what stands 3 dB or more above a steady noise, the noise's own power taken off. Where nothing does, 3
    dB under the noise: the speech is no louder. P.56 would count the noise as speech where the two are equally loud.
    Common practice, no source."""
    size = round(0.03 * rate)
    count = len(samples) // size
    if not count:
        return QUIETEST
    powers = np.square(samples[: count * size].reshape(count, size), dtype=np.float64).mean(axis=1)
    noise = float(np.percentile(powers, 10)) * 1.2  # a low percentile of a noise lies below its mean
    loud = powers[powers > 2.0 * noise]
    return decibels(float(loud.mean()) - noise if len(loud) else noise / 2)
