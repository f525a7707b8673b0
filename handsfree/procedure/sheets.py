"""The tables and worksheets at the end of a printed copy, as lines."""

from __future__ import annotations

import ast
import math
from collections.abc import Iterator, Sequence

from handsfree.language.quantities import symbol
from handsfree.language.tokens import capital
from handsfree.procedure.copying import HARD, Copy, CopyLine, tables_of
from handsfree.procedure.in_words import Worded
from handsfree.procedure.worked_out import Table, table_of
from handsfree.resources import of_trade

Lines = Iterator[CopyLine]


def sheets(copy: Copy) -> Lines:
    """Of each table; a table that a condition of another names comes behind it."""
    at = 0
    while at < len(copy.drawn):
        drawn = copy.drawn[at]
        title = copy.words("table", name=drawn.name)
        yield CopyLine("table", capital(title))
        part, call = drawn.calls[0]
        table = table_of(copy.book.procedures[part], call)
        if table.by != "cases":
            entered = [_entered(copy, *one, table) for one in drawn.calls]
            what = f"; {copy.words('one-of')} ".join(dict.fromkeys(filter(None, entered)))
            yield from [CopyLine("plain", copy.words("enter", what=what))] if what else []
        copy.here = part
        yield from _by_hand(copy, call) if table.by == "hand" else _worked(copy, table, copy.saying(tables_of(copy)))
        at += 1


def _entered(copy: Copy, part: str, call: ast.Call, like: Table) -> str:
    """What a table is entered with, for one of the calls that it serves."""
    copy.here = part
    saying = copy.saying(tables_of(copy))
    if like.by == "hand":
        return ", ".join(_given(call, saying))
    table = like if not like.axes else table_of(copy.book.procedures[part], call)
    lines = [saying.line(axis.name) for axis in table.axes]
    key = {"difference": "work-less", "ratio": "work-by"}.get(table.by, "work-less" if table.apart else "")
    first = copy.words(key, left=lines[0], right=lines[1]) if key else lines[0]
    return first if table.by in ("one", "difference", "ratio") else f"{lines[-1]}, {first}"


def _given(call: ast.Call, saying: Worded) -> list[str]:
    """The arguments that are readings, in words."""
    named = [one for one in call.args if any(isinstance(node, ast.Name) for node in ast.walk(one))]
    return [saying.said(one) for one in named if not (isinstance(one, ast.Call) and ast.unparse(one.func) == "rows")]


def _by_hand(copy: Copy, call: ast.Call) -> Lines:
    name = call.func.id if isinstance(call.func, ast.Name) else ""
    module = of_trade("worksheets")
    lines: Sequence[str] = module.BY_HAND.get(copy.code, {}).get(name, ()) if module is not None else ()
    if not lines:
        yield CopyLine("plain", copy.words("table-hand"))
    yield from (CopyLine("row", line) for line in lines)
    if lines and module is not None and name in module.ON_A_CHART:
        yield CopyLine("chart", copy.words("chart-time"))


def _worked(copy: Copy, table: Table, saying: Worded) -> Lines:
    if table.by == "cases":
        assert table.condition is not None
        condition = saying.said(table.condition)
        for truth, one in table.cases:
            yield CopyLine("plain", copy.words("where" if truth else "where-not", condition=condition))
            lines = [saying.line(axis.name) for axis in one.axes]
            less = copy.words("work-less", left=lines[0], right=lines[-1])
            yield CopyLine("plain", copy.words("enter", what=less if one.by == "difference" else ", ".join(reversed(lines))))
            yield from _worked(copy, one, saying)
        return
    unit = symbol(table.axes[0].unit)
    for value, cells in table.rows:
        texts = [_stretch(copy, one, "" if table.by == "ratio" else unit) for one in cells]
        if table.by == "numbers":
            texts = [(text, f"{low:g}{unit}") for low, _, text in cells]
        said = "   ".join((f"{where}: {result}" if where else result).replace(" ", HARD) for result, where in texts)
        if table.by == "numbers":  # one column per value, not per result
            columns = [(where, result) for result, where in texts]
        else:
            columns = [_stretch(copy, one, "") for one in cells]
        shown = "" if table.by in ("numbers", "ratio") else unit.strip()
        if value is None:
            yield CopyLine("row", said, 0, _cells(copy, shown, columns))
        else:
            head = f"{value:g}{symbol(table.axes[-1].unit)}"
            yield CopyLine("row", f"{head} | {said}", 0, _cells(copy, head, columns, shown))
    if table.by not in ("one", "difference", "ratio"):
        yield CopyLine("plain", copy.words("nearest" if table.by == "numbers" else "row-only"))


def _cells(copy: Copy, head: str, columns: Sequence[tuple[str, str]], unit: str = "") -> tuple[tuple[str, str], ...]:
    """`head`: what stands before the row; `unit`: what stands with the head of each column."""
    named = ((f"{column}, {unit}" if unit else column, cell or copy.words("any")) for column, cell in columns)
    return (("", head), *named) if head else tuple(named)


def _stretch(copy: Copy, stretch: tuple[float, float, str], unit: str) -> tuple[str, str]:
    """(result, where): where it is everywhere, nothing."""
    low, high, text = stretch
    result = copy.words(text) if text in ("yes", "no") else text
    if math.isinf(low) and math.isinf(high):
        return result, ""
    if math.isinf(low):
        return result, copy.words("below", value=f"{high:g}{unit}")
    if math.isinf(high):
        return result, copy.words("above", value=f"{low:g}{unit}")
    return result, copy.words("between", low=f"{low:g}", high=f"{high:g}{unit}")
