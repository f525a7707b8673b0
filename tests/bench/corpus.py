# ruff: noqa: E501  tables of texts
"""The benchmark corpus of recognition: thousands of clips and their manifest, made by script, kept out of the repository.

    python -m tests.bench.corpus --out FOLDER --split fit --clips 2400
    python -m tests.bench.corpus --out FOLDER/neural --split fit --clips 400 --voices neural
    python -m tests.bench.corpus --out FOLDER/near --split held --clips 2000 --only near
    handsfree evaluate FOLDER/held/manifest.jsonl

Two splits share nothing but the words: `fit` (for tests/bench/teach/fit_acceptance.py) and `held` have different voices, different
noises, different rooms. Some voices of `fit` also teach the model (`TAUGHT`): their clips are made, but not fitted on. Voices
are flite's, eSpeak NG's, festival's and neural ones (tests/bench/neural_voices.py says which packages they need). Debian's
recorded prompts (asterisk-core-sounds-en-g722, one real speaker) serve as unrelated speech, half of them in each split.
"""

from __future__ import annotations

import argparse
import functools
import json
import random
import subprocess
import tempfile
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from audio_fixtures import voices as made
from handsfree.language.phonetics import common, dictionary, nearest
from handsfree.sound.levels import speech_level
from tests.bench import corpus_texts as texts
from tests.bench import neural_voices

RATE = 16_000
PROMPTS = Path("/usr/share/asterisk/sounds/en_US_f_Allison")
LEVELS: tuple[float | None, ...] = (None, 20.0, 10.0, 5.0)

VOICES = {
    "fit": ("slt", "slt-low", "slt-high", "kal16", "kal16-low", "kal16-high", "espeak-us", "espeak-gb", "espeak-us-f", "ked"),
    "held": ("rms", "rms-low", "rms-high", "awb", "awb-low", "awb-high", "joe", "joe-high", "slt-hts", "espeak-rp", "espeak-us-m"),
}  # fmt: skip
#: Of `fit`, those that the neural model was taught with as well: acceptance is not fitted on them.
TAUGHT = ("kal16", "ked", "espeak-us-f")
#: Voices that teach only: accent and pitch.
PICO = {
    "pico-us": ("en-US", 1.0), "pico-us-low": ("en-US", 0.75), "pico-gb": ("en-GB", 1.0), "pico-gb-low": ("en-GB", 0.72),
}  # fmt: skip
NOISES = {"fit": ("compressor", "babble", "pink", "hum"), "held": ("fan", "platform", "workshop", "street")}
ROOMS = {"fit": (0.2, 0.45), "held": (0.3, 0.6)}
#: Share of each kind among the clips. What is asked for by name alone: proofs that the works are dead, what must never be one,
#: answers and readings that are taken back, words that are one sound beside an answer, and any word at all.
SHARES = {"choice": 0.22, "command": 0.12, "reading": 0.24, "gate": 0.12, "near": 0.18, "unrelated": 0.12}
BY_NAME = ("proof", "near proof", "denied", "near word", "word")


@dataclass(frozen=True)
class Clip:
    """One clip to make. `prompt`: a recorded file instead of synthesis."""

    name: str
    text: str
    voice: str
    rate: float
    snr: float | None
    noise: str
    room: float
    gain: float
    lead: float
    tail: float
    seed: int
    listen_for: dict[str, Any]
    expect: dict[str, Any] | None
    kind: str
    prompt: str = ""
    odd: str = ""  # "stereo" or a sample rate, to prove that any file will do


def plan(split: str, clips: int, seed: int, only: str = "", voices: str = "made") -> list[Clip]:
    """The list of clips, the same for the same arguments. `only`: one kind instead of all. `voices`: made or neural."""
    speakers = VOICES[split] if voices == "made" else neural_voices.VOICES[split]
    luck = random.Random(f"{split} {seed}")
    out = []
    for kind, share in ({only: 1.0} if only else SHARES).items():
        for number in range(round(clips * share)):
            text, listen_for, expect, prompt = _say(kind, luck, split)
            out.append(Clip(
                name=f"{kind}-{number:05d}", text=text, voice=luck.choice(speakers), rate=luck.choice((0.85, 1.0, 1.0, 1.15, 1.3)),
                snr=LEVELS[number % 4], noise=luck.choice(NOISES[split]), room=luck.choice((0, 0, 0, *ROOMS[split])),
                gain=luck.uniform(0.08, 0.9), lead=luck.uniform(0.1, 0.7), tail=luck.uniform(0.2, 0.8), seed=luck.randrange(1 << 30),
                listen_for=listen_for, expect=expect, kind=kind, prompt=prompt,
                odd=luck.choice(("stereo", "44100", "8000")) if luck.random() < 0.02 else "",
            ))  # fmt: skip
    return out


def _say(kind: str, luck: random.Random, split: str) -> tuple[str, dict[str, Any], dict[str, Any] | None, str]:
    phrases = luck.choice(texts.CHOICES)
    if kind == "choice":
        phrase = luck.choice(phrases)
        return phrase, {"phrases": list(phrases), "commands": True}, {"phrase": phrase}, ""
    if kind == "command":
        name = luck.choice(tuple(texts.COMMANDS))
        listen = luck.choice(
            ({"phrases": list(phrases)}, {"number": {"unit": "degF"}}, {"gate": {"lock": texts.lock(luck)}})
        )
        return luck.choice(texts.COMMANDS[name]), {**listen, "commands": True}, {"command": name}, ""
    if kind == "reading":
        value, spoken, unit = texts.reading(luck)
        return spoken, {"number": {"unit": unit}, "commands": True}, {"number": value}, ""
    if kind == "denied":
        if luck.random() < 0.5:
            _, spoken, unit = texts.reading(luck)
            return texts.denied(spoken, luck), {"number": {"unit": unit}, "commands": True}, None, ""
        if any(phrase.startswith("not ") for phrase in phrases):  # 'not done' denies one answer and is the other
            phrases = texts.CHOICES[0]
        return texts.denied(luck.choice(phrases), luck), {"phrases": list(phrases), "commands": True}, None, ""
    if kind == "near word":
        answer = luck.choice([phrase for phrase in phrases if " " not in phrase] or ["freezing"])  # a word of the sentences
        return luck.choice(nearest(answer, 8)), {"phrases": list(phrases), "commands": True}, None, ""
    if kind == "word":
        word = luck.choice([word for word in _words() if word not in " ".join(phrases).split()])
        return word, {"phrases": list(phrases), "commands": True}, None, ""
    if kind in ("proof", "near proof"):
        return _proof(kind, luck, split)
    lock = texts.lock(luck)
    gate = {"gate": {"lock": lock}, "commands": True}
    if kind == "gate":
        return f"isolated{luck.choice((',', ''))} lock {' '.join(lock)}", gate, {"gate": True}, ""
    if kind == "near":
        return texts.near_miss(lock, luck), gate, None, ""
    listen = luck.choice(
        ({"phrases": list(phrases), "commands": True}, {"number": {"unit": "degF"}, "commands": True}, gate)
    )
    prompts = _prompts(split)
    if prompts and luck.random() < 0.5:
        return "", listen, None, luck.choice(prompts)
    return luck.choice(texts.UNRELATED), listen, None, ""


def _proof(kind: str, luck: random.Random, split: str) -> tuple[str, dict[str, Any], dict[str, Any] | None, str]:
    switch = {"phrases": list(texts.PROOF), "commands": True, "proof": True}
    if kind == "near proof":
        return luck.choice(texts.NEAR_PROOF[split]), switch, None, ""
    if luck.random() < 0.6:
        phrase = luck.choice((texts.PROOF[0], *texts.PROOF))
        return phrase, switch, {"phrase": phrase}, ""
    value, spoken = texts.dead_volts(luck)
    return spoken, {"number": {"unit": "volt"}, "commands": True, "proof": True}, {"number": value}, ""


@functools.cache
def _words() -> tuple[str, ...]:
    """What people say, but for the words of commands."""
    commands = {word for ways in texts.COMMANDS.values() for way in ways for word in way.split()}
    return tuple(word for word in dictionary() if word.isalpha() and len(word) > 2 and common(word) and word not in commands)


@functools.cache
def _prompts(split: str) -> tuple[str, ...]:
    """Recorded sentences of 1.5 s (shorter ones may be a command or a number) to 12 s, every second one in each split."""
    if not PROMPTS.is_dir():
        return ()
    long = [
        path for path in sorted(PROMPTS.glob("*.g722")) if 1.5 * 8000 < path.stat().st_size < 12 * 8000
    ]  # G.722: 64 kbit/s
    return tuple(str(path) for path in long[0 if split == "fit" else 1 :: 2])


# ---- sound


def speak(text: str, voice: str, rate: float) -> made.Samples:
    """`voice`: 'espeak:en-gb+m3' is eSpeak NG's accent and variant."""
    if voice.startswith("espeak:"):
        return _espeak(text, voice.removeprefix("espeak:"), rate)
    if voice in made.VOICES:
        return made.synthesise(text, voice, rate)
    if voice.startswith("joe"):
        return neural_voices.joe(text, rate, 1.09 if voice.endswith("high") else 1.0)
    if neural_voices.knows(voice):
        return neural_voices.speak(text, voice, rate)
    if voice in PICO:
        return _pico(text, *PICO[voice], rate)
    return _festival(text, {"ked": "ked_diphone", "slt-hts": "cmu_us_slt_arctic_hts"}[voice], rate)


def _espeak(text: str, voice: str, rate: float) -> made.Samples:
    with tempfile.NamedTemporaryFile(suffix=".wav") as file:
        command = ["espeak-ng", "-v", voice, "-s", str(round(160 * rate)), "-w", file.name, "--", text]
        subprocess.run(command, check=True, capture_output=True)
        samples, its_rate = soundfile.read(file.name, dtype="float32")
    return made.resample(samples, its_rate, RATE)


def _festival(text: str, name: str, rate: float) -> made.Samples:
    with tempfile.TemporaryDirectory() as folder:
        path = f"{folder}/a.wav"
        script = f"""(voice_{name}) (Parameter.set 'Duration_Stretch {1 / rate:.2f})
            (utt.save.wave (utt.synth (Utterance Text "{text}")) "{path}")"""
        subprocess.run(["festival", "--pipe"], input=script, text=True, check=True, capture_output=True)
        samples, its_rate = soundfile.read(path, dtype="float32")
    return made.resample(samples, its_rate, RATE)


def _pico(text: str, accent: str, pitch: float, rate: float) -> made.Samples:
    """Needs py-nanotts."""
    from py_nanotts import NanoTTS

    return np.frombuffer(NanoTTS().speak(text, voice=accent, speed=rate, pitch=pitch), "<i2").astype(np.float32) / 32768


def recorded(path: str) -> made.Samples:
    import av

    with av.open(path) as container:
        frames = [frame.to_ndarray().ravel() for frame in container.decode(audio=0)]
    samples = np.concatenate(frames)
    return np.asarray(samples, np.float32) / (32768.0 if samples.dtype == np.int16 else 1.0)


def noise(name: str, seconds: float, seed: int) -> made.Samples:
    if name == "pink":
        return made._unit(made._coloured(seconds, 1.0, np.random.default_rng((11, seed))))
    if name == "hum":
        return made._unit(made.compressor_noise(seconds, seed) + _blows(seconds, seed))
    if name == "workshop":
        return made._unit(
            made.compressor_noise(seconds, seed + 1) * 0.7 + made.fan_noise(seconds, seed) * 0.7 + _blows(seconds, seed)
        )
    if name == "street":
        rng = np.random.default_rng((12, seed))
        swell = 1 + 0.8 * np.sin(
            2 * np.pi * rng.uniform(0.1, 0.5) * np.arange(int(seconds * RATE)) / RATE + rng.uniform(0, 6)
        )
        rumble = made._coloured(seconds, 1.6, rng)
        return made._unit(made._unit(rumble * swell[: len(rumble)]) + 0.4 * made.hiss_noise(seconds, seed))
    if name in ("babble", "platform"):
        return _from_long(name, seconds, seed)
    return made.NOISES[name](seconds, seed)


@functools.cache
def _long(name: str, seed: int) -> made.Samples:
    return made.NOISES[name](60.0, seed)


def _from_long(name: str, seconds: float, seed: int) -> made.Samples:
    """A stretch of one of four long noises: those made of speech take long to make."""
    whole = _long(name, seed % 4)
    return np.roll(whole, -(seed * 7919) % len(whole))[: int(seconds * RATE)]


def _blows(seconds: float, seed: int) -> made.Samples:
    rng = np.random.default_rng((13, seed))
    out = np.zeros(int(seconds * RATE), np.float32)
    for _ in range(max(1, int(seconds))):
        blow, at = made.clank(int(rng.integers(1 << 20))), int(rng.integers(max(1, len(out) - 6000)))
        end = min(len(out), at + len(blow))
        out[at:end] += 2 * blow[: end - at]
    return out


def render(clip: Clip) -> made.Samples:
    """The clip's sound; level, room, silence around it and noise as planned."""
    speech = recorded(clip.prompt) if clip.prompt else speak(clip.text, clip.voice, clip.rate)
    if clip.room:
        speech = made.room(speech, clip.room, clip.seed % 1000)
    speech = np.concatenate([made.silence(clip.lead), speech, made.silence(clip.tail)])
    speech = speech * np.float32(clip.gain / max(float(np.abs(speech).max()), 1e-6))
    if clip.snr is None:
        return speech
    return _mixed(speech, noise(clip.noise, len(speech) / RATE + 0.1, clip.seed % 100_000)[: len(speech)], clip.snr)


def _mixed(speech: made.Samples, background: made.Samples, snr: float) -> made.Samples:
    """Noise `snr` dB below the active speech level (ITU-T P.56); scaled down together where the sum would clip."""
    wanted = 10 ** ((speech_level(speech).active - snr) / 20)
    total = speech + background * np.float32(wanted / np.sqrt(np.mean(np.square(background)) + 1e-20))
    return np.asarray(total * min(1.0, 0.95 / max(float(np.abs(total).max()), 1e-6)), np.float32)


def _write(job: tuple[Path, Clip]) -> str:
    folder, clip = job
    path = folder / f"{clip.name}.flac"
    if not path.exists():
        samples, rate = render(clip), RATE
        if clip.odd == "stereo":
            samples = np.stack([samples, samples], axis=1)
        elif clip.odd:
            samples, rate = made.resample(samples, RATE, int(clip.odd)), int(clip.odd)
        soundfile.write(path, samples, rate)
    tags = {"snr": clip.snr if clip.snr is not None else "clean", "kind": clip.kind, "voice": clip.voice if not clip.prompt else "recorded",
            "noise": clip.noise, "room": clip.room, "text": clip.text or Path(clip.prompt).stem}  # fmt: skip
    harmless = {"harmless": ["it runs"]} if clip.kind == "near proof" else {}
    return json.dumps({"audio": path.name, "listen_for": clip.listen_for, "expect": clip.expect, **harmless, "tags": tags})


def build(
    out: Path, split: str, clips: int, seed: int = 1, jobs: int = 2, only: str = "", voices: str = "made"
) -> Path:
    """Make the clips of a split; returns the manifest's path. Clips that are there already are kept."""
    folder = out / split
    folder.mkdir(parents=True, exist_ok=True)
    planned = plan(split, clips, seed, only, voices)
    (folder / "plan.json").write_text(json.dumps([asdict(clip) for clip in planned[:3]], indent=1))
    with ProcessPoolExecutor(jobs) as pool:
        lines = list(pool.map(_write, [(folder, clip) for clip in planned], chunksize=16))
    manifest = folder / "manifest.jsonl"
    manifest.write_text("\n".join(lines) + "\n")
    return manifest


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--split", choices=("fit", "held"), required=True)
    parser.add_argument("--clips", type=int, default=2400)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--only", choices=(*SHARES, *BY_NAME), default="")
    parser.add_argument("--voices", choices=("made", "neural"), default="made")
    asked = parser.parse_args()
    print(build(asked.out, asked.split, asked.clips, asked.seed, asked.jobs, asked.only, asked.voices))
