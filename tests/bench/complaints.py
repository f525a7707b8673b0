"""What is wrong, as people say it: are the words taken for the right complaint, asked back, or taken for another?

    python -m tests.bench.complaints [--json] [--show]

The sentences of `complaints.yaml` are typed at "What is wrong?", through the real machine, and read as the complaint of a
call sheet. Of each list every second sentence is for judging only (`judged`): no word was added because of it, though one
hand wrote both. A complaint is *right* where it is taken at once, *asked* where the visit asks (which of two, or what is
wrong again), *wrong* where another complaint is taken. Of two at once, and of none, asked is what is right."""

from __future__ import annotations

import argparse
import json
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import yaml

from handsfree.dialogue.hearing import typed, utterance_of
from handsfree.dialogue.listening import listening_of
from handsfree.journal.events import AnswerTaken, ListenFor, Opened, Stamped
from handsfree.language import base
from handsfree.procedure import load
from handsfree.resources import shipped_folder
from handsfree.visit.machine import advance, start
from handsfree.visit.starting import VISIT, complaint_in
from tests.bench.__main__ import machine

SENTENCES = Path(__file__).with_name("complaints.yaml")
ENGLISH = base.load("en")
BOOK = load.load_book(shipped_folder("procedures") / f"{VISIT}.yaml", [shipped_folder("procedures")])
#: Lists of sentences that mean no single complaint.
ASKED = ("two", "none")
WALL = "2026-03-02T08:00:00+00:00"


@dataclass(frozen=True)
class Said:
    """`meant`: a complaint, or one of ASKED. `judged`: never looked at while words were chosen."""

    text: str
    meant: str
    judged: bool


def sentences() -> Iterator[Said]:
    for meant, texts in yaml.safe_load(SENTENCES.read_text(encoding="utf-8")).items():
        yield from (Said(text, meant, number % 2 == 1) for number, text in enumerate(texts))


def taken(text: str) -> str | None:
    """The complaint that the visit takes for these words; None where it asks."""
    first = Opened("v", BOOK.main, "en", "", "", "", "bench", "typed")
    state = advance(start(BOOK, ENGLISH), Stamped(0, WALL, 0.0, first))[0]
    heard = utterance_of(typed(ENGLISH, text, listening_of(state.listening or ListenFor()), 1.0), typed=True)
    _, effects = advance(state, Stamped(1, WALL, 1.0, heard))
    answers = [effect.answer for effect in effects if isinstance(effect, AnswerTaken) and effect.step == "complaint"]
    return answers[0] if answers and answers[0] in load_complaints() else None


def load_complaints() -> frozenset[str]:
    return frozenset(said.meant for said in sentences()) - frozenset(ASKED)


def came_of(said: Said, got: str | None) -> str:
    if said.meant in ASKED:
        return "right" if got is None else "wrong"
    return "asked" if got is None else "right" if got == said.meant else "wrong"


def measured() -> tuple[dict[str, dict[str, dict[str, int]]], list[str]]:
    """way -> 'seen' | 'judged' -> counts; and a line for each that was not right."""
    counts: dict[str, dict[str, Counter[str]]] = {}
    lines = []
    for way, take in (("typed", taken), ("call sheet", lambda text: complaint_in(text, BOOK))):
        for said in sentences():
            got = take(said.text)
            kind = came_of(said, got)
            part = f"{'judged' if said.judged else 'seen'}, {said.meant if said.meant in ASKED else 'one'}"
            counts.setdefault(way, {}).setdefault(part, Counter())[kind] += 1
            if kind != "right":
                lines.append(f"{way}, {part}: '{said.text}' is {said.meant}: {kind} ({got})")
    return {way: {part: dict(found) for part, found in parts.items()} for way, parts in counts.items()}, lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--json", action="store_true", help="the last line is one object")
    parser.add_argument("--show", action="store_true", help="what was not right, of the part that may be seen")
    asked = parser.parse_args()
    made, lines = measured()
    if asked.show:
        print(*(line for line in lines if ", seen" in line), sep="\n")
    print("| way | sentences | right | asked | wrong |\n| --- | --- | --- | --- | --- |")
    for way, parts in made.items():
        for part, found in sorted(parts.items()):
            cells = (way, part, *(str(found.get(kind, 0)) for kind in ("right", "asked", "wrong")))
            print("| " + " | ".join(cells) + " |")
    if asked.json:
        print(json.dumps({"command": "python -m tests.bench.complaints", "machine": machine()} | made))


if __name__ == "__main__":
    main()
