"""Functions of decisions as small tables worked out beforehand, for a person with paper.

Rules of this file:

- A table is worked out from the function itself, over the readings that it is given: no trade is known here.
- What depends on the difference of two readings alone, or on their ratio, is found by trying, and becomes one column.
- What takes more readings than a table holds, or timed ones, is worked by hand as its trade says; where the trade says
  nothing, paper has no answer, and the step goes where it goes in all other cases."""

from __future__ import annotations

import ast
import math
import random
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from handsfree.procedure.evaluation import Value, value_of
from handsfree.procedure.expressions import name_of
from handsfree.procedure.model import Procedure, Read

POINTS, ROWS, COLUMNS, MOST_ROWS, TRIES = 240, 9, 7, 16, 60
#: A value of the function in words or as a number.
Of = Callable[[Mapping[str, float | bool]], Value]


@dataclass(frozen=True)
class Axis:
    """What a table is entered with. `name`: of a reading, or of a condition. `low`, `high`: in the reading's unit."""

    name: str
    low: float = 0.0
    high: float = 0.0
    unit: str = ""


@dataclass(frozen=True)
class Table:
    """`by`: 'one' (axis), 'difference' or 'ratio' (of the first two axes), 'two' (one row per value of the last axis),
    'numbers' (the same, with one column per value of the first), 'cases' (a table for each truth of a condition) or 'hand'
    (no table). `rows`: (value of the last axis or None, stretches). A stretch is (from, to, result); infinite ends are
    open."""

    by: str
    axes: tuple[Axis, ...] = ()
    rows: tuple[tuple[float | None, tuple[tuple[float, float, str], ...]], ...] = ()
    condition: ast.expr | None = None
    cases: tuple[tuple[bool, Table], ...] = ()
    apart: bool = False  # the first axis is the difference of the first two


BY_HAND = Table("hand")


def table_of(procedure: Procedure, call: ast.Call) -> Table:
    """One call stands in several cases, and a part in several procedures: it is worked out once."""
    return _kept(procedure, ast.unparse(call))


@lru_cache(maxsize=512)
def _kept(procedure: Procedure, text: str) -> Table:
    call = ast.parse(text, mode="eval").body
    assert isinstance(call, ast.Call)
    return _worked_out(procedure, call)


def _worked_out(procedure: Procedure, call: ast.Call) -> Table:
    axes = _axes(procedure, call)
    if axes is None or not axes:
        return BY_HAND
    conditions = [one for one in call.args if isinstance(one, ast.Compare)]
    if conditions:
        return _by_cases(procedure, call, conditions[0])

    def of(values: Mapping[str, float | bool]) -> Value:
        return value_of(call, dict(values))

    if len(axes) == 3:
        return _less_one(of, axes)
    return _one_or_two(of, axes) if len(axes) < 3 else BY_HAND


def _by_cases(procedure: Procedure, call: ast.Call, condition: ast.Compare) -> Table:
    made = []
    for truth in (True, False):
        plain = ast.copy_location(ast.Constant(truth), condition)
        args = [plain if one is condition else one for one in call.args]
        made.append((truth, _worked_out(procedure, ast.Call(call.func, args, []))))
    return BY_HAND if any(one.by == "hand" for _, one in made) else Table("cases", condition=condition, cases=tuple(made))


def _less_one(of: Of, axes: Sequence[Axis]) -> Table:
    """Three of which two count by their difference alone."""
    for at, other in ((0, 1), (1, 2), (0, 2)):
        first, second, third = axes[at], axes[other], axes[3 - at - other]
        fixed = (third.low + third.high) / 2

        def with_third(values: Mapping[str, float | bool], name: str = third.name, fixed: float = fixed) -> Value:
            return of({**values, name: fixed})

        if first.unit == second.unit and _same(with_third, first, second, lambda x, d: x + d):
            apart = Axis(first.name, 0.0, first.high - second.low, first.unit)

            def by_two(values: Mapping[str, float | bool], a: Axis = first, b: Axis = second) -> Value:
                return of({**values, a.name: b.low + float(values[a.name]), b.name: b.low})

            made = _one_or_two(by_two, [apart, third])
            return Table(made.by, (first, second, third), made.rows, apart=True) if made.by != "hand" else made
    return BY_HAND


def _one_or_two(of: Of, axes: Sequence[Axis]) -> Table:
    first, second = axes[0], axes[-1]
    if len(axes) == 1:
        return _found("one", axes, [(None, _stretches(lambda x: of({first.name: x}), first.low, first.high))])
    if first.unit == second.unit and _same(of, first, second, lambda x, d: x + d):
        at, reach = (second.low + second.high) / 2, max(first.high - second.low, second.high - first.low)

        def by_difference(difference: float) -> Value:
            return of({first.name: at + difference, second.name: at})

        return _found("difference", axes, [(None, _stretches(by_difference, -reach, reach))])
    if first.unit == second.unit and first.low >= 0 and _same(of, first, second, lambda x, d: x * (1 + d / 100)):

        def by_ratio(ratio: float) -> Value:
            return of({first.name: second.high * ratio, second.name: second.high})

        return _found("ratio", axes, [(None, _stretches(by_ratio, 0.0, 2.0))])
    if isinstance(of({one.name: one.high * 0.7 + one.low * 0.3 for one in axes}), float):
        return _numbers(of, first, second)

    def at_row(value: float) -> list[tuple[float, float, str]]:
        return _stretches(lambda x: of({first.name: x, second.name: value}), first.low, first.high)

    return _found("two", axes, [(value, at_row(value)) for value in _spread(of, first, second)])


def _numbers(of: Of, first: Axis, second: Axis) -> Table:
    columns = [value for value in _round_values(first) if value > 0][:COLUMNS]
    rows = []
    for value in (one for one in _round_values(second) if one > 0):
        cells = [(x, x, _shown(of({first.name: x, second.name: value})) or "-") for x in columns]
        rows.append((value, tuple(cells)))
    return Table("numbers", (first, second), tuple(rows)) if rows and columns else BY_HAND


def _found(by: str, axes: Sequence[Axis], rows: Sequence[tuple[float | None, list[tuple[float, float, str]]]]) -> Table:
    if any(len(stretches) > 12 for _, stretches in rows) or not any(stretches for _, stretches in rows):
        return Table("hand")
    return Table(by, tuple(axes), tuple((value, tuple(stretches)) for value, stretches in rows if stretches))


def _axes(procedure: Procedure, call: ast.Call) -> list[Axis] | None:
    """The readings that enter, in order; None where something else does."""
    steps = {name_of(step.id): step for step in procedure.steps}
    found: dict[str, Axis] = {}
    for node in (one for argument in call.args for one in ast.walk(argument)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("rows", "taken"):
            return None
        if isinstance(node, ast.Name) and isinstance(step := steps.get(node.id), Read):
            low, high = step.plausible
            found[node.id] = Axis(node.id, low, high, step.unit)
    return list(found.values())


def _same(of: Of, first: Axis, second: Axis, moved: Callable[[float, float], float]) -> bool:
    """Moving both alike never changes the result, and moving one does."""
    dice, changed = random.Random(1), False
    for _ in range(TRIES):
        a, b, by = dice.uniform(first.low, first.high), dice.uniform(second.low, second.high), dice.uniform(-20, 20)
        before = of({first.name: a, second.name: b})
        if not _alike(before, of({first.name: moved(a, by), second.name: moved(b, by)})):
            return False
        changed = changed or before != of({first.name: moved(a, by), second.name: b})
    return changed


def _alike(one: Value, other: Value) -> bool:
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=1e-6)
    return one == other


def _round_values(axis: Axis) -> list[float]:
    """From end to end."""
    raw = (axis.high - axis.low) / ROWS
    size = 10 ** math.floor(math.log10(raw))
    step = next(size * one for one in (1, 2, 5, 10) if size * one >= raw)
    first = math.ceil(axis.low / step) * step
    return [round(first + at * step, 6) for at in range(int((axis.high - first) / step + 1e-9) + 1)]


def _spread(of: Of, first: Axis, second: Axis) -> list[float]:
    """Round values, or, where the function takes only certain ones (the nominal voltages there are), those."""

    def taken(value: float) -> bool:
        return any(of({first.name: first.low + (first.high - first.low) * at / 4, second.name: value}) is not None
                   for at in range(1, 4))  # fmt: skip

    plain = _round_values(second)
    if sum(map(taken, plain)) > len(plain) / 2 or second.high - second.low > 1000:
        return plain
    return [float(one) for one in range(math.ceil(second.low), math.floor(second.high) + 1) if taken(one)][:MOST_ROWS]


def _stretches(of: Callable[[float], Value], low: float, high: float) -> list[tuple[float, float, str]]:
    """Where the result stays the same, from end to end; where it cannot be worked out it is left out."""
    grid = sorted({*_linear(low, high), *_finer_near_zero(low, high)})
    found: list[tuple[float, float, str]] = []
    start, now = low, _shown(of(grid[0]))
    for before, after in pairwise(grid):
        then = _shown(of(after))
        if then == now:
            continue
        edge = _edge(of, before, after, now)
        if now:
            found.append((start, edge, now))
        start, now = edge, then
    if now:
        found.append((start, high, now))
    return [(_open(a, low, -math.inf), _open(b, high, math.inf), text) for a, b, text in found]


def _open(value: float, end: float, beyond: float) -> float:
    return beyond if value == end else value


def _linear(low: float, high: float) -> Iterator[float]:
    return (low + (high - low) * at / POINTS for at in range(POINTS + 1))


def _finer_near_zero(low: float, high: float) -> Iterator[float]:
    """Limits lie near the lower end where a range spans powers of ten: an insulation from 0 to 10,000 megohms."""
    for at in range(POINTS):
        value = 10 ** (-2 + 8 * at / POINTS)
        yield from (one for one in (value, -value) if low < one < high)


def _edge(of: Callable[[float], Value], low: float, high: float, before: str) -> float:
    for _ in range(40):
        middle = (low + high) / 2
        if _shown(of(middle)) == before:
            low = middle
        else:
            high = middle
    return _rounded(high)


def _rounded(value: float) -> float:
    return float(f"{value:.3g}")


def _shown(value: Value) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value if isinstance(value, str) else f"{value:.0f}" if abs(value) >= 100 else f"{value:.2g}"
