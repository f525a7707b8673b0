"""What each witness brings by itself, and both together: on people, in words nobody taught, and on unlike voices.

    python -m tests.bench.witnesses [--people 36] [--unlike 30] [--levels clean,10] [--seed 1] [--json] [--out FILE]

The same sound to every set of witnesses, each weighed by the fit of its own kinds of evidence and held to the same bars (and
to the one for a witness alone). People: answers, readings, and words that are none of the answers (`tests.bench.people`).
Unlike voices: answers, readings and the gate's phrase, said once (`tests.bench.exchanges`). Nothing is set on either.
"""

from __future__ import annotations

import random
import sys
from collections import Counter
from collections.abc import Iterator
from typing import Any

from handsfree.language.meaning import Heard, Verdict
from handsfree.speech.evaluate import outcome
from handsfree.speech.manifest import Clip
from handsfree.speech.recogniser import Recogniser
from tests.bench import exchanges, people
from tests.bench.hearers import recogniser
from tests.bench.people_words import speakers
from tests.bench.reported import Row, arguments, reported
from tests.bench.unlike_voices import NOISES, in_noise, names, speak

PEOPLE = ("answer", "reading", "other word")
OUTCOMES = ("right", "proposed_right", "proposed_wrong", "wrong", "asked_again", "silent")


def sets() -> dict[str, Any]:
    """By the evidence that they give: each witness of a visit alone, and all of them."""
    all_of = recogniser(None)
    alone = {str(one.declares.gives): Recogniser([one], all_of.language) for one in all_of.engines}
    return {"+".join(sorted(alone)): all_of, **alone}


def of_people(line: Clip, heard: Heard) -> str:
    """`wrong`: also a word that was no answer and is acted on."""
    came_to = outcome(line, heard)
    if came_to == "asked_again" or (line.expect is None and came_to == "right"):
        return "silent" if heard.verdict is Verdict.NOT_FOR_ME else "asked_again"
    return "wrong" if came_to == "accepted" else came_to


def measured(clips: int, unlike: int, levels: list[str], seed: int) -> Iterator[Row]:
    hearing = sets()
    counts: dict[tuple[str, str, str], dict[str, Counter[str]]] = {}
    for said in people.plan(speakers(), clips, seed, PEOPLE):
        if said.level in levels:
            sound, listening = people.render(said), said.line.listen_for.listening()
            for name, one in hearing.items():
                found = counts.setdefault(("people", said.kind, said.level), {}).setdefault(name, Counter())
                found[of_people(said.line, one.hear(sound, listening))] += 1
    voices = names()
    for kind, draws in exchanges.KINDS.items():
        for level in levels:
            luck = random.Random(f"witnesses {kind} {seed}")  # the same sayings at every level
            for at in range(unlike):
                wants, snr = draws(luck), None if level == "clean" else float(level)
                sound = in_noise(speak(wants.text, voices[at % len(voices)]), snr, NOISES[at % len(NOISES)], at)
                for name, one in hearing.items():
                    found = counts.setdefault(("unlike", kind, level), {}).setdefault(name, Counter())
                    found[exchanges.came_to(wants, one.hear(sound, wants.listening))] += 1
    for (whose, kind, level), by in counts.items():
        for name, found in by.items():
            some = {each: found[each] for each in OUTCOMES}
            yield {"whose": whose, "kind": kind, "snr": level, "witnesses": name, "clips": found.total(), **some}


def main() -> int:
    parser = arguments(__doc__)
    parser.add_argument("--people", type=int, default=36, help="clips of each kind at each level")
    parser.add_argument("--unlike", type=int, default=30, help="sayings of each kind at each level")
    parser.add_argument("--levels", default="clean,10", help="some of clean,20,10,5")
    asked = parser.parse_args()
    rows = lambda: measured(asked.people, asked.unlike, asked.levels.split(","), asked.seed)  # noqa: E731
    return reported("tests.bench.witnesses", asked, rows)


if __name__ == "__main__":
    sys.exit(main())
