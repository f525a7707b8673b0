"""How many sayings it takes until the right value is taken: whole exchanges with simulated persons who answer what they are
asked, on voices that judge.

    python -m tests.bench.exchanges [--each 30] [--seed 1] [--only answer,reading,gate] [--json] [--out FILE]

The person says the value. Rightly proposed, they say "affirm"; wrongly proposed, "negative", and the value again; asked
again, or met with silence, the value again, slower. All of it is spoken, in noise, and heard as in a visit.
Answers are words of a dictionary, one or two, two to six in force, and the commands; readings are of every form; gates have
numbers of two to four figures. After FIVE sayings the person gives up.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from handsfree.errors import Trouble
from handsfree.language.meaning import ALWAYS, GateAsked, Heard, Listening, NumberAsked, Sense, Verdict
from handsfree.speech.manifest import Expect
from tests.bench import corpus_texts
from tests.bench.corpus import _words
from tests.bench.gate_phrases import lock
from tests.bench.hearers import Hears, recogniser
from tests.bench.unlike_voices import LEVELS, NOISES, level, names

FIVE = 5
AFFIRMED = Listening(commands=(*ALWAYS, "affirm", "negative", "yes", "no"))


@dataclass(frozen=True)
class Wants:
    """What a person wants to have taken: `text` as it is said."""

    text: str
    listening: Listening
    expect: Expect
    unit: str = ""


@dataclass(frozen=True)
class Exchange:
    """`taken`: right, wrong, or nothing; `sayings` of the value; `utterances`, those that affirm or refuse among them;
    `refused`: wrong proposals; `first`: what the first saying came to, as in `handsfree evaluate`."""

    taken: str
    sayings: int
    utterances: int
    refused: int
    first: str = ""


def answer(luck: random.Random) -> Wants:
    def phrase() -> str:
        return " ".join(luck.sample(_words(), luck.choice((1, 1, 2))))

    phrases = tuple(phrase() for _ in range(luck.randint(2, 6)))
    said = luck.choice(phrases)
    return Wants(said, Listening(phrases=phrases), Expect(phrase=said))


def reading(luck: random.Random) -> Wants:
    value, said, unit = corpus_texts.reading(luck)
    return Wants(said, Listening(number=NumberAsked(unit)), Expect(number=value), unit)


def gate(luck: random.Random) -> Wants:
    number = lock(luck)
    return Wants(f"isolated, lock {' '.join(number)}", Listening(gate=GateAsked("isolated", number)), Expect(gate=True))


KINDS: Mapping[str, Callable[[random.Random], Wants]] = {"answer": answer, "reading": reading, "gate": gate}


@dataclass
class Person:
    """Speaks with one voice in one noise; what they say comes out a little differently each time."""

    hears: Hears
    voice: str
    snr: float | None
    noise: str
    luck: random.Random
    utterances: int = 0

    def says(self, text: str, listening: Listening, rate: float = 1.0) -> Heard:
        self.utterances += 1
        return self.hears.hear(text, self.voice, self.snr, self.noise, self.luck.randrange(1 << 30), listening, rate)

    def affirms(self, wanted: bool) -> bool | None:
        """Whether the program took it for affirmed; None where it took neither in three tries."""
        for rate in (1.0, 0.9, 0.85):
            heard = self.says("affirm" if wanted else "negative", AFFIRMED, rate)
            if heard.verdict is Verdict.ACCEPTED and heard.meaning is not None:
                if heard.meaning.text in ("affirm", "yes"):
                    return True
                if heard.meaning.text in ("negative", "no"):
                    return False
        return None


FIRST = ("right", "proposed_right", "proposed_wrong", "wrong", "asked_again", "silent")


def came_to(wants: Wants, heard: Heard) -> str:
    if heard.meaning is None or heard.verdict not in (Verdict.ACCEPTED, Verdict.PROPOSED):
        return "silent" if heard.verdict is Verdict.NOT_FOR_ME else "asked_again"
    right = wants.expect.met_by(heard.meaning, wants.unit)
    if wants.listening.gate is not None and heard.meaning.sense is not Sense.GATE:
        return "asked_again"  # it can only have kept the gate shut
    if heard.verdict is Verdict.PROPOSED:
        return "proposed_right" if right else "proposed_wrong"
    return "right" if right else "wrong"


def exchange(wants: Wants, person: Person) -> Exchange:
    """Until it is taken, or given up."""
    person.hears.begin()
    first = person.says(wants.text, wants.listening)
    return replace(_went_on(wants, person, first), first=came_to(wants, first))


def _went_on(wants: Wants, person: Person, first: Heard) -> Exchange:
    refused = 0
    for saying in range(1, FIVE + 1):
        heard = first
        if saying > 1:
            heard = person.says(wants.text, wants.listening, person.luck.choice((0.85, 0.95)))
        if heard.meaning is None or heard.verdict not in (Verdict.ACCEPTED, Verdict.PROPOSED):
            continue
        right = wants.expect.met_by(heard.meaning, wants.unit)
        if heard.verdict is Verdict.ACCEPTED:
            if not right and wants.listening.gate is not None and heard.meaning.sense is not Sense.GATE:
                continue  # it can only have kept the gate shut
            return Exchange("right" if right else "wrong", saying, person.utterances, refused)
        affirmed = person.affirms(right)
        if affirmed:
            return Exchange("right" if right else "wrong", saying, person.utterances, refused)
        refused += not right
    return Exchange("nothing", FIVE, person.utterances, refused)


def rows(results: Sequence[tuple[str, float | None, Exchange]]) -> Iterator[dict[str, Any]]:
    places = dict.fromkeys((kind, snr) for kind, snr, _ in results)
    for kind, snr in places:
        found = [one for its, at, one in results if (its, at) == (kind, snr)]
        taken = sorted(one.sayings for one in found if one.taken == "right")
        within = {str(most): sum(sayings <= most for sayings in taken) for most in (1, 2, 3)}
        yield {
            "kind": kind, "snr": level(snr), "exchanges": len(found), "right_within": within, "right": len(taken),
            "wrong": sum(one.taken == "wrong" for one in found), "gave_up": sum(one.taken == "nothing" for one in found),
            "mean_sayings": round(sum(one.sayings for one in found) / len(found), 3),
            "mean_utterances": round(sum(one.utterances for one in found) / len(found), 3),
            "wrong_proposals": sum(one.refused for one in found),
            "first": {it: sum(one.first == it for one in found) for it in FIRST},
        }  # fmt: skip


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--each", type=int, default=30, help="exchanges of each kind at each level")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--engine")
    parser.add_argument("--only", default=",".join(KINDS))
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--out", type=Path)
    asked = parser.parse_args()
    kinds = asked.only.split(",")
    if unknown := [kind for kind in kinds if kind not in KINDS]:
        parser.error(f"no such kind: {', '.join(unknown)}; there are: {', '.join(KINDS)}")
    try:
        voices, hears = names(), Hears(recogniser(asked.engine))
    except Trouble as trouble:
        print(trouble, file=sys.stderr)
        return 2
    results = []
    for kind in kinds:
        for snr in LEVELS:
            luck = random.Random(f"{kind} {asked.seed}")  # the same exchanges at every level
            for at in range(asked.each):
                wants = KINDS[kind](luck)
                person = Person(hears, voices[at % len(voices)], snr, NOISES[at % len(NOISES)], random.Random(at))
                results.append((kind, snr, exchange(wants, person)))
            print(json.dumps(list(rows(results))[-1]), flush=True)
    from tests.bench.__main__ import machine
    from tests.bench.reported import give

    by = list(rows(results))
    found = {"command": "python -m tests.bench.exchanges", "machine": machine(), "seed": asked.seed, "by": by}
    give(found, asked)
    return 0


if __name__ == "__main__":
    sys.exit(main())
