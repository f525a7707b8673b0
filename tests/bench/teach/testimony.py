# ruff: noqa: E402  the arithmetic library reads its number of threads when it is loaded
"""What each engine testifies on the clips of a manifest, kept beside it: a file an engine, so that one may be added alone.

    python -m tests.bench.teach.testimony FOLDER… --engines tiny tiny-untaught phonetic

The phonetic witness comes after those that write: it scores the numbers that they found as well.
"""

from __future__ import annotations

import argparse
import json
import os
import pickle
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import cache
from multiprocessing import get_context
from pathlib import Path
from typing import Any

for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

from handsfree.language.base import load
from handsfree.language.meaning import GateAsked, Listening, Meaning, NumberAsked, Sense
from handsfree.speech.engine import Testimony

_MOST = 60  # candidates kept of those that are denials, and of those that are not


@dataclass(frozen=True)
class Heard:
    """`cpu`: seconds of the processor."""

    testimony: Testimony
    cpu: float
    sound: float


@dataclass(frozen=True)
class Said:
    """One clip: what was in force, what was said, what must be heard."""

    audio: str
    listening: Listening
    expect: dict[str, Any] | None
    tags: dict[str, Any]

    def right(self, meaning: Meaning) -> bool:
        if self.expect is None:
            return False
        ((what, value),) = self.expect.items()
        if what == "number":
            asked = self.listening.number.unit if self.listening.number else ""
            same = meaning.value is not None and abs(meaning.value - value) < 1e-6
            return meaning.sense is Sense.NUMBER and same and meaning.unit in (None, "", asked)
        sense = {"phrase": Sense.PHRASE, "command": Sense.COMMAND, "digits": Sense.DIGITS, "gate": Sense.GATE}[what]
        return meaning.sense is sense and (what == "gate" or meaning.text == value)


def read(folder: Path) -> list[Said]:
    out = []
    for line in (folder / "manifest.jsonl").read_text(encoding="utf-8").splitlines():
        data = json.loads(line)
        out.append(Said(data["audio"], _listening(data["listen_for"]), data["expect"], data["tags"]))
    return out


def _listening(asked: dict[str, Any]) -> Listening:
    number, gate, digits, commands = (asked.get(name) for name in ("number", "gate", "digits", "commands"))
    return Listening(
        phrases=tuple(asked.get("phrases", ())),
        number=NumberAsked(number.get("unit", ""), number.get("low", -1e9), number.get("high", 1e9))
        if number is not None
        else None,
        gate=GateAsked(gate.get("word", "isolated"), tuple(gate["lock"])) if gate else None,
        digits=(digits[0], digits[1]) if digits else None,
        commands=None if commands is True else tuple(commands or ()),
        proof=bool(asked.get("proof")),
        also=tuple(asked.get("also", ())),
    )


_TAUGHT = {"": 1.0, "taught": 1.0, "most": 0.75, "half": 0.5, "untaught": 0.0}


@cache
def engine(name: str) -> Any:
    from handsfree.speech.neural_weights import find_weights
    from handsfree.speech.phonetic import Phonetic
    from handsfree.speech.whisper import Whisper

    language = load("en")
    if name.startswith("phonetic"):
        taught = name.removeprefix("phonetic").lstrip("-")
        return Phonetic(language, _TAUGHT[taught] if taught else None)
    if name == "pocketsphinx":
        from handsfree.speech.pocketsphinx import PocketSphinx

        return PocketSphinx(language)
    taught = name.removeprefix("tiny").lstrip("-")
    return Whisper(language, find_weights("tiny.en"), taught=_TAUGHT[taught])


def offered(testimonies: list[Testimony]) -> dict[str, Meaning]:
    """The numbers that these found, as said."""
    return {
        c.meaning.spoken: c.meaning for t in testimonies for c in t.candidates
        if c.meaning.sense in (Sense.NUMBER, Sense.DIGITS) and c.meaning.spoken
    }  # fmt: skip


def _hear(job: tuple[Path, Said, str, list[Testimony]]) -> tuple[str, Heard]:
    from handsfree.sound.files import read_sound

    folder, said, name, others = job
    samples = read_sound(folder / said.audio)
    one = engine(name)
    if hasattr(one, "_prepare"):
        one._prepare(said.listening)
    before = time.process_time()
    found = one.testify(samples, said.listening)
    if hasattr(one, "also"):
        found = one.also(found, offered(others))
    return said.audio, Heard(
        replace(found, candidates=_trimmed(found), trace=None), time.process_time() - before, len(samples) / 16_000
    )


def _trimmed(found: Testimony) -> tuple[Any, ...]:
    kept, counts = [], {True: 0, False: 0}
    for candidate in found.candidates:
        denial = candidate.meaning.sense is Sense.DENIAL
        counts[denial] += 1
        if counts[denial] <= _MOST:
            kept.append(candidate)
    return tuple(kept)


def cached(folder: Path, name: str) -> dict[str, Heard]:
    return dict(_stored(folder / f"testimony-{name}.pkl"))


def _stored(path: Path) -> Iterator[tuple[str, Heard]]:
    if path.exists():
        with path.open("rb") as file:
            while True:
                try:
                    yield pickle.load(file)
                except EOFError:
                    return


def hear(folder: Path, name: str, jobs: int, share: int = 1) -> None:
    known = cached(folder, name)
    others = (
        [cached(folder, path.stem.removeprefix("testimony-")) for path in folder.glob("testimony-tiny*.pkl")]
        if name.startswith("phonetic")
        else []
    )
    missing = [
        said
        for at, said in enumerate(read(folder))
        if said.audio not in known and not (at // 4) % share and (folder / said.audio).exists()
    ]
    work = [(folder, said, name, [o[said.audio].testimony for o in others if said.audio in o]) for said in missing]
    with (
        ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool,
        (folder / f"testimony-{name}.pkl").open("ab") as file,
    ):
        for pair in pool.map(_hear, work, chunksize=8):
            pickle.dump(pair, file)
            file.flush()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[2] if __doc__ else None)
    parser.add_argument("folders", type=Path, nargs="+")
    parser.add_argument("--engines", nargs="+", default=["tiny", "phonetic"])
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--share", type=int, default=1)
    asked = parser.parse_args()
    for place in asked.folders:
        for which in asked.engines:
            hear(place, which, asked.jobs, asked.share)


if __name__ == "__main__":
    from tests.bench.teach import testimony  # so that what is kept names this module, not '__main__'

    testimony.main()
