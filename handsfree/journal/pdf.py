"""A visit, and the service report, as PDF: what stands in which block. `typesetting/record.typ` has the looks."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass

from handsfree.journal.account import Account, IsolationSpan
from handsfree.journal.rows import clock, minutes
from handsfree.journal.screen import STATES
from handsfree.journal.service import ReportTable, Service
from handsfree.journal.story import Chapter, ReadingCurve, story
from handsfree.language.tokens import capital
from handsfree.typesetting import typeset


@dataclass(frozen=True)
class DrawnSpan:
    """`begin`, `wide`: shares of the whole visit. `name`: what is written above it."""

    state: str
    name: str
    begin: float
    wide: float


@dataclass(frozen=True)
class DrawnSource:
    name: str
    spans: tuple[DrawnSpan, ...]


@dataclass(frozen=True)
class DrawnCurve:
    """`points`: (share across, share down, out of range). `band`: (share down, value) of the upper and the lower end of what
    is expected, or empty. `marked`: each point has a mark."""

    points: tuple[tuple[float, float, bool], ...]
    band: tuple[tuple[float, str], ...]
    marked: bool


@dataclass(frozen=True)
class RecordBlock:
    """`kind`: title, heading, chapter, line, strong, bullet, table, sources or curve. `alt`: of what is drawn, in words.
    `widths`: shares of the columns; `rows`: the first their heads."""

    kind: str
    text: str = ""
    alt: str = ""
    rows: tuple[tuple[str, ...], ...] = ()
    widths: tuple[int, ...] = ()
    sources: tuple[DrawnSource, ...] = ()
    curve: DrawnCurve | None = None


Blocks = Iterator[RecordBlock]


def service_pdf(report: Service) -> bytes:
    return _set(report.title, _service(report))


def visit_pdf(account: Account) -> bytes:
    """The same screen and story as the page, without sound."""
    return _set(story(account).title, _visit(account))


def _set(title: str, blocks: Blocks) -> bytes:
    return typeset("record", {"title": title, "blocks": [asdict(one) for one in blocks]})


def _service(report: Service) -> Blocks:
    yield RecordBlock("title", report.title)
    if report.warning:
        yield RecordBlock("strong", report.warning)
    yield from (RecordBlock("line", f"{name}: {text}") for name, text in report.facts)
    for section in report.sections:
        yield RecordBlock("heading", section.title)
        yield from (RecordBlock("bullet", line) for line in section.lines)
        if section.table is not None:
            yield _table(section.table, (4, 3, 3, 3))
    yield RecordBlock("line", report.foot)


def _visit(account: Account) -> Blocks:
    told = story(account)
    yield RecordBlock("title", told.title)
    yield RecordBlock("strong" if told.warning else "line", told.verdict)
    yield RecordBlock("line", "; ".join(f"{name}: {text}" for name, text in told.facts))
    look = [f"{f.level}, {clock(f.at)[:-2]}  {f.rule}: {f.sentence}" for f in told.look]
    yield from _listed("What needs a look", look, "Nothing was found that needs a look.")
    yield RecordBlock("heading", "What was found")
    yield RecordBlock("line", f"Complaint: {told.complaint}")
    yield RecordBlock("strong", told.found or "No diagnosis is recorded.")
    yield from (RecordBlock("bullet", f"{one.what}: {one.answer}") for one in told.evidence)
    yield from _listed("What was done", told.done, "No work on the cabinet is recorded.")
    yield from _listed("What is next", told.next, "Nothing is left open.")
    yield RecordBlock("heading", "Isolations")
    yield from _sources(account)
    gates = tuple((clock(g.at)[:-2], g.what, f"unverified: {g.how}" if g.unverified else g.how) for g in told.gates)
    if gates:
        yield _table(ReportTable(("When", "What", "How"), gates), (2, 4, 6))
    yield RecordBlock("heading", "Before and after")
    if told.readings:
        yield _table(ReportTable(("Reading", "Before", "After", "Expected"), told.readings), (4, 3, 3, 3))
    else:
        yield RecordBlock("line", "No reading was taken in this visit.")
    yield from (_curve(one) for one in told.curves if len(one.points) > 1)
    yield RecordBlock("heading", "The story, step by step")
    for chapter in told.chapters:
        yield from _chapter(chapter)
    yield from (RecordBlock("line", remark) for remark in account.report.remarks)
    yield RecordBlock("line", f"Hash of the last event: {account.report.head}, in words: {account.report.words}")


def _table(table: ReportTable, widths: tuple[int, ...]) -> RecordBlock:
    return RecordBlock("table", rows=(tuple(table.heads), *(tuple(row) for row in table.rows)), widths=widths)


def _listed(head: str, lines: Sequence[str], nothing: str) -> Blocks:
    yield RecordBlock("heading", head)
    yield from (RecordBlock("bullet", line) for line in lines)
    if not lines:
        yield RecordBlock("line", nothing)


_FLAGS = ("", "Look: ", "Unverified: ")


def _chapter(chapter: Chapter) -> Blocks:
    look = "   (look)" if chapter.look else ""
    yield RecordBlock("chapter", f"{clock(chapter.at)[:-2]}  {chapter.title}, {minutes(chapter.seconds)}{look}")
    said = [f"{_FLAGS[2 * r.unverified or r.trouble]}{r.what}: {r.text}" for r in chapter.rows]
    rows = tuple((clock(r.at)[:-2], r.who, what, r.aside) for r, what in zip(chapter.rows, said, strict=True))
    yield _table(ReportTable(("When", "Who", "What", "Note"), rows), (2, 3, 10, 6))


def _stated(span: IsolationSpan) -> str:
    return STATES.get(span.state, "live")


def _sources(account: Account) -> Blocks:
    end = max(account.lasted, 1.0)
    drawn, told = [], []
    for name in dict.fromkeys(one.source for one in account.spans):
        own = [one for one in account.spans if one.source == name]
        spans = tuple(
            DrawnSpan(one.state, _stated(one), min(one.begin / end, 1.0), max(min(one.end, end) - one.begin, 0.0) / end)
            for one in own
        )
        drawn.append(DrawnSource(name, spans))
        times = ", ".join(f"{_stated(one)} from {clock(one.begin)[:-2]}" for one in own)
        told.append(f"{name}: {times}." if name else f"{capital(times)}.")
    if drawn:
        yield RecordBlock("sources", alt=" ".join(told), sources=tuple(drawn))


def _curve(one: ReadingCurve) -> RecordBlock:
    """Points joined, what is expected as a grey band."""
    first, last = one.points[0], one.points[-1]
    took = minutes(last.at - first.at)
    text = f"{capital(one.quantity)}: from {first.value:g} to {last.value:g} {one.unit} in {took}"
    values = [p.value for p in one.points] + [v for v in (one.low, one.high) if v is not None and abs(v) < 1e9]
    low, high = min(values), max(values)
    room = (high - low) * 0.15 or max(abs(high) * 0.1, 1.0)
    low, high, end = low - room, high + room, max(last.at, first.at + 60.0)

    def down(value: float) -> float:
        return min(max((high - value) / (high - low), 0.0), 1.0)

    points = tuple(((p.at - first.at) / (end - first.at), down(p.value), bool(p.out)) for p in one.points)
    expected = () if one.low is None or one.high is None else (one.high, one.low)
    band = tuple((down(value), f"{value:g}" if abs(value) < 1e9 else "") for value in expected)
    out = sum(bool(p.out) for p in one.points)
    alt = f"{text}. {len(one.points)} readings, {out} of them out of what is expected."
    return RecordBlock("curve", text, alt, curve=DrawnCurve(points, band, not one.logged))
