"""The service report for the customer: fault, evidence, work done, parts, readings before and after, product temperature,
cautions, open points. As Markdown here, as PDF in `pdf.py`.

Rules of this file:

- It is made only from steps, answers, readings, findings and hand-overs. What the technician said, in sound or in words
  (utterances, notes, gate phrases), and what the program read back are never shown, so neither voice nor lock number can
  get into it.
- A part is what the procedure declares that a finished step puts in new.
- A step counts as done when the person said so; not when it was only read, left by going back, or where the visit stopped.
  A wait is done only when its time is over: one that was cut short is an open point.
- Work is what changes the cabinet. Looking, listening, measuring, plugging and locking only find out and make safe: their
  results are under the evidence, the readings and the isolation.
- Only a fault is listed as a fault: that something is in order, that the work is proved, and advice on the stock are listed
  separately.
- Readings are after the work once a supply was given back. Where none was, the first of a thing is before the work, and
  one that was taken again after work on a fault is after it. What a step set is after it.
- Supervisors' findings stay with the supervisor; what a customer must know about a reading is beside it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from handsfree.journal import events as ev
from handsfree.journal.account import Account
from handsfree.journal.declared import parts_declared
from handsfree.journal.events import Stamped
from handsfree.journal.found import ADVICE, FAULT, PROVED, SOUND, findings_that_stand, locks_on, taken_back, tells
from handsfree.journal.left import cut_waits, steps_done
from handsfree.journal.measured import measured
from handsfree.journal.rows import amount, answer_given, printable, range_of, span, unit


@dataclass(frozen=True)
class ReportTable:
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Section:
    """`lines` are a list; `table` follows them."""

    title: str
    lines: tuple[str, ...] = ()
    table: ReportTable | None = None


@dataclass(frozen=True)
class Service:
    title: str
    facts: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]
    foot: str
    warning: str = ""
    language: str = "en"


@dataclass
class Gathered:
    """What was found, done and read, from the intact events."""

    faults: list[str] = field(default_factory=list)
    proved: list[str] = field(default_factory=list)
    advice: list[str] = field(default_factory=list)
    evidence: list[str] = field(default_factory=list)
    work: list[str] = field(default_factory=list)
    parts: list[str] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)
    handed: list[str] = field(default_factory=list)
    cut: list[str] = field(default_factory=list)
    before: dict[str, ev.ReadingTaken] = field(default_factory=dict)
    after: dict[str, ev.ReadingTaken] = field(default_factory=dict)


#: Kinds of step that may be work on the cabinet.
_WORK = ("instruct", "wait")
_NO_WORDS_OF_THE_STEP = re.compile(r"(Say|I|Another) |(\d+|one) (second|minute|hour)s?\b")
#: Beginnings of sentences that are not work: they look, measure, wait, or handle the plug. A heuristic over the procedures'
#: own sentences, in English and Spanish; what it does not know counts as work.
_NO_WORK = re.compile(
    r"\s*(look|listen|read|hold|watch|feel|find|check|measure|note|ask|tell|say|stand|keep|give|wait|switch|(un)?plug"
    r"|take (a|the) (photo|reading)|put (your|a|the) (thermometer|probe|meter)|(pull|push) the plug|(put|take) your lock"
    r"|they|write|turn (it|the cabinet) (on|off)|(open|close|shut) the door"
    r"|mire|escuche|lea|espere|mida|ponga su termómetro|abra|cierre|enchufe|desenchufe)\b",
    re.IGNORECASE,
)
_PLUG = re.compile(r"\b(plug|unplug|lock and tag|socket|enchufe|candado)\b", re.IGNORECASE)
_NONE_LINE = "None recorded."


def service(account: Account) -> Service:
    """The report of one visit."""
    got = gathered(account.entries)
    opened = account.opened
    facts = [
        ("Visit", opened.visit),
        ("Site", opened.site),
        ("Cabinet", opened.cabinet),
        ("Date", account.began[:10]),
        ("Time on site", span(account.on_site)),
        ("Result", account.outcome),
    ]
    products = [text for name, text in _reading_lines(got) if "product" in name.lower()]
    parts = [f"{part[0].upper()}{part[1:]}" for part in parts_of(got)]
    sections = (
        _section("Fault", got.faults or ["No fault was found."] * bool(got.proved)),
        *([_section("Found in order", got.proved)] if got.proved else []),
        _section("Evidence", got.evidence),
        _section("Work done", got.work),
        _section("Isolation", _isolation(account)),
        _section("Parts", parts),
        Section("Readings before and after", table=_readings(got)) if got.before or got.after else _section("Readings", []),
        *([_section("Product temperature", products)] if products or _temperatures(got) else []),
        *([_section("On the stock", got.advice)] if got.advice else []),
        _section("Cautions", got.cautions),
        _section("Open points", open_points(account, got)),
    )
    foot = (
        f"Made from the record of the visit, {account.report.events} events, {account.report.head}. "
        "Local codes and licensed practice come first."
    )
    warning = ""
    if account.report.in_doubt:
        warning = account.report.verdict
    elif not account.report.holds:
        warning = "THE RECORD BEHIND THIS REPORT IS BROKEN; do not rely on it."
        if account.after or account.report.cut is not None:
            warning += f" It breaks at event {account.report.at}, and what comes after is left out here."
    shown = tuple((k, printable(v)) for k, v in facts if v)
    return Service(printable(f"Service report {opened.visit}"), shown, sections, foot, warning, opened.language)


def _temperatures(got: Gathered) -> bool:
    """Something was measured in degrees: then a customer with goods asks for theirs. A trade without has none."""
    return any(one.unit in ("degC", "degF") for one in (*got.before.values(), *got.after.values()))


def _section(title: str, lines: Sequence[str]) -> Section:
    return Section(title, tuple(dict.fromkeys(printable(line) for line in lines)) or (_NONE_LINE,))


def gathered(entries: Sequence[Stamped]) -> Gathered:
    """By the rules of this file."""
    got = Gathered()
    restored, found = False, {entry.n for entry in findings_that_stand(entries)}
    gone = taken_back(entries) | {e.n for e in entries if isinstance(e.event, ev.FindingMade) and e.n not in found}
    step: ev.StepEntered | None = None
    restores, worked, read = any(map(_gave_back, entries)), False, measured(entries)
    done, cut, alarm = steps_done(entries), {one.left.n for one in cut_waits(entries)}, False
    words: list[str] = []
    declared: dict[str, dict[str, str]] = {}
    attached = {entry.event.step for entry in entries if isinstance(entry.event, ev.Attached)}
    for entry in entries:
        event = entry.event
        if isinstance(event, ev.StepEntered | ev.Closed):
            left = done.get(entry.n)
            if left is not None and left.step.kind == "wait" and entry.n in cut:
                got.cut.extend(words or [plain(left.step.step)])
            elif left is not None and (left.said or left.step.kind == "wait"):
                got.work.extend(words)
                worked = worked or bool(words and got.faults)
                if part := declared.get(left.step.path[-1] if left.step.path else "", {}).get(left.step.step):
                    got.parts.append(part)
            words = []
        if (one := read.get(entry.n)) is not None:
            set_so = not isinstance(event, ev.ReadingTaken)
            again = worked and not restores and one.thing in got.before
            (got.after if restored or set_so or again else got.before)[one.thing] = one.reading
        if isinstance(event, ev.StepEntered):
            step = event
        elif isinstance(event, ev.Opened):
            declared = parts_declared(event.copies)
        elif isinstance(event, ev.Gate):
            restored = restored or _gave_back(entry)
        elif entry.n in gone:
            continue
        elif isinstance(event, ev.Say) and event.role == "step" and step is not None and event.step == step.step:
            if step.kind in _WORK and (told := _told(own_words(event), step.kind)) and told not in words:
                words.append(told)
        elif isinstance(event, ev.EvidenceTaken):
            missing = "" if event.step in attached else " (not attached)" if event.taken else " (not taken)"
            got.evidence.append(f"{event.what.capitalize()}: {plain(event.step)}{missing}")
        elif type(event) in _LINES:
            for name, line in _LINES[type(event)](event):
                getattr(got, name).append(line)
        if isinstance(event, ev.Say) and event.role == "caution" and not alarm:
            got.cautions.append(_of_the_step(own_words(event)))
        alarm = isinstance(event, ev.Alarm)  # what is said after it is for who is hurt
    return got


def _gave_back(entry: Stamped) -> bool:
    return isinstance(entry.event, ev.Gate) and (entry.event.was, entry.event.now) == ("RESTORING", "LIVE")


def own_words(say: ev.Say) -> str:
    """Without the confirmation of the last answer, which is said in front."""
    return say.text[say.front :].strip()


def parts_of(got: Gathered) -> list[str]:
    """What the procedures declare that the finished steps put in new."""
    return list(dict.fromkeys(got.parts))


def _sentences(text: str) -> list[str]:
    """Those of the step, without the instructions for answering."""
    return [part for part in re.split(r"(?<=[.!?])\s+", text) if not _NO_WORDS_OF_THE_STEP.match(part)]


def _of_the_step(text: str) -> str:
    return " ".join(_sentences(text))


def _told(text: str, kind: str) -> str:
    """The step's sentences that are work, without those that say what to answer and how long a wait is."""
    parts = _sentences(text)
    return " ".join(part for part in parts if kind == "wait" or not (_NO_WORK.match(part) or _PLUG.search(part)))


#: What came of it, by what followed: a restore, or that its isolation was cleared.
_AFTERWARDS = {"RESTORING": "then given back", "LIVE": "then taken for live", "ISOLATING": "then isolated anew"}


def _isolation(account: Account) -> list[str]:
    """When the supply was made safe, proved dead and restored, and for how long; no lock number."""
    found = []
    for at, one in enumerate(account.spans):
        if one.state == "ISOLATED":
            after = [later.state for later in account.spans[at + 1 :] if later.source == one.source]
            where = f"{one.source[0].upper()}{one.source[1:]}: made" if one.source else "Made"
            how = _AFTERWARDS.get(after[0], "then taken for live") if "LIVE" in after else "not given back in this visit"
            found.append(f"{where} safe under a lock and proved dead for {span(one.end - one.begin)}, {how}.")
    return found


_SECTION = {FAULT: "faults", SOUND: "proved", PROVED: "proved", ADVICE: "advice"}


def _found(event: ev.FindingMade) -> Iterator[tuple[str, str]]:
    yield _SECTION[tells(event)], event.text
    for step, answer in event.evidence:
        yield "evidence", f"{plain(step)}: {answer_given(answer)}"


def _handed(event: ev.HandedOver) -> Iterator[tuple[str, str]]:
    yield "handed", f"Handed over to {event.to}."


_LINES: dict[type[Any], Callable[[Any], Iterator[tuple[str, str]]]] = {
    ev.FindingMade: _found,
    ev.HandedOver: _handed,
}


def plain(name: str) -> str:
    """'fan-circuit' -> 'Fan circuit'"""
    return name.replace("-", " ").capitalize()


def _shown(reading: ev.ReadingTaken | None) -> str:
    if reading is None:
        return ""
    where = range_of(reading)
    value = reading.state or amount(reading.value, reading.unit)
    return f"{value} ({where})" if where.startswith(("not", "out")) else value


def _reading_lines(got: Gathered) -> Iterator[tuple[str, str]]:
    for when, readings in (("before", got.before), ("after", got.after)):
        for name, reading in readings.items():
            yield name, f"{name.capitalize()}, {when} the work: {_shown(reading)}"


def _readings(got: Gathered) -> ReportTable:
    names = list(dict.fromkeys([*got.before, *got.after]))
    rows = []
    for name in names:
        some = got.after.get(name) or got.before[name]
        expected = f"{some.expected[0]:g} to {some.expected[1]:g} {unit(some.unit)}" if some.expected else ""
        rows.append((name.capitalize(), _shown(got.before.get(name)), _shown(got.after.get(name)), expected))
    return ReportTable(("Reading", "Before the work", "After the work", "Expected"), tuple(rows))


def open_points(account: Account, got: Gathered) -> list[str]:
    """What is left to do, in words for a person."""
    points = [*got.handed, *dict.fromkeys(f"A wait was cut short: {text}" for text in got.cut)]
    if account.outcome in ("not closed", "stopped", "to be continued", "not fixed", "made safe"):
        points.append(f"The visit ended as: {account.outcome}.")
    locked = {source for _, source in locks_on(account.entries)}
    points += [f"{source.capitalize() or 'The supply'} was isolated, and its lock is still on." for source in sorted(locked)]
    for source in dict.fromkeys(s.source for s in account.spans if s.source not in locked):
        states = [s.state for s in account.spans if s.source == source]
        if "RESTORING" not in states[-2:-1] and {"ISOLATING", "ISOLATED"} & set(states[-2:]):
            what = source.capitalize() if source else "The supply"
            points.append(f"{what} was isolated, and no restore is recorded after that.")
    latest = {**got.before, **got.after}
    for name, reading in latest.items():
        if range_of(reading).startswith(("not", "out")):
            unread = bool(got.after) and name not in got.after
            shown = _shown(reading)
            said = f"was {shown} before the work, and was not read again" if unread else f"was last {shown}"
            points.append(f"{name.capitalize()} {said}.")
    return points


_SPECIAL = re.compile(r"([\\`*_{}\[\]<>|#])")


def report_markdown(report: Service) -> str:
    """GitHub-flavoured, for its tables."""

    def clean(text: str) -> str:
        return _SPECIAL.sub(r"\\\1", " ".join(text.split()))

    out = [f"# {clean(report.title)}", "", *([f"**{clean(report.warning)}**", ""] if report.warning else [])]
    out += [f"- {clean(name)}: {clean(text)}" for name, text in report.facts]
    for section in report.sections:
        out += ["", f"## {section.title}", ""]
        out += [f"- {clean(line)}" for line in section.lines]
        if section.table is not None:
            out.append("| " + " | ".join(section.table.heads) + " |")
            out.append("|" + " --- |" * len(section.table.heads))
            out += ["| " + " | ".join(clean(cell) for cell in row) + " |" for row in section.table.rows]
    return "\n".join([*out, "", clean(report.foot), ""])
