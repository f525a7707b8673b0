"""How long somebody spoke and how far it stands out of the noise, on synthesised speech in made noise."""

from __future__ import annotations

import numpy as np
import pytest

from audio_fixtures import voices as made
from handsfree.sound.levels import speech_level
from handsfree.speech.pace import above_noise, levels, misfit, spoken_seconds

SPEECH = made.padded(made.synthesise("isolated lock seven three nine", "kal16"), 0.4, 0.4)


def noisy(snr: float, noise: str = "compressor", level: float = 1.0) -> made.Samples:
    background = made.NOISES[noise](len(SPEECH) / 16_000 + 0.1, 3)[: len(SPEECH)]
    loud = np.float32(10 ** ((speech_level(SPEECH).active - snr) / 20))
    return np.asarray(level * (SPEECH + loud * background), np.float32)


@pytest.mark.parametrize("noise", ["compressor", "fan", "hiss"])
def test_more_noise_leaves_less_above_it(noise: str) -> None:
    found = [above_noise(levels(noisy(snr, noise))) for snr in (0.0, 5.0, 10.0, 20.0)]
    assert found == sorted(found)
    assert found[-1] > found[0] + 10
    assert above_noise(levels(SPEECH)) > found[-1]


def test_it_is_the_same_however_loud_it_was_recorded() -> None:
    assert above_noise(levels(noisy(10.0, level=0.1))) == pytest.approx(above_noise(levels(noisy(10.0))), abs=0.5)


def test_what_a_stream_gives_before_sound_begins_is_no_quiet_moment() -> None:
    late = np.concatenate([made.silence(0.6), noisy(5.0)])
    assert above_noise(levels(late)) == pytest.approx(above_noise(levels(noisy(5.0))), abs=1.0)


def test_silence_and_next_to_nothing() -> None:
    for nothing in (made.silence(1.0), made.silence(0.0), made.silence(0.03)):
        assert above_noise(levels(nothing)) == 0.0
        assert spoken_seconds(levels(nothing)) == 0.0
    assert misfit(10, 0.0) == 0.0


@pytest.mark.parametrize("snr", [20.0, 10.0])
def test_the_time_spoken_is_found_in_noise(snr: float) -> None:
    assert spoken_seconds(levels(noisy(snr))) == pytest.approx(len(SPEECH) / 16_000 - 0.8, abs=0.3)
