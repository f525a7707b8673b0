"""Whether the cases of a decide step can hold, tried at every value that could make a difference.

Rules of this file:

- A reading that is compared with plain numbers is tried at each of them, between them, beyond them by more than its
  instrument may be off, and at the ends of its plausible range; a question at each of its answers. Where a case holds at
  none of these points, it never holds; at all of them, always.
- Where a reading meets sums or functions, its plausible range is taken as one wide uncertainty instead.
- A function of the trade need not rise or fall all the way, and `taken` hangs on the path: such cases are not judged.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from itertools import islice, pairwise, product

from handsfree.procedure import evaluation, expressions
from handsfree.procedure.accuracy import half_width
from handsfree.procedure.expressions import name_of
from handsfree.procedure.functions import BUILT_IN
from handsfree.procedure.model import Ask, Decide, Procedure, Read
from handsfree.procedure.remarks import Remark, Weight

MOST_POINTS = 4000
Assignment = dict[str, evaluation.Value]


def remarks(step: Decide, procedure: Procedure, say: partial[Remark]) -> Iterator[Remark]:
    """`say`: makes a remark about the step."""
    whens = [case.when for case in step.cases]
    blamed = {when for when in whens if whens.count(when) > 1}
    for when in sorted(blamed):
        yield say(Weight.ERROR, "case-twice", when=when)
    for when in whens:
        if (found := _alone(when, procedure, say)) is not None and when not in blamed:
            blamed.add(when)
            yield found
    if not blamed:
        yield from _together(whens, procedure, say)


def _alone(when: str, procedure: Procedure, say: partial[Remark]) -> Remark | None:
    """Of one case: never, always, or never surely."""
    if _unjudged(when):
        return None
    points = _points([when], procedure)
    tried = [evaluation.evaluate(when, point).holds for point in points or ()]
    verdicts = set(tried) or {_wide(when, procedure)}
    if verdicts in ({True}, {False}):
        return say(Weight.ERROR, "case-always" if True in verdicts else "case-never", when=when)
    if points is not None and not any(_sure(when, point, procedure) for point in points):
        return say(Weight.ERROR, "case-unsure", when=when)
    return None


def _together(whens: Sequence[str], procedure: Procedure, say: partial[Remark]) -> Iterator[Remark]:
    """A case that is never reached, for one of those before it holds whenever it does."""
    if any(_unjudged(when) for when in whens) or (points := _points(whens, procedure)) is None:
        return
    reached: set[str] = set()
    for point in points:
        first = next((when for when in whens if _sure(when, point, procedure)), None)
        if first is not None:
            reached.add(first)
    for when in whens:
        if when not in reached:
            yield say(Weight.ERROR, "case-late", when=when)


def _sure(when: str, point: Assignment, procedure: Procedure) -> bool:
    return evaluation.evaluate(when, point, None, evaluation.widths_of(procedure, point)).sure


def _unjudged(when: str) -> bool:
    return not expressions.names_used(when) or any(
        isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id not in BUILT_IN
        for node in ast.walk(expressions.parse_expression(when))
    )


def _wide(when: str, procedure: Procedure) -> bool | None:
    """With every reading anywhere in its plausible range; None where that leaves it open."""
    readings = {name_of(step.id): step for step in procedure.steps if isinstance(step, Read)}
    if any(name not in readings for name in expressions.names_used(when)):
        return None
    middle, half = anywhere(readings)
    outcome = evaluation.evaluate(when, middle, None, half)
    return None if outcome.borderline else outcome.holds


def anywhere(readings: Mapping[str, Read]) -> tuple[dict[str, float], dict[str, float]]:
    """Every reading anywhere in its plausible range: its middle, and half the range either side."""
    middle = {name: sum(step.plausible) / 2 for name, step in readings.items()}
    return middle, {name: (step.plausible[1] - step.plausible[0]) / 2 for name, step in readings.items()}


# ---- the points to try ----------------------------------------------------------------------------------------------


def _points(whens: Sequence[str], procedure: Procedure) -> list[Assignment] | None:
    """None where a reading is more than compared with numbers, a name is no reading or question, or they are too many."""
    limits: dict[str, set[float]] = {}
    for when in whens:
        if not _gathered(expressions.parse_expression(when), limits):
            return None
    steps = {name_of(step.id): step for step in procedure.steps}
    values: list[Sequence[evaluation.Value]] = []
    for name, found in limits.items():
        match steps.get(name):
            case Read() as step:
                values.append(_tried(step, found))
            case Ask() as step:
                values.append([answer.say for answer in step.answers])
            case _:
                return None
    points = [dict(zip(limits, point, strict=True)) for point in islice(product(*values), MOST_POINTS + 1)]
    return points if len(points) <= MOST_POINTS else None


def _gathered(node: ast.expr, limits: dict[str, set[float]]) -> bool:
    """The numbers that each name is compared with, put into `limits`. False for any other use of a name."""
    match node:
        case ast.BoolOp():
            return all(_gathered(one, limits) for one in node.values)
        case ast.UnaryOp(op=ast.Not()):
            return _gathered(node.operand, limits)
        case ast.Compare():
            return all(_pair(a, b, limits) for a, b in pairwise([node.left, *node.comparators]))
        case ast.Constant():
            return True
    return False


def _pair(a: ast.expr, b: ast.expr, limits: dict[str, set[float]]) -> bool:
    name, other = (a, b) if isinstance(a, ast.Name) else (b, a)
    if not isinstance(name, ast.Name):
        return False
    found = limits.setdefault(name.id, set())
    if isinstance(other, ast.Constant) and isinstance(other.value, str):
        return True
    number = number_of(other)
    if number is not None:
        found.add(number)
    return number is not None


def number_of(node: ast.expr) -> float | None:
    """A plain number, or one with a minus before it."""
    sign = 1.0
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        sign, node = -1.0, node.operand
    if isinstance(node, ast.Constant) and isinstance(node.value, int | float) and not isinstance(node.value, bool):
        return sign * float(node.value)
    return None


def _tried(step: Read, limits: set[float]) -> list[float]:
    low, high = step.plausible
    found = {low, high}
    for limit in limits:
        off = half_width(step.accuracy, step.unit, limit)
        found |= {limit, limit - 1.5 * off, limit + 1.5 * off}
    ordered = sorted(one for one in found if low <= one <= high)
    return sorted({*ordered, *((a + b) / 2 for a, b in pairwise(ordered))})
