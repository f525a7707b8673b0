"""The recordings committed beside the program are what their manifest and their script say."""

from __future__ import annotations

import json

import numpy as np
import pytest
import soundfile

from tests.speech.fixtures_voices import FIXTURES, voices

LINES = [json.loads(line) for line in (FIXTURES / "manifest.jsonl").read_text(encoding="utf-8").splitlines()]


def test_every_clip_is_16_khz_mono_flac_and_listed_once() -> None:
    names = [line["audio"] for line in LINES]
    assert sorted(names) == sorted(path.name for path in FIXTURES.glob("*.flac"))
    for name in names:
        about = soundfile.info(FIXTURES / name)
        assert (about.samplerate, about.channels, about.format) == (16_000, 1, "FLAC")
    assert sum(path.stat().st_size for path in FIXTURES.glob("*.flac")) < 6_000_000


def test_all_kinds_voices_and_noises_are_there() -> None:
    tags = [line["tags"] for line in LINES]
    assert {tag["kind"] for tag in tags} == {"choice", "command", "reading", "gate", "near-miss", "unrelated"}
    assert {tag["voice"] for tag in tags} >= {"slt", "rms", "awb", "kal16", "espeak-us"}
    assert {tag["snr"] for tag in tags} == {"clean", 20, 15, 10, 5}
    assert all((line["expect"] is None) == (line["tags"]["kind"] in ("near-miss", "unrelated")) for line in LINES)


def test_every_line_has_the_form_that_evaluate_reads() -> None:
    from handsfree.speech.manifest import Clip

    for line in LINES:
        assert Clip.model_validate(line)


@pytest.mark.parametrize("snr", [20.0, 5.0, 0.0])
def test_mixing_gives_the_stated_ratio(snr: float) -> None:
    speech = 0.3 * voices.padded(voices.synthesise("say again", "slt"), 0.5, 0.5)
    mixed = voices.mix(speech, voices.fan_noise(len(speech) / 16_000, 1), snr)
    noise = mixed - speech
    found = 10 * np.log10(voices.active_level(speech) / np.mean(noise**2))
    assert found == pytest.approx(snr, abs=0.05)


def test_active_level_of_steady_noise_and_of_half_silence() -> None:
    """ITU-T P.56: the level counts only the time in which there is speech."""
    noise = 0.1 * voices.hiss_noise(4.0, 1)
    half = np.concatenate([noise[:32_000], np.zeros(32_000, dtype=np.float32)])
    assert 10 * np.log10(voices.active_level(noise)) == pytest.approx(-20.0, abs=0.3)
    assert 10 * np.log10(voices.active_level(half)) == pytest.approx(-20.0, abs=0.6)


def test_noises_are_functions_of_their_seed() -> None:
    for make in (voices.compressor_noise, voices.fan_noise, voices.hiss_noise):
        assert np.array_equal(make(0.5, 3), make(0.5, 3))
        assert not np.array_equal(make(0.5, 3), make(0.5, 4))
