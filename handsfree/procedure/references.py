"""What a step names must exist: other steps, units, answers in expressions. Works on the steps that are well formed, so
that one bad step does not hide what is wrong with the others."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache

from handsfree.language.quantities import unit_as_typed, units_as_typed
from handsfree.language.registry import registry
from handsfree.procedure import accuracy, expressions
from handsfree.procedure.model import Answer, Ask, Caution, Decide, End, Finding, Handover, Procedure, Prove, Read, Step
from handsfree.procedure.sentences import did_you_mean, near
from handsfree.procedure.yamlfile import Document, Problem, YamlPath

#: Units that need no library to know.
COMMON = frozenset(
    {"", "degC", "degF", "kelvin", "volt", "ampere", "ohm", "kiloohm", "psi", "bar", "pascal", "percent", "second"}
)


def problems_of_steps(
    steps: Sequence[tuple[int, Step]], ids: Sequence[str], document: Document, shown: str
) -> Iterator[Problem]:
    """`steps`: (place in the list, step) of the well-formed ones; `ids`: of all."""
    seen: dict[str, int] = {}
    for at, step in steps:
        line = document.line(("steps", at, "id"))
        if step.id in seen:
            yield Problem(shown, line, f"step `{step.id}` is there twice, first on line {seen[step.id]}.", step.id, "id")
        seen.setdefault(step.id, line)
    tables = expressions.Tables.of([step for _, step in steps])
    unread = frozenset(map(expressions.name_of, ids)) - {expressions.name_of(step.id) for _, step in steps}
    for at, step in steps:
        for field, sentence in _of_step(step, ids, tables, unread):
            line = document.line(("steps", at, *_place(field, document, at)))
            yield Problem(shown, line, f"step `{step.id}` {sentence}", step.id, str(field[0]))


def problems_of_calls(
    procedure: Procedure, outcomes: Mapping[str, tuple[str, ...]], shown: str, lines: Mapping[str, int]
) -> Iterator[Problem]:
    """Decisions on an outcome that the called procedure cannot end with. `outcomes`: by name of each called procedure.
    `lines`: that each step begins on."""
    tables = expressions.Tables.of(procedure.steps, outcomes)
    for step in procedure.steps:
        for case in step.cases if isinstance(step, Decide) else ():
            for sentence in expressions.check(case.when, tables):
                text = f"step `{step.id}` cannot decide on '{case.when}': {sentence}"
                yield Problem(shown, lines[step.id], text, step.id, "cases")


def _place(field: YamlPath, document: Document, at: int) -> YamlPath:
    """An answer in its short form is found by its words."""
    if len(field) > 1 and field[0] == "answers" and isinstance(field[1], int):
        given = document.data["steps"][at].get("answers")
        if isinstance(given, dict):
            return ("answers", list(given)[field[1]])
    return field


def _of_step(
    step: Step, ids: Sequence[str], tables: expressions.Tables, unread: frozenset[str]
) -> Iterator[tuple[YamlPath, str]]:
    """`unread`: names of steps that are there but not well formed; what decides on them is not judged."""
    known = list(dict.fromkeys(ids))
    for field, how, target in targets(step):
        if target not in known:
            yield field, f"{how} `{target}`, which does not exist{did_you_mean(target, known) or '.'}"
    if not step.works and step.needs_isolation:
        sentence = f"is of the kind '{step.kind}', which cannot ask for isolation; put it on the step that works."
        yield ("needs_isolation",), sentence
    if isinstance(step, End) and step.go is not None:
        yield ("go",), "ends the procedure, so its 'go' is never used; take it out."
    if step.sound is not None and (not step.sound.strip(".") or re.search(r"[/\\:\x00]", step.sound)):
        yield ("sound",), "names a 'sound' that is not a plain file name; keep the file beside the procedure."
    if isinstance(step, Read):
        yield from _of_reading(step)
    if isinstance(step, Ask):
        yield from _of_answers(step.answers)
    if isinstance(step, Prove) and not unit_exists(step.unit):
        yield ("unit",), _no_unit(step.unit)
    if isinstance(step, Decide):
        for at, case in enumerate(step.cases):
            for sentence in () if _uses(case.when, unread) else expressions.check(case.when, tables):
                yield ("cases", at, "when"), f"cannot decide on '{case.when}': {_as_written(sentence, case.when, ids)}"


def _as_written(sentence: str, when: str, ids: Sequence[str]) -> str:
    """Names as steps are called, not as expressions hold them: `filter-age`, not `filter_age`."""

    def written(found: re.Match[str]) -> str:
        name = found[1].replace("_", "-")
        return f"`{name}`" if name in ids or name in when else found[0]

    return re.sub(r"`(\w+)`", written, sentence)


def _uses(when: str, names: frozenset[str]) -> bool:
    try:
        return not names.isdisjoint(expressions.names_used(when))
    except expressions.Wrong:
        return False


def targets(step: Step) -> Iterator[tuple[YamlPath, str, str]]:
    """(field, how the step uses it, id) of every step that this one names."""
    if step.go is not None:
        yield ("go",), "goes to", step.go
    if isinstance(step, Ask | Read):
        for field, target in (("unknown", step.unknown), ("absent", step.absent), ("skip", step.skip)):
            if target is not None:
                yield (field,), f"sends '{field}' to", target
    match step:
        case Ask():
            for at, answer in enumerate(step.answers):
                if answer.go is not None:
                    yield ("answers", at, "go"), f"sends '{answer.say}' to", answer.go
        case Read():
            for field, target in (("over_range", step.over_range), ("unsteady", step.unsteady)):
                if target is not None:
                    yield (field,), f"sends '{field.replace('_', ' ')}' to", target
        case Decide():
            for at, case in enumerate(step.cases):
                yield ("cases", at, "go"), f"sends '{case.when}' to", case.go
            yield ("otherwise",), "sends 'otherwise' to", step.otherwise
        case Caution():
            if step.protects is not None:
                yield ("protects",), "protects", step.protects
        case Finding():
            for at, name in enumerate(step.evidence):
                yield ("evidence", at), "names as evidence", name
        case Handover():
            for at, name in enumerate(step.summary):
                yield ("summary", at), "puts in its summary", name
        case _:
            pass


def _of_reading(step: Read) -> Iterator[tuple[YamlPath, str]]:
    for field, pair in (("plausible", step.plausible), ("expected", step.expected)):
        if pair is not None and pair[0] >= pair[1]:
            yield (field,), f"has '{field}' from {pair[0]:g} to {pair[1]:g}; the first must be the lower."
    if step.expected is not None and step.plausible[0] < step.plausible[1] and not (
        step.plausible[0] <= step.expected[0] and step.expected[1] <= step.plausible[1]
    ):
        yield ("expected",), "expects values that it does not take as plausible; widen 'plausible' or narrow 'expected'."
    if not unit_exists(step.unit):
        yield ("unit",), _no_unit(step.unit)
    elif step.accuracy is not None:
        sentence = accuracy.wrong(step.accuracy, step.unit)
        if sentence:
            yield ("accuracy",), sentence


def _of_answers(answers: Sequence[Answer]) -> Iterator[tuple[YamlPath, str]]:
    seen: dict[str, str] = {}
    for at, answer in enumerate(answers):
        for words in (answer.say, *answer.also):
            plain = " ".join(words.casefold().split())
            if not plain:
                yield ("answers", at), "has an answer without words."
            elif plain in seen:
                yield ("answers", at), f"has '{words}' twice, for '{seen[plain]}' and for '{answer.say}'."
            seen.setdefault(plain, answer.say)


def _no_unit(unit: str) -> str:
    known, plain = units_as_typed(), unit_as_typed(unit)
    meant = known.get(near(plain, [plain] if plain in known else list(known)), "")
    if unit.startswith("m") and meant.startswith("mega"):  # a thousandth is no million
        meant = ""
    hint = f"; did you mean `{meant}`?" if meant else "; write it as degC, volt, ohm or psi."
    return f"has the unit '{unit}', which does not exist{hint}"


@lru_cache(maxsize=256)
def unit_exists(unit: str) -> bool:
    """A pint unit name, or '' for a count."""
    if unit in COMMON:
        return True
    if len(unit) > 40 or not re.match(r"^[A-Za-z_]\w*( ?[*/] ?[A-Za-z_]\w*)*$", unit, re.ASCII):
        return False
    try:
        registry().Unit(unit)
    except Exception:  # pint raises a dozen kinds, all meaning the same here
        return False
    return True
