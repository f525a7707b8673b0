"""A visit at a glance, gathered once for every view: its rows, its findings, its isolation spans, its readings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from handsfree.errors import Trouble
from handsfree.journal.events import Closed, Gate, Opened, ReadingTaken, Sealed, SignedBy, Stamped
from handsfree.journal.findings import Finding, Limits, findings
from handsfree.journal.follow import Departure, Machine, departure
from handsfree.journal.reader import journal_of, read
from handsfree.journal.rows import Row, rows
from handsfree.journal.verify import Report, verify


@dataclass(frozen=True)
class Span:
    """The isolation was in `state` from `begin` to `end` (seconds on the visit's clock); `n`: the event that began it."""

    state: str
    begin: float
    end: float
    n: int


@dataclass(frozen=True)
class Taken:
    """A reading and where it stands."""

    n: int
    at: float
    reading: ReadingTaken


@dataclass(frozen=True)
class Account:
    folder: Path
    opened: Opened
    began: str
    lasted: float
    outcome: str
    rows: tuple[Row, ...]
    findings: tuple[Finding, ...]
    spans: tuple[Span, ...]
    readings: tuple[Taken, ...]
    report: Report
    departure: Departure | None
    entries: Sequence[Stamped]


def account(visit: Path, machine: Machine | None = None, known: Mapping[str, str] | None = None) -> Account:
    """Everything a view needs. With `machine` also whether the record follows from it. A record that does not hold is shown
    up to the place where it does not, and says so. Trouble where nothing of it can be read."""
    report = verify(visit, known=known)
    entries = _readable(visit)
    opened = next((entry.event for entry in entries if isinstance(entry.event, Opened)), None)
    if opened is None:
        raise Trouble(f"Nothing in {visit} can be shown: it does not begin with an opened visit. Run 'handsfree verify'.", 3)
    closed = [entry.event for entry in entries if isinstance(entry.event, Closed)]
    lasted = [entry.mono for entry in entries if not isinstance(entry.event, Sealed | SignedBy)][-1]
    return Account(
        folder=journal_of(visit).parent,
        opened=opened,
        began=entries[0].wall,
        lasted=lasted,
        outcome=closed[-1].outcome if closed else "not closed",
        rows=tuple(rows(entries)),
        findings=findings(entries, limits_from(machine, opened)),
        spans=spans(entries),
        readings=tuple(Taken(e.n, e.mono, e.event) for e in entries if isinstance(e.event, ReadingTaken)),
        report=report,
        departure=None if machine is None else departure(entries, machine),
        entries=entries,
    )


def _readable(visit: Path) -> list[Stamped]:
    found: list[Stamped] = []
    try:
        for entry in read(visit):
            found.append(entry)
    except Trouble as trouble:
        if trouble.status != 3 or not found:
            raise
    return found


def limits_from(machine: Machine | None, opened: Opened) -> Limits:
    """How long each isolation's work takes at least, as its procedure says."""
    if machine is None:
        return Limits()
    try:
        book: Any = machine.start(opened).book
    except Exception:  # a record whose procedures cannot be read any more still has its other findings
        return Limits()
    least = {
        (name, step.id): float(step.least_seconds)
        for name, procedure in book.procedures.items()
        for step in procedure.steps
        if step.kind == "isolate"
    }
    return Limits(least_seconds=least)


def spans(entries: Sequence[Stamped]) -> tuple[Span, ...]:
    """From LIVE at the beginning to the end, each change a span."""
    found: list[Span] = []
    state, begin, n = "LIVE", entries[0].mono if entries else 0.0, 0
    for entry in entries:
        if isinstance(entry.event, Gate) and entry.event.now != state:
            found.append(Span(state, begin, entry.mono, n))
            state, begin, n = entry.event.now, entry.mono, entry.n
    if entries:
        found.append(Span(state, begin, entries[-1].mono, n))
    return tuple(found)
