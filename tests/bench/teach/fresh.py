# ruff: noqa: E501  tables of texts
"""Clips to fit the weighing of witnesses on: words drawn from a whole dictionary, so that nothing fitted is about the
trade's own.

    python -m tests.bench.teach.fresh --out FOLDER --clips 8000 --seed 1

Answers are one to three words that people say, drawn at random, two to six in force; numbers are said in every way the
language has. What must not be taken is there class by class (the clip's kind): words one or more sounds beside an answer,
any other word, numbers where none is asked for, words like a command, what takes an answer back, near misses of a gate and
of a proof by meaning, talk. Voices, noises and rooms are those set apart for fitting: none of them teaches or judges.
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
from handsfree.language.phonetics import nearest, similarity
from tests.bench import corpus_texts as texts
from tests.bench import neural_voices
from tests.bench.corpus import LEVELS, Clip, _words, _write

Said = tuple[str, dict[str, Any], dict[str, Any] | None]

#: None of these teaches the phonetic witness (tests/bench/teach/teach_texts.py).
MADE = (
    "slt", "slt-low", "slt-high", "rms", "rms-low", "rms-high", "awb", "awb-low", "awb-high", "slt", "rms", "awb",
)  # fmt: skip
ACCENTS = ("en-gb", "en-gb", "en-gb-scotland", "en-gb-x-rp", "en-gb-x-gbcwmd")  # eSpeak NG's
VARIANTS = ("m1", "m2", "m3", "m4", "m5", "m6", "m7", "m8", "f1", "f2", "f3", "f4", "f5")
NOISES = ("compressor", "babble", "pink", "hum")
ROOMS = (0.0, 0.0, 0.0, 0.2, 0.45)
#: By kind. The likelier something is to be said, the more of it, but for what hurts when it is taken: more of that.
SHARES = {
    "choice": 0.2, "command": 0.05, "reading": 0.19, "digits": 0.04, "gate": 0.09, "near": 0.12, "denied": 0.04, "word": 0.05,
    "beside": 0.07, "number": 0.015, "trap": 0.025, "unrelated": 0.04, "proof": 0.025, "near proof": 0.045,
}  # fmt: skip
UNITS = ("degF", "degF", "degC", "volt", "ohm", "psi", "ampere", "kilopascal", "percent", "microfarad", "")


def plan(clips: int, seed: int) -> list[Clip]:
    """The same for the same arguments."""
    luck = random.Random(f"fresh {seed}")
    out = []
    for kind, share in SHARES.items():
        for number in range(round(clips * share)):
            text, listen_for, expect = SAY[kind](luck)
            out.append(Clip(
                name=f"{kind.replace(' ', '-')}-{seed}-{number:05d}", text=text, voice=_voice(luck), rate=luck.choice((0.85, 1.0, 1.0, 1.15, 1.3)),
                snr=LEVELS[number % 4], noise=luck.choice(NOISES), room=luck.choice(ROOMS), gain=luck.uniform(0.08, 0.9),
                lead=luck.uniform(0.1, 0.7), tail=luck.uniform(0.2, 0.8), seed=luck.randrange(1 << 30), listen_for=listen_for,
                expect=expect, kind=kind,
            ))  # fmt: skip
    return out


def _voice(luck: random.Random) -> str:
    kind = luck.random()
    if kind < 0.45:
        return luck.choice(MADE)
    if kind < 0.85:
        return f"espeak:{luck.choice(ACCENTS)}+{luck.choice(VARIANTS)}"
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
    return phrase, {"phrases": phrases, **_also(luck), "commands": True}, {"phrase": phrase}


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


#: What may never open a gate, by what it means. {r}: the right number, {w}: another.
NEAR = {
    "denied": ("not isolated lock {r}", "it is not isolated lock {r}", "isn't isolated lock {r}", "never isolated lock {r}",
               "I have not isolated lock {r}", "isolated not lock {r}", "no longer isolated lock {r}", "isolated lock {r} no"),
    "asked": ("is it isolated lock {r}", "is isolated lock {r}", "was it isolated lock {r}", "should I say isolated lock {r}"),
    "conditional": ("if isolated lock {r}", "unless isolated lock {r}", "in case it is isolated lock {r}"),
    "later": ("when isolated lock {r}", "once it is isolated lock {r}", "isolated lock {r} in a minute", "isolated lock {r} later",
              "soon isolated lock {r}"),
    "reported": ("he said isolated lock {r}", "she says isolated lock {r}", "they told me isolated lock {r}"),
    "unsure": ("isolated lock {r} I think", "I think isolated lock {r}", "nearly isolated lock {r}", "maybe isolated lock {r}"),
    "undone": ("un isolated lock {r}", "de-isolated lock {r}", "isolated unlock {r}", "re-energised lock {r}"),
    "number": ("isolated lock {w}",),
    "half": ("isolated", "isolated lock", "lock {r}", "isolated {r}", "{r}"),
    "other word": ("insulated lock {r}", "isolate lock {r}", "isolating lock {r}", "isolation lock {r}", "energised lock {r}",
                   "located lock {r}", "clear lock {r}", "escalated lock {r}", "violated lock {r}", "located block {r}"),
}  # fmt: skip


def _near(luck: random.Random) -> Said:
    """Of each class as much as of another, of other numbers three times as much."""
    lock = texts.lock(luck)
    means = luck.choice((*NEAR, "number", "number"))
    said = luck.choice(NEAR[means]).format(r=" ".join(lock), w=texts._wrong(lock, luck))
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
        {"phrases": phrases, **_also(luck), "commands": True},
        None,
    )


def _beside(luck: random.Random) -> Said:
    """One or more sounds beside one of the answers: one word of it another."""
    while True:
        phrases = _phrases(luck)
        words = luck.choice(phrases).split()
        at = luck.randrange(len(words))
        near = [word for word in nearest(words[at], luck.choice((3, 8, 20))) if word not in " ".join(phrases).split()]
        if near:
            said = " ".join([*words[:at], luck.choice(near), *words[at + 1 :]])
            return said, {"phrases": phrases, **_also(luck), "commands": True}, None


def _other_number(luck: random.Random) -> Said:
    return _number(luck)[1], {"phrases": _phrases(luck), "commands": True}, None


def _also(luck: random.Random) -> dict[str, Any]:
    """Now and then the commands of a question of its own are in force, too."""
    return {"also": list(luck.sample(("yes", "no", "done", "cannot tell", "not fitted"), luck.randint(1, 3)))} if luck.random() < 0.3 else {}


def _trap(luck: random.Random) -> Said:
    """A word beside one of a command, 'yes' and 'no' among them."""
    also = ["yes", "no", "done", "affirm"]
    ways = [way for name, some in load("en").commands.items() if name in also or luck.random() < 0.5 for way in some]
    words = luck.choice([*ways, "yes", "no", "affirm", "negative", "done", "note", "why", "stop", "next"]).split()
    at = luck.randrange(len(words))
    near = [word for word in nearest(words[at], luck.choice((3, 8))) if all(word not in way.split() for way in ways)]
    if not near:
        return _trap(luck)
    said = " ".join([*words[:at], luck.choice(near), *words[at + 1 :]])
    return said, {**_any(luck), "also": ["yes", "no", "done"], "commands": True}, None


def _unrelated(luck: random.Random) -> Said:
    kind = luck.random()
    said = luck.choice(texts.UNRELATED) if kind < 0.5 else " ".join(luck.sample(_words(), luck.randint(3, 9)))
    return said, {**_any(luck), "commands": True}, None


def _proofs(luck: random.Random) -> tuple[str, ...]:
    return luck.choice((("nothing runs", "it runs"), ("nothing runs", "something runs"), tuple(_phrases(luck)), tuple(_phrases(luck))))


def _proof(luck: random.Random) -> Said:
    if luck.random() < 0.25:
        value, said = texts.dead_volts(luck)
        return said, {"number": {"unit": "volt"}, "commands": True, "proof": True}, {"number": value}
    phrases = _proofs(luck)
    phrase = phrases[0] if luck.random() < 0.7 else luck.choice(phrases)
    return phrase, {"phrases": list(phrases), "commands": True, "proof": True}, {"phrase": phrase}


#: What must never be taken for proof, by what it means.
NEAR_PROOF = {
    "denied": ("not {p}", "it is not {p}", "{p} no", "it isn't {p}", "never {p}"),
    "asked": ("is it {p}", "does {p}", "could it be {p}"), "conditional": ("if {p}", "unless {p}", "in case {p}"),
    "later": ("{p} soon", "when {p}", "{p} in a minute", "{p} tomorrow"), "reported": ("he said {p}", "she told me {p}"),
    "unsure": ("{p} I think", "maybe {p}", "almost {p}", "I guess {p}"), "but": ("{p} but {x}", "{p} except {x}", "{x} or {p}"),
    "half": ("{first}", "{last}", "{first} {x}", "{x} {last}"), "other word": ("{o}", "{o}", "{o}"),
}  # fmt: skip


def _near_proof(luck: random.Random) -> Said:
    phrases = [phrase for phrase in _proofs(luck) if not phrase.startswith("not ")]
    words = phrases[0].split()
    means = luck.choice(tuple(NEAR_PROOF))
    if means == "half" and len(words) == 1:
        means = "other word"
    at = luck.randrange(len(words))
    near = [word for word in nearest(words[at], 12) if word not in " ".join(phrases).split()] or ["nobody"]
    said = luck.choice(NEAR_PROOF[means]).format(
        p=phrases[0], x=luck.choice(_words()), first=words[0], last=words[-1],
        o=" ".join([*words[:at], luck.choice(near), *words[at + 1 :]]),
    )  # fmt: skip
    return (said, {"phrases": phrases, "commands": True, "proof": True}, None) if said not in phrases else _near_proof(luck)


SAY: dict[str, Callable[[random.Random], Said]] = {
    "choice": _choice, "command": _command, "reading": _reading, "digits": _digits, "gate": _gate, "near": _near, "denied": _denied,
    "word": _word, "unrelated": _unrelated, "proof": _proof, "near proof": _near_proof, "beside": _beside, "number": _other_number,
    "trap": _trap,
}  # fmt: skip


def asks_number(clip: Clip) -> bool:
    """A reading or a lock number is asked for there, whatever is said."""
    return "number" in clip.listen_for or "digits" in clip.listen_for


def build(out: Path, clips: int, seed: int, jobs: int = 1, numbers: bool = False) -> Path:
    """Make the clips; returns the manifest's path. Clips that are there already are kept. `numbers`: only those where a
    reading or a lock number is asked for."""
    out.mkdir(parents=True, exist_ok=True)
    planned = [clip for clip in plan(clips, seed) if asks_number(clip) or not numbers]
    with ProcessPoolExecutor(jobs) as pool:
        lines = list(pool.map(_write, [(out, clip) for clip in planned], chunksize=8))
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
