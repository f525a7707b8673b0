"""Who gets an answer: natural answers outside the grammar against bystanders' sentences.

    python -m tests.bench.meant [--judging [3] [4]] [--draws N] [--witness KNOWS NOTICES] [--words-alone]
                                [--voice N [--over DB]] [--fit] [--left-out] [--show] [--json]

Each sentence is said after its question, through the real machine; it is answered where the program says anything within the
same turn. Seconds from the end of the question: an answer to a question some 3, to work some 20 (log-normal, of twenty one
takes more than four times that); a bystander's sentence at any time in two minutes, and, counted by itself, in the first
five seconds. How loud: the person within 4 dB of the usual, a bystander some 10 dB below, within 6 (`dialogue.meant`).
`--judging`: the sentences of other jobs, places and moments that nothing was fitted on (all, or those of the sets named).
`--draws`: of times and levels, of each sentence. `--witness`: a simulated witness of voices, that knows its person in so
large a share and notices another in so large a share; it judges speech of four words and more (1.2 s) that is at most 7 dB
under the person's level (13 dB over the noise, where the person is 20 dB over it).
`--fit` works out the weights anew from all the others (an earlier judging set among them), the counts of which then tell
only that the fit holds. `--left-out`: each author's sentences by a fit on the other authors', at several bars.
`--words-alone`: nothing measures how loud. `--voice N`: N sentences of each side, spoken by voices at a distance and
heard by the real recogniser in noise (`--over`: dB of the person over it), voices compared where that is installed.
Sentences, times and levels are invented.
"""

from __future__ import annotations

import argparse
import json
import math
import random
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any
from unittest.mock import patch

import yaml

from handsfree.dialogue import meant
from handsfree.dialogue.hearing import typed, utterance_of
from handsfree.dialogue.listening import listening_of
from handsfree.journal.events import ListenFor, PromptEnded, Say, Utterance
from handsfree.language.tokens import tokens
from handsfree.procedure.model import Procedure
from handsfree.visit import unsure
from tests.visit.scenes import ENGLISH, Scene, book

HERE = Path(__file__)
#: Fitted on, by author; two of the first author's judged once before.
AUTHORS = tuple(tuple(HERE.with_name(f"meant_{name}.yaml") for name in names) for names in (
    ("sentences", "judging", "judging_2"), ("sentences_3",), ("sentences_4",)))
SENTENCES = tuple(path for paths in AUTHORS for path in paths)
JUDGING = {number: HERE.with_name(f"meant_judging_{number}.yaml") for number in ("3", "4")}
WORK = ("instruct", "evidence", "isolate")
STEPS = {
    "isolate": "sources: [mains by cord and plug]\n    do: [Put your lock on it.]", "caution": "level: caution",
    "evidence": "", "instruct": "",
}  # fmt: skip


@dataclass(frozen=True)
class Said:
    """`late`: seconds after the end of the question. `louder`: dB than its person usually is. `held`: out of the fit."""

    question: str
    words: str
    late: float
    natural: bool
    held: bool
    soon: bool = False
    louder: float = 0.0


USUAL = -30.0  # dB full scale
#: Seconds after a question, in the middle, at which looking is over, and work; one in twenty takes four times that.
SEEN, DONE = 3.0, 20.0
DRAWS = 6  # of times and levels, of each sentence that is fitted on
SOON = 0.2  # of a bystander's sentences in a fit, those in the first seconds after a question
#: What a witness of voices needs: words, and dB to the person's level.
WORDS, NEAR = 4, -7.0


def _data(*paths: Path) -> dict[str, Any]:
    """Everything as text: a line `yes` is the word. Questions are told apart by their file where two have a name."""
    found: dict[str, Any] = {"questions": {}, "natural": {}, "bystanders": []}
    for number, path in enumerate(paths):
        data: dict[str, Any] = yaml.load(path.read_text(encoding="utf-8"), Loader=yaml.BaseLoader)
        for part in ("questions", "natural"):
            found[part] |= {f"{name}{number or ''}": value for name, value in data[part].items()}
        found["bystanders"] += data["bystanders"]
    return found


def _procedure(name: str, question: dict[str, Any]) -> str:
    kind = question.get("does") or ("read" if "unit" in question else "ask")
    body = {
        "ask": "answers: {" + ", ".join(f"{each}: " for each in question.get("answers", ())) + "}",
        "read": f"quantity: reading\n    unit: {question.get('unit', '')}\n    plausible: [-60, 500]",
    }.get(kind) or STEPS[kind]
    then = "  - {id: dead, kind: prove, method: switch, say: Try the switch.}\n" if kind == "isolate" else ""
    return (
        f"procedure: bench-{name}\ntitle: Bench\nsteps:\n"
        f"  - id: {name}\n    kind: {kind}\n    say: {json.dumps(question['say'])}\n"
        f"    {body}\n{then}  - {{id: end, kind: end, outcome: done, say: Done.}}\n"
    )


@cache
def _shipped() -> dict[str, Procedure]:
    """What else a whole visit has in its book: its words are of the work."""
    from handsfree.procedure.load import load_procedure, procedure_files
    from handsfree.resources import shipped_folder

    found = (load_procedure(path) for path in procedure_files(shipped_folder("procedures")))
    return {one.procedure: one for one in found if one.language == "en"}


def scene(name: str, question: dict[str, Any]) -> Scene:
    """A visit that has just asked it."""
    own = book(_procedure(name, question))
    here = Scene(replace(own, procedures={**_shipped(), **own.procedures})).open()
    here.tell(PromptEnded(here.state.said - 1), 2.0)
    here.state = replace(here.state, level=USUAL)
    return here


def corpus(data: dict[str, Any], seed: int = 1) -> Iterator[Said]:
    chance = random.Random(seed)
    for question, lines in data["natural"].items():
        work = data["questions"][question].get("does") in WORK
        for at, words in enumerate(lines):
            late = max(0.5, chance.lognormvariate(math.log(DONE if work else SEEN), 0.9))
            yield Said(question, words, late, True, at % 2 == 1, louder=chance.gauss(*meant.OWN))
    for soon in (False, True):
        for at, words in enumerate(data["bystanders"]):
            question = chance.choice(list(data["questions"]))
            late = chance.uniform(0.5, 5) if soon else chance.uniform(0, 120)
            yield Said(question, words, late, False, at % 2 == 1, soon, chance.gauss(*meant.OTHERS))


def heard_as(here: Scene, said: Said) -> Utterance:
    """As words alone give it, with an ear that makes no mistakes."""
    now = here.now + said.late
    listening = listening_of(here.state.listening or ListenFor())
    judged = typed(ENGLISH, said.words, listening, now)
    return replace(utterance_of(judged), engine="words", started=now, ended=now + 1.0, meant=0.0,
                   level=USUAL + said.louder)  # fmt: skip


def answered(said: Said, questions: dict[str, Any], witness: tuple[float, float] | None, chance: random.Random) -> bool:
    """`witness`: how often a witness of voices knows its person, and notices another; None where there is none."""
    here = scene(said.question, questions[said.question])
    utterance = heard_as(here, said)
    if witness is not None and len(tokens(said.words)) >= WORDS and said.louder >= NEAR:
        right = chance.random() < witness[0 if said.natural else 1]
        voice = ("same" if right else "doubtful") if said.natural else ("other" if right else "same")
        utterance = replace(utterance, voice=voice)
    effects = here.tell(utterance, said.late + 1.0)
    return any(isinstance(effect, Say) for effect in effects)


def shares(every: list[Said], got: list[bool]) -> dict[str, Any]:
    def share(*, natural: bool, soon: bool, held: bool | None) -> list[int]:
        mine = [yes for said, yes in zip(every, got, strict=True)
                if (said.natural, said.soon) == (natural, soon) and held in (None, said.held)]  # fmt: skip
        return [sum(mine), len(mine)]

    return {
        "natural": share(natural=True, soon=False, held=None),
        "natural, held out": share(natural=True, soon=False, held=True),
        "bystanders": share(natural=False, soon=False, held=None),
        "bystanders, held out": share(natural=False, soon=False, held=True),
        "bystanders in the first five seconds": share(natural=False, soon=True, held=None),
        "bystanders in the first five seconds, held out": share(natural=False, soon=True, held=True),
    }  # fmt: skip


def given(said: Said, questions: dict[str, Any]) -> dict[str, float] | bool:
    """The features that the rule judges by, or whether it is answered without it."""
    seen: list[dict[str, float]] = []

    def judged(utterance: Utterance, asked: meant.Asked, hints: Mapping[str, frozenset[str]]) -> float:
        seen.append(meant.features(utterance.words, asked, hints, utterance.level))
        return 0.0

    with patch.object(unsure, "meant", judged):
        anyway = answered(said, questions, None, random.Random())
    return seen[0] if seen else anyway


Rows = list[tuple[Said, dict[str, float] | bool]]


def rows_of(paths: Sequence[Path]) -> Rows:
    data = _data(*paths)
    return [(said, given(said, data["questions"])) for seed in range(DRAWS) for said in corpus(data, seed)]


def fit(authors: Sequence[Rows]) -> dict[str, float]:
    """Logistic regression on what the rule judges. Each author counts the same, and so does each of the two sides."""
    from sklearn.linear_model import LogisticRegression

    names, rows, truth, weights = [name for name in meant.WEIGHTS if name != "bias"], [], [], []
    for author in authors:
        judged = [(said, found) for said, found in author if isinstance(found, dict)]
        sizes = Counter((said.natural, said.soon) for said, _ in judged)
        for said, found in judged:
            rows.append([found[name] for name in names])
            truth.append(said.natural)
            share = 1.0 if said.natural else SOON if said.soon else 1 - SOON
            weights.append(1000 * share / sizes[said.natural, said.soon])
    model = LogisticRegression(C=1.0, max_iter=3000).fit(rows, truth, weights)
    return {"bias": round(float(model.intercept_[0]), 2),
            **{name: round(float(weight), 2) for name, weight in zip(names, model.coef_[0], strict=True)}}  # fmt: skip


def left_out(authors: Sequence[Rows]) -> Iterator[str]:
    """At each bar, the share of natural answers and of bystanders' sentences that are answered, of each author and in the
    middle, each by a fit on the others."""
    by = [fit([one for one in authors if one is not author]) for author in authors]
    for bar in (0.3, 0.4, 0.45, 0.5, 0.55, 0.6, 0.7):
        odds, every = math.log(bar / (1 - bar)), []
        for author, weights in zip(authors, by, strict=True):
            got = [found if isinstance(found, bool) else sum(weights[name] * found[name] for name in weights) >= odds
                   for _, found in author]  # fmt: skip
            found = shares([said for said, _ in author], got)
            every.append([100 * yes / of for name, (yes, of) in found.items() if "held" not in name])
        middle = [sum(column) / len(column) for column in zip(*every, strict=True)]
        yield f"{bar}: " + "; ".join(" ".join(f"{value:.1f}" for value in one) for one in (middle, *every))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fit", action="store_true")
    parser.add_argument("--left-out", action="store_true")
    parser.add_argument("--draws", type=int, default=1, metavar="N")
    parser.add_argument("--judging", nargs="*", choices=JUDGING, help="the sentences that nothing was fitted on")
    parser.add_argument("--voice", type=int, default=0, metavar="N")
    parser.add_argument("--over", type=float, default=10.0, metavar="DB", help="the person over the noise, with --voice")
    parser.add_argument("--witness", type=float, nargs=2, metavar=("KNOWS", "NOTICES"), help="a simulated witness of voices")
    parser.add_argument("--show", action="store_true", help="what went the wrong way; only of lines that are not held out")
    parser.add_argument("--words-alone", action="store_true", help="nothing measures how loud anybody is")
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    judging = asked.judging is not None
    data = _data(*(JUDGING[number] for number in asked.judging or JUDGING)) if judging else _data(*SENTENCES)
    assert not (judging and (asked.fit or asked.show)), "nothing is fitted on what judges, nor looked at line by line"
    if asked.fit or asked.left_out:
        authors = [rows_of(paths) for paths in AUTHORS]
        print(*([fit(authors)] if asked.fit else []), *(left_out(authors) if asked.left_out else ()), sep="\n")
        return
    questions, every = data["questions"], [said for seed in range(asked.draws) for said in corpus(data, seed + 1)]
    if asked.words_alone:
        every = [replace(said, louder=-USUAL) for said in every]  # a level of 0: not known
    if asked.voice:
        from tests.bench.meant_voice import by_voice

        every, got = by_voice(every, questions, asked.voice, asked.over, asked.show)
    else:
        witness, chance = tuple(asked.witness) if asked.witness else None, random.Random(2)
        got = [answered(said, questions, witness, chance) for said in every]
    found = shares(every, got)
    for name, (yes, of) in found.items():
        if of:
            print(f"{name}: {yes} of {of} answered ({yes / of:.1%})")
    if asked.show:
        for said, yes in zip(every, got, strict=True):
            if yes is not said.natural and not said.held:
                print(f"  {'silent' if said.natural else 'answered'}: {said.question}, {said.late:.1f} s: {said.words}")
    if asked.json:
        print(json.dumps(found))


if __name__ == "__main__":
    main()
