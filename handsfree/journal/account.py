"""A visit at a glance, gathered once for every view: its rows, its findings, its isolation spans, its readings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from handsfree.errors import Trouble
from handsfree.journal.coverage import Cover
from handsfree.journal.events import (
    EFFECTS,
    HAPPENINGS,
    Attached,
    ClockMoved,
    Closed,
    Gate,
    Opened,
    ReadingTaken,
    Resumed,
    Stamped,
    TailDropped,
)
from handsfree.journal.findings import (
    BROKEN,
    DEPARTED,
    GOES_ON_UNSIGNED,
    NO_RIGHT,
    NOT_COMPARED,
    NOT_SIGNED,
    ODD_NAME,
    WITHDRAWN,
    FindingLimits,
    ReviewFinding,
    findings,
    in_order,
)
from handsfree.journal.follow import Departure, ReplayMachine, TooMuch, departure, earlier
from handsfree.journal.odd_names import odd
from handsfree.journal.reader import journal_of
from handsfree.journal.rights import NO_RIGHTS, KeptHead, Rights
from handsfree.journal.rows import TROUBLE, Row, printable, row_of, rows
from handsfree.journal.salvage import Scrap, after, scrap
from handsfree.journal.shapes import file_allowed
from handsfree.journal.verdicts import VerifyReport
from handsfree.journal.verify import verify

_DEPARTED = "From event {n} on it is not what the program would have written. To find the fault:"
EARLIER = "An earlier program made this record. It is shown as it was, and not compared with today's rules."
NEWER = "A newer program made this record. It is shown as it was, and not compared: bring this program up to date."


@dataclass(frozen=True)
class IsolationSpan:
    """The isolation of `source` ('' where the record names none) was in `state` from `begin` to `end`, seconds on the
    visit's clock; `n`: the event that began it."""

    state: str
    begin: float
    end: float
    n: int
    source: str = ""


@dataclass(frozen=True)
class Taken:
    """A reading and its place in the record."""

    n: int
    at: float
    reading: ReadingTaken


@dataclass(frozen=True)
class Account:
    """`lasted`: seconds from the opening to the last thing that happened; `on_site`: without the time between trips.
    `after`: events after a break, which nothing vouches for; they are in `rows`, marked, and count nowhere else."""

    folder: Path
    opened: Opened
    began: str
    lasted: float
    outcome: str
    rows: tuple[Row, ...]
    findings: tuple[ReviewFinding, ...]
    spans: tuple[IsolationSpan, ...]
    readings: tuple[Taken, ...]
    report: VerifyReport
    departure: Departure | None
    entries: Sequence[Stamped]
    after: Sequence[Stamped] = ()
    on_site: float = 0.0


def account(
    visit: Path, machine: ReplayMachine | None = None, known: Mapping[str, str] | None = None, rights: Rights = NO_RIGHTS,
    kept: Sequence[KeptHead] = (), *, sound: bool = True,
) -> Account:
    """Everything a view needs. With `machine`, also whether the record follows from it; the rest as of `verify`. What comes
    after a break is shown too, marked as unverified. Trouble if nothing of it can be read."""
    entries: list[Stamped] = []
    report = verify(visit, known=known, rights=rights, kept=kept, sound=sound, keep=entries)
    scraps = _after(visit, report)
    opened = next((entry.event for entry in entries if isinstance(entry.event, Opened)), None)
    if opened is None:
        raise Trouble(f"Nothing in {visit} can be shown: it does not begin with an opened visit. Run 'handsfree verify'.", 3)
    gone, left_off = _compared(entries, opened, machine)
    closed = [entry.event for entry in entries if isinstance(entry.event, Closed)]
    lived = [entry for entry in entries if is_lived(entry)] or entries[:1]
    lasted = lived[-1].mono
    return Account(
        folder=journal_of(visit).parent,
        opened=opened,
        began=entries[0].wall,
        lasted=lasted,
        outcome=closed[-1].outcome if closed else "not closed",
        rows=(*_with_torn_ends(visit, entries, _named(rows(entries), report)), *_behind(entries[-1], scraps)),
        findings=in_order([
            *_of_the_record(report, gone, bool(known), entries),
            *_earlier(entries[0], opened, machine),
            *_names(entries[0], opened),
            *([] if left_off is None else [ReviewFinding(NOT_COMPARED, left_off, 0.0, _LEFT_OFF.format(n=left_off))]),
            # where it breaks the seal is behind the break, if there is one: that is said already
            *(f for f in findings(entries, limits_from(machine, opened)) if report.cut is None or f.rule != "no seal"),
        ]),
        spans=spans(entries, lasted),
        readings=tuple(Taken(e.n, e.mono, e.event) for e in entries if isinstance(e.event, ReadingTaken)),
        report=report,
        departure=gone,
        entries=entries,
        after=tuple(s.entry for s in scraps if s.entry is not None and s.whole),
        on_site=on_site(entries),
    )


_LEFT_OFF = "Comparing this record with the program takes too long; the comparison stopped at event {n}."


def _compared(
    entries: Sequence[Stamped], opened: Opened, machine: ReplayMachine | None
) -> tuple[Departure | None, int | None]:
    """(where the record does not follow from the machine, where the comparison was stopped); None for nowhere."""
    if machine is None or earlier(opened, machine):
        return None, None
    try:
        return departure(entries, machine), None
    except TooMuch as much:
        return None, much.n


def _earlier(first: Stamped, opened: Opened, machine: ReplayMachine | None) -> Iterator[ReviewFinding]:
    """Said in every view: they all show the findings."""
    if machine is not None and opened.rules > machine.rules:
        yield ReviewFinding("newer program", first.n, first.mono, NEWER)
    elif earlier(opened, machine):
        yield ReviewFinding("earlier program", first.n, first.mono, EARLIER)


def _names(first: Stamped, opened: Opened) -> Iterator[ReviewFinding]:
    """A name that looks like another has a history of its own: what came back under it would look fixed."""
    named = (("site", opened.site), ("cabinet", opened.cabinet), ("technician", opened.technician))
    if found := [(what, why) for what, name in named if (why := odd(name))]:
        what, why = " and ".join(what for what, _ in found), found[0][1]
        said = f"The name of {what} may not be what it looks like: {why}. Compare it with the name that you know."
        yield ReviewFinding(ODD_NAME, first.n, first.mono, said)


def _after(visit: Path, report: VerifyReport) -> list[Scrap]:
    """What stands from the first bad place on, if the chain breaks there."""
    return [] if report.cut is None else list(after(visit, report.cut))


def _of_the_record(
    report: VerifyReport, gone: Departure | None, keys_here: bool, entries: Sequence[Stamped]
) -> Iterator[ReviewFinding]:
    """What is wrong with the record itself. If no key is known, nobody can have the right to remove sound."""
    if report.problem and not report.open_end:
        at = next((e.mono for e in reversed(entries) if e.n <= (report.at or 0)), 0.0)
        yield ReviewFinding(WITHDRAWN if report.in_doubt else BROKEN, report.at or 0, at, report.problem)
    if gone is not None:
        yield ReviewFinding(DEPARTED, gone.n, gone.at, f"{_DEPARTED.format(n=gone.n)} {gone.sentence}.")
    if keys_here and (report.holds or report.open_end):
        yield from _unsigned(report.covers)
    for removal in report.removals:
        if keys_here and not removal.right:
            by = removal.by or "nobody who signed for it"
            sentence = f"The sound of {removal.clips} events was removed by {by}, with no right that is known here."
            yield ReviewFinding(NO_RIGHT, removal.n, 0.0, sentence)


def _unsigned(covers: Sequence[Cover]) -> Iterator[ReviewFinding]:
    """What is under no key known here, where some are known: anybody could have written it. Where a record begins without
    a key and goes on under one, that key vouches for what it found."""
    first = next((at for at, cover in enumerate(covers) if cover.trusted), None)
    if first is None:
        yield ReviewFinding(NOT_SIGNED, 0, 0.0, "No key known here has signed it: anybody could have written it.")
        return
    bare = next((cover for cover in covers[first:] if not cover.trusted), None)
    if bare is not None:
        sentence = f"From event {bare.first} on it is under no key known here: anybody could have written that."
        yield ReviewFinding(GOES_ON_UNSIGNED, bare.first, 0.0, sentence)


def readable(visit: Path) -> tuple[list[Stamped], list[Stamped], int | None]:
    """(the intact events, those after a break, the number of the event that breaks or None). Files are not checked."""
    entries: list[Stamped] = []
    report = verify(visit, sound=False, keep=entries)
    behind = [s.entry for s in _after(visit, report) if s.entry is not None and s.whole]
    return entries, behind, None if report.cut is None else report.at


def is_lived(entry: Stamped) -> bool:
    """It happened on site: not a mark of the journal, nor what was noted when it was opened again."""
    return isinstance(entry.event, (*HAPPENINGS, *EFFECTS)) and not isinstance(entry.event, ClockMoved | Resumed | Attached)


#: Seconds without anything that happened after which nobody is there: a device slept. As long as a break after which another
#: lock may be on (common practice, no source).
ABSENT = 12 * 3600.0


def on_site(entries: Sequence[Stamped]) -> float:
    """Seconds from each opening or resume to the last thing that happened before the next, without those when nobody was
    there."""
    total, began, last = 0.0, entries[0].mono if entries else 0.0, entries[0].mono if entries else 0.0
    for entry in entries:
        if isinstance(entry.event, Resumed) or (is_lived(entry) and entry.mono - last > ABSENT):
            total, began, last = total + last - began, entry.mono, entry.mono
        elif is_lived(entry):
            last = entry.mono
    return total + last - began


def _with_torn_ends(visit: Path, entries: Sequence[Stamped], told: Iterator[Row]) -> Iterator[Row]:
    """After the mark of a cut end, what can be read of the part cut off: nobody knows who cut it."""
    torn = {e.n: e.event for e in entries if isinstance(e.event, TailDropped) and file_allowed(e.event.file)}
    for row in told:
        yield row
        if row.n in torn:
            try:
                data = (journal_of(visit).parent / torn[row.n].file).read_bytes()
            except OSError:
                continue
            for line in data.splitlines(keepends=True)[:200]:
                yield from _scrap_row(scrap(line), row, "in it stood")


def _named(told: Iterator[Row], report: VerifyReport) -> Iterator[Row]:
    """The marks of signers by the names that their keys have here."""
    names = {cover.key: cover.device for cover in report.covers}
    for row in told:
        name = names.get(row.aside, "") if row.what == "signed" else ""
        yield replace(row, text=f"Signed by {name}") if name else row


def _behind(last: Stamped, scraps: Sequence[Scrap]) -> Iterator[Row]:
    """One row that says where the record breaks, then everything after it."""
    if not scraps:
        return
    said = "Here the record breaks. What follows is unverified: it may have been changed, moved or added"
    yield Row(last.n + 1, last.mono, last.wall, "record", "break", said, "", TROUBLE, unverified=True)
    place = Row(last.n + 1, last.mono, last.wall, "record", "break", "")
    for one in scraps:
        for row in _scrap_row(one, place, "unverified"):
            place = row
            yield row


def _scrap_row(one: Scrap, place: Row, aside: str) -> Iterator[Row]:
    """In words if it is an event that tells a reader something; otherwise as it is."""
    if one.entry is None:
        yield replace(place, who="record", what="unreadable", text=printable(one.text), aside=aside, topics=TROUBLE,
                      clip="", unverified=True)
        return
    row = row_of(one.entry)
    if row is not None:
        how = aside if one.whole else f"{aside}, its bytes were changed"
        yield replace(row, aside=f"{how}; {row.aside}".rstrip("; "), topics=row.topics | TROUBLE, unverified=True, clip="")


def limits_from(machine: ReplayMachine | None, opened: Opened) -> FindingLimits:
    """The least time that each isolation's work takes, from its procedure."""
    if machine is None:
        return FindingLimits()
    try:
        book: Any = machine.start(opened).book
    except Exception:  # a record whose procedures can no longer be read still has its other findings
        return FindingLimits()
    least = {
        (name, step.id): float(step.least_seconds)
        for name, procedure in book.procedures.items()
        for step in procedure.steps
        if step.kind == "isolate"
    }
    several = len(book.energy.sources) > 1
    needs = {
        (name, step.id): of if several else ("",)
        for name, procedure in book.procedures.items()
        for step in procedure.steps
        if (of := book.energy.needs(step))
    }
    return FindingLimits(least_seconds=least, needs=needs)


def spans(entries: Sequence[Stamped], end: float | None = None) -> tuple[IsolationSpan, ...]:
    """From LIVE at the beginning to `end`, or the last event, each change a span; source by source where gates name them."""
    if not entries:
        return ()
    gates = [entry for entry in entries if isinstance(entry.event, Gate)]
    named = list(dict.fromkeys(_source(entry) for entry in gates if _source(entry))) or [""]
    last = entries[-1].mono if end is None else end
    found: list[IsolationSpan] = []
    for source in named:
        state, begin, n = "LIVE", entries[0].mono, 0
        for entry in gates:
            if _source(entry) in ("", source) and entry.event.now != state:
                found.append(IsolationSpan(state, begin, entry.mono, n, source))
                state, begin, n = entry.event.now, entry.mono, entry.n
        found.append(IsolationSpan(state, begin, max(begin, last), n, source))
    return tuple(found)


def _source(gate: Stamped) -> str:
    """Older records have gates without a source: they mean the only supply."""
    return str(getattr(gate.event, "source", ""))
