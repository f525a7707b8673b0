"""A visit, and the service report, as PDF by fpdf2.

A font with all the signs (ohm, degree, arrows) is looked for where systems keep one; where there is none the built-in
Helvetica is used, and a sign that it lacks is written as '?' except those spelled out in `_SPELLED`.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

from fpdf import FPDF, FontFace
from fpdf.enums import XPos, YPos

from handsfree.journal.account import Account
from handsfree.journal.rows import clock, minutes
from handsfree.journal.screen import STATES
from handsfree.journal.service import ReportTable, Service
from handsfree.journal.story import Chapter, ReadingCurve, story
from handsfree.language.tokens import capital

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

    def grid(self, table: ReportTable, widths: Sequence[int]) -> None:
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
    """The same screen and story as the page, without sound."""
    told = story(account)
    sheet = _Sheet(told.title, fonts)
    sheet.heading(told.title, 15)
    sheet.line_of(told.verdict, bold=bool(told.warning))
    sheet.line_of("; ".join(f"{name}: {text}" for name, text in told.facts))
    _listed(sheet, "What needs a look", [f"{f.level}, {clock(f.at)[:-2]}  {f.rule}: {f.sentence}" for f in told.look],
            "Nothing was found that needs a look.")  # fmt: skip
    sheet.heading("What was found")
    sheet.line_of(f"Complaint: {told.complaint}")
    sheet.line_of(told.found or "No diagnosis is recorded.", bold=True)
    for one in told.evidence:
        sheet.bullet(f"{one.what}: {one.answer}")
    _listed(sheet, "What was done", told.done, "No work on the cabinet is recorded.")
    _listed(sheet, "What is next", told.next, "Nothing is left open.")
    sheet.heading("Isolations")
    _spans(sheet, account)
    gates = tuple((clock(g.at)[:-2], g.what, f"unverified: {g.how}" if g.unverified else g.how) for g in told.gates)
    if gates:
        sheet.grid(ReportTable(("When", "What", "How"), gates), (2, 4, 6))
    sheet.heading("Before and after")
    if told.readings:
        sheet.grid(ReportTable(("Reading", "Before", "After", "Expected"), told.readings), (4, 3, 3, 3))
    else:
        sheet.line_of("No reading was taken in this visit.")
    for drawn in told.curves:
        if len(drawn.points) > 1:
            _curve(sheet, drawn)
    sheet.heading("The story, step by step")
    for chapter in told.chapters:
        _chapter(sheet, chapter)
    sheet.ln(3)
    for remark in account.report.remarks:
        sheet.line_of(remark)
    sheet.line_of(f"Hash of the last event: {account.report.head}, in words: {account.report.words}")
    return bytes(sheet.output())


def _listed(sheet: _Sheet, head: str, lines: Sequence[str], nothing: str) -> None:
    sheet.heading(head)
    for line in lines:
        sheet.bullet(line)
    if not lines:
        sheet.line_of(nothing)


_FLAGS = ("", "Look: ", "Unverified: ")


def _chapter(sheet: _Sheet, chapter: Chapter) -> None:
    if sheet.will_page_break(16):
        sheet.add_page()
    sheet.ln(1.5)
    look = "   (look)" if chapter.look else ""
    sheet.line_of(f"{clock(chapter.at)[:-2]}  {chapter.title}, {minutes(chapter.seconds)}{look}", bold=True)
    said = [f"{_FLAGS[2 * r.unverified or r.trouble]}{r.what}: {r.text}" for r in chapter.rows]
    rows = tuple((clock(r.at)[:-2], r.who, what, r.aside) for r, what in zip(chapter.rows, said, strict=True))
    sheet.grid(ReportTable(("When", "Who", "What", ""), rows), (2, 3, 10, 6))


#: Grey and the spacing of upright bars for each state: told apart in black and white.
_LOOK = {"LIVE": (255, 0.0), "ISOLATING": (232, 3.0), "ISOLATED": (205, 1.0), "RESTORING": (242, 2.0)}


def _spans(sheet: _Sheet, account: Account) -> None:
    end, left, width = max(account.lasted, 1.0), sheet.l_margin, sheet.epw
    sheet.set_font(sheet.face, "", 7)
    begin = sheet.get_y() + 5
    sources = list(dict.fromkeys(s.source for s in account.spans))
    top = begin
    for s in account.spans:
        top = begin + 13 * sources.index(s.source)
        if s.source and s.begin == account.spans[0].begin:
            sheet.text(left + width - 30, top - 1, sheet.written(s.source[:24]))
        x, w = left + width * min(s.begin / end, 1.0), width * max(min(s.end, end) - s.begin, 0.0) / end
        grey, gap = _LOOK.get(s.state, (255, 0.0))
        sheet.set_fill_color(grey)
        sheet.rect(x, top, w, 7, style="FD")
        at = x + gap
        while gap and at < x + w:
            sheet.line(at, top, at, top + 7)
            at += gap
        if w > 18:
            sheet.text(x + 1, top - 1, STATES.get(s.state, "live"))
    sheet.set_y(top + 10)


def _curve(sheet: _Sheet, one: ReadingCurve) -> None:
    """Points joined, what is expected as a grey band."""
    if sheet.will_page_break(44):
        sheet.add_page()
    first, last = one.points[0], one.points[-1]
    name, took = capital(one.quantity), minutes(last.at - first.at)
    sheet.line_of(f"{name}: from {first.value:g} to {last.value:g} {one.unit} in {took}")
    values = [p.value for p in one.points] + [v for v in (one.low, one.high) if v is not None and abs(v) < 1e9]
    low, high = min(values), max(values)
    room = (high - low) * 0.15 or max(abs(high) * 0.1, 1.0)
    low, high, end = low - room, high + room, max(last.at, first.at + 60.0)
    top, left, wide, tall = sheet.get_y() + 1, sheet.l_margin + 14, 110.0, 30.0

    def x(at: float) -> float:
        return left + (at - first.at) / (end - first.at) * wide

    def y(value: float) -> float:
        return top + (high - value) / (high - low) * tall

    sheet.set_font(sheet.face, "", 7)
    if one.low is not None and one.high is not None:
        sheet.set_fill_color(228)
        sheet.rect(left, y(one.high), wide, max(y(one.low) - y(one.high), 0.5), style="F")
        for value in (one.low, one.high):
            sheet.text(left - 12, y(value) + 1, f"{value:g}")
    sheet.rect(left, top, wide, tall)
    for p, q in pairwise(one.points):
        sheet.line(x(p.at), y(p.value), x(q.at), y(q.value))
    for p in () if one.logged else one.points:
        here, up = x(p.at), y(p.value)
        if p.out:
            sheet.line(here - 1.2, up - 1.2, here + 1.2, up + 1.2)
            sheet.line(here - 1.2, up + 1.2, here + 1.2, up - 1.2)
        else:
            sheet.set_fill_color(0)
            sheet.rect(here - 0.8, up - 0.8, 1.6, 1.6, style="F")
    sheet.set_y(top + tall + 3)
