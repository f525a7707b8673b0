"""At the gate, and where dead works are to be proved: what must never pass, each meaning by itself, and the phrase itself.

    python -m tests.bench.near [--each 12] [--gates 60] [--only KIND] [--seed 1] [--minutes 30] [--json] [--out FILE]
                               [--show]

`--each`: sentences of each class at each level; `--gates`: right phrases at each level, spread over the voices. What was
not taken is said again: near misses, too, for two sayings add up. `--minutes`: stop then, with as much of every class. The
first of many are the same as few, and none is heard twice (`evidence`), so more may be asked for later. Voices are those of
unlike_voices, clean, at 20, 10, 5 dB.
"""

from __future__ import annotations

import argparse
import itertools
import random
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from handsfree.errors import Trouble
from handsfree.language.meaning import GateAsked, Heard, Listening, NumberAsked, Sense, Verdict
from tests.bench.gate_phrases import ACCENTS, AFFIRMS, DENIES, NEAR, NOT_AFFIRMED, PROOFS, PROVES, filled, lock
from tests.bench.hearers import Hears, recogniser
from tests.bench.unlike_voices import LEVELS, NOISES, OWN, level, names


@dataclass(frozen=True)
class Said:
    """`kind`: gate, accent, near (a gate's), proof (that must not be), proves, affirms, denies or not affirmed; `means`: of
    what class."""

    kind: str
    means: str
    snr: float | None
    text: str
    voice: str
    listening: Listening
    seed: int


def plan(voices: Sequence[str], each: int, gates: int, seed: int) -> Iterator[list[Said]]:
    """In rounds: one of every class at every level, and as many gates as make up `gates` in the end. The same for the same
    arguments, the first rounds of many the same as few, and the same sentences at every level."""
    rounds = max(each, 1)
    for at in range(rounds):
        some = range(at * gates // rounds, (at + 1) * gates // rounds)
        drafts = [
            *(_classes(at, seed) if each else ()),
            *(("gate", "the phrase", "isolated, lock {n}", one) for one in some),
        ]
        yield [_said(draft, snr, voices, seed) for draft in drafts for snr in LEVELS]


_TABLES = {
    "accent": {"the phrase in another accent": ACCENTS}, "proves": {"the proof": PROVES[:1]}, "near": NEAR, "proof": PROOFS,
    "affirms": AFFIRMS, "denies": DENIES, "not affirmed": NOT_AFFIRMED,
}  # fmt: skip
#: Of the tester; of a reading that was read back; of a switch that is off again.
_AFFIRMED = (
    Listening(also=("affirm", "negative"), proof=True),
    Listening(number=NumberAsked("volt", 0.0, 1000.0), also=("affirm", "negative"), proof=True),
    Listening(phrases=PROVES[1:], also=("affirm",), proof=True),
)
_LISTENING = {
    **dict.fromkeys(("proof", "proves"), (Listening(phrases=PROVES, proof=True),)),
    **dict.fromkeys(("affirms", "not affirmed"), _AFFIRMED), "denies": _AFFIRMED[:2],
}
#: What must not pass.
_NEVER = ("near", "proof", "not affirmed")
Draft = tuple[str, str, str, int]  # kind, class, pattern, which of its class


def _classes(at: int, seed: int) -> Iterator[Draft]:
    for kind, table in _TABLES.items():
        for means, patterns in table.items():
            order = random.Random(f"{seed} {kind} {means}").sample(patterns, len(patterns))
            yield kind, means, order[at % len(order)], at


def _said(draft: Draft, snr: float | None, voices: Sequence[str], seed: int) -> Said:
    kind, means, pattern, at = draft
    luck = random.Random(f"{seed} {kind} {means} {at}")
    number, first = lock(luck), random.Random(f"{seed} {means}").randrange(len(voices))
    listenings = _LISTENING.get(kind, (Listening(gate=GateAsked("isolated", number)),))
    listening = listenings[at % len(listenings)]
    voice = OWN if means == "own voice" else voices[(first + at) % len(voices)]
    return Said(kind, means, snr, filled(pattern, number, luck), voice, listening, luck.randrange(1 << 30))


def passed(said: Said, heard: Heard) -> bool:
    """It opened the gate, or proved that the works are dead."""
    if heard.verdict is not Verdict.ACCEPTED or heard.meaning is None:
        return False
    if said.listening.proof:
        return heard.meaning.text == {"proof": PROVES[0], "proves": PROVES[0], "denies": "negative"}.get(said.kind, "affirm")
    return heard.meaning.sense is Sense.GATE


def judge(said: Said, hears: Hears) -> tuple[str, Heard]:
    """opened, opened at the second saying, asked again, silent, or (of a near miss) proposed."""
    hears.begin()
    heard = hears.hear(said.text, said.voice, said.snr, NOISES[said.seed % 4], said.seed, said.listening)
    if passed(said, heard):
        return "opened", heard
    if heard.verdict is not Verdict.ACCEPTED:
        heard = hears.hear(said.text, said.voice, said.snr, NOISES[said.seed % 4], said.seed + 1, said.listening, rate=0.85)
        if passed(said, heard):
            return "second", heard
    if heard.verdict is Verdict.PROPOSED:
        return "proposed", heard
    return "silent" if heard.verdict is Verdict.NOT_FOR_ME else "asked_again", heard


OUTCOMES = ("opened", "second", "proposed", "asked_again", "silent")


def rows(results: Sequence[tuple[Said, str]]) -> list[dict[str, Any]]:
    counts: dict[tuple[str, str, str], Counter[str]] = {}
    for said, came_to in results:
        counts.setdefault((said.kind, said.means, level(said.snr)), Counter())[came_to] += 1
        if said.kind == "gate" and said.snr is None:
            counts.setdefault(("gate by voice", said.voice, "clean"), Counter())[came_to] += 1
    return [
        {"kind": kind, "means": means, "snr": snr, "clips": count.total(), **{name: count[name] for name in OUTCOMES}}
        for (kind, means, snr), count in counts.items()
    ]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--each", type=int, default=12)
    parser.add_argument("--gates", type=int, default=60)
    parser.add_argument("--only", action="append", choices=("gate", *_TABLES), default=[], help="these kinds alone")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=1e6, help="stop after these, between two rounds")
    parser.add_argument("--engine")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--out", type=Path)
    parser.add_argument("--show", action="store_true", help="name each near miss that passed")
    asked = parser.parse_args()
    try:
        voices, hears = names(), Hears(recogniser(asked.engine))
    except Trouble as trouble:
        print(trouble, file=sys.stderr)
        return 2
    results: list[tuple[Said, str]] = []
    until = time.monotonic() + 60 * asked.minutes
    planned = itertools.takewhile(lambda _: time.monotonic() < until, plan(voices, asked.each, asked.gates, asked.seed))
    for said in itertools.chain.from_iterable(planned):
        if asked.only and said.kind not in asked.only:
            continue
        came_to, heard = judge(said, hears)
        results.append((said, came_to))
        if asked.show and said.kind in _NEVER and came_to in ("opened", "second", "proposed"):
            what = f"{came_to}: {said.means} '{said.text}' {said.voice} {level(said.snr)}"
            print(f"{what}: {heard.sure:.3f} '{heard.words}'", flush=True)
    from tests.bench.__main__ import machine
    from tests.bench.reported import give

    found = {"command": "python -m tests.bench.near", "machine": machine(), "seed": asked.seed, "by": rows(results)}
    for row in found["by"]:
        print(row)
    near = [came_to for said, came_to in results if said.kind in _NEVER]
    second = near.count("second")
    print(f"near misses and proofs that passed: {near.count('opened')} of {len(near)}, at the second attempt {second}")
    give(found, asked)
    return 0


if __name__ == "__main__":
    sys.exit(main())
