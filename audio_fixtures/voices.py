"""Voices, noises, rooms: the sound that the fixtures and the benchmark corpus are made of.

Needs the programs `flite` and `espeak-ng`. Everything returned is float32, mono, 16 kHz, and the same for the same
arguments (noises by seed). A stated signal-to-noise ratio is the active speech level (ITU-T P.56 method B) over the
noise's mean square in the full 0 to 8 kHz band, unweighted.
"""

from __future__ import annotations

import subprocess
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from math import gcd
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy import signal

Samples = NDArray[np.float32]
RATE = 16_000


@dataclass(frozen=True)
class Voice:
    """`program`: flite or espeak-ng; `name`: its voice. `pitch`: flite's mean fundamental in Hz (0: the voice's own).
    `tract`: scale of all frequencies after synthesis, its tempo kept (1.06: a shorter vocal tract, another speaker)."""

    program: str
    name: str
    pitch: int = 0
    tract: float = 1.0


#: flite's slt, rms and awb are recorded speakers; kal16 is a diphone voice; eSpeak NG's are formants: the hard case.
VOICES: dict[str, Voice] = {
    "slt": Voice("flite", "slt"),
    "rms": Voice("flite", "rms"),
    "awb": Voice("flite", "awb"),
    "kal16": Voice("flite", "kal16"),
    "slt-low": Voice("flite", "slt", tract=0.93),
    "slt-high": Voice("flite", "slt", tract=1.06),
    "rms-low": Voice("flite", "rms", tract=0.94),
    "rms-high": Voice("flite", "rms", tract=1.08),
    "awb-low": Voice("flite", "awb", tract=0.94),
    "awb-high": Voice("flite", "awb", tract=1.07),
    "kal16-low": Voice("flite", "kal16", tract=0.95),
    "kal16-high": Voice("flite", "kal16", tract=1.08),
    "espeak-us": Voice("espeak-ng", "en-us"),
    "espeak-gb": Voice("espeak-ng", "en-gb"),
    "espeak-rp": Voice("espeak-ng", "en-gb-x-rp"),
    "espeak-scotland": Voice("espeak-ng", "en-gb-scotland"),
    "espeak-caribbean": Voice("espeak-ng", "en-029"),
    "espeak-us-f": Voice("espeak-ng", "en-us+f3"),
    "espeak-us-m": Voice("espeak-ng", "en-us+m3"),
    "espeak-gb-f": Voice("espeak-ng", "en-gb+f2"),
    "espeak-ko": Voice("espeak-ng", "ko"),
}


def resample(samples: NDArray[np.floating], rate_from: int, rate_to: int) -> Samples:
    """The same sound at another rate (polyphase filter)."""
    common = gcd(rate_from, rate_to)
    if rate_from == rate_to:
        return np.asarray(samples, dtype=np.float32)
    return np.asarray(signal.resample_poly(samples, rate_to // common, rate_from // common), dtype=np.float32)


def _command(voice: Voice, text: str, rate: float, path: Path) -> list[str]:
    if voice.program == "flite":
        # A shifted vocal tract is made by resampling, which changes the tempo: undone here.
        stretch = voice.tract / rate
        settings = ["--setf", f"duration_stretch={stretch:.3f}"]
        settings += ["--setf", f"int_f0_target_mean={voice.pitch}"] if voice.pitch else []
        return ["flite", "-voice", voice.name, *settings, "-t", text, "-o", str(path)]
    return ["espeak-ng", "-v", voice.name, "-s", str(round(155 * rate / voice.tract)), "-w", str(path), "--", text]


@lru_cache(maxsize=4096)
def _spoken(text: str, voice: str, rate: float) -> Samples:
    chosen = VOICES[voice]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.wav"
        subprocess.run(_command(chosen, text, rate, path), check=True, capture_output=True)
        samples, its_rate = soundfile.read(path, dtype="float32")
    made = resample(samples, round(its_rate * chosen.tract / 50) * 50, RATE)
    peak = float(np.max(np.abs(made), initial=1e-6))
    made = np.asarray(made * (0.5 / peak), dtype=np.float32)
    made.flags.writeable = False
    return made


def synthesise(text: str, voice: str, rate: float = 1.0) -> Samples:
    """`text` spoken by a voice of `VOICES`, peak at 0.5; `rate` 1.2 is a fifth faster. KeyError for an unknown voice."""
    return _spoken(text, voice, rate)


def silence(seconds: float) -> Samples:
    return np.zeros(int(seconds * RATE), dtype=np.float32)


def padded(samples: Samples, before: float = 0.3, after: float = 0.3) -> Samples:
    """With silence around it, seconds."""
    return np.concatenate([silence(before), samples, silence(after)])


# --- noises: unit mean square, any length, by seed ------------------------------------------------------------------


def _unit(noise: NDArray[np.floating]) -> Samples:
    return np.asarray(noise / np.sqrt(np.mean(np.square(noise)) + 1e-20), dtype=np.float32)


def _coloured(seconds: float, slope: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Noise whose power falls as frequency to the power `slope` (1: pink), flat below 40 Hz."""
    count = max(int(seconds * RATE), 16)
    spectrum = np.fft.rfft(rng.standard_normal(count))
    frequency = np.fft.rfftfreq(count, 1 / RATE)
    shaped: NDArray[np.float64] = np.fft.irfft(spectrum / np.maximum(frequency, 40.0) ** (slope / 2), count)
    return shaped


def _tones(
    seconds: float, first: float, levels: list[float], rng: np.random.Generator, wander: float
) -> NDArray[np.float64]:
    """Harmonics of `first` Hz whose frequency wanders a little, as a loaded motor's does."""
    count = max(int(seconds * RATE), 16)
    drift = np.cumsum(rng.standard_normal(count)) / np.sqrt(RATE)
    phase = 2 * np.pi * np.cumsum(first * (1 + wander * drift)) / RATE
    offsets = rng.uniform(0, 2 * np.pi, len(levels))
    return np.asarray(sum(a * np.sin((k + 1) * phase + offsets[k]) for k, a in enumerate(levels)))


def compressor_noise(seconds: float, seed: int) -> Samples:
    """A compressor and its fans: hum of twice the mains frequency with its harmonics, slow beating, a rattle at the
    piston rate, and the rush of the fans over it (pink; about half of the power)."""
    rng = np.random.default_rng((1, seed))
    mains = 60.0 if seed % 2 else 50.0
    hum = _tones(seconds, 2 * mains, [1.0, 0.6, 0.5, 0.25, 0.2, 0.15, 0.1], rng, 0.0005)
    clock = np.arange(len(hum)) / RATE
    hum *= 1 + 0.3 * np.sin(2 * np.pi * rng.uniform(0.3, 1.5) * clock)
    rattle = _coloured(seconds, 0.0, rng) * np.maximum(0, np.sin(np.pi * (mains * 0.97) * clock)) ** 8
    return _unit(0.9 * _unit(hum) + 0.45 * _unit(rattle) + 1.0 * fan_noise(seconds, seed + 7919))


def fan_noise(seconds: float, seed: int) -> Samples:
    """An evaporator or condenser fan: broad rush (pink to brownish) and the tone of its blades passing."""
    rng = np.random.default_rng((2, seed))
    rush = _unit(_coloured(seconds, float(rng.uniform(0.8, 1.4)), rng))
    blades = _unit(_tones(seconds, float(rng.uniform(90, 240)), [1.0, 0.5, 0.3, 0.1], rng, 0.002))
    return _unit(rush + 0.35 * blades)


def hiss_noise(seconds: float, seed: int) -> Samples:
    """White: a gas leak, a cheap microphone."""
    return _unit(_coloured(seconds, 0.0, np.random.default_rng((3, seed))))


def babble_noise(seconds: float, seed: int) -> Samples:
    """Several people talking at once on the platform, none of them to us."""
    rng = np.random.default_rng((4, seed))
    total = np.zeros(max(int(seconds * RATE), 16), dtype=np.float32)
    for voice in ("slt", "rms", "awb", "kal16", "slt-low", "awb-high"):
        talk = np.concatenate([synthesise(CHATTER[int(k)], voice) for k in rng.permutation(len(CHATTER))])
        total += np.roll(np.resize(talk, len(total)), int(rng.integers(len(total))))
    return _unit(total)


def platform_noise(seconds: float, seed: int) -> Samples:
    """A station platform: wind, a distant rumble that swells, far babble."""
    rng = np.random.default_rng((5, seed))
    wind = _coloured(seconds, 2.0, rng)
    clock = np.arange(len(wind)) / RATE
    swell = 1 + 0.7 * np.sin(2 * np.pi * rng.uniform(0.1, 0.3) * clock + rng.uniform(0, 6))
    return _unit(_unit(wind * swell) + 0.5 * babble_noise(seconds, seed) + 0.3 * hiss_noise(seconds, seed))


#: Every noise by name: (seconds, seed) -> unit mean square.
NOISES: dict[str, Callable[[float, int], Samples]] = {
    "compressor": compressor_noise,
    "fan": fan_noise,
    "hiss": hiss_noise,
    "babble": babble_noise,
    "platform": platform_noise,
}

CHATTER: tuple[str, ...] = (
    "The next train to the summit leaves from the upper platform in about ten minutes.",
    "Did you bring the sandwiches, or are they still in the car?",
    "I told her that we would be back before the shop closes.",
    "My brother used to work for the post office, years ago.",
    "It was raining all morning, and now look at that view.",
    "Please keep your tickets until the end of the journey.",
    "Can you see the lake from here? Left of the big fir tree.",
    "They said on the radio that the road is closed again.",
)


def clank(seed: int) -> Samples:
    """A tool dropped on a sheet-metal floor: ringing modes dying away in a tenth of a second or so; peak 0.7."""
    rng = np.random.default_rng((6, seed))
    clock = np.arange(int(0.35 * RATE)) / RATE
    modes = sum(
        rng.uniform(0.3, 1) * np.sin(2 * np.pi * f * clock) * np.exp(-clock / rng.uniform(0.02, 0.09))
        for f in rng.uniform(400, 6500, 9)
    )
    blow = rng.standard_normal(len(clock)) * np.exp(-clock / 0.004)
    sound = np.asarray(modes) + 2 * blow
    return np.asarray(0.7 * sound / np.max(np.abs(sound)), dtype=np.float32)


def room(samples: Samples, seconds: float = 0.4, seed: int = 0, direct: float = 1.0) -> Samples:
    """Heard in a hard room: `seconds` is the time to fall by 60 dB; `direct` the direct sound against the tail."""
    rng = np.random.default_rng((7, seed))
    clock = np.arange(int(seconds * RATE)) / RATE
    tail = rng.standard_normal(len(clock)) * np.exp(-6.9 * clock / seconds)
    tail *= 0.5 / np.sqrt(np.sum(tail**2))
    tail[0] = direct
    wet = signal.fftconvolve(samples, tail)[: len(samples) + int(0.2 * RATE)]
    return np.asarray(wet * (0.5 / max(float(np.max(np.abs(wet))), 1e-6)), dtype=np.float32)


# --- level and mixing -----------------------------------------------------------------------------------------------


def active_level(speech: Samples) -> float:
    """Active speech level, mean square (not dB): ITU-T P.56 method B (time constant 30 ms, hangover 200 ms,
    margin 15.9 dB; those three values from memory)."""
    smooth = np.exp(-1 / (0.03 * RATE))
    envelope = np.abs(np.asarray(speech, dtype=np.float64))
    for _ in range(2):
        envelope = np.asarray(signal.lfilter([1 - smooth], [1, -smooth], envelope))
    energy = float(np.sum(np.square(speech, dtype=np.float64)))
    if energy <= 0:
        return 0.0
    hang = int(0.2 * RATE)
    margin = 10 ** (-15.9 / 20)
    for step in range(200):  # the highest threshold, half a decibel at a time, that lies the margin below the level
        threshold = float(envelope.max()) * 10 ** (-step / 40)
        above = np.cumsum(np.concatenate([np.zeros(hang, dtype=np.int64), envelope >= threshold]))
        active = int(np.count_nonzero(above[hang:] > above[:-hang])) or 1
        level = energy / active
        if threshold <= np.sqrt(level) * margin:
            return level
    return energy / len(speech)


def mix(speech: Samples, noise: Samples, snr_db: float) -> Samples:
    """Speech with noise `snr_db` below its active level. Noise is cut or repeated to length; the sum is scaled down
    together when it would clip."""
    wanted = active_level(speech) / 10 ** (snr_db / 10)
    fitted = np.resize(noise, len(speech))
    fitted = fitted * np.sqrt(wanted / (float(np.mean(np.square(fitted))) + 1e-20))
    total = speech + fitted
    peak = float(np.max(np.abs(total), initial=0.0))
    return np.asarray(total * (0.95 / peak if peak > 0.95 else 1.0), dtype=np.float32)
