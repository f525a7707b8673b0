"""Sound files and raw streams, in and out.

Read: whatever libsndfile reads (WAV, FLAC, OGG, AIFF…), any rate, any number of channels; or `-`, raw 16 kHz mono 16-bit
little-endian samples on standard input. Written: by the ending of the name, or raw to `-`. Every error is `Trouble`.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

from handsfree.errors import Trouble
from handsfree.outputs import spare_the_record
from handsfree.sound.samples import RATE, Samples, from_int16, to_int16

#: Longest sound read whole into memory; longer ones are for streaming.
LONGEST = 4 * 3600.0
#: Rates outside these are a damaged header, not sound.
RATES = (1_000, 768_000)
FILES = (".wav", ".flac", ".ogg", ".aiff", ".aif", ".mp3")
ENDINGS = {".wav": ("WAV", "PCM_16"), ".flac": ("FLAC", "PCM_16")}


def is_file(where: str | None) -> bool:
    """A device is named; a file has a sound file's ending or is there."""
    return where is not None and where != "-" and (Path(where).suffix.lower() in FILES or Path(where).is_file())


def to_mono(samples: NDArray[np.floating], rate: int) -> Samples:
    """(frames,) or (frames, channels) at `rate` -> mono 16 kHz. Channels are averaged; not-a-number becomes silence."""
    mono = samples if samples.ndim == 1 else samples.mean(axis=1)
    mono = np.nan_to_num(np.asarray(mono, dtype=np.float32), nan=0.0, posinf=1.0, neginf=-1.0)
    if rate != RATE and len(mono):
        mono = soxr.resample(mono, rate, RATE, quality="HQ")
    return np.asarray(np.clip(mono, -1.0, 1.0), dtype=np.float32)


class Converter:
    """The same for sound that comes in pieces, at any rate and number of channels, without a seam between pieces."""

    def __init__(self, rate: int, channels: int) -> None:
        self.rate, self.channels = rate, channels
        self._resampler = None if rate == RATE else soxr.ResampleStream(rate, RATE, 1, dtype="float32", quality="HQ")

    def feed(self, block: NDArray[np.float32], last: bool = False) -> Samples:
        """`block`: (frames, channels) or (frames,). Returns what is ready, mono at 16 kHz."""
        mono = block if block.ndim == 1 else block.mean(axis=1)
        mono = np.nan_to_num(np.asarray(mono, dtype=np.float32), nan=0.0, posinf=1.0, neginf=-1.0)
        if self._resampler is not None:
            mono = self._resampler.resample_chunk(mono, last=bool(last))
        return np.clip(mono, -1.0, 1.0).astype(np.float32, copy=False)


def read_sound(path: str | Path, longest: float = LONGEST) -> Samples:
    """The whole file, mono at 16 kHz; `-` reads raw samples from standard input to its end. Trouble where it is
    missing, a folder, empty, not sound, or longer than so many seconds."""
    if str(path) == "-":
        found = from_int16(sys.stdin.buffer.read(int(LONGEST) * RATE * 2))
        if not len(found):
            raise Trouble("Standard input carried no sound; send raw 16 kHz mono 16-bit samples.")
        return found
    place = Path(path)
    with _opened(place) as file:
        if file.frames > longest * file.samplerate:
            raise Trouble(f"'{place}' is longer than {longest / 60:.0f} minutes; cut it into pieces.")
        try:
            data = file.read(dtype="float32", always_2d=True)
        except (soundfile.LibsndfileError, RuntimeError) as fault:
            raise Trouble(f"'{place}' is damaged sound ({_why(fault)}); record it again.") from fault
        rate = file.samplerate
    if not len(data):
        raise Trouble(f"'{place}' holds no sound at all; record it again.")
    return to_mono(data, rate)


def blocks_of_file(path: str | Path, frames: int) -> Iterator[Samples]:
    """The file in pieces of about `frames` samples at 16 kHz, without holding it whole. Same Trouble as `read_sound`;
    a file that turns out damaged part-way gives what is good, then Trouble."""
    if str(path) == "-":
        yield from blocks_of_raw(sys.stdin.buffer, frames)
        return
    place = Path(path)
    with _opened(place) as file:
        converter = Converter(file.samplerate, file.channels)
        size = max(1, round(frames * file.samplerate / RATE))
        try:
            while len(data := file.read(size, dtype="float32", always_2d=True)):
                yield converter.feed(data, last=len(data) < size)
        except (soundfile.LibsndfileError, RuntimeError) as fault:
            raise Trouble(f"'{place}' is damaged sound ({_why(fault)}); record it again.") from fault


def blocks_of_raw(stream: BinaryIO, frames: int) -> Iterator[Samples]:
    """Raw 16 kHz mono 16-bit samples in pieces of `frames`, as they come, until the stream ends."""
    rest = b""
    while data := stream.read(frames * 2):
        data = rest + data
        rest = data[len(data) - len(data) % 2 :]
        yield from_int16(data)


def _opened(place: Path) -> soundfile.SoundFile:
    try:
        size = place.stat().st_size
    except OSError as fault:
        raise Trouble(f"There is no sound file '{place}'; check the name.") from fault
    if place.is_dir():
        raise Trouble(f"'{place}' is a folder; name a sound file.")
    if size == 0:
        raise Trouble(f"'{place}' is empty; record it again.")
    try:
        file = soundfile.SoundFile(os.fspath(place))
    except (soundfile.LibsndfileError, RuntimeError, TypeError, OSError) as fault:
        raise Trouble(f"'{place}' is not a readable sound file ({_why(fault)}); give a WAV or FLAC file.") from fault
    if not RATES[0] <= file.samplerate <= RATES[1]:
        rate = file.samplerate
        file.close()
        raise Trouble(f"'{place}' claims a rate of {rate} samples a second, which cannot be right; record it again.")
    return file


def _why(fault: BaseException) -> str:
    """The library's reason, without the file's name, which the sentence has already."""
    return (getattr(fault, "error_string", "") or str(fault)).strip().rstrip(".").splitlines()[-1].lower()


def write_sound(path: str | Path, samples: Samples, rate: int = RATE) -> None:
    """FLAC or WAV (16-bit) by the ending of the name, or raw to `-`. Trouble where it cannot be written."""
    with SoundOut(path, rate) as out:
        out.write(samples)


class SoundOut:
    """A file, or `-`, that sound is written to as it comes. A context manager. Trouble where it cannot be written."""

    def __init__(self, path: str | Path, rate: int = RATE) -> None:
        self.path = str(path)
        self._file: soundfile.SoundFile | None = None
        if self.path == "-":
            return
        kind = ENDINGS.get(Path(path).suffix.lower())
        if kind is None:
            raise Trouble(f"Sound cannot be written to '{path}'; end the name in .wav or .flac, or give '-'.")
        spare_the_record(Path(path))
        try:
            self._file = soundfile.SoundFile(self.path, "w", rate, 1, format=kind[0], subtype=kind[1])
        except (soundfile.LibsndfileError, RuntimeError, OSError) as fault:
            raise Trouble(f"'{path}' cannot be written ({_why(fault)}); choose another place.") from fault

    def write(self, samples: Samples) -> None:
        try:
            if self._file is not None:
                self._file.write(to_int16(samples))
            else:
                sys.stdout.buffer.write(to_int16(samples).astype("<i2").tobytes())
                sys.stdout.buffer.flush()
        except (soundfile.LibsndfileError, RuntimeError, OSError) as fault:
            raise Trouble(f"Sound could not be written to '{self.path}' ({_why(fault)}); free some space.") from fault

    def close(self) -> None:
        if self._file is not None:
            self._file.close()

    def __enter__(self) -> SoundOut:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
