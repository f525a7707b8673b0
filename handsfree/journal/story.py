"""A visit as one screen has it: complaint, diagnosis and its evidence, what was done, before and after, the isolations, what
needs a look, what is next; and under it the story, step by step. The page, the paper and the desk are made from this: they
are one rendering. Nothing is drawn here.

Rules of this file:

- Words, not names as a program writes them; minutes, not tenths of seconds.
- What comes after a break of the record is in the story, marked, and nowhere else.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from handsfree.journal import events as ev
from handsfree.journal.account import Account
from handsfree.journal.findings import ReviewFinding
from handsfree.journal.found import FAULT, diagnosis, findings_that_stand, taken_back, tells
from handsfree.journal.gathering import gathered
from handsfree.journal.rows import Row, amount, answer_given, minutes, plainly, printable, range_of, unit
from handsfree.journal.service import open_points


@dataclass(frozen=True)
class DiagnosisBasis:
    """An answer or a reading that supports the diagnosis. `n`: its event, -1 if the record does not say which."""

    what: str
    answer: str
    n: int = -1


@dataclass(frozen=True)
class CurvePoint:
    """A reading on the visit's clock. `out`: it is outside its range."""

    n: int
    at: float
    value: float
    out: bool


@dataclass(frozen=True)
class ReadingCurve:
    """One quantity over the visit. `low`, `high`: what is expected, None for nothing. `restored`: when the supply came
    back, None if it was never off. `logged`: by a logger before the visit; its time begins with the log."""

    quantity: str
    unit: str
    points: tuple[CurvePoint, ...]
    low: float | None
    high: float | None
    restored: float | None
    logged: bool = False


@dataclass(frozen=True)
class Passed:
    """What happened at a gate, in a sentence. `how`: by what, in words. `unverified`: it comes after a break."""

    n: int
    at: float
    what: str
    how: str
    unverified: bool


@dataclass(frozen=True)
class Chapter:
    """One stay in a step. `title` and `kind`: what one does in it, in words; `seconds`: how long. `look`: something in it
    needs a look. `broken`: it comes after a break of the record."""

    n: int
    at: float
    title: str
    kind: str
    seconds: float
    rows: tuple[Row, ...]
    look: bool
    broken: bool = False


@dataclass(frozen=True)
class Story:
    """`found`: the diagnosis; `besides`: the other faults that were found, (event, text)."""

    title: str
    complaint: str
    facts: tuple[tuple[str, str], ...]
    verdict: str
    warning: str
    found: str
    found_n: int
    besides: tuple[tuple[int, str], ...]
    evidence: tuple[DiagnosisBasis, ...]
    done: tuple[str, ...]
    readings: tuple[tuple[str, str, str, str], ...]
    curves: tuple[ReadingCurve, ...]
    gates: tuple[Passed, ...]
    look: tuple[ReviewFinding, ...]
    next: tuple[str, ...]
    chapters: tuple[Chapter, ...]


#: Lines of one list of the screen and letters of a line, quantities drawn and points of one: no honest visit has as many.
MOST, LONGEST_LINE, MOST_CURVES, MOST_POINTS = 40, 400, 4, 120


def story(account: Account) -> Story:
    opened, got, complaint = account.opened, gathered(account.entries), complaint_of(account.opened, account.entries)
    found = diagnosis(account.entries)
    where = ", ".join(part for part in (opened.cabinet, opened.site) if part)
    facts = (
        ("Technician", opened.technician), ("Begun", account.began[:16].replace("T", " ")),
        ("On site", minutes(account.on_site)), ("Ended as", account.outcome),
    )  # fmt: skip
    warning = "" if account.report.holds or account.report.open_end else account.report.verdict
    return Story(
        title=printable(f"{complaint}: {where}" if where else complaint),
        complaint=_line(complaint),
        facts=tuple((name, printable(text)) for name, text in facts if text),
        verdict=printable(account.report.verdict),
        warning=printable(warning),
        found=_line(found.event.text) if found is not None else "",
        found_n=found.n if found is not None else -1,
        besides=_besides(account, found),
        evidence=tuple(_evidence(account, found.event))[:MOST] if found is not None else (),
        done=_lines(got.work),
        readings=tuple(_before_and_after(got.before, got.after))[:MOST],
        curves=(*_curves(account), *_logged(account)),
        gates=tuple(_gates(account.rows)),
        look=account.findings[:MOST],
        next=_lines((*open_points(account, got), *_due(account))),
        chapters=tuple(_chapters(account)),
    )


def _besides(account: Account, diagnosed: ev.Stamped | None) -> tuple[tuple[int, str], ...]:
    """A visit may find several faults: none of them is hidden behind the last one."""
    faults = {_line(e.event.text): e.n for e in findings_that_stand(account.entries) if tells(e.event) == FAULT}
    faults.pop("" if diagnosed is None else _line(diagnosed.event.text), None)
    return tuple((n, text) for text, n in faults.items())[:MOST]


def _lines(texts: Iterable[str]) -> tuple[str, ...]:
    """Each once, printable, cut to LONGEST_LINE; at most MOST, the last of which says how many more there are."""
    found = tuple(dict.fromkeys(_line(text) for text in texts))
    return found if len(found) <= MOST else (*found[: MOST - 1], f"And {len(found) - MOST + 1} more: see the story.")


def _line(text: str) -> str:
    shown = printable(text)
    return shown if len(shown) <= LONGEST_LINE else f"{shown[:LONGEST_LINE]}…"


def complaint_of(opened: ev.Opened, entries: Sequence[ev.Stamped]) -> str:
    """What the technician said is wrong, if the first procedure asks for it. Else its title, as read that day; its name in
    words if it has none."""
    asked = ((opened.procedure,), "complaint")
    told = [e.event.answer for e in entries if isinstance(e.event, ev.AnswerTaken) and (e.event.path, e.event.step) == asked]
    told = told or [what for name, what in opened.known if name == "complaint"]
    if told:
        return told[-1].capitalize()
    text = dict(opened.copies).get(opened.procedure, "")
    found = re.search(r"(?m)^title:\s*['\"]?(.{1,120}?)['\"]?\s*$", text)
    return found[1] if found is not None else plainly(opened.procedure).capitalize()


def _evidence(account: Account, finding: ev.FindingMade) -> Iterator[DiagnosisBasis]:
    taken = {e.event.step: e.n for e in account.entries if isinstance(e.event, ev.ReadingTaken | ev.AnswerTaken)}
    for step, answer in finding.evidence:
        yield DiagnosisBasis(_line(plainly(step)).capitalize(), _line(answer_given(answer)), taken.get(step, -1))


def _before_and_after(
    before: dict[str, ev.ReadingTaken], after: dict[str, ev.ReadingTaken]
) -> Iterator[tuple[str, str, str, str]]:
    for name in dict.fromkeys([*before, *after]):
        some = after.get(name) or before[name]
        expected = f"{some.expected[0]:g} to {some.expected[1]:g} {unit(some.unit)}" if some.expected else ""
        yield _line(plainly(name)).capitalize(), _shown(before.get(name)), _shown(after.get(name)), expected


def _shown(reading: ev.ReadingTaken | None) -> str:
    if reading is None:
        return ""
    where = range_of(reading)
    value = _line(reading.state) or amount(reading.value, reading.unit)
    return f"{value}, {'not plausible' if where.startswith('not') else 'out of range'}" if _out(where) else value


def _out(where: str) -> bool:
    return where.startswith(("not", "out"))


def _curves(account: Account) -> Iterator[ReadingCurve]:
    """Each quantity with its readings in one unit, the most readings first. What a correction took back is none."""
    gone = taken_back(account.entries)
    restored = next((s.begin for s in reversed(account.spans) if s.state == "LIVE" and s.n), None)
    by: dict[str, list[tuple[int, float, ev.ReadingTaken]]] = {}
    for taken in account.readings:
        if taken.n not in gone and taken.reading.value is not None and abs(taken.reading.value) < 1e9:
            by.setdefault(taken.reading.quantity, []).append((taken.n, taken.at, taken.reading))
    for quantity, some in sorted(by.items(), key=lambda item: -len(item[1]))[:MOST_CURVES]:
        last = some[-1][2]
        points = tuple(CurvePoint(n, at, r.value or 0.0, _out(range_of(r))) for n, at, r in some if r.unit == last.unit)
        low, high = last.expected if last.expected is not None else (None, None)
        yield ReadingCurve(printable(plainly(quantity)), unit(last.unit), points[-MOST_POINTS:], low, high, restored)


def _logged(account: Account) -> Iterator[ReadingCurve]:
    """What loggers had measured before the visit, in the degrees that the technician used."""
    used = {taken.reading.unit for taken in account.readings}
    fahrenheit = "degF" in used and "degC" not in used
    events = [(entry.n, entry.event) for entry in account.entries if isinstance(entry.event, ev.Attached)]
    for n, log in [one for one in events if len(one[1].rows) > 1][:MOST_CURVES]:
        rows = [(minute, value) for minute, value in log.rows if abs(minute) < 1e6 and abs(value) < 1e4][-MOST_POINTS:]
        points = tuple(
            CurvePoint(n, 60 * (minute - rows[0][0]), round(value * 1.8 + 32, 1) if fahrenheit else value, False)
            for minute, value in rows
        )
        name = f"temperature by {log.file}, before the visit"
        yield ReadingCurve(_line(name), unit("degF" if fahrenheit else "degC"), points, None, None, None, True)


def _due(account: Account) -> Iterator[str]:
    for entry in reversed(account.entries):
        if isinstance(entry.event, ev.Resumed):
            return
        if isinstance(entry.event, ev.Closed):
            if entry.event.not_before is not None and 0 <= entry.event.not_before - entry.mono < 1e8:
                yield f"To be resumed in {minutes(entry.event.not_before - entry.mono)} at the earliest."
            return


#: (state before, state after) -> what that is to a person.
_GATES = {
    ("LIVE", "ISOLATING"): "Isolation begun",
    ("ISOLATING", "ISOLATED"): "Proved dead: isolated",
    ("ISOLATED", "ISOLATING"): "To be isolated anew",
    ("ISOLATED", "RESTORING"): "Giving back begun",
    ("ISOLATING", "RESTORING"): "Giving back begun",
    ("LIVE", "RESTORING"): "Giving back begun",
    ("RESTORING", "LIVE"): "Given back: live",
    ("ISOLATING", "ISOLATING"): "Isolated, lock and number said",
    ("RESTORING", "RESTORING"): "All clear, lock and number said",
}
_BEGUN = ("by isolation begun", "by restore begun")


def _gates(told: Sequence[Row]) -> Iterator[Passed]:
    """Those that a person changed or tried; what only begins is seen in the band."""
    some = [row for row in told if row.what == "gate" and not row.aside.removeprefix("unverified; ").startswith(_BEGUN)]
    for row in some[:MOST]:
        yield Passed(row.n, row.at, gate_words(row), _line(_how(row.aside)), row.unverified)


def gate_words(row: Row) -> str:
    """A row of a gate as a sentence: 'Proved dead: isolated'."""
    text = row.text.removeprefix("Isolation: ")
    if text.endswith("the gate stays shut"):
        return "The gate stayed shut"
    if text.endswith("relieved, not proved"):
        return "Relieved, to be proved"
    was, _, now = text.partition(" to ") if " to " in text else (text.partition(",")[0], "", text.partition(",")[0])
    return _GATES.get((was, now), "Live again" if now == "LIVE" else text)


def _how(aside: str) -> str:
    """By what, where the sentence does not say so already."""
    how = aside.removeprefix("unverified").lstrip("; ,")
    return how.removeprefix("by phrase: the phrase of ") if how.startswith("by phrase") else plainly(how)


#: Kind of a step -> what one does in it.
_KINDS = {
    "instruct": "work", "caution": "warning", "ask": "question", "read": "reading", "isolate": "isolation",
    "prove": "proof of death", "restore": "giving back", "wait": "wait", "evidence": "evidence", "finding": "finding",
    "handover": "hand-over", "end": "",  "decide": "", "call": "",
}  # fmt: skip


BEGINNING = "The beginning"
#: Rows that are told by the chapter's own head, or by the foot of the page.
_UNTOLD = ("step", "signed", "sealed", "opened")


def _chapters(account: Account) -> Iterator[Chapter]:
    looks = {finding.n for finding in account.findings}
    kinds = {e.n: e.event for e in account.entries if isinstance(e.event, ev.StepEntered)}
    head: tuple[int, float, str, str] = (0, 0.0, BEGINNING, "")
    rows: list[Row] = []
    for row in account.rows:
        entered = kinds.get(row.n) if row.what == "step" and not row.unverified else None
        if entered is not None or row.what == "break":
            if rows:
                yield _chapter(head, rows, row.at, looks)
            title = "After the break: unverified" if entered is None else printable(plainly(entered.step)).capitalize()
            kind = "break" if entered is None else _KINDS.get(entered.kind, printable(entered.kind))
            head, rows = (row.n, row.at, title, kind), []
        if row.what not in _UNTOLD or row.unverified:
            rows.append(in_words(row))
    if rows:
        yield _chapter(head, rows, max(rows[-1].at, head[1]), looks)


def _chapter(head: tuple[int, float, str, str], rows: Sequence[Row], end: float, looks: set[int]) -> Chapter:
    n, at, title, kind = head
    broken = kind == "break"
    look = broken or any(row.n in looks for row in rows) or n in looks
    return Chapter(n, at, title, "" if broken else kind, max(end - at, 0.0), tuple(rows), look, broken)


def in_words(row: Row) -> Row:
    """A row as a supervisor reads it: no program names, and nothing extra about a plain answer that was accepted."""
    if row.what == "gate":
        return replace(row, text=gate_words(row), aside=_how(row.aside))
    if row.what == "step":
        name = re.fullmatch(r"Step (\S+) \((\w+)\)", row.text)
        said = f"{plainly(name[1]).capitalize()}" if name is not None else row.text
        return replace(row, text=f"Step: {said}", aside="")
    if row.what == "sealed":
        return replace(row, aside="")
    if row.what in ("answer", "decision", "attached", "evidence", "known", "passed", "caution"):
        place, colon, rest = row.text.partition(": ")
        text = f"{plainly(place).capitalize()}: {rest}" if colon and row.what != "caution" else plainly(row.text)
        return replace(row, text=text, aside=plainly(row.aside))
    if row.what == "finding":
        return replace(row, aside=plainly(row.aside))
    if row.who != "record":
        return replace(row, aside=_plain_aside(row.aside))
    return row


#: What tells a supervisor nothing: how sure it was of a plain answer, and which part of a step's text a sentence was.
_SURE = re.compile(r"(?:typed, )?(?:accepted|asked again|not for me|not understood), [\d.]+% sure(?:: )?")
_PARTS = ("question", "answer", "notice")


def _plain_aside(aside: str) -> str:
    left = _SURE.sub("", aside.removeprefix("unverified").lstrip("; ,"))
    return "" if left in _PARTS else left
