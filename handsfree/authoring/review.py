"""A recorded step in words, as it is read back before it is kept."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from handsfree.authoring.draft import LATER, Draft, DraftStep
from handsfree.authoring.said import TIMES
from handsfree.authoring.words import RecorderWords


def review(step: DraftStep, number: int, draft: Draft, words: RecorderWords) -> str:
    details = " ".join(_details(step, draft, words))
    spoken = words.language.say_number(number)
    return words.prompt("review", number=spoken, kind=kind_name(step, words), text=_ended(step.text), details=details)


def kind_name(step: DraftStep, words: RecorderWords) -> str:
    return words.name_of("kind", step.kind)


def target(go: Any, draft: Draft, words: RecorderWords) -> str:
    """'on to the following step', 'to step three'."""
    if go == LATER:
        return words.prompt("to-later")
    number = draft.number(str(go)) if go else None
    if number is None:
        return words.prompt("to-following")
    return words.prompt("to-step", number=words.language.say_number(number))


def _ended(text: str) -> str:
    return text if text.rstrip().endswith((".", "?", "!")) else f"{text.rstrip()}."


def _details(step: DraftStep, draft: Draft, words: RecorderWords) -> Iterator[str]:
    for facet, tell in _TELL.items():
        if step.facets.get(facet):
            yield from tell(step.facets, draft, words)
    if step.unsure:
        yield words.prompt("detail-unsure", words=", ".join(step.unsure))


TellDraft = Callable[[Any, Draft, RecorderWords], Iterator[str]]


def _one(key: str, facet: str, rule: str = "") -> TellDraft:
    def tell(facets: Any, draft: Draft, words: RecorderWords) -> Iterator[str]:
        value = str(facets[facet])
        yield words.prompt(key, **{facet: words.name_of(rule, value) if rule else value.replace("-", " ")})

    return tell


def _hazards(facets: Any, draft: Draft, words: RecorderWords) -> Iterator[str]:
    yield words.prompt("detail-hazards", hazards=words.listed([words.name_of("hazard", one) for one in facets["hazards"]]))


def _answers(facets: Any, draft: Draft, words: RecorderWords) -> Iterator[str]:
    for answer in facets["answers"]:
        goes = target(answer.get("go"), draft, words)
        yield words.prompt("detail-answer", answer=str(answer["say"]).capitalize(), target=goes)


def _reading(facets: Any, draft: Draft, words: RecorderWords) -> Iterator[str]:
    low, high = (_number(one, words) for one in facets["plausible"])
    unit = words.language.say_unit(str(facets["unit"])) or words.prompt("no-unit")
    yield words.prompt("detail-read", quantity=str(facets["quantity"]).capitalize(), unit=unit, low=low, high=high)


def _number(value: float, words: RecorderWords) -> str:
    """Both ways where -teen and -ty could be taken for one another."""
    said = words.language.say_number(value)
    return f"{words.language.say_digits(value)}, {said}" if words.language.needs_both_ways(value) else said


def _expected(facets: Any, draft: Draft, words: RecorderWords) -> Iterator[str]:
    low, high = (_number(one, words) for one in facets["expected"])
    yield words.prompt("detail-expected", low=low, high=high)


def _lasts(facets: Any, draft: Draft, words: RecorderWords) -> Iterator[str]:
    number, short = str(facets["lasts"]).split()
    unit = next(name for name, each in TIMES.items() if each == short)
    yield words.prompt("detail-lasts", lasts=words.language.say_quantity(float(number), unit))


def _list(facet: str) -> TellDraft:
    def tell(facets: Any, draft: Draft, words: RecorderWords) -> Iterator[str]:
        yield words.prompt("detail-list", items=" ".join(_ended(str(one)) for one in facets[facet]))

    return tell


def _steps(facet: str) -> TellDraft:
    def tell(facets: Any, draft: Draft, words: RecorderWords) -> Iterator[str]:
        numbers = [draft.number(str(one)) for one in facets[facet]]
        yield words.prompt("detail-steps", steps=words.listed([words.step_name(one) for one in numbers if one is not None]))

    return tell


def _cases(facets: Any, draft: Draft, words: RecorderWords) -> Iterator[str]:
    for case in facets["cases"]:
        name, relation, value = (*str(case["when"]).split(" ", 2), "", "")[:3]
        at = next((n for n, one in enumerate(draft.steps, 1) if one.id.replace("-", "_") == name), None)
        goes = target(case.get("go"), draft, words)
        yield words.prompt(
            "detail-case", number=words.language.say_number(at) if at else name.replace("_", " "),
            relation=words.prompt({"<": "relation-below", ">": "relation-above"}.get(relation, "relation-is")),
            value=value.strip('"'), target=goes,
        )  # fmt: skip
    yield words.prompt("detail-otherwise", target=target(facets.get("otherwise"), draft, words))


def _go(facets: Any, draft: Draft, words: RecorderWords) -> Iterator[str]:
    yield words.prompt("detail-go", target=target(facets["go"], draft, words))


_TELL: dict[str, TellDraft] = {
    "level": _one("detail-level", "level", "level"), "answers": _answers, "plausible": _reading, "expected": _expected,
    "lasts": _lasts, "because": lambda facets, draft, words: iter([_ended(str(facets["because"]))]), "do": _list("do"),
    "sources": _list("sources"), "method": _one("detail-method", "method", "method"), "checks": _list("checks"),
    "power": lambda facets, draft, words: iter([_ended(str(facets["power"]))]),
    "what": _one("detail-what", "what", "evidence_kind"), "cases": _cases,
    "procedure": _one("detail-procedure", "procedure"), "finding": _one("detail-finding", "finding"),
    "evidence": _steps("evidence"), "to": _one("detail-to", "to"), "summary": _steps("summary"),
    "outcome": _one("detail-outcome", "outcome", "outcome"), "hazards": _hazards, "go": _go,
}  # fmt: skip
