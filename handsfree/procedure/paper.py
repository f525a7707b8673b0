"""The printed copy as PDF: A4, two columns, black and white, in the fonts that every reader has.

Rules of this file:

- A step is never torn: one that does not fit goes to the next column. What is behind an isolation has a bar beside it.
- A number after an arrow carries the page of its step where that is another page; so pages are laid out until they stay.
- Only Western European letters are in those fonts; others print as '?'."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from handsfree.procedure.copying import ARROW, BOX, HARD, Copy, CopyLine
from handsfree.procedure.model import Book
from handsfree.procedure.printed import lines_of

if TYPE_CHECKING:
    from fpdf import FPDF

MARGIN, GAP, TOP, FOOT = 9.5, 6.5, 9.0, 287.0  # mm
COLUMN = (210 - 2 * MARGIN - GAP) / 2
GUTTER = 7.5  # mm, for the number of a step
MOST_LAYOUTS = 6
#: Letters of a copy of few pages, and of one of many; the smallest letters that may be: with them the largest copy that
#: ships has ten pages.
SCALES, FEW_PAGES, SMALLEST = (1.3, 1.15, 1.0, 0.95, 0.92), 9.6, 0.885
LEADING = 0.392  # mm a point: 1.11 of the letters' height


@dataclass(frozen=True)
class Style:
    """`size` in points, `indent` and `before` in mm."""

    bold: bool
    size: float
    indent: float = GUTTER
    before: float = 0.0


STYLES = {
    "title": Style(True, 17, 0), "plain-head": Style(False, 8.5, 0, 0.8), "small": Style(False, 6, 0, 0.8),
    "contents": Style(False, 8.5, 0, 0.3), "part": Style(True, 11.5, 0, 3.0), "signal": Style(True, 9.5, GUTTER),
    "say": Style(False, 7.6), "tick": Style(False, 7.6), "plain": Style(False, 7.6), "go": Style(False, 7.6),
    "table": Style(True, 9, 0, 2.2), "note": Style(False, 7, 2), "row": Style(False, 7, 2, 0.2),
    "chart": Style(False, 7, 0, 1),
}  # fmt: skip


@dataclass(frozen=True)
class StyledWord:
    """A word with its looks: a box stands before it, an arrow in its place."""

    text: str
    bold: bool = False


@dataclass(frozen=True)
class TypesetLine:
    """One printed line of a block: `pieces` from `indent` on."""

    style: str
    pieces: tuple[StyledWord, ...]
    before: float = 0.0


@dataclass(frozen=True)
class PaperBlock:
    """What is never torn: a step, a heading with what it heads, a table. `gated`: behind the isolation."""

    number: int
    rows: tuple[TypesetLine, ...]
    gated: bool = False
    heading: bool = False
    boxed: bool = False


class Sheet:
    def __init__(self, title: str, scale: float = 1.0) -> None:
        from fpdf import FPDF

        self.scale = scale

        class Paper(FPDF):
            def footer(self) -> None:
                self.set_y(-9)
                self.set_font("Helvetica", size=7)
                self.cell(0, 5, f"{latin(title)}   {self.page_no()} / {{nb}}", align="C")

        self.pdf: FPDF = Paper(format="A4")
        self.pdf.set_title(latin(title))
        self.pdf.set_auto_page_break(False)
        self.pdf.set_creation_date(_undated())
        self.pdf.set_line_width(0.2)
        self.column = 1
        self.y = FOOT
        self.pages: dict[int, int] = {}
        self.widths: dict[tuple[StyledWord, float], float] = {}

    @property
    def left(self) -> float:
        return MARGIN + self.column * (COLUMN + GAP)

    @property
    def filled(self) -> float:
        """Pages, the last in halves."""
        return self.pdf.page_no() - (0.5 if self.column == 0 else 0.0)

    def next_column(self) -> None:
        self.column = 1 - self.column
        if self.column == 0:
            self.pdf.add_page()
        self.y = TOP

    def width(self, piece: StyledWord, size: float) -> float:
        key = (piece, size)
        if key not in self.widths:
            self.widths[key] = self._width(piece, size)
        return self.widths[key]

    def size(self, style: str) -> float:
        return STYLES[style].size * self.scale

    def height(self, row: TypesetLine) -> float:
        return row.before + (CHART if row.style == "chart" else self.size(row.style) * LEADING)

    def _width(self, piece: StyledWord, size: float) -> float:
        self.pdf.set_font("Helvetica", "B" if piece.bold else "", size)
        text = piece.text.replace(BOX, "").replace(ARROW, "")
        signs = piece.text.count(BOX) + piece.text.count(ARROW)
        return float(self.pdf.get_string_width(latin(text))) + signs * size * 0.36

    def put(self, block: PaperBlock) -> None:
        tall = sum(self.height(row) for row in block.rows)
        if tall > FOOT - TOP:  # higher than a column: the one thing that is torn
            for row in block.rows:
                self.put(PaperBlock(block.number if row is block.rows[0] else 0, (row,), block.gated))
            return
        if self.y + tall + (14 if block.heading and block.rows[0].style == "part" else 0) > FOOT:
            self.next_column()
        top = self.y
        if block.number and block.number not in self.pages:
            self.pages[block.number] = self.pdf.page_no()
        for row in block.rows:
            self.y += row.before
            self._row(row)
        if block.number and not block.heading:
            self.pdf.set_font("Helvetica", "B", 9)
            self.pdf.text(self.left, top + 3.1, str(block.number))
        if block.gated:
            self.pdf.set_fill_color(0)
            self.pdf.rect(self.left - 3.2, top, 1.4, self.y - top + 0.65, "F")
        if block.boxed:
            self.pdf.rect(self.left + GUTTER - 2, top - 0.4, COLUMN - GUTTER + 3, self.y - top + 1)
        self.y += 0.65

    def _row(self, row: TypesetLine) -> None:
        style = STYLES[row.style]
        if row.style == "chart":
            self._chart(row)
            return
        size = self.size(row.style)
        x, line = self.left + style.indent, size * LEADING
        base = self.y + line * 0.8
        for piece in row.pieces:
            x = self._piece(piece, size, x, base)
        self.y += line

    def _piece(self, piece: StyledWord, size: float, x: float, base: float) -> float:
        for part in re.split(f"([{BOX}{ARROW}])", piece.text):
            wide = size * 0.36
            if part == BOX:
                side = size * 0.27
                self.pdf.rect(x, base - side + 0.2, side, side)
                x += wide
            elif part == ARROW:
                middle = base - size * 0.11
                self.pdf.line(x, middle, x + wide * 0.75, middle)
                for up in (-1, 1):
                    self.pdf.line(x + wide * 0.45, middle + up * wide * 0.22, x + wide * 0.75, middle)
                x += wide
            elif part:
                self.pdf.set_font("Helvetica", "B" if piece.bold else "", size)
                self.pdf.text(x, base, latin(part))
                x += float(self.pdf.get_string_width(latin(part)))
        return x

    def _chart(self, row: TypesetLine) -> None:
        """An empty chart of minutes and values, to lay a ruler on."""
        tall, wide = CHART - 9, COLUMN - 8  # 2 h wide: a pull-down is seldom judged later
        left, top = self.left + 7, self.y + 2
        for at in range(25):
            self.pdf.set_draw_color(0 if at % 4 == 0 else 150)
            self.pdf.line(left + wide * at / 24, top, left + wide * at / 24, top + tall)
        for at in range(17):
            self.pdf.set_draw_color(0 if at % 4 == 0 else 150)
            self.pdf.line(left, top + tall * at / 16, left + wide, top + tall * at / 16)
        self.pdf.set_draw_color(0)
        self.pdf.set_font("Helvetica", "", 7)
        for at in range(7):
            self.pdf.text(left + wide * at / 6 - 2, top + tall + 3, str(at * 20))
        self.pdf.text(left + wide / 2 - 5, top + tall + 6, latin(" ".join(one.text for one in row.pieces)))
        self.y += CHART


CHART = 54.0  # mm


def pdf(book: Book) -> bytes:
    """Pages that name each other's numbers: laid out anew until no number moves. A short one is set larger."""
    lines, pages = list(lines_of(book)), {0: 0}
    sheet = _laid_out(book, lines, pages)
    scale = next((one for one in SCALES if sheet.filled * one**2 < FEW_PAGES), SMALLEST)
    for _ in range(MOST_LAYOUTS):
        sheet = _laid_out(book, lines, pages, scale)
        if sheet.pages == pages:
            break
        pages = dict(sheet.pages)
    return bytes(sheet.pdf.output())


def card(book: Book) -> bytes:
    """One page for the pocket: as small as it must be; what does not fit even so stands in the copy."""
    from handsfree.procedure.pocket import card_lines

    lines = list(card_lines(book))
    for scale in (1.25, 1.1, 1.0, 0.9, 0.8):
        sheet = _laid_out(book, lines, {}, scale)
        if sheet.pdf.page_no() == 1:
            return bytes(sheet.pdf.output())
    more = Copy(book).words("card-more")
    while sheet.pdf.page_no() > 1:
        lines = [*lines[: int(len(lines) * 0.95)], CopyLine("part", more)]
        sheet = _laid_out(book, lines, {}, scale)
    return bytes(sheet.pdf.output())


def _laid_out(book: Book, lines: Sequence[CopyLine], pages: dict[int, int], scale: float = 1.0) -> Sheet:
    sheet = Sheet(book.procedures[book.main].title, scale)
    for block in blocks(lines, sheet, pages):
        sheet.put(block)
    return sheet


def blocks(lines: Sequence[CopyLine], sheet: Sheet, pages: dict[int, int]) -> Iterator[PaperBlock]:
    """`pages`: step -> page, as the layout before had them."""
    for group in _groups(lines):
        first = group[0]
        rows: list[TypesetLine] = []
        for line in group:
            if line.style in ("step", "gate"):
                continue
            style = line.style
            if style == "plain" and not line.number:
                style = "note" if first.style == "table" else "plain-head"
            rows += wrapped(line, style, sheet, pages)
        heading = first.style in ("part", "table", "title")
        gated = any(line.style == "gate" for line in group)
        boxed = any(line.style == "signal" for line in group)
        yield PaperBlock(0 if heading or first.style == "contents" else first.number, tuple(rows), gated, heading, boxed)


def _groups(lines: Sequence[CopyLine]) -> Iterator[list[CopyLine]]:
    """Each step, each heading, each table by itself."""
    group: list[CopyLine] = []
    for line in lines:
        alone = line.style in ("title", "part", "step", "table", "contents") or (line.style == "chart")
        begins = alone or (not line.number and bool(group) and bool(group[-1].number))
        if group and begins and not (line.style == "step" and not group):
            yield group
            group = []
        group.append(line)
    if group:
        yield group


def wrapped(line: CopyLine, style: str, sheet: Sheet, pages: dict[int, int]) -> list[TypesetLine]:
    looks, size = STYLES[style], sheet.size(style)
    room = COLUMN - looks.indent
    here = pages.get(line.number, 0)
    text = re.sub(": (?=_)", f":{HARD}", line.text)  # what is written stays with its line to write on
    words = [_with_page(word, here, pages) for word in text.split(" ")]
    if line.style == "contents" and line.number in pages:
        words[-1] += f", p.{HARD}{pages[line.number]}"
    rows: list[list[StyledWord]] = [[]]
    used = 0.0
    for word in words:
        piece = StyledWord(word if not rows[-1] else f" {word}", looks.bold or line.style == "go" or ARROW in word)
        wide = sheet.width(piece, size)
        if rows[-1] and used + wide > room:
            rows.append([])
            used, piece = 0.0, StyledWord(word, piece.bold)
            wide = sheet.width(piece, size)
        rows[-1].append(piece)
        used += wide
    return [TypesetLine(style, tuple(one), looks.before if at == 0 else 0.0) for at, one in enumerate(rows)]


def _with_page(word: str, here: int, pages: dict[int, int]) -> str:
    """'→ 12' on another page than its step's: '→ 12 (p. 4)'."""
    found = re.search(rf"{ARROW}{HARD}(\d+)", word)
    page = pages.get(int(found[1]), 0) if found else 0
    return f"{word}{HARD}(p.{HARD}{page})" if page and page != here else word


def _undated() -> datetime:
    """The same procedure prints to the same bytes."""
    return datetime(2000, 1, 1, tzinfo=UTC)


_PLAIN = (("–", "-"), ("—", "-"), ("’", "'"), ("“", '"'), ("”", '"'), ("…", "..."), ("Ω", "ohm"), ("µ", "u"), (HARD, " "))


def latin(text: str) -> str:
    for sign, plain in _PLAIN:
        text = text.replace(sign, plain)
    return text.encode("latin-1", "replace").decode("latin-1")
