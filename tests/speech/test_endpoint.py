"""End of speech on real synthesised voices in made noise."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.sound.samples import Piece
from handsfree.speech.endpoint import Endpointer, Timing
from tests.speech.fixtures_voices import voices

WORDS = ("warm", "hot", "say again", "note", "why", "one hundred and fifteen", "isolated lock four two", "next")


def run(sound: np.ndarray, block: int = 1600, timing: Timing | None = None) -> list[Piece]:
    end = Endpointer(timing or Timing())
    found = [u for at in range(0, len(sound), block) for u in end.feed(sound[at : at + block])]
    return found + end.flush()


def speech(text: str, voice: str) -> np.ndarray:
    """Without the synthesiser's own silence before and after."""
    made = voices.synthesise(text, voice)
    loud = np.flatnonzero(np.abs(made) > 0.02)
    return np.asarray(made[loud[0] : loud[-1]])


def stream(voice: str, noise: str, snr: float | None, seed: int) -> tuple[np.ndarray, list[tuple[float, float]]]:
    parts, marks, at = [voices.silence(1.5)], [], 1.5
    for text in WORDS:
        said = speech(text, voice)
        marks.append((at, at + len(said) / 16_000))
        parts += [said, voices.silence(1.8)]
        at += len(said) / 16_000 + 1.8
    sound = np.concatenate(parts)
    return (sound if snr is None else voices.mix(sound, voices.NOISES[noise](len(sound) / 16_000, seed), snr)), marks


@pytest.mark.parametrize(
    ("noise", "snr", "may_miss"),
    [("fan", None, 0), ("fan", 10, 0), ("fan", 5, 2), ("compressor", 5, 2)],
)
def test_utterances_are_found_whole(noise: str, snr: float | None, may_miss: int) -> None:
    """Measured on 48 utterances a row (four voices): fan and compressor 48 whole at 10 dB and above, 47 at 5 dB, none false;
    white hiss at 5 dB 45 whole and 2 missed. On the 16 of this test in a fan's noise at 5 dB: 14 whole, the others cut."""
    whole = false = 0
    for seed, voice in enumerate(("slt", "awb")):
        sound, marks = stream(voice, noise, snr, seed)
        found = run(sound)
        whole += sum(any(u.start_s <= a + 0.03 and u.end_s >= b - 0.05 for u in found) for a, b in marks)
        false += sum(not any(u.start_s < b and u.end_s > a for a, b in marks) for u in found)
        assert len(found) <= len(marks)
    assert whole >= 2 * len(WORDS) - may_miss
    assert false == 0


@pytest.mark.parametrize("snr", [None, 10])
def test_digits_said_one_by_one_stay_together(snr: float | None) -> None:
    for voice in ("slt", "awb"):
        parts = [voices.silence(1.5)]
        for word in ("isolated", "lock", "four", "two"):
            parts += [speech(word, voice), voices.silence(0.5)]
        sound = np.concatenate([*parts, voices.silence(1.5)])
        assert len(run(sound if snr is None else voices.mix(sound, voices.fan_noise(len(sound) / 16_000, 1), snr))) == 1


def test_knocks_are_not_utterances() -> None:
    """Synthetic tools dropped on sheet metal (no mode below 400 Hz): 0 of 40 passed in a quiet room, 0 of 40 by a fan."""
    for seed in range(20):
        sound = np.concatenate([voices.silence(1.5), voices.clank(seed), voices.silence(1.5)])
        assert run(sound) == []
        assert run((sound + 0.02 * voices.fan_noise(len(sound) / 16_000, seed)[: len(sound)]).astype(np.float32)) == []


def test_a_fan_that_starts_is_not_speech() -> None:
    sound = np.concatenate([voices.fan_noise(8, 5) * 0.003, voices.fan_noise(15, 6) * 0.05])
    assert sum(u.end_s - u.start_s for u in run(sound)) < 6
    assert run(voices.fan_noise(30, 5) * 0.05) == []


def test_the_longest_utterance_is_cut_and_nothing_is_lost() -> None:
    talk = np.concatenate([voices.synthesise(text, "slt") for text in voices.CHATTER])
    found = run(np.concatenate([voices.silence(1), talk, voices.silence(2)]), timing=Timing(longest=5.0))
    assert len(found) >= 4
    assert all(u.end_s - u.start_s <= 5.03 for u in found)


@settings(max_examples=15, deadline=None)
@given(block=st.integers(1, 9000))
def test_the_size_of_the_blocks_does_not_matter(block: int) -> None:
    sound = np.concatenate([voices.silence(1), voices.synthesise("go back", "rms"), voices.silence(1.5)])
    once, pieces = run(sound, len(sound)), run(sound, max(block, 300))
    assert [(u.start_s, u.end_s) for u in once] == [(u.start_s, u.end_s) for u in pieces]
    assert np.array_equal(once[0].samples, pieces[0].samples)
    assert np.array_equal(once[0].samples, sound[round(once[0].start_s * 16_000) :][: len(once[0].samples)])


def test_odd_sound_does_no_harm() -> None:
    assert run(np.zeros(48_000, dtype=np.float32)) == []
    assert run(np.full(48_000, np.nan, dtype=np.float32)) == []
    assert Endpointer().feed(np.zeros(0, dtype=np.float32)) == []


@pytest.mark.parametrize("block", [160, 512, 1600])
def test_what_is_supposed_is_what_is_found(block: int) -> None:
    """Known half a second before its end is certain, to the sample; and never while somebody speaks."""
    sound, _ = stream("slt", "fan", 10, 3)
    end, supposed, known, found = Endpointer(), None, math.inf, []
    for at in range(0, len(sound), block):
        for piece in end.feed(sound[at : at + block]):
            assert supposed is not None
            assert np.array_equal(piece.samples, supposed.samples)
            assert (piece.start_s, piece.end_s, piece.spoke_until_s) == (
                supposed.start_s, supposed.end_s, supposed.spoke_until_s
            )  # fmt: skip
            assert end.supposed is None
            assert at / 16_000 - known >= 0.38  # of 0.48, the blocks' own length off
            found.append(piece)
        if end.supposed is not supposed and end.supposed is not None:
            known = at / 16_000
        supposed = end.supposed
    assert len(found) == len(WORDS)
