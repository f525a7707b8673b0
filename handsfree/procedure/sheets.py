"""The tables and worksheets at the end of a printed copy, as lines."""

from __future__ import annotations

import ast
import math
from collections.abc import Iterator, Sequence

from handsfree.language.quantities import symbol
from handsfree.procedure.copying import Copy, tables_of
from handsfree.procedure.in_words import Worded
from handsfree.procedure.worked_out import Table, table_of
from handsfree.resources import of_trade

Lines = Iterator[tuple[str, str]]


def sheets(copy: Copy) -> Lines:
    """(style, text) of each table; a table that a condition of another names comes behind it."""
    at = 0
    while at < len(copy.drawn):
        drawn = copy.drawn[at]
        title = copy.words("table", name=drawn.name)
        yield "table", title[:1].upper() + title[1:]
        part, call = drawn.calls[0]
        table = table_of(copy.book.procedures[part], call)
        if table.by != "cases":
            entered = [_entered(copy, *one, table) for one in drawn.calls]
            what = f"; {copy.words('one-of')} ".join(dict.fromkeys(filter(None, entered)))
            yield from [("plain", copy.words("enter", what=what))] if what else []
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
        yield "plain", copy.words("table-hand")
    yield from (("row", line) for line in lines)
    if lines and module is not None and name in module.ON_A_CHART:
        yield "chart", copy.words("chart-time")


def _worked(copy: Copy, table: Table, saying: Worded) -> Lines:
    if table.by == "cases":
        assert table.condition is not None
        condition = saying.said(table.condition)
        for truth, one in table.cases:
            yield "plain", copy.words("where" if truth else "where-not", condition=condition)
            lines = [saying.line(axis.name) for axis in one.axes]
            less = copy.words("work-less", left=lines[0], right=lines[-1])
            yield "plain", copy.words("enter", what=less if one.by == "difference" else ", ".join(reversed(lines)))
            yield from _worked(copy, one, saying)
        return
    unit = symbol(table.axes[0].unit)
    if table.by in ("one", "difference", "ratio"):
        yield from (("row", text) for text in _stretches(copy, table.rows[0][1], "" if table.by == "ratio" else unit))
        return
    last = table.axes[-1]
    for value, cells in table.rows:
        head = f"{value:g}{symbol(last.unit)}"
        points = (f"{low:g}{unit}: {text}" for low, _, text in cells)
        texts = points if table.by == "numbers" else _stretches(copy, cells, unit)
        yield "row", f"{head} | " + "   ".join(one.replace(" ", "\N{NO-BREAK SPACE}") for one in texts)
    yield "plain", copy.words("nearest" if table.by == "numbers" else "row-only")


def _stretches(copy: Copy, cells: Sequence[tuple[float, float, str]], unit: str) -> Iterator[str]:
    for low, high, text in cells:
        result = copy.words(text) if text in ("yes", "no") else text
        if math.isinf(low) and math.isinf(high):
            yield result
        elif math.isinf(low):
            yield f"{copy.words('below', value=f'{high:g}{unit}')}: {result}"
        elif math.isinf(high):
            yield f"{copy.words('above', value=f'{low:g}{unit}')}: {result}"
        else:
            yield f"{copy.words('between', low=f'{low:g}', high=f'{high:g}{unit}')}: {result}"
