# ruff: noqa: E501  tables of texts
"""Clips to fit the weighing of witnesses on: words drawn from a whole dictionary, so that nothing fitted is about the
trade's own.

    python -m tests.bench.fresh --out FOLDER --clips 2400 --seed 1

Answers are one to three words that people say, drawn at random, two to six in force; numbers are said in every way the
language has; gates have their rivals by meaning beside them. Voices, noises and rooms are those set apart for fitting: none
of them judges.
"""

from __future__ import annotations

import argparse
import functools
import json
import random
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

from handsfree.language.base import load
from handsfree.language.phonetics import similarity
from tests.bench import corpus_texts as texts
from tests.bench import neural_voices
from tests.bench.corpus import LEVELS, Clip, _words, _write

Said = tuple[str, dict[str, Any], dict[str, Any] | None]

MADE = (
    "slt", "slt-low", "slt-high", "rms", "rms-low", "rms-high", "awb", "awb-low", "awb-high", "kal16", "kal16-low",
    "espeak-us", "espeak-gb", "espeak-rp", "espeak-scotland", "espeak-caribbean", "espeak-us-m", "espeak-gb-f",
    "pico-us", "pico-us-low", "pico-gb", "pico-gb-low", "joe", "joe-high", "joe", "joe-high",
)  # fmt: skip
NOISES = ("compressor", "babble", "pink", "hum")
ROOMS = (0.0, 0.0, 0.0, 0.2, 0.45)
SHARES = {"choice": 0.24, "command": 0.07, "reading": 0.24, "digits": 0.06, "gate": 0.1, "near": 0.1, "denied": 0.06,
          "word": 0.05, "unrelated": 0.05, "proof": 0.03}  # fmt: skip
UNITS = ("degF", "degF", "degC", "volt", "ohm", "psi", "ampere", "kilopascal", "percent", "microfarad", "")


def plan(clips: int, seed: int) -> list[Clip]:
    """The same for the same arguments."""
    luck = random.Random(f"fresh {seed}")
    out = []
    for kind, share in SHARES.items():
        for number in range(round(clips * share)):
            text, listen_for, expect = SAY[kind](luck)
            out.append(Clip(
                name=f"{kind}-{seed}-{number:05d}", text=text, voice=_voice(luck), rate=luck.choice((0.85, 1.0, 1.0, 1.15, 1.3)),
                snr=LEVELS[number % 4], noise=luck.choice(NOISES), room=luck.choice(ROOMS), gain=luck.uniform(0.08, 0.9),
                lead=luck.uniform(0.1, 0.7), tail=luck.uniform(0.2, 0.8), seed=luck.randrange(1 << 30), listen_for=listen_for,
                expect=expect, kind=kind,
            ))  # fmt: skip
    return out


def _voice(luck: random.Random) -> str:
    kind = luck.random()
    if kind < 0.4:
        return luck.choice(MADE)
    if kind < 0.55:
        return neural_voices.teaching(luck)
    names = luck.sample(neural_voices.VOICES["fit"], luck.choice((1, 1, 2)))
    return "+".join(names) + (f"@{luck.choice(neural_voices.ACCENTS)}" if luck.random() < 0.4 else "")


def _phrase(luck: random.Random) -> str:
    return " ".join(luck.sample(_words(), luck.choices((1, 2, 3), (0.6, 0.3, 0.1))[0]))


def _phrases(luck: random.Random) -> list[str]:
    if luck.random() < 0.25:
        return list(luck.choice(texts.CHOICES))
    chosen: list[str] = []
    for _ in range(luck.randint(2, 6)):
        phrase = _phrase(luck)
        if all(similarity(phrase, other) < 0.75 for other in chosen):
            chosen.append(phrase)
    return chosen


def _choice(luck: random.Random) -> Said:
    phrases = _phrases(luck)
    phrase = luck.choice(phrases)
    return phrase, {"phrases": phrases, "commands": True}, {"phrase": phrase}


def _command(luck: random.Random) -> Said:
    name = luck.choice(tuple(load("en").commands))
    return luck.choice(load("en").commands[name][:2]), {**_any(luck), "commands": True}, {"command": name}


def _any(luck: random.Random) -> dict[str, Any]:
    return luck.choice((
        {"phrases": _phrases(luck)}, {"phrases": _phrases(luck)}, {"number": {"unit": luck.choice(UNITS)}}, {"gate": {"lock": texts.lock(luck)}},
    ))  # fmt: skip


@functools.cache
def _ways(value: float, unit: str) -> tuple[str, ...]:
    return load("en").spoken_forms(value, unit)


def _number(luck: random.Random) -> tuple[float, str, str]:
    unit = luck.choice(UNITS)
    whole = luck.choice(
        (
            luck.randrange(0, 20),
            luck.randrange(10, 100),
            luck.randrange(13, 91),
            luck.randrange(100, 1000),
            luck.randrange(100, 1000),
        )
    )
    value = round(
        whole + luck.choice((0, 0, 0, luck.randrange(10) / 10, luck.randrange(10) / 10, luck.randrange(100) / 100)), 2
    )
    if luck.random() < 0.03:
        value = float(luck.randrange(1000, 9999))
    if unit in ("degF", "degC") and luck.random() < 0.2:
        value = -min(value, 99.5)
    ways = [way for way in _ways(value, unit) if not {"double", "niner", "half", "quarter", "quarters"} & set(way.split())]
    if luck.random() < 0.08:
        ways = list(_ways(value, unit))
    return value, luck.choice(ways), unit


def _reading(luck: random.Random) -> Said:
    value, said, unit = _number(luck)
    return said, {"number": {"unit": unit}, "commands": True}, {"number": value}


def _digits(luck: random.Random) -> Said:
    lock = texts.lock(luck)
    said = " ".join("oh" if digit == "zero" and luck.random() < 0.4 else digit for digit in lock)
    return said, {"digits": [2, 4], "commands": []}, {"digits": " ".join(lock)}


def _gate(luck: random.Random) -> Said:
    lock = texts.lock(luck)
    said = " ".join("oh" if digit == "zero" and luck.random() < 0.4 else digit for digit in lock)
    return f"isolated{luck.choice((',', ''))} lock {said}", {"gate": {"lock": lock}, "commands": True}, {"gate": True}


def _near(luck: random.Random) -> Said:
    """Denied, asked, conditional, later, reported, undone, another number, half, another word for isolated."""
    lock = texts.lock(luck)
    right = " ".join(lock)
    wrong = texts._wrong(lock, luck)
    said = luck.choice((
        f"not isolated lock {right}", f"it is not isolated lock {right}", f"isn't isolated lock {right}", f"never isolated lock {right}",
        f"is it isolated lock {right}", f"is isolated lock {right}", f"was it isolated lock {right}", f"if isolated lock {right}",
        f"when isolated lock {right}", f"once it is isolated lock {right}", f"unless isolated lock {right}", f"un isolated lock {right}",
        f"de-isolated lock {right}", f"no longer isolated lock {right}", f"he said isolated lock {right}", f"she says isolated lock {right}",
        f"isolated lock {right} in a minute", f"isolated lock {right} later", f"isolated lock {right} I think", f"I think isolated lock {right}",
        f"nearly isolated lock {right}", f"almost isolated lock {right}", f"isolated lock {right} no", f"isolated unlock {right}",
        f"isolated lock {wrong}", f"isolated lock {wrong}", f"isolated lock {wrong}", f"isolated lock {wrong}", f"isolated lock {wrong}",
        f"isolated lock {wrong}", f"isolated lock {wrong}", "isolated", "isolated lock", f"lock {right}", f"isolated {right}", right,
        f"insulated lock {right}", f"isolate lock {right}", f"isolating lock {right}", f"isolation lock {right}", f"energised lock {right}",
        f"located lock {right}", f"clear lock {right}", f"I have not isolated lock {right}", f"should I say isolated lock {right}",
    ))  # fmt: skip
    return said, {"gate": {"lock": lock}, "commands": True}, None


def _denied(luck: random.Random) -> Said:
    if luck.random() < 0.4:
        _, said, unit = _number(luck)
        return texts.denied(said, luck), {"number": {"unit": unit}, "commands": True}, None
    phrases = [phrase for phrase in _phrases(luck) if not phrase.startswith("not ")]
    return texts.denied(luck.choice(phrases), luck), {"phrases": phrases, "commands": True}, None


def _word(luck: random.Random) -> Said:
    phrases = _phrases(luck)
    inside = " ".join(phrases).split()
    return (
        luck.choice([word for word in luck.sample(_words(), 20) if word not in inside]),
        {"phrases": phrases, "commands": True},
        None,
    )


def _unrelated(luck: random.Random) -> Said:
    kind = luck.random()
    said = luck.choice(texts.UNRELATED) if kind < 0.5 else " ".join(luck.sample(_words(), luck.randint(3, 9)))
    return said, {**_any(luck), "commands": True}, None


def _proof(luck: random.Random) -> Said:
    phrases = luck.choice((("nothing runs", "it runs"), ("nothing runs", "something runs"), tuple(_phrases(luck))))
    phrase = luck.choice(phrases)
    if luck.random() < 0.6:
        return phrase, {"phrases": list(phrases), "commands": True, "proof": True}, {"phrase": phrase}
    return texts.denied(phrase, luck), {"phrases": list(phrases), "commands": True, "proof": True}, None


SAY: dict[str, Callable[[random.Random], Said]] = {
    "choice": _choice, "command": _command, "reading": _reading, "digits": _digits, "gate": _gate, "near": _near, "denied": _denied,
    "word": _word, "unrelated": _unrelated, "proof": _proof,
}  # fmt: skip


def build(out: Path, clips: int, seed: int, jobs: int = 1) -> Path:
    """Make the clips; returns the manifest's path. Clips that are there already are kept."""
    out.mkdir(parents=True, exist_ok=True)
    with ProcessPoolExecutor(jobs) as pool:
        lines = list(pool.map(_write, [(out, clip) for clip in plan(clips, seed)], chunksize=8))
    for line in lines:
        json.loads(line)
    manifest = out / "manifest.jsonl"
    manifest.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return manifest


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--clips", type=int, default=2400)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    asked = parser.parse_args()
    print(build(asked.out, asked.clips, asked.seed, asked.jobs))
