"""A visit, and the service report, as PDF: what stands in which block. `typesetting/record.typ` has the looks."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass

from handsfree.journal.account import Account, IsolationSpan
from handsfree.journal.rows import Row, clock, minutes
from handsfree.journal.screen import STATES
from handsfree.journal.service import ReportTable, Service
from handsfree.journal.story import Chapter, ReadingCurve, Story, story
from handsfree.journal.tongue import say_in, story_in, tongue
from handsfree.language.put_over import PutOver
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
    return _set(report.title, _service(report), tongue(report.language))


def visit_pdf(account: Account) -> bytes:
    """The same screen and story as the page, without sound."""
    code = tongue(account.opened.language)
    told = story_in(story(account), say_in(code))
    return _set(told.title, _visit(account, told, say_in(code)), code)


def _set(title: str, blocks: Blocks, code: str) -> bytes:
    words = {"lang": code, "page": say_in(code)("page"), "of": say_in(code)("1 of 1")}
    return typeset("record", {"title": title, **words, "blocks": [asdict(one) for one in blocks]})


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


def _visit(account: Account, told: Story, say: PutOver) -> Blocks:
    yield RecordBlock("title", told.title)
    yield RecordBlock("strong" if told.warning else "line", told.verdict)
    yield RecordBlock("line", "; ".join(f"{name}: {text}" for name, text in told.facts))
    look = [f"{say(f.level)}, {clock(f.at)[:-2]}  {say(f.rule)}: {f.sentence}" for f in told.look]
    yield from _listed(say("What needs a look"), look, say("Nothing was found that needs a look."))
    yield RecordBlock("heading", say("What was found"))
    yield RecordBlock("line", say(f"Complaint: {told.complaint}"))
    yield RecordBlock("strong", told.found or say("No diagnosis is recorded."))
    yield from (RecordBlock("bullet", f"{one.what}: {one.answer}") for one in told.evidence)
    if told.besides:
        yield RecordBlock("line", say("Found besides:"))
        yield from (RecordBlock("bullet", text) for _, text in told.besides)
    yield from _listed(say("What was done"), told.done, say("No work on the cabinet is recorded."))
    yield from _listed(say("What is next"), told.next, say("Nothing is left open."))
    yield RecordBlock("heading", say("Isolations"))
    yield from _sources(account, say)
    gates = tuple((clock(g.at)[:-2], g.what, f"{say('unverified')}: {g.how}" if g.unverified else g.how) for g in told.gates)
    if gates:
        yield _table(ReportTable(tuple(map(say, ("When", "What", "How"))), gates), (2, 4, 6))
    yield RecordBlock("heading", say("Before and after"))
    if told.readings:
        heads = tuple(map(say, ("Reading", "Before", "After", "Expected")))
        yield _table(ReportTable(heads, told.readings), (4, 3, 3, 3))
    else:
        yield RecordBlock("line", say("No reading was taken in this visit."))
    yield from (_curve(one, say) for one in told.curves if len(one.points) > 1)
    yield RecordBlock("heading", say("The story, step by step"))
    for chapter in told.chapters:
        yield from _chapter(chapter, say)
    yield from (RecordBlock("line", say(remark)) for remark in account.report.remarks)
    yield RecordBlock("line", say(f"Hash of the last event: {account.report.head}, in words: {account.report.words}"))


def _table(table: ReportTable, widths: tuple[int, ...]) -> RecordBlock:
    return RecordBlock("table", rows=(tuple(table.heads), *(tuple(row) for row in table.rows)), widths=widths)


def _listed(head: str, lines: Sequence[str], nothing: str) -> Blocks:
    yield RecordBlock("heading", head)
    yield from (RecordBlock("bullet", line) for line in lines)
    if not lines:
        yield RecordBlock("line", nothing)


_FLAGS = ("", "Look", "Unverified")


def _chapter(chapter: Chapter, say: PutOver) -> Blocks:
    look = f"   {say('(look)')}" if chapter.look else ""
    lasted = say(minutes(chapter.seconds))
    yield RecordBlock("chapter", f"{clock(chapter.at)[:-2]}  {say(chapter.title)}, {lasted}{look}")
    rows = tuple((clock(row.at)[:-2], say(row.who), _marked(row, say), row.aside) for row in chapter.rows)
    yield _table(ReportTable(tuple(map(say, ("When", "Who", "What", "Note"))), rows), (2, 3, 10, 6))


def _marked(row: Row, say: PutOver) -> str:
    flag = _FLAGS[2 * row.unverified or row.trouble]
    return f"{f'{say(flag)}: ' if flag else ''}{say(row.what)}: {row.text}"


def _stated(span: IsolationSpan, say: PutOver) -> str:
    return say(STATES.get(span.state, "live"))


def _sources(account: Account, say: PutOver) -> Blocks:
    end = max(account.lasted, 1.0)
    drawn, told = [], []
    for name in dict.fromkeys(one.source for one in account.spans):
        own = [one for one in account.spans if one.source == name]
        spans = tuple(
            DrawnSpan(one.state, _stated(one, say), min(one.begin / end, 1.0), max(min(one.end, end) - one.begin, 0.0) / end)
            for one in own
        )
        drawn.append(DrawnSource(name, spans))
        times = ", ".join(say(f"{STATES.get(one.state, 'live')} from {clock(one.begin)[:-2]}") for one in own)
        told.append(f"{name}: {times}." if name else f"{capital(times)}.")
    if drawn:
        yield RecordBlock("sources", alt=" ".join(told), sources=tuple(drawn))


def _curve(one: ReadingCurve, say: PutOver) -> RecordBlock:
    """Points joined, with the expected range as a grey band."""
    first, last = one.points[0], one.points[-1]
    took = minutes(last.at - first.at)
    text = say(f"{capital(one.quantity)}: from {first.value:g} to {last.value:g} {one.unit} in {took}")
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
    alt = say(f"{text}. {len(one.points)} readings, {out} of them out of what is expected.")
    return RecordBlock("curve", text, alt, curve=DrawnCurve(points, band, not one.logged))
