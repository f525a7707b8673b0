"""People's own words by voice: 'yeah, it is', 'right then, that's done', 'hang on'; and what is nearly that and means
something else, at questions of the procedures that ship.

    python -m tests.bench.own_words [--judging] [--typed] [--level clean] [--show] [--json]

`own_words.yaml` has the lines. Each is said once a voice and level where it makes sense: after a shipped question that
begins with its verb, or at work to do; by voices that nothing was fitted on (`unlike_voices`), clean and at 10 dB of a fan;
heard by the real recogniser and given to the real machine. Counted: taken rightly, read back rightly, asked again, silent,
wrong (taken or read back with another meaning). `--judging`: the lines and voices that nothing was built on. `--typed`: the
words alone, with an ear that makes no mistakes.
"""

from __future__ import annotations

import argparse
import json
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import yaml

from handsfree.dialogue.hearing import typed, utterance_of
from handsfree.dialogue.listening import listen_for
from handsfree.journal.events import Say, Utterance
from handsfree.language.meaning import Listening, Sense, Verdict
from handsfree.procedure import model
from handsfree.procedure.load import book_of, load_procedure, procedure_files
from handsfree.resources import shipped_folder
from handsfree.visit.questions import listening
from handsfree.visit.state import Awaiting, Frame
from tests.bench import unlike_voices
from tests.visit.scenes import ENGLISH, Scene

LINES = Path(__file__).with_suffix(".yaml")
BUILD = ("british-man", "american-woman", "german-man")
JUDGING = ("american-man", "american-other", "dutch-man", "polish-woman")
LEVELS: tuple[float | None, ...] = (None, 10.0)
LATE = 3.0  # seconds after the question
ONWARD = ("done", "next step", "go ahead")
NEAR = "near miss"
AWAITED = {"ask": Awaiting.ANSWER, "instruct": Awaiting.DONE}


@dataclass(frozen=True)
class Said:
    """`wanted`: the command that it means; NEAR: none. `at`: (procedure, step)."""

    wanted: str
    words: str
    at: tuple[str, str]


@cache
def _places() -> dict[str, list[tuple[str, str]]]:
    """Shipped steps by the verb that the question begins with, and steps of work."""
    found: dict[str, list[tuple[str, str]]] = {"work": []}
    for path in procedure_files(shipped_folder("procedures")):
        procedure = load_procedure(path)
        for step in procedure.steps if procedure.language == "en" else ():
            if isinstance(step, model.Ask) and {"yes", "no"} <= {answer.stands_for for answer in step.answers}:
                verb = re.search(r"(?:^|[.,] )(is|are|does|do) [^.?]*\?$", step.say, re.IGNORECASE)
                if verb is not None and " or " not in step.say:
                    found.setdefault(verb[1].lower(), []).append((procedure.procedure, step.id))
            elif isinstance(step, model.Instruct) and not step.behind_gate:
                found["work"].append((procedure.procedure, step.id))
    return found


@cache
def _book(name: str) -> Any:
    every = [load_procedure(path) for path in procedure_files(shipped_folder("procedures"))]
    english = [one for one in every if one.language == "en"]
    return book_of(*sorted(english, key=lambda one: one.procedure != name))


def every(part: dict[str, Any], near: dict[str, Any]) -> Iterator[Said]:
    """Each line at one place of its kind; those for any kind take the kinds in turn."""
    places, turn = _places(), Counter[str]()
    several = {"any": sorted(places), "ask": sorted(set(places) - {"work"})}

    def place(kind: str, lines_at: int) -> tuple[str, str]:
        kind = several[kind][lines_at % len(several[kind])] if kind in several else kind
        turn[kind] += 1
        return places[kind][turn[kind] * 7 % len(places[kind])]

    for wanted, kinds in (*part.items(), (NEAR, near)):
        for kind, lines in kinds.items():
            for at, words in enumerate(lines):
                yield Said(wanted, words, place(kind, at))


def scene(at: tuple[str, str]) -> Scene:
    """A visit that has just asked it."""
    here = Scene(_book(at[0]))
    here.open()
    step = here.book.at(*at)
    frames = (Frame(*at),)
    here.state = replace(here.state, frames=frames, awaiting=AWAITED[step.kind], heard_out=here.now, tries=0)
    here.state = replace(here.state, listening=listen_for(listening(here.state)))
    return here


def outcome(wanted: str, heard: Utterance, spoke: bool) -> str:
    """`spoke`: the program said something."""
    right = heard.sense == Sense.COMMAND and heard.text in (ONWARD if wanted == "done" else (wanted,))
    if heard.verdict == Verdict.ACCEPTED:
        return "right" if right else "wrong"
    if heard.verdict == Verdict.PROPOSED:
        return "read back" if right else "read back wrong"
    return "asked again" if spoke else "silent"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--judging", action="store_true")
    parser.add_argument("--typed", action="store_true")
    parser.add_argument("--voices", help="others than the usual, by comma")
    parser.add_argument("--level", choices=[unlike_voices.level(snr) for snr in LEVELS], help="this one alone")
    parser.add_argument("--show", action="store_true", help="what went the wrong way; not of the lines that judge")
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    levels = tuple(snr for snr in LEVELS if asked.level in (None, unlike_voices.level(snr)))
    assert not (asked.judging and asked.show), "what judges is not looked at line by line"
    data = yaml.load(LINES.read_text(encoding="utf-8"), Loader=yaml.BaseLoader)
    said = list(every(data["judging" if asked.judging else "build"], data["near"]))
    voices = tuple(asked.voices.split(",")) if asked.voices else JUDGING if asked.judging else BUILD
    counts: dict[tuple[str, str], Counter[str]] = {}
    for one, level, heard, spoke in heard_all(said, voices, levels, asked.typed):
        result = outcome(one.wanted, heard, spoke)
        counts.setdefault((one.wanted, level), Counter())[result] += 1
        if asked.show and result not in (("asked again", "silent") if one.wanted == NEAR else ("right",)):
            print(f"  {one.wanted} {level} {one.words!r} at {'/'.join(one.at)}: {result}: {heard.sense} {heard.text} "
                  f"({heard.sure:.2f}), wrote {heard.words!r}, {heard.reason}", flush=True)  # fmt: skip
    for near in (False, True):
        for level in dict.fromkeys(level for _, level in counts):
            mine = [c for (wanted, at), c in counts.items() if at == level and (wanted == NEAR) is near]
            total = sum(mine, Counter[str]())
            print(f"{'near misses' if near else 'all'}, {level}: {total.total()}: {dict(total.most_common())}")
    for (wanted, level), count in counts.items():
        print(f"  {wanted}, {level}: {count.total()}: {dict(count.most_common())}")
    if asked.json:
        print(json.dumps({f"{wanted}, {level}": dict(count) for (wanted, level), count in counts.items()}))


Result = tuple[Said, str, Utterance, bool]


def heard_all(
    said: list[Said], voices: tuple[str, ...], levels: tuple[float | None, ...], by_words: bool
) -> Iterator[Result]:
    for one in said:
        for voice in ("",) if by_words else voices:
            for snr in (None,) if by_words else levels:
                here = scene(one.at)
                in_force = listening(here.state)
                heard = _typed(one.words, in_force, here.now) if by_words else _heard(one.words, voice, snr, in_force)
                yield one, unlike_voices.level(snr), heard, _tell(here, heard)


def _typed(words: str, in_force: Listening, now: float) -> Utterance:
    return utterance_of(typed(ENGLISH, words, in_force, now))


@cache
def _recogniser() -> Any:
    from tests.bench.hearers import recogniser

    return recogniser(None)


def _heard(words: str, voice: str, snr: float | None, in_force: Listening) -> Utterance:
    samples = unlike_voices.in_noise(unlike_voices.speak(words, voice), snr, "fan", len(words))
    return utterance_of(_recogniser().hear(samples, in_force))


def _tell(here: Scene, heard: Utterance) -> bool:
    now = here.now + LATE
    effects = here.tell(replace(heard, started=now, ended=now + 1.0), LATE + 1.0)
    return any(isinstance(effect, Say) for effect in effects)


if __name__ == "__main__":
    main()
