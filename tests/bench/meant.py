"""Who gets an answer: natural answers outside the grammar against bystanders' sentences.

    python -m tests.bench.meant [--judging [3] [4]] [--fit] [--voice N] [--witness KNOWS NOTICES] [--show] [--json]

Each sentence is said after its question, through the real machine; it is answered where the program says anything within the
same turn. Seconds from the end of the question: an answer to a question some 3, to work some 20 (log-normal, of twenty one
takes more than four times that); a bystander's sentence at any time in two minutes, and, counted by itself, in the first
five seconds. How loud: the person within 4 dB of the usual, a bystander some 10 dB below, within 6 (`dialogue.meant`).
`--judging`: the sentences of other jobs, places and moments that nothing was fitted on (all, or those of the sets named).
`--fit` works out the weights anew from all the others (an earlier judging set among them), the counts of which then tell
only that the fit holds.
`--words-alone`: nothing measures how loud. `--voice N`: N sentences of each side, spoken by voices at a distance and
heard by the real recogniser in noise. Sentences, times and levels are invented.
"""

from __future__ import annotations

import argparse
import json
import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import yaml

from handsfree.dialogue import meant
from handsfree.dialogue.hearing import typed, utterance_of
from handsfree.dialogue.listening import listening_of
from handsfree.journal.events import ListenFor, PromptEnded, Say, Utterance
from handsfree.language.meaning import Verdict
from handsfree.procedure.model import Procedure
from handsfree.visit.questions import flow_of
from handsfree.visit.unsure import asks_figures, expected
from tests.visit.scenes import ENGLISH, Scene, book

HERE = Path(__file__)
#: Fitted on; two of them judged once before.
SENTENCES = tuple(HERE.with_name(f"meant_{name}.yaml") for name in (
    "sentences", "judging", "judging_2", "sentences_3", "sentences_4"))
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
DRAWS = 4  # of times and levels, of each sentence that is fitted on


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
    if witness is not None:
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


def fit(every: list[Said], questions: dict[str, Any]) -> dict[str, float]:
    """Logistic regression on what means nothing in force."""
    from sklearn.linear_model import LogisticRegression

    names, rows, truth, weights = [name for name in meant.WEIGHTS if name != "bias"], [], [], []
    for said in every:
        here = scene(said.question, questions[said.question])
        utterance = heard_as(here, said)
        if utterance.verdict != Verdict.NOT_FOR_ME:
            continue
        step = here.state.step
        question = meant.word_set((*([step.say] if step else ()), *questions[said.question].get("answers", ())))
        flow = flow_of(here.state)
        asked = meant.Asked(question, said.late, expected(flow), USUAL, asks_figures(flow))
        found = meant.features(said.words, asked, ENGLISH.hints, USUAL + said.louder)
        rows.append([found[name] for name in names])
        truth.append(said.natural)
        weights.append(0.25 if said.soon else 1.0)  # most of what bystanders say follows no question
    model = LogisticRegression(C=1.0, max_iter=1000).fit(rows, truth, weights)
    return {"bias": round(float(model.intercept_[0]), 2),
            **{name: round(float(weight), 2) for name, weight in zip(names, model.coef_[0], strict=True)}}  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fit", action="store_true")
    parser.add_argument("--judging", nargs="*", choices=JUDGING, help="the sentences that nothing was fitted on")
    parser.add_argument("--voice", type=int, default=0, metavar="N")
    parser.add_argument("--witness", type=float, nargs=2, metavar=("KNOWS", "NOTICES"), help="a simulated witness of voices")
    parser.add_argument("--show", action="store_true", help="what went the wrong way; only of lines that are not held out")
    parser.add_argument("--words-alone", action="store_true", help="nothing measures how loud anybody is")
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    judging = asked.judging is not None
    data = _data(*(JUDGING[number] for number in asked.judging or JUDGING)) if judging else _data(*SENTENCES)
    assert not (judging and (asked.fit or asked.show)), "nothing is fitted on what judges, nor looked at line by line"
    questions, every = data["questions"], list(corpus(data))
    if asked.words_alone:
        every = [replace(said, louder=-USUAL) for said in every]  # a level of 0: not known
    if asked.fit:
        print(fit([said for seed in range(DRAWS) for said in corpus(data, seed)], questions))
    if asked.voice:
        from tests.bench.meant_voice import by_voice

        every, got = by_voice(every, questions, asked.voice, asked.show)
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
