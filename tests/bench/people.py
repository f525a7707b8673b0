"""Hearing people, in words nobody taught: recordings that Debian packages, played as answers, readings and unrelated speech.

    python -m tests.bench.people [--sample 200] [--seed 1] [--json] [--out FILE] [--show] [--engine NAME] [--only answer,…]

Answers: the words a speaker says, each with one to five others of the speaker's drawn beside it, and the commands. Readings:
numbers a speaker says. Other words: one of the speaker's words that is not among the answers in force. Unrelated: sentences
and shouts. Every kind clean and at 20, 10 and 5 dB of fan, platform, workshop and street noise (level by ITU-T P.56).
`--sample`: how many clips of each kind at each level, spread over the speakers; 0 takes every word once. The last line of
`--json` is one object.

No recording is heard twice by a witness that has not changed (`evidence`). The recordings judge; nothing is taught, fitted
or set on them.
"""

from __future__ import annotations

import argparse
import os
import random
import sys
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

from audio_fixtures import voices as made
from handsfree.errors import Trouble
from handsfree.language.meaning import Verdict
from handsfree.speech.evaluate import outcome
from handsfree.speech.manifest import Clip
from tests.bench.corpus import NOISES, RATE, _mixed, noise
from tests.bench.people_words import Speaker, sound, speakers, spoken
from tests.bench.reported import give

LEVELS: tuple[float | None, ...] = (None, 20.0, 10.0, 5.0)
KINDS = ("answer", "reading", "other word", "unrelated")
#: What a clip comes to. `accepted`: of other words and unrelated speech, acted on; there, asked again and silent are right.
OUTCOMES = ("right", "proposed_right", "proposed_wrong", "wrong", "accepted", "asked_again", "silent")


@dataclass(frozen=True)
class Said:
    """One clip to make and judge; `line` as in a manifest, its sound not yet made."""

    speaker: str
    kind: str
    snr: float | None
    text: str
    path: Path
    noise: str
    seed: int
    line: Clip

    @property
    def level(self) -> str:
        return "clean" if self.snr is None else f"{self.snr:g}"


@dataclass(frozen=True)
class Result:
    said: Said
    outcome: str
    heard: str


# ---- what is said


def plan(everybody: Sequence[Speaker], sample: int, seed: int, kinds: Sequence[str] = KINDS) -> list[Said]:
    """The clips, the same for the same arguments: the same words at every level, so that levels can be compared."""
    out = []
    for kind in kinds:
        luck = random.Random(f"{kind} {seed}")
        said = [list(_everything(one, kind, luck)) for one in everybody]
        chosen = _spread([each for each in said if each], sample, luck)
        for snr in LEVELS:
            for at, (speaker, text, path, line) in enumerate(chosen):
                name = NOISES["held"][at % len(NOISES["held"])]
                out.append(Said(speaker, kind, snr, text, path, name, luck.randrange(1 << 30), line))
    return out


Draft = tuple[str, str, Path, Clip]


def _everything(one: Speaker, kind: str, luck: random.Random) -> Iterator[Draft]:
    """Everything a speaker says of this kind, in an order of chance."""
    if kind == "reading":
        for value, path in _shuffled(one.numbers.items(), luck):
            asked = {"number": {"unit": luck.choice(("", "degF", "volt"))}}
            yield one.name, spoken(value), path, _line(asked, {"number": value})
        return
    if kind == "unrelated":
        for path in _shuffled(one.talk, luck):
            yield one.name, path.stem, path, _line(_in_force(luck), None)
        return
    if len(one.words) < 8:
        return
    for text, path in _shuffled(one.words.items(), luck):
        others = luck.sample([word for word in one.words if word != text], luck.randint(1, 5))
        if kind == "answer":
            yield one.name, text, path, _line({"phrases": luck.sample([text, *others], len(others) + 1)}, {"phrase": text})
        else:
            yield one.name, text, path, _line({"phrases": [*others, *_one_more(one, text, others, luck)]}, None)


def _one_more(one: Speaker, text: str, others: Sequence[str], luck: random.Random) -> list[str]:
    """At least two answers are in force."""
    return [] if len(others) > 1 else [luck.choice([word for word in one.words if word not in (text, *others)])]


def _in_force(luck: random.Random) -> dict[str, Any]:
    return luck.choice((
        {"phrases": ["cool", "warm", "hot"]}, {"phrases": ["running", "stopped", "humming"]}, {"number": {"unit": "degF"}},
        {"phrases": ["dry", "damp", "standing water"]}, {"gate": {"lock": ["four", "two"]}},
    ))  # fmt: skip


def _line(listen_for: dict[str, Any], expect: dict[str, Any] | None) -> Clip:
    return Clip.model_validate({"audio": "made", "listen_for": {**listen_for, "commands": True}, "expect": expect})


def _shuffled(items: Iterable[Any], luck: random.Random) -> list[Any]:
    found = list(items)
    luck.shuffle(found)
    return found


def _spread(said: Sequence[list[Draft]], sample: int, luck: random.Random) -> list[Draft]:
    """A speaker after another until there are enough; everything where `sample` is 0."""
    turns = [each[at] for at in range(max(map(len, said), default=0)) for each in said if at < len(each)]
    return turns[:sample] if sample else turns


# ---- what is heard


def render(said: Said) -> made.Samples:
    """The recording between half a second of silence, in noise where there is any."""
    speech = np.concatenate([made.silence(0.5), sound(said.path), made.silence(0.5)])
    if said.snr is None:
        return speech
    return _mixed(speech, noise(said.noise, len(speech) / RATE + 0.1, said.seed % 100_000)[: len(speech)], said.snr)


_HEARS: dict[str | None, Any] = {}


def judge(job: tuple[Said, str | None]) -> Result:
    """In a worker process."""
    from tests.bench.hearers import recogniser

    said, engine = job
    if engine not in _HEARS:
        _HEARS[engine] = recogniser(engine)
    heard = _HEARS[engine].hear(render(said), said.line.listen_for.listening())
    came_to = outcome(said.line, heard)
    if came_to == "asked_again" or (said.line.expect is None and came_to == "right"):
        came_to = "silent" if heard.verdict is Verdict.NOT_FOR_ME else "asked_again"
    meaning = f"{heard.meaning.sense} {heard.meaning.text}" if heard.meaning else "nothing"
    return Result(said, came_to, f"{heard.verdict}: {meaning} ({heard.sure:.3f}), heard '{heard.words}'")


def hear(work: Sequence[Said], engine: str | None, jobs: int) -> Iterator[Result]:
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
        yield from pool.map(judge, [(said, engine) for said in work], chunksize=8)


# ---- what comes of it


def rows(results: Sequence[Result]) -> list[dict[str, Any]]:
    """By kind, level and speaker, and of all speakers together ('everybody')."""
    counts: dict[tuple[str, str, str], Counter[str]] = {}
    for result in results:
        for who in (result.said.speaker, "everybody"):
            counts.setdefault((result.said.kind, result.said.level, who), Counter())[result.outcome] += 1
    return [
        {"kind": kind, "snr": snr, "speaker": who, "clips": count.total(), **{name: count[name] for name in OUTCOMES}}
        for (kind, snr, who), count in counts.items()
    ]


def _without_folder(word: str) -> str:
    option, given, value = word.rpartition("=")
    return f"{option}{given}{Path(value).name}"


def report(results: Sequence[Result], asked: argparse.Namespace) -> dict[str, Any]:
    from tests.bench.__main__ import machine

    words = " ".join(_without_folder(word) for word in sys.argv[1:])  # no folder of the machine it ran on
    return {
        "command": f"python -m tests.bench.people {words}", "machine": machine(), "seed": asked.seed,
        "sample": asked.sample, "by": rows(results),
    }  # fmt: skip


def show(found: Sequence[dict[str, Any]]) -> None:
    heads = ("kind", "noise", "speaker", "clips", *(name.replace("_", " ") for name in OUTCOMES))
    table = [heads, *([str(row[name]) for name in ("kind", "snr", "speaker", "clips", *OUTCOMES)] for row in found)]
    widths = [max(len(line[at]) for line in table) for at in range(len(heads))]
    for line in table:
        print("  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip())


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sample", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--engine")
    parser.add_argument("--only", default=",".join(KINDS), help=f"some of: {', '.join(KINDS)}")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--show", action="store_true", help="name each clip that was wrong, accepted or wrongly proposed")
    parser.add_argument("--out", type=Path, help="write the object there as well")
    asked = parser.parse_args()
    kinds = asked.only.split(",")
    if unknown := [kind for kind in kinds if kind not in KINDS]:
        parser.error(f"no such kind: {', '.join(unknown)}; there are: {', '.join(KINDS)}")
    if asked.sample < 0 or asked.jobs < 1:
        parser.error("--sample is 0 or more, --jobs 1 or more")
    try:
        work = plan(speakers(), asked.sample, asked.seed, kinds)
    except Trouble as trouble:
        print(trouble, file=sys.stderr)
        return 2
    results = list(hear(work, asked.engine, asked.jobs))
    found = report(results, asked)
    show(found["by"])
    if asked.show:
        for result in results:
            if result.outcome in ("wrong", "accepted", "proposed_wrong"):
                print(f"{result.outcome}: {result.said.speaker} '{result.said.text}' {result.said.level}: {result.heard}")
    give(found, asked)
    return 0


if __name__ == "__main__":
    sys.exit(main())
