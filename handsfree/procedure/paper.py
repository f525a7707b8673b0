"""The printed copy as PDF, and the card for the pocket: what stands in which block. `typesetting/copy.typ` has the looks.

- A step is never split: one that does not fit goes to the next column. What is behind an isolation has a bar beside it.
- A way to a step that is not near carries its page; on a screen it is a link. Which ways carry one does not depend on where
  the pages break: otherwise the layout would never settle.
- A table of ranges is drawn by its results: one column per result."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from itertools import groupby

from handsfree.procedure.copying import ARROW, HARD, Copy, CopyLine
from handsfree.procedure.model import Book
from handsfree.procedure.pocket import card_lines
from handsfree.procedure.printed import lines_of
from handsfree.typesetting import pages_of, typeset

#: Points: of a copy of many pages, and of one that has few even so.
SMALLEST, SIZES, FEW_PAGES = 8.0, (10.0, 9.0), 10
CARD_SIZES = (13.0, 12.0, 11.0, 10.0, 9.0, SMALLEST)
#: Signs. A step longer than `LONGEST` may be split: it would not fit a column. `LINE`: what a line of the smallest letters
#: surely holds.
LONGEST = 3000
LINE = 70
NEAR = 16  # steps


@dataclass(frozen=True)
class PaperRow:
    """`style`: as of a line, or grid. `grid`: rows of cells, the first their heads."""

    style: str
    text: str = ""
    grid: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True)
class PaperBlock:
    """`kind`: title, part, sheet, step, contents, small or plain. `number`: of a step, or of the step that a line of the
    contents leads to."""

    kind: str
    title: str = ""
    number: int = 0
    rows: tuple[PaperRow, ...] = ()
    gated: bool = False
    signal: bool = False
    torn: bool = False


def pdf(book: Book) -> bytes:
    """A short one is set larger."""
    lines = list(lines_of(book))
    made = _set(book, lines, SMALLEST)
    larger = next((size for size in SIZES if pages_of(made) * (size / SMALLEST) ** 2 < FEW_PAGES), None)
    return made if larger is None else _set(book, lines, larger)


def card(book: Book) -> bytes:
    """One page for the pocket: as small as it must be; what does not fit even so stands in the copy."""
    lines = list(card_lines(book))
    for size in CARD_SIZES:
        made = _set(book, lines, size, False)
        if pages_of(made) == 1:
            return made
    more = CopyLine("part", Copy(book).words("card-more"))
    while pages_of(made) > 1:
        lines = lines[: int(len(lines) * 0.95)]
        made = _set(book, [*lines, more], SMALLEST, False)
    return made


def _set(book: Book, lines: Sequence[CopyLine], size: float, pages: bool = True) -> bytes:
    main, words = book.procedures[book.main], Copy(book).words
    page = words("page") if pages else ""
    return typeset("copy", {
        "title": main.title, "language": main.language, "size": size, "chart": words("chart-time"),
        "chart_alt": words("chart-alt"), "only_isolated": words("only-isolated"),
        "blocks": [asdict(block) for block in blocks(lines, page, int(LINE * SMALLEST / size))],
    })  # fmt: skip


def blocks(lines: Sequence[CopyLine], page: str, signs: int) -> Iterator[PaperBlock]:
    """`page`: the word before the number of a page; empty where none is wanted. `signs`: what a line surely holds."""
    here = {line.number for line in lines if line.style == "step" and page}

    def paged(line: CopyLine) -> str:
        def far(way: re.Match[str]) -> str:
            to = int(way[1])
            near = abs(to - line.number) <= NEAR or to not in here
            return way[0] if near else f"{way[0]}{HARD}({page}{HARD}{_page_of(to)})"

        return re.sub(rf"{ARROW}{HARD}(\d+)", far, _kept(line.text))

    for group in _groups(lines):
        first, rest = group[0], group[1:]
        if first.style == "step":
            styles = {line.style for line in rest}
            rows = tuple(_joined([PaperRow(line.style, paged(line)) for line in rest if line.style != "gate"], signs))
            torn = sum(len(row.text) for row in rows) > LONGEST
            yield PaperBlock("step", "", first.number, rows, "gate" in styles, "signal" in styles, torn)
        elif first.style == "table":
            yield PaperBlock("sheet", first.text, 0, tuple(_sheet_rows(rest)))
        elif first.style == "contents" and first.number in here:
            yield PaperBlock("contents", f"{first.text}, {page}{HARD}{_page_of(first.number)}", first.number)
        else:
            kind = first.style if first.style in ("title", "part", "contents", "small") else "plain"
            yield PaperBlock(kind, first.text, 0 if kind == "contents" else first.number)


def _page_of(number: int) -> str:
    """Where `copy.typ` writes the page of a step."""
    return f"\N{MATHEMATICAL LEFT WHITE SQUARE BRACKET}{number}\N{MATHEMATICAL RIGHT WHITE SQUARE BRACKET}"


def _kept(text: str) -> str:
    """What is written stays with its line to write on."""
    return re.sub(": (?=_)", f":{HARD}", text)


def _joined(rows: Sequence[PaperRow], signs: int) -> Iterator[PaperRow]:
    """The ways of a decision, as many to a line as it holds; each way whole."""
    if any(row.style != "tick" for row in rows):
        yield from rows
        return
    line = ""
    for row in rows:
        if line and _length(line) + _length(row.text) > signs:
            yield PaperRow("tick", line)
            line = ""
        line += ("   " if line else "") + row.text
    yield PaperRow("tick", line)


def _length(text: str) -> int:
    return len(re.sub(r"\W\d+\W(?=\))", "10", text))


def _groups(lines: Sequence[CopyLine]) -> Iterator[list[CopyLine]]:
    """Each step with its lines, each table with its, and everything else by itself."""
    group: list[CopyLine] = []
    for line in lines:
        style = group[0].style if group else ""
        joins = line.number == group[0].number if style == "step" else line.style in ("row", "plain", "chart")
        if group and not (joins and style in ("step", "table") and line.style not in ("step", "part")):
            yield group
            group = []
        group.append(line)
    if group:
        yield group


def _sheet_rows(lines: Sequence[CopyLine]) -> Iterator[PaperRow]:
    for tabled, group in groupby(lines, lambda line: bool(line.cells)):
        if tabled:
            yield PaperRow("grid", "", _grid([line.cells for line in group]))
        else:
            yield from (PaperRow(line.style, line.text) for line in group)


def _grid(rows: Sequence[tuple[tuple[str, str], ...]]) -> tuple[tuple[str, ...], ...]:
    """One column per result; values with the same in all columns share a row."""
    heads = tuple(dict.fromkeys(column for row in rows for column, _ in row))
    cells = [tuple(", ".join(cell for column, cell in row if column == head) for head in heads) for row in rows]
    if heads[0]:
        return heads, *cells
    shared: dict[tuple[str, ...], list[str]] = {}
    for first, *rest in cells:
        shared.setdefault(tuple(rest), []).append(first)
    return heads, *((", ".join(firsts), *rest) for rest, firsts in shared.items())
