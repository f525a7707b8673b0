"""A visit's folder as the rows of the desk's tables. Pure but for reading the folder: no database here."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from handsfree.desk.marks import judged_by
from handsfree.journal import events as ev
from handsfree.journal.account import Account, account
from handsfree.journal.events import Opened, Stamped
from handsfree.journal.follow import Machine
from handsfree.journal.rows import range_of
from handsfree.journal.verify import verify

#: Raise it when what is read out of a folder changes: every visit is then read anew.
VERSION = 2

#: Rules of the desk's own beside those of `journal.findings`.
BROKEN, DEPARTED = "record does not hold", "record does not follow"

Values = dict[str, Any]


@dataclass(frozen=True)
class ReadOut:
    """`visit`: the row of `visits` without its id; `rows`: table name -> rows without `visit_id`. A row of `lines` carries
    `text` in place of `saying_id`."""

    visit: Values
    rows: dict[str, list[Values]] = field(default_factory=dict)


def machine() -> Machine:
    """The visit's own, for saying whether a record follows from it."""
    from handsfree.language import base
    from handsfree.visit.machine import RULES, advance, start
    from handsfree.visit.sessions import book_of

    def begin(opened: Opened) -> Any:
        return start(book_of(opened), base.load(opened.language))

    return Machine(begin, advance, RULES)


def read_out(
    folder: Path, known: dict[str, str] | None = None, the_machine: Machine | None = None, *, sound_elsewhere: bool = False
) -> ReadOut:
    """Everything the desk shows of a visit but its sound. `sound_elsewhere`: it is kept in a store, where each file is held
    against its hash when it is asked for. Trouble where nothing of the visit can be read."""
    size, changed = (folder / "journal.jsonl").stat().st_size, judged_by(folder, known)
    seen = account(folder, the_machine or machine(), known=known)
    if sound_elsewhere:
        seen = replace(seen, report=verify(folder, known=known, sound=False))
    began = datetime.fromisoformat(seen.began).timestamp()
    rows: dict[str, list[Values]] = {
        "lines": _lines(seen.entries, began),
        "files": _files(seen.entries),
        "readings": _readings(seen),
        "gates": _gates(seen.entries),
        "faults": _faults(seen.entries, began),
        "findings": _findings(seen, began),
        "steps": _steps(seen.entries, began),
    }
    return ReadOut(_visit(folder, seen, began, size, changed), rows)


def _visit(folder: Path, seen: Account, began: float, size: int, changed: int) -> Values:
    opened = seen.opened
    closed = next((e.event for e in reversed(seen.entries) if isinstance(e.event, ev.Closed | ev.Resumed)), None)
    due = None
    if isinstance(closed, ev.Closed) and closed.outcome == "to be continued":
        due = began + (closed.not_before if closed.not_before is not None else seen.lasted)
    outcome = closed.outcome if isinstance(closed, ev.Closed) else "not closed"
    return {
        "name": folder.name,
        "size": size,
        "changed": changed,
        "reading": VERSION,
        "head": seen.report.head,
        "events": seen.report.events,
        "problem": seen.report.problem,
        "signed_by": ", ".join(seen.report.signers),
        "procedure": opened.procedure,
        "technician": opened.technician,
        "site": opened.site,
        "cabinet": opened.cabinet,
        "program": opened.program,
        "engine": opened.engine,
        "began": began,
        "began_text": seen.began,
        "lasted": seen.lasted,
        "outcome": outcome,
        "trips": 1 + sum(isinstance(e.event, ev.Resumed) and e.event.why == "to be continued" for e in seen.entries),
        "due": due,
    }


def _lines(entries: Sequence[Stamped], began: float) -> list[Values]:
    found: list[Values] = []
    procedure = step = ""
    for entry in entries:
        event = entry.event
        if isinstance(event, ev.StepEntered):
            procedure, step = (event.path[-1] if event.path else ""), event.step
        said = _said(event)
        if said is not None:
            who, verdict, reason, sure, text = said
            found.append(
                {"n": entry.n, "began": began, "at": entry.mono, "who": who, "verdict": verdict, "reason": reason,
                 "sure": sure, "procedure": procedure, "step": step, "text": text.replace("\x00", "\ufffd")}
            )
    return found


def _said(event: Any) -> tuple[str, str, str, float, str] | None:
    if isinstance(event, ev.Utterance):
        text = event.spoken or event.text or event.words
        both = f"{text} / {event.words}" if event.words and event.words != text else text
        return ("technician", event.verdict, event.reason, event.sure, both) if both else None
    if isinstance(event, ev.NoteKept):
        return ("note", "", "", 0.0, event.text) if event.text else None
    if isinstance(event, ev.Say):
        return "program", "", event.role, 0.0, event.text
    return None


_BINDS = {ev.Utterance: ("clip", "clip_sha256"), ev.NoteKept: ("clip", "clip_sha256"), ev.Attached: ("file", "sha256")}


def _files(entries: Sequence[Stamped]) -> list[Values]:
    """What is still there: sound taken away by `prune` has no row."""
    removed = {name for e in entries if isinstance(e.event, ev.SoundRemoved) for name, _ in e.event.clips}
    found = []
    for entry in entries:
        if (names := _BINDS.get(type(entry.event))) is not None:
            path = getattr(entry.event, names[0])
            if path and path not in removed:
                found.append({"n": entry.n, "path": path, "sha256": getattr(entry.event, names[1])})
    return found


def _readings(seen: Account) -> list[Values]:
    at = {entry.n: datetime.fromisoformat(entry.wall).timestamp() for entry in seen.entries}
    return [
        {
            "n": taken.n, "taken": at[taken.n], "site": seen.opened.site, "cabinet": seen.opened.cabinet,
            "procedure": taken.reading.path[-1] if taken.reading.path else "", "step": taken.reading.step,
            "quantity": taken.reading.quantity, "value": taken.reading.value, "unit": taken.reading.unit,
            "low": taken.reading.expected[0] if taken.reading.expected else None,
            "high": taken.reading.expected[1] if taken.reading.expected else None,
            "where": range_of(taken.reading),
        }
        for taken in seen.readings
    ]


def _gates(entries: Sequence[Stamped]) -> list[Values]:
    return [
        {"n": e.n, "at": e.mono, "was": e.event.was, "now": e.event.now, "how": e.event.how, "why": e.event.why,
         "step": e.event.step}
        for e in entries
        if isinstance(e.event, ev.Gate)
    ]


def _faults(entries: Sequence[Stamped], began: float) -> list[Values]:
    return [
        {"n": e.n, "began": began, "fault": e.event.finding, "text": e.event.text}
        for e in entries
        if isinstance(e.event, ev.FindingMade)
    ]


def finding_key(visit: str, n: int, rule: str, sentence: str) -> str:
    """The name of a finding for good: the same record gives the same one, however often it is read. Where the record itself
    is at fault its sentence belongs to the name: another fault at the same place is not signed off with the first."""
    told = f"\n{sentence}" if rule in (BROKEN, DEPARTED) else ""
    return hashlib.sha256(f"{visit}\n{n}\n{rule}{told}".encode()).hexdigest()


def _findings(seen: Account, began: float) -> list[Values]:
    found = [(f.rule, f.n, f.at, f.sentence) for f in seen.findings]
    report = seen.report
    unsealed = "ends without a seal" in report.problem  # `journal.findings` says that already, in its own rule
    if report.problem and not unsealed:
        found.append((BROKEN, report.at or 0, 0.0, report.problem))
    if seen.departure is not None:
        found.append((DEPARTED, seen.departure.n, seen.departure.at, f"{seen.departure.sentence}."))
    name = seen.folder.name
    return [
        {"key": finding_key(name, n, rule, sentence), "n": n, "began": began, "at": at, "rule": rule, "sentence": sentence,
         "signed": False}
        for rule, n, at, sentence in found
    ]


_COUNTED = {"say again": "repeated", "go back": "back", "stand by": "stood_by"}


def _steps(entries: Sequence[Stamped], began: float) -> list[Values]:
    found: list[Values] = []
    here: Values | None = None
    since = 0.0

    def leave(now: float) -> None:
        nonlocal here
        if here is not None:
            here["seconds"] = round(now - since, 3)
            found.append(here)
        here = None

    for entry in entries:
        event = entry.event
        if isinstance(event, ev.StepEntered):
            leave(entry.mono)
            since = entry.mono
            here = {"n": entry.n, "began": began, "procedure": event.path[-1] if event.path else "", "step": event.step,
                    "kind": event.kind, "seconds": 0.0, "heard": 0, "again": 0, "repeated": 0, "back": 0, "stood_by": 0}
        elif isinstance(event, ev.Closed | ev.Resumed):
            leave(entry.mono)
        elif isinstance(event, ev.Utterance) and here is not None:
            here["heard"] += event.verdict != "not for me"
            here["again"] += event.verdict == "asked again"
            if event.verdict == "accepted" and event.text in _COUNTED:
                here[_COUNTED[event.text]] += 1
    if entries:
        leave(entries[-1].mono)
    return found


def unreadable(folder: Path, problem: str, known: dict[str, str] | None = None) -> ReadOut:
    """A folder of which nothing can be read is shown, too, with a finding that says so."""
    stat = (folder / "journal.jsonl").stat()
    began = datetime.fromtimestamp(stat.st_mtime).astimezone()
    visit: Values = {
        "name": folder.name, "size": stat.st_size, "changed": judged_by(folder, known), "reading": VERSION, "head": "",
        "events": 0, "problem": problem, "signed_by": "", "procedure": "", "technician": "", "site": "", "cabinet": "",
        "program": "", "engine": "", "began": began.timestamp(), "began_text": began.isoformat(timespec="seconds"),
        "lasted": 0.0, "outcome": "not readable", "trips": 1, "due": None,
    }
    key = finding_key(folder.name, 0, BROKEN, problem)
    finding = {"key": key, "n": 0, "began": visit["began"], "at": 0.0, "rule": BROKEN, "sentence": problem, "signed": False}
    return ReadOut(visit, {"findings": [finding]})
