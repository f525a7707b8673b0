"""A visit, and the service report, as PDF by fpdf2.

A font with all the signs (ohm, degree, arrows) is looked for where systems keep one; where there is none the built-in
Helvetica is used, and a sign that it lacks is written as '?' except those spelled out in `_SPELLED`.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from fpdf import FPDF, FontFace
from fpdf.enums import XPos, YPos

from handsfree.journal.account import Account
from handsfree.journal.events import ReadingTaken
from handsfree.journal.page import facts
from handsfree.journal.rows import amount, clock, range_of, span
from handsfree.journal.service import Service, Table

#: (plain, bold), most likely first.
FONTS = (
    ("/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf", "/usr/share/fonts/truetype/dejavu/DejaVuSans-Bold.ttf"),
    ("/usr/share/fonts/dejavu-sans-fonts/DejaVuSans.ttf", "/usr/share/fonts/dejavu-sans-fonts/DejaVuSans-Bold.ttf"),
    ("/usr/share/fonts/TTF/DejaVuSans.ttf", "/usr/share/fonts/TTF/DejaVuSans-Bold.ttf"),
    ("/System/Library/Fonts/Supplemental/Arial Unicode.ttf", "/System/Library/Fonts/Supplemental/Arial Bold.ttf"),
    ("C:/Windows/Fonts/arial.ttf", "C:/Windows/Fonts/arialbd.ttf"),
)
_SPELLED = {"Ω": "ohm", "−": "-", "–": "-", "—": "-", "’": "'", "“": '"', "”": '"', "…": "...", "≥": ">=", "≤": "<="}


class _Sheet(FPDF):
    def __init__(self, title: str, fonts: Sequence[tuple[str, str]] = FONTS) -> None:
        super().__init__(format="A4")
        self.set_title(title)
        self.set_lang("en")
        self.set_creator("handsfree")
        self.set_margin(15)
        self.set_auto_page_break(True, 18)
        self.face = self._choose(fonts)
        self._title = title
        self.add_page()

    def _choose(self, fonts: Sequence[tuple[str, str]]) -> str:
        for plain, bold in fonts:
            if Path(plain).is_file() and Path(bold).is_file():
                self.add_font("body", "", plain)
                self.add_font("body", "B", bold)
                return "body"
        return "helvetica"

    def footer(self) -> None:
        self.set_y(-12)
        self.set_font(self.face, "", 8)
        self.cell(0, 5, self.written(f"{self._title}   page {self.page_no()} of {{nb}}"), align="C")

    def written(self, text: str) -> str:
        text = "".join(c if c.isprintable() or c == "\n" else "?" for c in text)
        if self.face == "body":
            return text
        return "".join(_SPELLED.get(c, c) for c in text).encode("latin-1", "replace").decode("latin-1")

    def heading(self, text: str, size: float = 13) -> None:
        if self.will_page_break(20):
            self.add_page()
        self.ln(3)
        self.set_font(self.face, "B", size)
        self.multi_cell(0, size / 2, self.written(text), align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        self.ln(1)

    def line_of(self, text: str, bold: bool = False) -> None:
        self.set_font(self.face, "B" if bold else "", 9.5)
        self.multi_cell(0, 5, self.written(text), align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)

    def bullet(self, text: str) -> None:
        self.line_of(f"-  {text}")

    def grid(self, table: Table, widths: Sequence[int]) -> None:
        self.set_font(self.face, "", 8.5)
        head = FontFace(emphasis="BOLD", fill_color=(235, 235, 240))
        with self.table(col_widths=tuple(widths), text_align="LEFT", headings_style=head, line_height=4.6) as grid:
            for row in (table.heads, *table.rows):
                grid.row([self.written(cell) for cell in row])


def service_pdf(report: Service, fonts: Sequence[tuple[str, str]] = FONTS) -> bytes:
    sheet = _Sheet(report.title, fonts)
    sheet.heading(report.title, 16)
    if report.warning:
        sheet.line_of(report.warning, bold=True)
    for name, text in report.facts:
        sheet.line_of(f"{name}: {text}")
    for section in report.sections:
        sheet.heading(section.title)
        for line in section.lines:
            sheet.bullet(line)
        if section.table is not None:
            sheet.grid(section.table, (4, 3, 3, 3))
    sheet.ln(4)
    sheet.line_of(report.foot)
    return bytes(sheet.output())


def visit_pdf(account: Account, fonts: Sequence[tuple[str, str]] = FONTS) -> bytes:
    """The same story as the page, without sound."""
    sheet = _Sheet(f"Visit {account.opened.visit}", fonts)
    sheet.heading(f"Visit {account.opened.visit}", 16)
    for name, text in facts(account):
        sheet.line_of(f"{name}: {text}")
    sheet.heading("What needs a look")
    for line in _trouble(account) or ["Nothing was found that needs a look."]:
        sheet.bullet(line)
    sheet.heading("Isolation")
    _spans(sheet, account)
    states = tuple((s.state, clock(s.begin), clock(s.end), span(s.end - s.begin)) for s in account.spans)
    sheet.grid(Table(("State", "From", "To", "For"), states), (3, 2, 2, 2))
    sheet.ln(3)
    gates = tuple((clock(row.at), row.text, row.aside) for row in account.rows if row.what == "gate")
    if gates:
        sheet.grid(Table(("When", "What", "How"), gates), (2, 4, 6))
    sheet.heading("Readings")
    for taken in account.readings:
        _reading(sheet, taken.at, taken.reading)
    if not account.readings:
        sheet.line_of("No reading was taken in this visit.")
    sheet.heading("Timeline")
    flags = ["", "Look: ", "Unverified: "]
    said = [f"{flags[2 * r.unverified or r.trouble]}{r.what}: {r.text}" for r in account.rows]
    rows = tuple((clock(r.at), r.who, what, r.aside) for r, what in zip(account.rows, said, strict=True))
    sheet.grid(Table(("When", "Who", "What", ""), rows), (3, 3, 10, 6))
    sheet.ln(3)
    for remark in account.report.remarks:
        sheet.line_of(remark)
    sheet.line_of(f"Hash of the last event: {account.report.head}, in words: {account.report.words}")
    return bytes(sheet.output())


def _trouble(account: Account) -> list[str]:
    seen = {finding.n for finding in account.findings}
    lines = [f"{clock(f.at)}  {f.rule}: {f.sentence}" for f in account.findings]
    rows = [r for r in account.rows if r.trouble and r.n not in seen]
    return lines + [f"{clock(r.at)}  {r.what}: {r.text}" + (f" ({r.aside})" if r.aside else "") for r in rows]


#: Grey and the spacing of upright bars for each state: told apart in black and white.
_LOOK = {"LIVE": (255, 0.0), "ISOLATING": (232, 3.0), "ISOLATED": (205, 1.0), "RESTORING": (242, 2.0)}


def _spans(sheet: _Sheet, account: Account) -> None:
    end, left, width = max(account.lasted, 1.0), sheet.l_margin, sheet.epw
    top = sheet.get_y() + 5
    sheet.set_font(sheet.face, "", 7)
    for s in account.spans:
        x, w = left + width * min(s.begin / end, 1.0), width * max(min(s.end, end) - s.begin, 0.0) / end
        grey, gap = _LOOK[s.state]
        sheet.set_fill_color(grey)
        sheet.rect(x, top, w, 7, style="FD")
        at = x + gap
        while gap and at < x + w:
            sheet.line(at, top, at, top + 7)
            at += gap
        if w > 18:
            sheet.text(x + 1, top - 1, s.state)
    sheet.set_y(top + 10)


def _reading(sheet: _Sheet, at: float, reading: ReadingTaken) -> None:
    """Its words, and under them the line of what is plausible, the box of what is expected, the mark of what was read."""
    where = range_of(reading)
    sheet.line_of(
        f"{clock(at)}  {reading.quantity}: {reading.state or amount(reading.value, reading.unit)}  {where}", bold=True
    )
    if reading.value is None or reading.plausible is None:
        return
    ranges = [reading.plausible, *([reading.expected] if reading.expected else []), (reading.value, reading.value)]
    low, high = min(r[0] for r in ranges), max(r[1] for r in ranges)

    def x(value: float) -> float:
        return sheet.l_margin + 5 + (value - low) / ((high - low) or 1.0) * 90

    y = sheet.get_y() + 4
    sheet.line(x(reading.plausible[0]), y, x(reading.plausible[1]), y)
    if reading.expected is not None:
        sheet.set_fill_color(215)
        sheet.rect(x(reading.expected[0]), y - 2, max(x(reading.expected[1]) - x(reading.expected[0]), 0.5), 4, style="FD")
    here = x(reading.value)
    if where.startswith(("not", "out")):
        sheet.line(here - 2, y - 2, here + 2, y + 2)
        sheet.line(here - 2, y + 2, here + 2, y - 2)
    else:
        sheet.set_fill_color(0)
        sheet.rect(here - 0.8, y - 2.5, 1.6, 5, style="F")
    sheet.set_font(sheet.face, "", 7)
    sheet.text(x(reading.plausible[0]), y + 5, f"{reading.plausible[0]:g}")
    sheet.text(x(reading.plausible[1]), y + 5, f"{reading.plausible[1]:g}")
    sheet.set_y(y + 8)
