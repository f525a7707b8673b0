"""Sinks and sources that are files behave as devices do; and the tones."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from handsfree.errors import Trouble
from handsfree.journal.events import PromptEnded
from handsfree.sound.files import read_sound, write_sound
from handsfree.sound.prompts import NOTES, VOLUME_STEP, Prompt, loudness, tone_samples
from handsfree.sound.samples import RATE, VirtualClock, silence
from handsfree.sound.sinks import FileSink
from handsfree.sound.sources import BLOCK, FileSource
from tests.sound.pretended import ClipSource, NullSink


def noise(seconds: float, seed: int = 1) -> np.ndarray:
    return (0.1 * np.random.default_rng(seed).standard_normal(round(seconds * RATE))).astype(np.float32)


def test_a_file_sounds_as_the_visit_did(tmp_path: Path) -> None:
    clock, told = VirtualClock(100.0), list[Any]()
    sink = FileSink(tmp_path / "out.flac", clock, told.append)
    first, second, answer = noise(1.0), noise(0.5, 2), noise(0.4, 3)
    sink.play(Prompt(1, "first", first))
    assert clock.now() == pytest.approx(101.0)
    clock.wait(0.6 + 0.4)
    sink.hear(answer)  # somebody spoke for the last 0.4 s
    clock.wait(0.2)
    sink.play(Prompt(2, "second", second))
    sink.close()
    heard = read_sound(tmp_path / "out.flac")
    want = np.concatenate([first, silence(0.6), answer, silence(0.2), second])
    assert len(heard) == len(want)
    assert np.abs(heard - want).max() < 1e-3
    assert told == [PromptEnded(1), PromptEnded(2)]
    assert [(p.number, p.started, p.ended) for p in sink.history()] == [
        (1, pytest.approx(100.0), pytest.approx(101.0)), (2, pytest.approx(102.2), pytest.approx(102.7)),
    ]


def test_nothing_written_takes_the_same_time() -> None:
    clock = VirtualClock()
    sink = NullSink(clock, lambda _: None)
    sink.play(Prompt(1, "x", noise(2.0)))
    sink.tone("gate open")
    assert clock.now() == pytest.approx(2.0 + len(tone_samples("gate open")) / RATE)
    assert not sink.busy()


def test_a_file_as_a_microphone(tmp_path: Path) -> None:
    sound = noise(1.37)
    write_sound(tmp_path / "in.wav", sound)
    clock = VirtualClock(5.0)
    source = FileSource(tmp_path / "in.wav", clock, tail=1.0)
    blocks = list(iter(lambda: source.read(0.1), None))
    assert source.ended
    got = np.concatenate([b.samples for b in blocks])
    assert len(got) == len(sound) + RATE
    assert np.abs(got[: len(sound)] - sound).max() < 1e-3
    assert all(len(b.samples) == BLOCK for b in blocks[:-1])
    assert blocks[0].started == pytest.approx(5.0)
    assert clock.now() == pytest.approx(5.0 + len(got) / RATE)
    with pytest.raises(Trouble):
        FileSource(tmp_path / "absent.wav", clock)


def test_clips_are_spoken_between_silences() -> None:
    clock = VirtualClock()
    source = ClipSource(clock, before=0.2, after=0.2)
    clip = noise(0.5)
    assert source.read(0.1) is not None
    source.say(clip)
    source.finish()
    blocks = list(iter(lambda: source.read(0.1), None))
    got = np.concatenate([b.samples for b in blocks])
    assert np.array_equal(got[round(0.2 * RATE) : round(0.7 * RATE)], clip)
    assert source.ended


def test_louder_is_so_many_decibels_and_never_over_the_top() -> None:
    quiet = noise(0.5) * 0.2
    assert 20 * np.log10(np.std(loudness(quiet, 1)) / np.std(quiet)) == pytest.approx(VOLUME_STEP, abs=0.01)
    assert 20 * np.log10(np.std(loudness(quiet, -2)) / np.std(quiet)) == pytest.approx(-2 * VOLUME_STEP, abs=0.01)
    assert np.abs(loudness(noise(0.5) * 5, 3)).max() <= 1.0


def test_tones_are_short_and_unlike_each_other() -> None:
    """No two alike: their spectrograms, laid over each other from the start, differ."""

    def picture(name: str) -> np.ndarray:
        padded = np.zeros(RATE)
        tone = tone_samples(name)
        padded[: len(tone)] = tone
        frames = np.abs(np.fft.rfft(padded[: RATE // 512 * 512].reshape(-1, 512) * np.hanning(512), axis=1))
        return frames / np.linalg.norm(frames)

    for name in NOTES:
        assert 0.05 < len(tone_samples(name)) / RATE < 0.7
        assert np.abs(tone_samples(name)).max() <= 0.21
    for one, other in itertools.combinations(NOTES, 2):
        assert float((picture(one) * picture(other)).sum()) < 0.8, (one, other)
