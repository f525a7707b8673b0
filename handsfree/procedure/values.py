"""What is wrong with the numbers of a procedure: limits the instrument cannot tell apart, divisions by zero, a unit in the
words that is not the step's, a proof of death that proves nothing. Cases that never or always hold: decisions.py."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import partial
from itertools import pairwise

from handsfree.language.base import Language
from handsfree.language.quantities import pint_name
from handsfree.procedure import decisions, evaluation, expressions
from handsfree.procedure.accuracy import half_width, same_kind
from handsfree.procedure.expressions import name_of
from handsfree.procedure.model import Book, Decide, Read, Wait
from handsfree.procedure.remarks import Remark, Weight, remark_at
from handsfree.procedure.wording import word_lists

#: No visit waits longer; a date beyond the calendar's end would stop one that runs. Common practice, no source.
LONGEST_WAIT_DAYS = 31


def remarks(book: Book, name: str, language: Language) -> Iterator[Remark]:
    procedure = book.procedures[name]
    readings = {name_of(step.id): step for step in procedure.steps if isinstance(step, Read)}
    for step in procedure.steps:
        say = partial(remark_at, book, name, step, "values")
        if isinstance(step, Read):
            yield from _narrow(step, say)
            yield from _other_unit(step, language, word_lists(procedure.language)["unit_leads"], say)
        if isinstance(step, Wait) and step.seconds > LONGEST_WAIT_DAYS * 86_400:
            yield say(Weight.ERROR, "wait-too-long", lasts=step.lasts, most=LONGEST_WAIT_DAYS)
        if isinstance(step, Wait) and step.seconds <= 0:
            yield say(Weight.ERROR, "wait-of-nothing", lasts=step.lasts)
        if isinstance(step, Decide):
            yield from _close_limits(step, readings, say)
            for case in step.cases:
                yield from _divisions(case.when, readings, say)
            yield from decisions.remarks(step, procedure, say)


def _narrow(step: Read, say: partial[Remark]) -> Iterator[Remark]:
    if step.expected is None or step.accuracy is None:
        return
    low, high = step.expected
    off = half_width(step.accuracy, step.unit, max(abs(low), abs(high)))
    if high - low < 2 * off:
        yield say(Weight.ERROR, "narrow", low=f"{low:g}", high=f"{high:g}", off=f"{off:g}")


def _other_unit(
    step: Read, language: Language, leads: frozenset[str], say: partial[Remark]
) -> Iterator[Remark]:
    """The words ask for another unit than the step takes: one of the same kind, or any behind a word of `leads` ('in')."""
    units: dict[str, tuple[str, ...]] = getattr(language, "units", {})
    text = step.say.casefold()
    before = "|".join(re.escape(lead) for lead in sorted(leads)) or "(?!)"

    def named(unit: str, lead: str = "") -> bool:
        words = (re.escape(word) for word in units.get(unit, ()) if len(word) > 2)
        return any(re.search(rf"{lead}\b{word}\b", text) for word in words)

    own = pint_name(step.unit)
    if not own or named(own):
        return
    for unit in units:
        if unit in (own, "degree"):
            continue
        asked = rf"\b(?:{before})\s+"
        if named(unit, asked) or (named(unit) and same_kind(unit, step.unit)):
            yield say(Weight.ERROR, "other-unit", asked=units[unit][0], unit=step.unit)
            return


def _close_limits(step: Decide, readings: dict[str, Read], say: partial[Remark]) -> Iterator[Remark]:
    limits: dict[str, set[float]] = {}
    for case in step.cases:
        for node in ast.walk(expressions.parse_expression(case.when)):
            if isinstance(node, ast.Compare):
                for one, other in pairwise([node.left, *node.comparators]):
                    for side, limit in ((one, other), (other, one)):
                        number = decisions.number_of(limit)
                        if isinstance(side, ast.Name) and side.id in readings and number is not None:
                            limits.setdefault(side.id, set()).add(number)
    for name, found in limits.items():
        reading, ordered = readings[name], sorted(found)
        for low, high in pairwise(ordered):
            off = half_width(reading.accuracy, reading.unit, high)
            if high - low < 2 * off:
                limits_shown = {"low": f"{low:g}", "high": f"{high:g}", "off": f"{off:g}"}
                yield say(Weight.ADVICE, "close-limits", reading=reading.id, **limits_shown)


def _divisions(when: str, readings: dict[str, Read], say: partial[Remark]) -> Iterator[Remark]:
    """With every reading anywhere in its plausible range."""
    middle, half = decisions.anywhere(readings)
    for node in ast.walk(expressions.parse_expression(when)):
        if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Div):
            yield from _division(node, middle, half, say)


def _division(
    node: ast.BinOp, middle: dict[str, float], half: dict[str, float], say: partial[Remark]
) -> Iterator[Remark]:
    value, off = evaluation.spread(node.right, middle, half)
    if value is None or abs(value) > off:
        return
    text = ast.unparse(node)
    if off == 0:
        yield say(Weight.ERROR, "divides", text=text)
    else:
        yield say(Weight.ADVICE, "may-divide", text=text)
