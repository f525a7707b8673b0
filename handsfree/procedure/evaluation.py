"""The value of a decide step's expression, and the readings and answers behind it.

Rules of this file:

- A reading that was not taken, or was over range or unsteady, is *unknown*. So is a function that cannot be computed.
  Unknown spreads as in Kleene's logic: `false and unknown` is false, `true and unknown` is unknown.
- Each number carries its possible error (the instrument's accuracy). A comparison whose two sides differ by less than that
  is *borderline*. An expression is borderline if its result could change when its borderline comparisons change.
- The error of a sum, product or quotient is the worst case, not the likely one. For a function it is the sum of the errors
  that each argument causes on its own, to either side."""

from __future__ import annotations

import ast
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise
from typing import Any, NamedTuple

from handsfree.procedure.accuracy import half_width
from handsfree.procedure.expressions import name_of, names_used, parse_expression, rows_of
from handsfree.procedure.functions import BUILT_IN, Calls, run_function, signature, usual_calls
from handsfree.procedure.model import Procedure, Read

Value = float | str | bool | None
#: (minute, value) of timed readings.
Pairs = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Outcome:
    """`holds`: None for unknown. `borderline`: it could be the other way within the instruments' accuracy.
    `because`: (name, value) of what it used, None for what was not there."""

    holds: bool | None
    borderline: bool
    because: tuple[tuple[str, Value], ...]

    @property
    def sure(self) -> bool:
        """It surely holds: the only outcome that may choose a case."""
        return self.holds is True and not self.borderline


class _Term(NamedTuple):
    """`off`: half-width of a number. `firm`: the truth when borderline comparisons count as unknown. A tuple, for each
    number of a series becomes one."""

    value: Value
    off: float = 0.0
    firm: bool | None = None


@dataclass
class _Bench:
    values: Mapping[str, Value]
    widths: Mapping[str, float]
    calls: Calls
    series: Mapping[str, Pairs] = field(default_factory=dict)
    used: dict[str, Value] = field(default_factory=dict)


_UNKNOWN = _Term(None)


def evaluate(
    text: str, values: Mapping[str, Value], calls: Calls | None = None, widths: Mapping[str, float] | None = None,
    series: Mapping[str, Pairs] | None = None,
) -> Outcome:
    """`values`: by name as expressions write it (missing or None: not taken). `widths`: half-width of each reading, in its
    own unit. `series`: the timed readings that `rows` stands for. Raises expressions.Wrong for a text that
    `expressions.check` would not have passed."""
    bench = _Bench(values, widths or {}, {**BUILT_IN, **(usual_calls() if calls is None else calls)}, series or {})
    term = _term(parse_expression(text), bench)
    holds = term.value if isinstance(term.value, bool) else None
    return Outcome(holds, holds is not None and term.firm is None, tuple(bench.used.items()))


def value_of(node: ast.expr, values: Mapping[str, Value]) -> Value:
    """The value of a part of a parsed expression; None for unknown."""
    return _term(node, _Bench(values, {}, {**BUILT_IN, **usual_calls()})).value


def spread(node: ast.expr, values: Mapping[str, Value], widths: Mapping[str, float]) -> tuple[float | None, float]:
    """(value, half-width) of a part of a parsed expression that is a number; (None, 0) for unknown."""
    term = _term(node, _Bench(values, widths, {**BUILT_IN, **usual_calls()}))
    return _number(term), term.off


def widths_of(procedure: Procedure, values: Mapping[str, Value]) -> dict[str, float]:
    """The half-width of each reading of the procedure at its value, by name."""
    steps = _reads(procedure)
    return {
        name: half_width(steps[name].accuracy, steps[name].unit, float(value))
        for name, value in values.items() if name in steps and isinstance(value, int | float)
    }  # fmt: skip


@lru_cache(maxsize=256)
def _reads(procedure: Procedure) -> dict[str, Read]:
    """The steps that take a reading, by name; asked at every decision."""
    return {name_of(step.id): step for step in procedure.steps if isinstance(step, Read)}


def decides(procedure: Procedure) -> frozenset[str]:
    """Ids of the steps that a decide step of the procedure uses: their readings need 'affirm'."""
    names: set[str] = set()
    for step in procedure.steps:
        if step.kind == "decide":
            for case in step.cases:
                names |= set(names_used(case.when))
    return frozenset(step.id for step in procedure.steps if name_of(step.id) in names)


#: Share of the plausible range within which a reading counts as near a limit: common practice, no source.
NEAR = 0.01


def limits(procedure: Procedure, step: Read) -> Iterator[float]:
    """Each plain number that a decision compares this reading with."""
    name = name_of(step.id)
    for each in procedure.steps:
        for case in each.cases if each.kind == "decide" else ():
            yield from (limit for names, limits_ in _comparisons(case.when) if name in names for limit in limits_)


@lru_cache(maxsize=4096)
def _comparisons(when: str) -> tuple[tuple[frozenset[str], tuple[float, ...]], ...]:
    """Of each comparison, the names and the plain numbers in it."""
    found = []
    for node in ast.walk(parse_expression(when)):
        if isinstance(node, ast.Compare):
            sides = [node.left, *node.comparators]
            numbers = (side.value for side in sides if isinstance(side, ast.Constant))
            names = frozenset(side.id for side in sides if isinstance(side, ast.Name))
            found.append((names, tuple(float(number) for number in numbers if isinstance(number, int | float))))
    return tuple(found)


def near_a_limit(procedure: Procedure, step: Read, value: float) -> bool:
    """So near to a limit on which a decision hangs that the instrument, or the ear, may have put it on this side."""
    low, high = step.plausible
    off = max(half_width(step.accuracy, step.unit, value), NEAR * (high - low))
    return any(abs(value - limit) <= off for limit in limits(procedure, step))


# ---- terms ----------------------------------------------------------------------------------------------------------


def _term(node: ast.expr, bench: _Bench) -> _Term:
    match node:
        case ast.Constant(value=bool() as truth):
            return _Term(truth, 0.0, truth)
        case ast.Constant(value=int() | float() as number):
            return _Term(float(number))
        case ast.Constant(value=str() as words):
            return _Term(words)
        case ast.Name():
            return _named(node.id, bench)
        case ast.BoolOp():
            return _joined(node, bench)
        case ast.UnaryOp():
            return _unary(node, _term(node.operand, bench))
        case ast.BinOp():
            return _sum(node.op, _term(node.left, bench), _term(node.right, bench))
        case ast.Compare():
            sides = [_term(side, bench) for side in (node.left, *node.comparators)]
            parts = [_compared(op, *pair) for op, pair in zip(node.ops, pairwise(sides), strict=True)]
            return _Term(_both([_truth(part.value) for part in parts]), 0.0, _both([part.firm for part in parts]))
        case ast.Call():
            return _called(node, bench)
    return _UNKNOWN  # parse lets nothing else through


def _named(name: str, bench: _Bench) -> _Term:
    value = bench.values.get(name)
    bench.used[name] = value
    if isinstance(value, bool) or value is None:
        return _UNKNOWN
    if isinstance(value, str):
        return _Term(value)
    return _Term(float(value), bench.widths.get(name, 0.0)) if math.isfinite(value) else _UNKNOWN


def _truth(value: Value) -> bool | None:
    return value if isinstance(value, bool) else None


def _both(truths: list[bool | None]) -> bool | None:
    if False in truths:
        return False
    return None if None in truths else True


def _either(truths: list[bool | None]) -> bool | None:
    if True in truths:
        return True
    return None if None in truths else False


def _joined(node: ast.BoolOp, bench: _Bench) -> _Term:
    """From the left, and no further than needed, so that `taken(x) and x > 5` uses x only where it is there."""
    join, settles = (_both, False) if isinstance(node.op, ast.And) else (_either, True)
    terms: list[_Term] = []
    for part in node.values:
        terms.append(_term(part, bench))
        if terms[-1].firm is settles:
            break
    return _Term(join([_truth(term.value) for term in terms]), 0.0, join([term.firm for term in terms]))


def _unary(node: ast.UnaryOp, term: _Term) -> _Term:
    if isinstance(node.op, ast.Not):
        truth = _truth(term.value)
        return _Term(None if truth is None else not truth, 0.0, None if term.firm is None else not term.firm)
    number = _number(term)
    return _UNKNOWN if number is None else _Term(-number, term.off)


def _number(term: _Term) -> float | None:
    return term.value if isinstance(term.value, float) and not isinstance(term.value, bool) else None


def _sum(op: ast.operator, left: _Term, right: _Term) -> _Term:
    a, b = _number(left), _number(right)
    if a is None or b is None:
        return _UNKNOWN
    if isinstance(op, ast.Add | ast.Sub):
        return _finite(a + b if isinstance(op, ast.Add) else a - b, left.off + right.off)
    if isinstance(op, ast.Mult):
        return _finite(a * b, abs(a) * right.off + abs(b) * left.off + left.off * right.off)
    if b == 0.0:
        return _UNKNOWN
    nearest = abs(b) - right.off  # the divisor nearest to zero that it may really be
    return _finite(a / b, math.inf if nearest <= 0 else (left.off + abs(a / b) * right.off) / nearest)


def _finite(value: float, off: float) -> _Term:
    return _Term(value, off) if math.isfinite(value) and not math.isnan(off) else _UNKNOWN


_ORDER: dict[type[ast.cmpop], Callable[[float, float], bool]] = {
    ast.Lt: lambda a, b: a < b, ast.LtE: lambda a, b: a <= b, ast.Gt: lambda a, b: a > b,
    ast.GtE: lambda a, b: a >= b, ast.Eq: lambda a, b: a == b, ast.NotEq: lambda a, b: a != b,
}  # fmt: skip


def _compared(op: ast.cmpop, left: _Term, right: _Term) -> _Term:
    a, b = left.value, right.value
    if isinstance(a, str) and isinstance(b, str) and isinstance(op, ast.Eq | ast.NotEq):
        truth = (a == b) is isinstance(op, ast.Eq)
        near = left.off > 0 or right.off > 0  # a word that the function need not have given
        return _Term(truth, 0.0, None if near else truth)
    x, y = _number(left), _number(right)
    if x is None or y is None:
        return _UNKNOWN
    truth = bool(_ORDER[type(op)](x, y))
    off = left.off + right.off
    near = off > 0 and abs(x - y) <= off
    return _Term(truth, 0.0, None if near else truth)


def _called(node: ast.Call, bench: _Bench) -> _Term:
    assert isinstance(node.func, ast.Name)
    if node.func.id == "taken":
        name = node.args[0].id if node.args and isinstance(node.args[0], ast.Name) else ""
        value = bench.values.get(name)
        bench.used[name] = value
        return _Term(value is not None, 0.0, value is not None)
    call = bench.calls.get(node.func.id)
    terms = [term for argument in node.args for term in _argument(argument, bench)]
    if call is None or any(term.value is None for term in terms):
        return _UNKNOWN
    values = [term.value for term in terms]
    result = _tried(call, values)
    if signature(call).weighs:
        terms = []  # it weighs the accuracy itself, and says 'borderline' in words
    steady = _steady(call, values, terms, result)
    if isinstance(result, bool):
        return _Term(result, 0.0, result if steady else None)
    if not isinstance(result, float):
        return _Term(result, 0.0 if steady else math.inf)
    off = 0.0
    for at, term in enumerate(terms):
        moved = [_tried(call, moved_values) for moved_values in _moved(values, at, term)]
        numbers = [abs(one - result) if isinstance(one, float) else math.inf for one in moved]
        off += max(numbers, default=0.0)
    return _Term(result, off)


def _argument(node: ast.expr, bench: _Bench) -> list[_Term]:
    """One term, or as many as the readings that `rows` stands for."""
    name = rows_of(node)
    if name is None:
        return [_term(node, bench)]
    pairs = bench.series.get(name, ())
    bench.used[f"{name} readings"] = float(len(pairs))
    return [_Term(value) for pair in pairs for value in pair]


def _moved(values: list[Value], at: int, term: _Term) -> list[list[Value]]:
    number = _number(term)
    if number is None or term.off <= 0 or not math.isfinite(term.off):
        return []
    return [[*values[:at], number + side, *values[at + 1 :]] for side in (-term.off, term.off)]


def _steady(call: Any, values: list[Value], terms: list[_Term], result: Value) -> bool:
    return all(_tried(call, moved) == result for at, term in enumerate(terms) for moved in _moved(values, at, term))


def _tried(call: Any, values: list[Value]) -> Value:
    """None where the arithmetic has no answer. The trade's functions say so by Trouble; libraries under them by others."""
    try:
        result = run_function(call, values)
    except Exception:
        return None
    if isinstance(result, bool | str):
        return result
    try:
        number = float(result)
    except (TypeError, ValueError):
        return None
    return number if math.isfinite(number) else None
