# ruff: noqa: E501  tables of texts
"""Clips of gates and proofs to fit and choose on: the phrase in every way it may be said, and what must never pass for it,
each meaning by itself; by voices and in noises that judge nothing.

    python -m tests.bench.teach.gates --out FOLDER --each 40 --seed 1 [--proofs] [--jobs 2]

`--each`: how many sentences of each class of near miss, three times as many of the phrase. The sentences are made alone;
`wet` puts them in noise where they are heard, in quiet and at 20, 10, 5 dB. They are not those of gate_phrases, which judge.
"""

from __future__ import annotations

import argparse
import json
import random
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from audio_fixtures import voices as made
from handsfree.language.base import load
from handsfree.language.meaning import GateAsked, Listening
from handsfree.language.phonetics import nearest
from tests.bench.corpus import RATE, _mixed, noise
from tests.bench.corpus_texts import DIGITS, _below_hundred
from tests.bench.teach import gate_voices

LEVELS: tuple[float | None, ...] = (None, 20.0, 10.0, 5.0)
NOISES = ("compressor", "babble", "pink", "hum")
ROOMS = (0.0, 0.0, 0.0, 0.2, 0.45)
#: What may never open a gate, by what it means. {r}: the right number, {w}: another, {m}: one with a figure more or less,
#: {h}: a part of it, {d}: a figure. `listed` of the witness's own denials some are and some are not.
NEAR: Mapping[str, tuple[str, ...]] = {
    "denied": (
        "not isolated lock {r}", "it is not isolated, lock {r}", "isn't isolated, lock {r}", "never isolated lock {r}", "isolated, not lock {r}",
        "I have not isolated lock {r}", "isolated, lock {r}, no", "non isolated, lock {r}", "it's still not isolated, lock {r}", "isolated, lock {r}, wrong",
        "hardly isolated, lock {r}", "we haven't isolated lock {r}", "isolated, lock not {r}", "neither isolated, lock {r}", "isolated, lock {r}, cancel that",
    ),
    "asked": (
        "is it isolated, lock {r}", "is isolated lock {r}", "was it isolated, lock {r}", "should I say isolated, lock {r}", "who isolated it, lock {r}",
        "did he isolate lock {r}", "isolated, lock {r}, yes or no", "are you isolated, lock {r}", "how isolated, lock {r}", "why isolated, lock {r}",
        "isolated, lock {r}, okay", "do you mean isolated, lock {r}", "which isolated, lock {r}",
    ),
    "conditional": (
        "if isolated, lock {r}", "unless it's isolated, lock {r}", "in case it is isolated, lock {r}", "only if isolated, lock {r}", "after it is isolated, lock {r}",
        "isolated, lock {r}, if he comes", "assuming isolated, lock {r}", "isolated, lock {r}, unless it trips", "until isolated, lock {r}",
    ),
    "later": (
        "isolated, lock {r}, in an hour", "isolated, lock {r}, later", "soon to be isolated, lock {r}", "I'll have it isolated, lock {r}",
        "isolated next, lock {r}", "almost isolated, lock {r}", "isolated, lock {r}, next week", "must be isolated, lock {r}", "half isolated, lock {r}",
    ),
    "reported": (
        "she says isolated, lock {r}", "the label says isolated, lock {r}", "somebody said isolated, lock {r}", "isolated, lock {r}, she said",
        "my boss wants it isolated, lock {r}", "it reads isolated, lock {r}", "we call it isolated, lock {r}", "say isolated, lock {r}", "read isolated, lock {r}",
    ),
    "unsure": (
        "isolated, lock {r}, I think", "maybe isolated, lock {r}", "perhaps isolated, lock {r}", "isolated, lock {r}, probably", "I guess isolated, lock {r}",
        "isolated, lock {r}, more or less", "sort of isolated, lock {r}",
    ),
    "undone": (
        "de-isolated, lock {r}", "isolated, unlock {r}", "un-isolated, lock {r}", "isolated, lock {r}, removed", "isolated, lock {r}, until he took it away", "used to be isolated, lock {r}",
        "isolated, lock {r} is open", "isolated, lock {r} fell off", "isolated yesterday, lock {r}", "isolated, lost lock {r}",
    ),
    "another number": ("isolated, lock {w}",) * 4 + ("isolated, log {w}", "isolated, lock number {w}"),
    "a figure more or less": ("isolated, lock {m}",) * 3 + ("isolated, lock {d} {r}",),
    "half": ("isolated", "isolated, lock", "lock {r}", "{r}", "isolated {r}", "isolated, lock {h}", "isolated, {h}", "isola lock {r}", "lated lock {r}"),
    "another word": (
        "insulated, lock {r}", "isolate lock {r}", "isolating, lock {r}", "isolation, lock {r}", "energised, lock {r}", "clear, lock {r}", "related, lock {r}",
        "escalated, lock {r}", "inflated, lock {r}", "regulated, lock {r}", "installed it, lock {r}", "it's late, lock {r}", "I saw it, lock {r}", "islander lock {r}",
        "I salted lock {r}", "eyes related, lock {r}", "ventilated, lock {r}", "updated, lock {r}", "desolated, lock {r}", "operated, lock {r}", "created, lock {r}",
    ),
    "a word before": (
        "who isolated, lock {r}", "was isolated, lock {r}", "if isolated, lock {r}", "not isolated, lock {r}", "how isolated, lock {r}", "is isolated, lock {r}",
        "when isolated, lock {r}", "why isolated, lock {r}", "now isolated, lock {r}", "once isolated, lock {r}", "you isolated, lock {r}", "he isolated, lock {r}",
        "we isolated, lock {r}", "she isolated, lock {r}", "they isolated, lock {r}", "till isolated, lock {r}", "say isolated, lock {r}", "no isolated, lock {r}",
    ),
    "unrelated": (
        "could you hold the lamp a bit higher", "is that your lunch on the shelf", "the bus leaves at twenty past", "I saw eight of them by the door", "take the ladder round the back",
        "it's late and I locked the store", "we sold it to a school in June", "I ate it at four", "my badge is {r}", "room {r} is down the hall", "call extension {r}",
    ),
}  # fmt: skip
#: The phrase as other accents have it: the same meaning.
ACCENTS = ("isolated, log {n}", "isolated, luck {n}", "isolated, block {n}", "isolated, look {n}", "isolated, lack {n}", "isolated, lark {n}")


#: Wordings of the answer that a try found dead works; the first is today's.
WORDINGS = (
    "nothing runs", "nothing runs at all", "nothing runs, nothing lights", "dark and silent", "everything stays dark", "stone dead",
)
#: What may never be taken for such a proof. {p}: the answer, {a}, {b}: its first and last word, {o}: one word of it another.
NEAR_PROOF: Mapping[str, tuple[str, ...]] = {
    "denied": ("not {p}", "{p}, no", "it isn't {p}", "never {p}", "I can't say {p}", "{p}, wrong"),
    "asked": ("is it {p}", "{p}, or not", "do I say {p}", "could it be {p}", "why {p}"),
    "conditional": ("if {p}", "unless {p}", "only when {p}", "{p}, if I am right"),
    "later": ("{p} in a moment", "soon {p}", "{p} tomorrow", "then {p}"),
    "reported": ("she says {p}", "the label says {p}", "{p}, he told me"),
    "unsure": ("{p}, I think", "maybe {p}", "almost {p}", "I guess {p}"),
    "but": ("{p} but the fan", "{p} except the lamp", "{p} now and then", "{p} but something hums"),
    "half": ("{a}", "{b}", "{a} {a}"),
    "another word": ("{o}",) * 3,
    "live": ("something runs", "it still runs", "the fan runs", "everything runs", "one lamp is lit"),
}


@dataclass(frozen=True)
class Clip:
    name: str
    kind: str  # gate, accent, near
    means: str
    text: str
    voice: str
    rate: float
    lock: tuple[str, ...]
    noise: str
    room: float
    gain: float
    seed: int
    expect: dict[str, Any] | None
    phrases: tuple[str, ...] = ()  # where it is a proof

    @property
    def listening(self) -> Listening:
        if self.phrases:
            return Listening(phrases=self.phrases, proof=True)
        return Listening(gate=GateAsked("isolated", self.lock))


def number(luck: random.Random) -> tuple[str, ...]:
    return tuple(luck.choices(DIGITS, k=luck.choice((2, 2, 3, 4))))


def as_said(lock: Sequence[str], luck: random.Random) -> str:
    """In one of the ways that mean it: figure by figure, 'oh', doubled."""
    gate = Listening(gate=GateAsked("isolated", tuple(lock)))
    ways = [form.removeprefix("isolated lock ") for form in load("en").forms(gate) if form.startswith("isolated lock ")]
    return luck.choice(ways) if luck.random() < 0.5 else ways[0]


def _filled(pattern: str, lock: Sequence[str], luck: random.Random) -> str:
    at = luck.randrange(len(lock))
    other = [*lock[:at], luck.choice([d for d in DIGITS if d != lock[at]]), *lock[at + 1 :]]
    if luck.random() < 0.2 and len(set(lock)) > 1:
        other = list(lock)
        while other == list(lock):
            luck.shuffle(other)
    if luck.random() < 0.1 and len(lock) == 2 and lock[0] != "zero":  # said in tens, and another
        other = _below_hundred((DIGITS.index(lock[0]) * 10 + DIGITS.index(lock[1]) + luck.choice((1, 10, 40))) % 100).split()
    more = [*lock[:at], luck.choice((lock[at], luck.choice(DIGITS))), *lock[at:]] if luck.random() < 0.5 or len(lock) < 3 else [*lock[:at], *lock[at + 1 :]]
    parts = {"{r}": as_said(lock, luck), "{n}": as_said(lock, luck), "{w}": " ".join(other), "{m}": " ".join(more), "{h}": " ".join(lock[:-1]), "{d}": luck.choice(DIGITS)}
    for sign, said in parts.items():
        pattern = pattern.replace(sign, said)
    return pattern


def plan(each: int, seed: int, voices: Sequence[str] = gate_voices.ALL) -> list[Clip]:
    """The same for the same arguments; the first of many are the same as few."""
    out = []
    sorts = [("gate", "the phrase", ("isolated, lock {n}", "isolated lock {n}"), 3.0), ("accent", "the phrase in another accent", ACCENTS, 0.5)]
    sorts += [("near", means, patterns, 1.0) for means, patterns in NEAR.items()]
    for kind, means, patterns, share in sorts:
        for at in range(round(each * share)):
            luck = random.Random(f"gates {seed} {means} {at}")
            lock = number(luck)
            out.append(Clip(
                f"{means.replace(' ', '-')}-{seed}-{at:04d}", kind, means, _filled(patterns[at % len(patterns)], lock, luck), _voice(luck, voices),
                luck.choice((0.85, 1.0, 1.0, 1.15, 1.3)), lock, luck.choice(NOISES), luck.choice(ROOMS), luck.uniform(0.08, 0.9), luck.randrange(1 << 30),
                {"gate": True} if kind != "near" else None,
            ))  # fmt: skip
    return out


def proofs(each: int, seed: int, voices: Sequence[str] = gate_voices.ALL, wordings: Sequence[str] = WORDINGS) -> list[Clip]:
    """Each wording `each` times itself and twice as often something else, by the same voices in the same noise."""
    out = []
    for place, wording in enumerate(wordings):
        for at in range(3 * each):
            luck = random.Random(f"proofs {seed} {at}")
            means = "the proof" if at % 3 == 0 else luck.choice(tuple(NEAR_PROOF))
            words = wording.replace(",", "").split()
            odd = luck.randrange(len(words))
            other = luck.choice([near for near in nearest(words[odd], 12) if near not in words] or ["nobody"])
            pattern = "{p}" if means == "the proof" else luck.choice(NEAR_PROOF[means])
            said = pattern.format(p=wording, a=words[0], b=words[-1], o=" ".join([*words[:odd], other, *words[odd + 1 :]]))
            if means == "half" and len(words) > 3 and luck.random() < 0.5:
                said = " ".join(words[:2])
            out.append(Clip(
                f"proof-{place}-{seed}-{at:04d}", "proves" if at % 3 == 0 else "proof", means, said, _voice(luck, voices),
                luck.choice((0.85, 1.0, 1.0, 1.15, 1.3)), (), luck.choice(NOISES), luck.choice(ROOMS), luck.uniform(0.08, 0.9),
                luck.randrange(1 << 30), {"phrase": wording} if at % 3 == 0 else None, (wording, "it runs"),
            ))  # fmt: skip
    return out


def _voice(luck: random.Random, voices: Sequence[str]) -> str:
    """Each family as often as another."""
    kinds: dict[str, list[str]] = {}
    for voice in voices:
        kinds.setdefault(gate_voices.family(voice), []).append(voice)
    return luck.choice(kinds[luck.choice(sorted(kinds))])


def dry(clip: Clip) -> made.Samples:
    speech = gate_voices.speak(clip.text, clip.voice, clip.rate)
    loud = np.flatnonzero(np.abs(speech) > 0.005)
    return speech[max(0, loud[0] - 160) : loud[-1] + 1600] if len(loud) else speech


def wet(speech: made.Samples, clip: Clip, snr: float | None) -> made.Samples:
    """In its room, with silence around it, in noise."""
    if clip.room:
        speech = made.room(speech, clip.room, clip.seed % 1000)
    luck = random.Random(clip.seed)
    speech = np.concatenate([made.silence(luck.uniform(0.1, 0.7)), speech, made.silence(luck.uniform(0.3, 0.8))])
    speech = speech * np.float32(clip.gain / max(float(np.abs(speech).max()), 1e-6))
    if snr is None:
        return np.asarray(speech, np.float32)
    return _mixed(speech, noise(clip.noise, len(speech) / RATE + 0.1, clip.seed % 100_000)[: len(speech)], snr)


def _write(job: tuple[Path, Clip]) -> None:
    folder, clip = job
    path = folder / f"{clip.name}.flac"
    if not path.exists():
        soundfile.write(path, dry(clip), RATE)


def build(folder: Path, clips: Sequence[Clip], jobs: int = 1) -> None:
    """The sentences without noise, and the list of them. Those that are there already are kept."""
    folder.mkdir(parents=True, exist_ok=True)
    with ProcessPoolExecutor(jobs) as pool:
        list(pool.map(_write, [(folder, clip) for clip in clips], chunksize=16))
    (folder / "clips.jsonl").write_text("".join(json.dumps(asdict(clip)) + "\n" for clip in clips), encoding="utf-8")


def read(folder: Path) -> Iterator[Clip]:
    for line in (folder / "clips.jsonl").read_text(encoding="utf-8").splitlines():
        clip = Clip(**json.loads(line))
        yield replace(clip, lock=tuple(clip.lock), phrases=tuple(clip.phrases))


def sound(folder: Path, clip: Clip, snr: float | None) -> made.Samples:
    return wet(np.asarray(soundfile.read(folder / f"{clip.name}.flac", dtype="float32")[0]), clip, snr)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--each", type=int, default=40)
    parser.add_argument("--proofs", action="store_true", help="answers that prove dead works, in place of gates")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    asked = parser.parse_args()
    build(asked.out, (proofs if asked.proofs else plan)(asked.each, asked.seed), asked.jobs)
