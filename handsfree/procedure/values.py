"""What is wrong with the numbers of a procedure: limits the instrument cannot tell apart, cases that never or always hold,
divisions by nought, a unit in the words that is not the step's."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import partial
from itertools import pairwise

from handsfree.language.base import Language
from handsfree.procedure import evaluation, expressions
from handsfree.procedure.accuracy import half_width
from handsfree.procedure.expressions import name_of
from handsfree.procedure.functions import BUILT_IN
from handsfree.procedure.model import Book, Decide, Procedure, Read
from handsfree.procedure.remarks import Remark, Weight, at


def remarks(book: Book, name: str, language: Language) -> Iterator[Remark]:
    procedure = book.procedures[name]
    readings = {name_of(step.id): step for step in procedure.steps if isinstance(step, Read)}
    for step in procedure.steps:
        say = partial(at, book, name, step, "values")
        if isinstance(step, Read):
            yield from _narrow(step, say)
            yield from _other_unit(step, language, say)
        if isinstance(step, Decide):
            yield from _close_limits(step, readings, say)
            for case in step.cases:
                yield from _case(case.when, procedure, readings, say)
            whens = [case.when for case in step.cases]
            for when in {when for when in whens if whens.count(when) > 1}:
                yield say(Weight.ERROR, f"has the case '{when}' twice.", "Take one out.")


def _narrow(step: Read, say: partial[Remark]) -> Iterator[Remark]:
    if step.expected is None or step.accuracy is None:
        return
    low, high = step.expected
    off = half_width(step.accuracy, step.unit, max(abs(low), abs(high)))
    if high - low < 2 * off:
        yield say(
            Weight.ERROR,
            f"expects {low:g} to {high:g}, which is narrower than its instrument can tell (±{off:g}).",
            "Widen 'expected', or ask for a better instrument.",
        )


def _other_unit(step: Read, language: Language, say: partial[Remark]) -> Iterator[Remark]:
    """The words ask for another unit of the same kind than the step takes."""
    units: dict[str, tuple[str, ...]] = getattr(language, "units", {})
    text = step.say.casefold()

    def named(unit: str) -> bool:
        return any(len(word) > 2 and re.search(rf"\b{re.escape(word)}\b", text) for word in units.get(unit, ()))

    if not step.unit or named(step.unit):
        return
    for unit in units:
        if unit != step.unit and unit != "degree" and named(unit) and _same_kind(unit, step.unit):
            yield say(
                Weight.ERROR, f"asks for '{units[unit][0]}' in its words, but takes the reading in '{step.unit}'.",
                "Make the words and 'unit' the same.",
            )  # fmt: skip
            return


def _same_kind(one: str, other: str) -> bool:
    from handsfree.procedure.accuracy import registry

    units = registry()
    try:
        return bool(units.Unit(one).dimensionality == units.Unit(other).dimensionality)
    except Exception:  # a unit pint does not know is reported elsewhere
        return False


def _close_limits(step: Decide, readings: dict[str, Read], say: partial[Remark]) -> Iterator[Remark]:
    limits: dict[str, set[float]] = {}
    for case in step.cases:
        for node in ast.walk(expressions.parse(case.when)):
            if isinstance(node, ast.Compare):
                for one, other in pairwise([node.left, *node.comparators]):
                    for side, limit in ((one, other), (other, one)):
                        if isinstance(side, ast.Name) and side.id in readings and (number := _number(limit)) is not None:
                            limits.setdefault(side.id, set()).add(number)
    for name, found in limits.items():
        reading, ordered = readings[name], sorted(found)
        for low, high in pairwise(ordered):
            off = half_width(reading.accuracy, reading.unit, high)
            if high - low < 2 * off:
                yield say(
                    Weight.ADVICE,
                    f"tells `{reading.id}` at {low:g} from {high:g}, nearer than its instrument can (±{off:g}).",
                    "Move the limits apart, or ask for a better instrument.",
                )


def _number(node: ast.expr) -> float | None:
    sign = 1.0
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        sign, node = -1.0, node.operand
    if isinstance(node, ast.Constant) and isinstance(node.value, int | float) and not isinstance(node.value, bool):
        return sign * float(node.value)
    return None


def _case(when: str, procedure: Procedure, readings: dict[str, Read], say: partial[Remark]) -> Iterator[Remark]:
    """Computed with every reading anywhere in its plausible range: its middle, and half the range either side."""
    middle = {name: sum(step.plausible) / 2 for name, step in readings.items()}
    half = {name: (step.plausible[1] - step.plausible[0]) / 2 for name, step in readings.items()}
    for node in ast.walk(expressions.parse(when)):
        if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Div):
            yield from _division(node, middle, half, say)
    names = expressions.names_in(when)
    if not names or any(name not in readings for name in names) or _calls_others(when):
        return
    outcome = evaluation.evaluate(when, middle, None, half)
    if outcome.holds is not None and not outcome.borderline:
        always = "always" if outcome.holds else "never"
        yield say(
            Weight.ERROR, f"has the case '{when}', which {always} holds for any plausible reading.",
            "Correct the limit, or the 'plausible' range.",
        )  # fmt: skip


def _calls_others(when: str) -> bool:
    """A function that need not rise or fall all the way cannot be judged by the ends of a range."""
    return any(
        isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id not in BUILT_IN
        for node in ast.walk(expressions.parse(when))
    )


def _division(
    node: ast.BinOp, middle: dict[str, float], half: dict[str, float], say: partial[Remark]
) -> Iterator[Remark]:
    value, off = evaluation.spread(node.right, middle, half)
    if value is None or abs(value) > off:
        return
    text = ast.unparse(node)
    if off == 0:
        yield say(Weight.ERROR, f"divides by zero in '{text}'.", "Correct the divisor.")
    else:
        yield say(
            Weight.ADVICE, f"may divide by zero in '{text}': plausible readings make the divisor 0.",
            "Then 'otherwise' is taken; narrow 'plausible', or decide on the divisor first.",
        )  # fmt: skip
