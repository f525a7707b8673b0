"""Levels against signals whose level is known by arithmetic. Method and terms: ITU-T P.56, method B."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.sound import levels
from handsfree.sound.samples import RATE, silence


def sine(level: float, seconds: float, hertz: float = 1000.0) -> np.ndarray:
    """A sine of `level` dB re full-scale square: its peak is 3.01 dB more."""
    peak = np.sqrt(2) * 10 ** (level / 20)
    return (peak * np.sin(2 * np.pi * hertz * np.arange(round(seconds * RATE)) / RATE)).astype(np.float32)


def noise(level: float, seconds: float, seed: int = 1) -> np.ndarray:
    x = np.random.default_rng(seed).standard_normal(round(seconds * RATE))
    return (x / np.sqrt(np.mean(x**2)) * 10 ** (level / 20)).astype(np.float32)


@pytest.mark.parametrize("level", [-6.0, -20.0, -26.0, -40.0])
def test_a_steady_sine_is_active_all_the_time_at_its_own_level(level: float) -> None:
    got = levels.speech_level(sine(level, 5.0))
    assert got.active == pytest.approx(level, abs=0.1)
    assert got.long_term == pytest.approx(level, abs=0.01)
    assert got.activity == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize("share", [0.25, 0.5, 0.75])
@pytest.mark.parametrize("level", [-15.0, -30.0])
def test_pauses_do_not_count(share: float, level: float) -> None:
    """Bursts of 4 s of noise with silence between: the active level is the burst's, the long-term level lower by the
    share. The hangover of 0.2 s counts as active, as the Recommendation has it, so 4 s bursts read 4.2 s."""
    burst, pause = 4.0, 4.0 * (1 - share) / share
    x = np.concatenate([np.concatenate([noise(level, burst, i), silence(pause)]) for i in range(4)])
    got = levels.speech_level(x)
    assert got.long_term == pytest.approx(level + 10 * np.log10(share), abs=0.05)
    assert got.active == pytest.approx(level + 10 * np.log10(4.0 / 4.25), abs=0.2)
    assert got.activity == pytest.approx(share * 4.25 / 4.0, abs=0.03)


@given(st.floats(-20, 20))
@settings(max_examples=25, deadline=None)
def test_louder_by_so_much_is_so_much_more(decibels: float) -> None:
    """The thresholds are 6 dB apart; between them the level must not jump."""
    x = np.concatenate([noise(-30, 1.0), silence(1.0), noise(-35, 1.0, 2), silence(0.5)])
    base = levels.speech_level(x).active
    assert levels.speech_level(x * 10 ** (decibels / 20)).active - base == pytest.approx(decibels, abs=0.35)


def test_faint_noise_under_speech_is_not_active() -> None:
    x = np.concatenate([noise(-20, 2.0), silence(2.0)]) + noise(-60, 4.0, 3)
    assert levels.speech_level(x).activity == pytest.approx(0.55, abs=0.05)


@pytest.mark.parametrize("snr", [0.0, 5.0, 10.0, 20.0, 30.0])
def test_signal_to_noise_of_a_known_mixture(snr: float) -> None:
    floor = noise(-50, 10.0, 4)
    speech = noise(-50 + snr, 4.0, 5) + noise(-50, 4.0, 6)
    assert levels.signal_to_noise(speech, floor) == pytest.approx(snr, abs=0.6)


def test_noise_floor_forgets_a_clank_and_dc() -> None:
    x = noise(-55, 10.0) + 0.05
    x[40_000:41_000] += 0.5
    assert levels.noise_floor(x.astype(np.float32)) == pytest.approx(-55, abs=1.0)


def test_silence_and_nothing() -> None:
    for x in (silence(1.0), silence(0.0)):
        assert levels.speech_level(x).active == levels.QUIETEST
        assert levels.noise_floor(x) == levels.QUIETEST
        assert levels.signal_to_noise(x, x) == levels.QUIETEST
        assert levels.clipped(x) == 0.0


def test_clipping_is_the_share_at_full_scale() -> None:
    x = sine(-20, 1.0)
    assert levels.clipped(x) == 0.0
    loud = np.clip(sine(3.0, 1.0, 997.0), -1, 1)  # peak is 6.01 dB over: clipped while |sin| > 0.5, two thirds of it
    assert levels.clipped(loud) == pytest.approx(2 / 3, abs=0.01)
    one = x.copy()
    one[100] = 1.0
    assert levels.clipped(one) == 0.0


@given(st.floats(-45, -15))
@settings(max_examples=20, deadline=None)
def test_at_level_brings_speech_to_it(level: float) -> None:
    x = np.concatenate([noise(-33, 1.0), silence(0.7), noise(-36, 1.0, 2)])
    assert levels.speech_level(levels.at_level(x, level)).active == pytest.approx(level, abs=0.4)


def test_at_level_never_clips() -> None:
    x = silence(1.0)
    x[5000] = 0.9
    x[6000:9000] = noise(-50, 3000 / RATE)[:3000]
    assert np.abs(levels.at_level(x, -10.0)).max() <= 0.98
