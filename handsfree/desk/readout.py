"""A visit's folder as the rows of the desk's tables. Pure, except that it reads the folder: no database here."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from handsfree.desk import protocol, quarantine
from handsfree.desk.heads import Head, not_as_noted
from handsfree.desk.marks import judged_by
from handsfree.desk.tables import COPY, DEPARTING, EPOCH, GOOD, NOT_HOLDING, QUARANTINED, folded
from handsfree.journal import events as ev
from handsfree.journal.account import ABSENT, Account, account
from handsfree.journal.coverage import day_and_time
from handsfree.journal.events import Opened, Stamped
from handsfree.journal.findings import (
    AHEAD,
    BROKEN,
    COPIED,
    DEPARTED,
    LOOK,
    NOT_COMPARED,
    RANKS,
    WITHDRAWN,
    ReviewFinding,
    rank_of,
)
from handsfree.journal.follow import ReplayMachine
from handsfree.journal.found import diagnosis, findings_that_stand, tells
from handsfree.journal.gathering import gathered, parts_of
from handsfree.journal.private import shown_said, shown_words
from handsfree.journal.rights import NO_RIGHTS, Rights
from handsfree.journal.rows import range_of
from handsfree.journal.story import complaint_of
from handsfree.journal.verify import verify

#: Raise it when the code that reads a folder changes: every visit is then read again.
VERSION = 13
#: Seconds that no due time lies ahead of the beginning: two years.
LATEST_DUE = 2 * 366 * 86_400.0
#: Longest text of a line or a diagnosis that is put into the database, and most rows of a kind of one visit. No honest visit
#: comes near them, and a dishonest one cannot cost more.
LONGEST_TEXT, MOST_ROWS = 4_000, 20_000

#: Seconds that a visit may begin after its record was written here, because clocks differ. Common practice, no source.
MOST_AHEAD = 6 * 3600.0

Values = dict[str, Any]


@dataclass(frozen=True)
class ReadOut:
    """`visit`: the row of `visits` without its id; `rows`: table name -> rows without `visit_id`. A row of `lines` carries
    `text` in place of `saying_id`."""

    visit: Values
    rows: dict[str, list[Values]] = field(default_factory=dict)


def machine() -> ReplayMachine:
    """The visit's own, for saying whether a record follows from it. Imported when a folder is read: it is slow to load."""
    from handsfree.visit.review import replay_machine

    return replay_machine()


def read_out(
    folder: Path, known: dict[str, str] | None = None, the_machine: ReplayMachine | None = None, *,
    sound_elsewhere: bool = False, kept: Sequence[Head] = (), rights: Rights = NO_RIGHTS,
) -> ReadOut:
    """Everything the desk shows of a visit except its sound. `sound_elsewhere`: it is kept in a store, where each file is
    compared with its hash when it is requested; `kept`: the head ledger's notes on it, the last one last. Trouble if nothing
    of the visit can be read."""
    size, changed = (folder / "journal.jsonl").stat().st_size, judged_by(folder, known, rights)
    seen = account(folder, the_machine or machine(), known, rights, kept, sound=not sound_elsewhere)
    seen = _against(seen, kept[-1] if kept else None)
    began = datetime.fromisoformat(seen.began).timestamp()
    standing = _standing(folder, seen)
    rows: dict[str, list[Values]] = {
        "lines": _lines(seen.entries, began),
        "files": _files(seen, sound_elsewhere),
        "gates": _gates(seen.entries),
        "spoken_answers": _answers(seen.entries),
        "findings": _findings(seen, began, folder, standing),
    }
    rows["findings"] += _ahead(folder, seen, began)
    if standing == GOOD:  # what does not count is in no figure, no chart and no list of faults
        rows |= {"readings": _readings(seen), "faults": _faults(seen.entries, began), "steps": _steps(seen.entries, began)}
    rank = min((row["rank"] for row in rows["findings"]), default=99)
    values = _visit(folder, seen, began, size, changed) | {"standing": standing, "rank": rank}
    return ReadOut(values, {name: some[:MOST_ROWS] for name, some in rows.items()})


def _against(seen: Account, noted: Head | None) -> Account:
    """The record compared with its noted head."""
    report = seen.report
    if noted is None or not report.holds or report.head == noted.head:
        return seen
    if verify(seen.folder, sound=False, events=noted.events, head=noted.head).holds:
        return seen
    report = replace(report, problem=not_as_noted(noted), at=min(noted.events, report.events) - 1)
    wrong = ReviewFinding(BROKEN, report.at or 0, 0.0, report.problem)
    return replace(seen, report=report, findings=(wrong, *seen.findings))


def _standing(folder: Path, seen: Account) -> str:
    if folder.parent.name == quarantine.FOLDER:
        return QUARANTINED
    if seen.report.renamed and (folder.parent / seen.opened.visit / "journal.jsonl").is_file() and _same_kind(seen):
        return COPY
    if not (seen.report.holds or seen.report.open_end):
        return NOT_HOLDING
    departs = seen.departure is not None or any(found.rule == NOT_COMPARED for found in seen.findings)
    return DEPARTING if departs else GOOD


def _same_kind(seen: Account) -> bool:
    """The name is one that a visit can have: nothing else is looked for on the disk."""
    return protocol.names_a_visit(seen.opened.visit)


def _visit(folder: Path, seen: Account, began: float, size: int, changed: int) -> Values:
    opened = seen.opened
    closed = next((e.event for e in reversed(seen.entries) if isinstance(e.event, ev.Closed | ev.Resumed)), None)
    due = None
    if isinstance(closed, ev.Closed) and closed.outcome == "to be continued":
        wait = closed.not_before if closed.not_before is not None else seen.lasted
        due = began + min(max(wait, 0.0), LATEST_DUE)
    found = diagnosis(seen.entries)
    words = found.event.text[:LONGEST_TEXT] if found is not None else ""
    outcome = closed.outcome if isinstance(closed, ev.Closed) else "not closed"
    return {
        "name": folder.name,
        "size": size,
        "changed": changed,
        "reading": VERSION,
        "head": seen.report.head,
        "words": "",  # slow to work out: when somebody looks at it first
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
        "on_site": seen.on_site,
        "found": words,
        **_folded(opened.site, opened.cabinet, opened.technician, words),
        "outcome": outcome,
        "complaint": complaint_of(opened, seen.entries)[:300],
        "version": version_of(opened),
        "parts": "; ".join(parts_of(gathered(seen.entries)))[:LONGEST_TEXT],
        "heard": sum(isinstance(e.event, ev.Utterance) and e.event.verdict != "not for me" for e in seen.entries),
        "again": sum(isinstance(e.event, ev.Utterance) and e.event.verdict == "asked again" for e in seen.entries),
        "day": datetime.fromisoformat(seen.began).date().toordinal() - EPOCH,
        "trips": 1 + sum(isinstance(e.event, ev.Resumed) and e.event.why == "to be continued" for e in seen.entries),
        "due": due,
    }


def version_of(opened: Opened) -> str:
    """Of the first procedure: its version number, and the beginning of its text's hash, because a text may change while its
    number does not; '' if the record has neither."""
    called = re.search(r"(?m)^version:\s*['\"]?([^\s'\"#]{1,20})", dict(opened.copies).get(opened.procedure, ""))
    digest = dict(opened.digests).get(opened.procedure, "")[:6]
    return f"{called[1]} ({digest})" if called is not None and digest else called[1] if called is not None else digest


def _folded(site: str, cabinet: str, technician: str, found: str) -> Values:
    texts = {"site": site, "cabinet": cabinet, "technician": technician, "found": found}
    return {f"{name}_folded": folded(text[:300]) for name, text in texts.items()}


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
                 "sure": sure, "procedure": procedure, "step": step, "text": text[:LONGEST_TEXT].replace("\x00", "\ufffd")}
            )
    return found


def _said(event: Any) -> tuple[str, str, str, float, str] | None:
    if isinstance(event, ev.Utterance):
        text, wrote = shown_words(event), shown_words(event, event.words)
        both = f"{text} / {wrote}" if event.words and wrote != text else text
        return ("technician", event.verdict, event.reason, event.sure, both) if both else None
    if isinstance(event, ev.NoteKept):
        return "note", "", "", 0.0, event.text or "(in sound only)"
    if isinstance(event, ev.Say):
        return "program", "", event.role, 0.0, shown_said(event)
    return None


_BINDS = {ev.Utterance: ("clip", "clip_sha256"), ev.NoteKept: ("clip", "clip_sha256"), ev.Attached: ("file", "sha256")}


def _ahead(folder: Path, seen: Account, began: float) -> list[Values]:
    """A visit that begins well after it came here: the device's clock is wrong, and so are its days in every list."""
    if began < (folder / "journal.jsonl").stat().st_mtime + MOST_AHEAD:
        return []
    said = f"By its own clock it began on {day_and_time(seen.began)}, after it came here. The device's clock is ahead."
    return [finding_row(folder.name, began, AHEAD, 0, 0.0, said)]


def _answers(entries: Sequence[Stamped]) -> list[Values]:
    """Each note that the machine accepted as the answer to a question of the desk."""
    found: dict[int, str] = {}
    note = -1
    for entry in entries:
        if isinstance(entry.event, ev.NoteKept):
            note = entry.n
        elif isinstance(entry.event, ev.DeskAnswered) and note >= 0:
            found[note] = entry.event.key[:64]
    return [{"n": n, "key": key} for n, key in found.items()]


def _files(seen: Account, elsewhere: bool) -> list[Values]:
    """What is still there: sound that was removed with the right to has no row. A mark without the right removes nothing."""
    with_right = {removal.n for removal in seen.report.removals if removal.right}
    removed = {
        name
        for e in seen.entries
        if isinstance(e.event, ev.SoundRemoved)
        for name, _ in e.event.clips
        if e.n in with_right or not (elsewhere or (seen.folder / name).is_file())
    }
    found = []
    for entry in seen.entries:
        if (names := _BINDS.get(type(entry.event))) is not None:
            path = getattr(entry.event, names[0])
            if path and path not in removed:
                found.append({"n": entry.n, "path": path, "sha256": getattr(entry.event, names[1])})
    return found


#: No quantity of this trade has a value beyond it in any unit: ohms of an open winding come nearest.
LARGEST_VALUE = 1e12


def _readings(seen: Account) -> list[Values]:
    at = {entry.n: datetime.fromisoformat(entry.wall).timestamp() for entry in seen.entries}
    return [
        {
            "n": taken.n, "taken": at[taken.n], "site": seen.opened.site, "cabinet": seen.opened.cabinet,
            "procedure": taken.reading.path[-1] if taken.reading.path else "", "step": taken.reading.step,
            "quantity": taken.reading.quantity, "value": taken.reading.value, "unit": taken.reading.unit,
            "low": taken.reading.expected[0] if taken.reading.expected else None,
            "high": taken.reading.expected[1] if taken.reading.expected else None,
            "where": range_of(taken.reading)[:60],
        }
        for taken in seen.readings
        if taken.reading.value is None or abs(taken.reading.value) < LARGEST_VALUE
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
        {"n": e.n, "began": began, "fault": e.event.finding, "tells": tells(e.event), "text": e.event.text[:LONGEST_TEXT]}
        for e in findings_that_stand(entries)
    ]


def finding_key(visit: str, n: int, rule: str, sentence: str) -> str:
    """The permanent name of a finding: the same record always gives the same one. If the record itself is broken, the
    sentence is part of the name, so that another fault in the same place is not signed off with the first."""
    told = f"\n{sentence}" if rule in (BROKEN, DEPARTED, WITHDRAWN) else ""
    return hashlib.sha256(f"{visit}\n{n}\n{rule}{told}".encode()).hexdigest()


def _findings(seen: Account, began: float, folder: Path, standing: str) -> list[Values]:
    found = [(f.rule, f.n, f.at, f.sentence) for f in seen.findings]
    if standing == COPY:
        found.append((COPIED, 0, 0.0, f"This folder is a copy of visit {seen.opened.visit}, which is here, too."))
    why = quarantine.why_of(folder)
    if standing == QUARANTINED and why.sentence and (why.rule or not any(rule in (BROKEN, WITHDRAWN) for rule, *_ in found)):
        found.append((why.rule or BROKEN, why.n or 0, 0.0, why.sentence))
    return [finding_row(folder.name, began, *one) for one in found]


def finding_row(name: str, began: float, rule: str, n: int, at: float, sentence: str) -> Values:
    key = finding_key(name, n, rule, sentence)
    return {"key": key, "n": n, "began": began, "at": at, "rule": rule, "sentence": sentence[:LONGEST_TEXT],
            "level": RANKS.get(rule, LOOK), "rank": rank_of(rule), "closed": False}


_COUNTED = {"say again": "repeated", "go back": "back", "stand by": "stood_by"}


def _steps(entries: Sequence[Stamped], began: float) -> list[Values]:
    found: list[Values] = []
    here: Values | None = None
    since = last = 0.0

    def leave(now: float) -> None:
        nonlocal here
        if here is not None:
            here["seconds"] = round(now - since, 3)
            found.append(here)
        here = None

    for entry in entries:
        event = entry.event
        since, last = since + (entry.mono - last if entry.mono - last > ABSENT else 0.0), entry.mono
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


def unreadable(folder: Path, problem: str, known: dict[str, str] | None = None, rights: Rights = NO_RIGHTS) -> ReadOut:
    """A folder of which nothing can be read is shown too, with a finding that says so."""
    stat = (folder / "journal.jsonl").stat()
    began = datetime.fromtimestamp(stat.st_mtime).astimezone()
    visit: Values = {
        "name": folder.name, "size": stat.st_size, "changed": judged_by(folder, known, rights), "reading": VERSION,
        "head": "", "words": "", "events": 0, "problem": problem, "signed_by": "", "procedure": "", "technician": "",
        "site": "", "cabinet": "", "program": "", "engine": "", "began": began.timestamp(),
        "began_text": began.isoformat(timespec="seconds"), "lasted": 0.0, "outcome": "not readable", "trips": 1, "due": None,
        "on_site": 0.0, "found": "", **_folded("", "", "", ""), "rank": 0,
        "standing": QUARANTINED if folder.parent.name == quarantine.FOLDER else NOT_HOLDING,
        "complaint": "", "version": "", "parts": "", "heard": 0, "again": 0, "day": began.date().toordinal() - EPOCH,
    }
    return ReadOut(visit, {"findings": [finding_row(folder.name, visit["began"], BROKEN, 0, 0.0, problem)]})
