"""Procedures made faulty, one fault each, and whether any of them would start.

    python -m tests.bench.faulty [--count 200] [--seed 1]

The good ones are those that ship. A fault is put in by one row of `FAULTS`, written from what can go wrong in a procedure (a
step left out, a target that is not there, a limit that means live, a wait no clock can hold) and not from what the program
looks for. Each must be refused by the one question every verb asks, with a sentence that names the file and a line."""

from __future__ import annotations

import argparse
import copy
import random
import re
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

from handsfree import plain_yaml
from handsfree.errors import Trouble
from handsfree.procedure.load import procedure_files
from handsfree.resources import shipped_folder

Doc = dict[str, Any]
Step = dict[str, Any]
#: Changes one step of a document in place. `at`: its place.
Change = Callable[[Doc, int], None]


@dataclass(frozen=True)
class Row:
    name: str
    fits: Callable[[Doc, int], bool]
    change: Change


def _kind(*kinds: str) -> Callable[[Doc, int], bool]:
    return lambda doc, at: doc["steps"][at]["kind"] in kinds


def _has(*names: str) -> Callable[[Doc, int], bool]:
    return lambda doc, at: all(name in doc["steps"][at] for name in names)


def _put(**values: Any) -> Change:
    return lambda doc, at: doc["steps"][at].update(copy.deepcopy(values))


def _take(name: str) -> Change:
    return lambda doc, at: doc["steps"][at].pop(name)


def _answer(words: str) -> Change:
    """The first answer under other words; where it leads stays."""

    def change(doc: Doc, at: int) -> None:
        step = doc["steps"][at]
        answers = step["answers"]
        if isinstance(answers, dict):
            first = next(iter(answers))
            step["answers"] = {words: answers[first], **{k: v for k, v in answers.items() if k != first}}
        else:
            step["answers"] = [words, *answers[1:]]

    return change


def _leads(doc: Doc, at: int) -> bool:
    """One of its answers leads somewhere by name."""
    answers = doc["steps"][at].get("answers")
    return isinstance(answers, dict) and any(_target(value) for value in answers.values())


def _target(value: Any) -> str | None:
    if isinstance(value, str):
        return value
    go = value.get("go") if isinstance(value, dict) else None
    return go if isinstance(go, str) else None


def _lead_nowhere(doc: Doc, at: int) -> None:
    answers = doc["steps"][at]["answers"]
    name = next(name for name, value in answers.items() if _target(value))
    answers[name] = {**(answers[name] if isinstance(answers[name], dict) else {}), "go": "no-such-step"}


def _drop(doc: Doc, at: int) -> None:
    """A step left out; who led to it leads to what followed."""
    gone = doc["steps"].pop(at)["id"]
    follows = doc["steps"][at]["id"]
    _retarget(doc, gone, follows)


def _retarget(part: Any, old: str, new: str) -> None:
    if isinstance(part, dict):
        for key, value in part.items():
            if isinstance(value, str) and value == old and key not in ("id", "say"):
                part[key] = new
            else:
                _retarget(value, old, new)
    elif isinstance(part, list):
        for value in part:
            _retarget(value, old, new)


def _only(kind: str) -> Callable[[Doc, int], bool]:
    """The only one of its kind, of a procedure in which a step meets the supply, with a step after it."""

    def fits(doc: Doc, at: int) -> bool:
        steps = doc["steps"]
        feeds = any(hazard in ("mains", "moving fan") for step in steps for hazard in step.get("hazards", ())
                    if step["kind"] not in ("caution", "isolate", "prove", "restore"))  # fmt: skip
        mine = [step for step in steps if step["kind"] == kind]
        return feeds and steps[at]["kind"] == kind and len(mine) == 1 and at + 1 < len(steps) and "go" not in steps[at]

    return fits


def _meter(doc: Doc, at: int) -> bool:
    step = doc["steps"][at]
    return step["kind"] == "prove" and step.get("method") == "meter"


def _numbers(doc: Doc, at: int) -> bool:
    step = doc["steps"][at]
    return step["kind"] == "read" and isinstance(step.get("plausible"), list)


def _swap(name: str) -> Change:
    def change(doc: Doc, at: int) -> None:
        doc["steps"][at][name] = list(reversed(doc["steps"][at][name]))

    return change


def _expect_beyond(doc: Doc, at: int) -> None:
    low, high = doc["steps"][at]["plausible"]
    doc["steps"][at]["expected"] = [high + 1, high + 1 + (high - low)]


def _hazard_first(doc: Doc, at: int) -> None:
    """The hazard step stands at the very beginning, before any isolation."""
    doc["steps"].insert(0, {"id": "bare-hands", "kind": "instruct", "hazards": ["mains"], "say": "Hold the bare contact."})


def _first(doc: Doc, at: int) -> bool:
    return at == 0 and doc["steps"][0]["kind"] != "caution"


def _last(doc: Doc, at: int) -> bool:
    return at == len(doc["steps"]) - 1 and doc["steps"][at]["kind"] == "end"


def _never_over(doc: Doc, at: int) -> None:
    doc["steps"][at] = {"id": doc["steps"][at]["id"], "kind": "instruct", "say": "Look again.", "go": doc["steps"][at]["id"]}


def _only_end(doc: Doc, at: int) -> bool:
    return _last(doc, at) and sum(step["kind"] == "end" for step in doc["steps"]) == 1


def _twice(doc: Doc, at: int) -> None:
    doc["steps"].insert(at, copy.deepcopy(doc["steps"][at]))


def _alone(doc: Doc, at: int) -> None:
    answers = doc["steps"][at]["answers"]
    first = next(iter(answers))
    doc["steps"][at]["answers"] = {first: answers[first]} if isinstance(answers, dict) else [first]


def _ask(doc: Doc, at: int) -> bool:
    """The words put in are English."""
    return doc["steps"][at]["kind"] == "ask" and doc.get("language", "en") == "en"


_ASK, _READ, _PROVE, _WAIT = _ask, _numbers, _kind("prove"), _kind("wait")
_ANY = _has("id")
FAULTS: tuple[Row, ...] = (
    Row("a proof of dead is left out", _only("prove"), _drop),
    Row("an isolation is left out", _only("isolate"), _drop),
    Row("a restore is left out", _only("restore"), _drop),
    Row("a hazard stands before everything", _first, _hazard_first),
    Row("dead is below 400 volts", _meter, _put(below=400)),
    Row("dead is below a million", _meter, _put(below=1000000)),
    Row("dead is below nothing", _meter, _put(below=-5)),
    Row("dead is measured in bar", _meter, _put(unit="bar", below=1)),
    Row("dead is measured in degrees", _meter, _put(unit="degC", below=30)),
    Row("dead is measured in amperes", _meter, _put(unit="ampere", below=1)),
    Row("a proof by a way that is none", _PROVE, _put(method="look at it")),
    Row("an isolation of nothing", _kind("isolate"), _put(sources=[])),
    Row("an isolation that says nothing to do", _kind("isolate"), _put(do=[])),
    Row("an answer is 'power is on'", _ASK, _answer("power is on")),
    Row("an answer is 'stop the visit'", _ASK, _answer("stop the visit")),
    Row("an answer is 'affirm'", _ASK, _answer("affirm")),
    Row("an answer is 'negative'", _ASK, _answer("negative")),
    Row("an answer is 'understood'", _ASK, _answer("understood")),
    Row("an answer is 'stop'", _ASK, _answer("stop")),
    Row("an answer is the gate phrase", _ASK, _answer("isolated lock")),
    Row("an answer is 'stand by'", _ASK, _answer("stand by")),
    Row("an answer is 'say again'", _ASK, _answer("say again")),
    Row("an answer is 'go back'", _ASK, _answer("go back")),
    Row("an answer is a number", _ASK, _answer("230")),
    Row("an answer is empty", _ASK, _answer("")),
    Row("an answer leads nowhere", _leads, _lead_nowhere),
    Row("only one answer", _ASK, _alone),
    Row("a question without answers", _ASK, _take("answers")),
    Row("a wait of 4,000,000 days", _WAIT, _put(lasts="4000000 d")),
    Row("a wait of no time", _WAIT, _put(lasts="0 s")),
    Row("a wait of a negative time", _WAIT, _put(lasts="-5 min")),
    Row("a wait of words", _WAIT, _put(lasts="a while")),
    Row("a range upside down", _READ, _swap("plausible")),
    Row("what is expected is not plausible", _READ, _expect_beyond),
    Row("a range without an end", _READ, _put(plausible=[0, float("inf")])),
    Row("a range of not a number", _READ, _put(plausible=[float("nan"), 10])),
    Row("a unit that is none", _READ, _put(unit="smoots")),
    Row("no unit", _has("unit", "plausible"), _take("unit")),
    Row("a hazard nobody knows", _kind("instruct"), _put(hazards=["dragons"])),
    Row("a target that is not there", _kind("instruct", "read", "evidence"), _put(go="no-such-step")),
    Row("a call to a procedure that is not there", _kind("call"), _put(procedure="no-such-procedure")),
    Row("an outcome that is none", _kind("end"), _put(outcome="perfect")),
    Row("a step of a kind that is none", _ANY, _put(kind="hope")),
    Row("a step that says nothing", _has("say"), _put(say="")),
    Row("a field that is none", _ANY, _put(unsafe=True)),
    Row("two steps of one name", _ANY, _twice),
    Row("an id with spaces", _ANY, _put(id="Do It Now")),
    Row("it never ends", _only_end, _never_over),
    Row("a case that cannot be read", _kind("decide"), _put(cases=[{"when": "import os", "go": "no-such-step"}])),
    Row("a decision without a way out", _kind("decide"), _put(otherwise="no-such-step")),
    Row("a finding from steps that are none", _kind("finding"), _put(evidence=["no-such-step"])),
)


def places() -> Iterator[tuple[Row, Path, int]]:
    """Every place of every shipped procedure where a fault can be put in."""
    for path in procedure_files(shipped_folder("procedures")):
        doc = plain_yaml.load(path.read_text("utf-8"))
        if not isinstance(doc, dict) or "steps" not in doc:
            continue
        for at in range(len(doc["steps"])):
            for row in FAULTS:
                if row.fits(doc, at):
                    yield row, path, at


def made(row: Row, path: Path, at: int) -> str:
    doc = plain_yaml.load(path.read_text("utf-8"))
    row.change(doc, at)
    return str(yaml.safe_dump(doc, sort_keys=False, allow_unicode=True, width=10_000))


def picked(count: int, seed: int) -> list[tuple[Row, Path, int]]:
    """So many, every row as often as the others as far as it has places."""
    drawn = random.Random(seed)
    by_row: dict[str, list[tuple[Row, Path, int]]] = {}
    for place in places():
        by_row.setdefault(place[0].name, []).append(place)
    for rest in by_row.values():
        drawn.shuffle(rest)
    chosen: list[tuple[Row, Path, int]] = []
    while len(chosen) < count and any(by_row.values()):
        for rest in by_row.values():
            if rest and len(chosen) < count:
                chosen.append(rest.pop())
    return chosen


def refusal(text: str, name: str, place: Path) -> str:
    """What is said instead of starting it, '' where it would start."""
    from handsfree.visit.sessions import provable

    file = place / f"{name}.yaml"
    file.write_text(text, encoding="utf-8")
    try:
        provable(file)
    except Trouble as trouble:
        return trouble.sentence
    finally:
        file.unlink()
    return ""


def wrong(row: Row, path: Path, at: int, place: Path) -> str:
    """What is not as it must be, '' where all is."""
    said = refusal(made(row, path, at), path.stem, place)
    if not said:
        return "it would start"
    if not re.search(rf"{re.escape(path.stem)}\.yaml.* (?:line|línea) [1-9]\d*|{re.escape(path.stem)}\.yaml:\d+", said):
        return f"no line is named: {said[:200]}"
    return ""


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    chosen, missed, rows = picked(asked.count, asked.seed), 0, Counter[str]()
    with tempfile.TemporaryDirectory() as place:
        for row, path, at in chosen:
            rows[row.name] += 1
            why = wrong(row, path, at, Path(place))
            if why:
                missed += 1
                print(f"{row.name}, {path.stem}, step {at + 1}: {why}", flush=True)
    print(f"{len(chosen)} faulty procedures of {len(rows)} kinds of fault, {missed} not refused with a sentence at a line")


if __name__ == "__main__":
    main()
