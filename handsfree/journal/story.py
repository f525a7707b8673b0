"""A visit as one screen has it: complaint, diagnosis and its evidence, what was done, before and after, the isolations, what
needs a look, what is next; and under it the story, step by step. The page, the paper and the desk are made from this: they
are one rendering. Nothing is drawn here.

Rules of this file:

- Words, not names as a program writes them; minutes, not tenths of seconds.
- What stands behind a break of the record is in the story, marked, and nowhere else.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from handsfree.journal import events as ev
from handsfree.journal.account import Account
from handsfree.journal.findings import Finding
from handsfree.journal.found import diagnosis
from handsfree.journal.rows import Row, amount, answer_given, minutes, plainly, printable, range_of, unit
from handsfree.journal.service import gathered, open_points


@dataclass(frozen=True)
class Evidence:
    """An answer or a reading that the diagnosis rests on. `n`: its event, -1 where the record does not say which."""

    what: str
    answer: str
    n: int = -1


@dataclass(frozen=True)
class Point:
    """A reading on the visit's clock. `out`: it lies outside its range."""

    n: int
    at: float
    value: float
    out: bool


@dataclass(frozen=True)
class Curve:
    """One quantity over the visit. `low`, `high`: what is expected, None for nothing. `restored`: when the supply came back,
    None where it was not taken away."""

    quantity: str
    unit: str
    points: tuple[Point, ...]
    low: float | None
    high: float | None
    restored: float | None


@dataclass(frozen=True)
class Chapter:
    """A stay in a step. `title` in words; `kind`: of the step; `seconds`: how long. `look`: it has something to look at."""

    n: int
    at: float
    title: str
    kind: str
    seconds: float
    rows: tuple[Row, ...]
    look: bool


@dataclass(frozen=True)
class Story:
    title: str
    complaint: str
    facts: tuple[tuple[str, str], ...]
    verdict: str
    warning: str
    found: str
    found_n: int
    evidence: tuple[Evidence, ...]
    done: tuple[str, ...]
    readings: tuple[tuple[str, str, str, str], ...]
    curves: tuple[Curve, ...]
    look: tuple[Finding, ...]
    next: tuple[str, ...]
    chapters: tuple[Chapter, ...]


def story(account: Account) -> Story:
    opened, got = account.opened, gathered(account.entries)
    found = diagnosis(account.entries)
    where = ", ".join(part for part in (opened.cabinet, opened.site) if part)
    facts = (
        ("Technician", opened.technician), ("Begun", account.began[:16].replace("T", " ")),
        ("On site", minutes(account.on_site)), ("Ended as", account.outcome),
    )  # fmt: skip
    warning = "" if account.report.holds or account.report.open_end else account.report.verdict
    return Story(
        title=printable(f"{complaint_of(opened)}: {where}" if where else complaint_of(opened)),
        complaint=printable(complaint_of(opened)),
        facts=tuple((name, printable(text)) for name, text in facts if text),
        verdict=printable(account.report.verdict),
        warning=printable(warning),
        found=printable(found.event.text) if found is not None else "",
        found_n=found.n if found is not None else -1,
        evidence=tuple(_evidence(account, found.event)) if found is not None else (),
        done=tuple(dict.fromkeys(printable(line) for line in got.work)),
        readings=tuple(_before_and_after(got.before, got.after)),
        curves=tuple(_curves(account)),
        look=account.findings,
        next=tuple(dict.fromkeys(printable(line) for line in (*open_points(account, got), *_due(account)))),
        chapters=tuple(_chapters(account)),
    )


def complaint_of(opened: ev.Opened) -> str:
    """The title of the procedure that was begun with, as it was read that day; its name in words where it has none."""
    text = dict(opened.copies).get(opened.procedure, "")
    found = re.search(r"(?m)^title:\s*['\"]?(.{1,120}?)['\"]?\s*$", text)
    return found[1] if found is not None else plainly(opened.procedure).capitalize()


def _evidence(account: Account, finding: ev.FindingMade) -> Iterator[Evidence]:
    taken = {e.event.step: e.n for e in account.entries if isinstance(e.event, ev.ReadingTaken | ev.AnswerTaken)}
    for step, answer in finding.evidence:
        yield Evidence(printable(plainly(step)).capitalize(), printable(answer_given(answer)), taken.get(step, -1))


def _before_and_after(
    before: dict[str, ev.ReadingTaken], after: dict[str, ev.ReadingTaken]
) -> Iterator[tuple[str, str, str, str]]:
    for name in dict.fromkeys([*before, *after]):
        some = after.get(name) or before[name]
        expected = f"{some.expected[0]:g} to {some.expected[1]:g} {unit(some.unit)}" if some.expected else ""
        yield printable(plainly(name)).capitalize(), _shown(before.get(name)), _shown(after.get(name)), expected


def _shown(reading: ev.ReadingTaken | None) -> str:
    if reading is None:
        return ""
    where = range_of(reading)
    value = printable(reading.state) or amount(reading.value, reading.unit)
    return f"{value}, {'not plausible' if where.startswith('not') else 'out of range'}" if _out(where) else value


def _out(where: str) -> bool:
    return where.startswith(("not", "out"))


def _curves(account: Account) -> Iterator[Curve]:
    """Each quantity with its readings in one unit, the most readings first."""
    restored = next((s.begin for s in reversed(account.spans) if s.state == "LIVE" and s.n), None)
    by: dict[str, list[tuple[int, float, ev.ReadingTaken]]] = {}
    for taken in account.readings:
        if taken.reading.value is not None and abs(taken.reading.value) < 1e9:
            by.setdefault(taken.reading.quantity, []).append((taken.n, taken.at, taken.reading))
    for quantity, some in sorted(by.items(), key=lambda item: -len(item[1])):
        last = some[-1][2]
        points = tuple(Point(n, at, r.value or 0.0, _out(range_of(r))) for n, at, r in some if r.unit == last.unit)
        low, high = last.expected if last.expected is not None else (None, None)
        yield Curve(printable(plainly(quantity)), unit(last.unit), points, low, high, restored)


def _due(account: Account) -> Iterator[str]:
    for entry in reversed(account.entries):
        if isinstance(entry.event, ev.Resumed):
            return
        if isinstance(entry.event, ev.Closed):
            if entry.event.not_before is not None and 0 <= entry.event.not_before - entry.mono < 1e8:
                yield f"To be taken up again in {minutes(entry.event.not_before - entry.mono)} at the earliest."
            return


#: Rows that are told by the chapter's own head, or by the foot of the page.
_UNTOLD = ("step", "signed", "sealed", "opened")


def _chapters(account: Account) -> Iterator[Chapter]:
    looks = {finding.n for finding in account.findings}
    kinds = {e.n: e.event for e in account.entries if isinstance(e.event, ev.StepEntered)}
    head: tuple[int, float, str, str] = (0, 0.0, "The beginning", "")
    rows: list[Row] = []
    for row in account.rows:
        entered = kinds.get(row.n) if row.what == "step" and not row.unverified else None
        if entered is not None or row.what == "break":
            if rows:
                yield _chapter(head, rows, row.at, looks)
            title = "After the break: unverified" if entered is None else printable(plainly(entered.step)).capitalize()
            head, rows = (row.n, row.at, title, entered.kind if entered is not None else "break"), []
        if row.what not in _UNTOLD or row.unverified:
            rows.append(row)
    if rows:
        yield _chapter(head, rows, max(rows[-1].at, head[1]), looks)


def _chapter(head: tuple[int, float, str, str], rows: Sequence[Row], end: float, looks: set[int]) -> Chapter:
    n, at, title, kind = head
    look = kind == "break" or any(row.n in looks for row in rows) or n in looks
    return Chapter(n, at, title, kind, max(end - at, 0.0), tuple(rows), look)
