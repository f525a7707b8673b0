"""Reading and writing sound: every rate and shape that a recorder produces, and everything that is not sound."""

from __future__ import annotations

import contextlib
import io
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.errors import Trouble
from handsfree.sound.files import Converter, blocks_of_file, blocks_of_raw, read_sound, write_sound
from handsfree.sound.samples import RATE, from_int16, to_int16


def sine(hertz: float, seconds: float, rate: int, level: float = 0.5) -> np.ndarray:
    return (level * np.sin(2 * np.pi * hertz * np.arange(round(seconds * rate)) / rate)).astype(np.float32)


def amplitude(samples: np.ndarray, hertz: float) -> float:
    """Of one frequency, by projection, away from the edges."""
    middle = samples[len(samples) // 4 : -len(samples) // 4]
    t = np.arange(len(middle)) / RATE
    return float(2 * abs(np.mean(middle * np.exp(-2j * np.pi * hertz * t))))


@pytest.mark.parametrize("rate", [8000, 11025, 16000, 22050, 32000, 44100, 48000, 96000])
@pytest.mark.parametrize("kind", [("wav", "PCM_16"), ("flac", "PCM_24"), ("wav", "FLOAT")])
def test_any_rate_keeps_its_pitch_and_level(tmp_path: Path, rate: int, kind: tuple[str, str]) -> None:
    if kind[0] == "flac" and rate > 48000:
        pytest.skip("not every FLAC subset carries it")
    place = tmp_path / f"x.{kind[0]}"
    soundfile.write(place, sine(1000, 1.0, rate), rate, subtype=kind[1])
    got = read_sound(place)
    assert abs(len(got) - RATE) <= 2
    assert amplitude(got, 1000) == pytest.approx(0.5, abs=0.01)


def test_nothing_above_the_band_folds_back(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "x.wav", sine(15000, 1.0, 48000), 48000)  # would fold to 1 kHz
    assert amplitude(read_sound(tmp_path / "x.wav"), 1000) < 0.001


def test_channels_are_averaged(tmp_path: Path) -> None:
    left, right = sine(440, 0.5, RATE, 0.6), sine(440, 0.5, RATE, 0.2)
    soundfile.write(tmp_path / "x.wav", np.stack([left, right], axis=1), RATE)
    assert amplitude(read_sound(tmp_path / "x.wav"), 440) == pytest.approx(0.4, abs=0.01)


def test_not_a_number_is_silence(tmp_path: Path) -> None:
    data = np.full(1000, np.nan, dtype=np.float32)
    data[500] = np.inf
    soundfile.write(tmp_path / "x.wav", data, RATE, subtype="FLOAT")
    got = read_sound(tmp_path / "x.wav")
    assert np.isfinite(got).all()
    assert np.abs(got).max() <= 1.0


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("absent.wav", None, "There is no sound file"),
        ("empty.wav", b"", "empty"),
        ("text.wav", b"this is a shopping list\n" * 50, "not a readable sound file"),
        ("cut.flac", b"fLaC\x00\x00", "not a readable sound file"),
        ("header.wav", b"RIFF\x24\x00\x00\x00WAVEfmt ", "not a readable sound file"),
    ],
)
def test_what_is_not_sound_is_one_sentence(tmp_path: Path, name: str, content: bytes | None, says: str) -> None:
    if content is not None:
        (tmp_path / name).write_bytes(content)
    for reader in (read_sound, lambda p: list(blocks_of_file(p, 512))):
        with pytest.raises(Trouble) as trouble:
            reader(tmp_path / name)
        assert says in trouble.value.sentence
        assert "\n" not in trouble.value.sentence
        assert trouble.value.status == 2


def test_a_folder_and_a_file_without_samples(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match="folder"):
        read_sound(tmp_path)
    soundfile.write(tmp_path / "none.wav", np.zeros(0, dtype=np.float32), RATE)
    with pytest.raises(Trouble, match="no sound at all"):
        read_sound(tmp_path / "none.wav")


def test_a_flac_cut_short_is_trouble(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    write_sound(tmp_path / "x.flac", (0.1 * rng.standard_normal(5 * RATE)).astype(np.float32))
    whole = (tmp_path / "x.flac").read_bytes()
    (tmp_path / "x.flac").write_bytes(whole[: len(whole) // 2])
    try:
        got = read_sound(tmp_path / "x.flac")
    except Trouble as trouble:
        got, said = None, trouble.sentence
        assert "damaged" in said
    assert got is None or 0 < len(got) < 5 * RATE  # some libsndfile give what was whole


@given(st.binary(min_size=1, max_size=300))
@settings(max_examples=150, deadline=None)
def test_random_bytes_never_escape_as_another_error(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    place = tmp_path_factory.mktemp("x") / "x.wav"
    place.write_bytes(data)
    with contextlib.suppress(Trouble):
        read_sound(place)


def test_written_sound_is_read_back(tmp_path: Path) -> None:
    x = sine(300, 0.5, RATE)
    for name in ("a.wav", "a.flac"):
        write_sound(tmp_path / name, x)
        assert np.abs(read_sound(tmp_path / name) - x).max() < 1e-4
    with pytest.raises(Trouble, match=r"\.wav or \.flac"):
        write_sound(tmp_path / "a.xyz", x)
    with pytest.raises(Trouble, match="cannot be written"):
        write_sound(tmp_path / "no" / "such" / "a.wav", x)


@given(st.lists(st.integers(-32768, 32767), max_size=200))
def test_raw_samples_go_there_and_back(values: list[int]) -> None:
    data = np.array(values, dtype="<i2").tobytes()
    back = to_int16(from_int16(data))
    assert np.abs(back.astype(int) - np.array(values, dtype=int)).max(initial=0) <= 1


@given(st.binary(max_size=5000), st.integers(1, 700))
def test_raw_blocks_hold_every_whole_sample(data: bytes, frames: int) -> None:
    blocks = list(blocks_of_raw(io.BytesIO(data), frames))
    assert sum(len(b) for b in blocks) == len(data) // 2


@pytest.mark.parametrize("rate", [44100, 48000, 16000])
def test_pieces_join_without_a_seam(rate: int) -> None:
    x = np.stack([sine(700, 2.0, rate)] * 2, axis=1)
    converter = Converter(rate, 2)
    cuts = np.arange(0, len(x), 441)
    parts = [converter.feed(x[i : i + 441], last=i + 441 >= len(x)) for i in cuts]
    got = np.concatenate(parts)
    assert abs(len(got) - 2 * RATE) <= 2
    want = sine(700, 2.0, RATE)
    inner = slice(2000, 2 * RATE - 2000)
    assert np.abs(got[inner] - want[inner]).max() < 0.01


def test_dash_is_raw_in_and_raw_out() -> None:
    code = (
        "from handsfree.sound.files import read_sound, write_sound; write_sound('-', read_sound('-'))"
    )
    data = to_int16(sine(500, 0.2, RATE)).tobytes()
    done = subprocess.run([sys.executable, "-c", code], input=data + b"x", capture_output=True, check=True)
    got = np.frombuffer(done.stdout, dtype="<i2").astype(int)
    assert np.abs(got - np.frombuffer(data, dtype="<i2").astype(int)).max() <= 1
