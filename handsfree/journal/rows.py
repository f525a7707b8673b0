"""A record as a reader wants to see it: one row for each thing that mattered, in words.

Every view (terminal, page, PDF, captions) is made from these rows, so that they tell the same story. Kinds of event that
tell a reader nothing (timers, what is in force, a prompt's end) have no row.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from handsfree.journal import events as ev
from handsfree.journal.events import Stamped
from handsfree.journal.private import shown_said, shown_words

#: What `--only` knows.
TOPICS = ("gates", "readings", "trouble")


@dataclass(frozen=True)
class Row:
    """`who`: program, technician or record. `what`: its kind in a word. `aside`: the verdict, the range, how a gate opened.
    `topics`: which of TOPICS it belongs to. `clip`: its sound, '' for none. `unverified`: it comes after a break of the
    record, and nothing vouches for it."""

    n: int
    at: float
    wall: str
    who: str
    what: str
    text: str
    aside: str = ""
    topics: frozenset[str] = frozenset()
    clip: str = ""
    unverified: bool = False

    @property
    def trouble(self) -> bool:
        return "trouble" in self.topics


_Part = tuple[str, str, str, str, frozenset[str]]  # who, what, text, aside, topics
_NONE: frozenset[str] = frozenset()
_GATES = frozenset({"gates"})
_READINGS = frozenset({"readings"})
TROUBLE = frozenset({"trouble"})


def rows(entries: Sequence[Stamped]) -> Iterator[Row]:
    """A prompt that was said before at the same step is marked as said again. Speech that was not understood, and that the
    program answered, is not told as speech to somebody else."""
    said: set[str] = set()
    answered = _answered(entries)
    for entry in entries:
        row = row_of(entry)
        if row is None:
            continue
        if entry.n in answered:
            row = replace(row, what="not understood", aside=row.aside.replace("not for me", "not understood"))
        if row.what == "step":
            said.clear()
        elif row.what == "said":
            if row.text in said:
                row = replace(row, aside=f"{row.aside}, said again".lstrip(", "))
            said.add(row.text)
        yield row


def _answered(entries: Sequence[Stamped]) -> set[int]:
    """Speech that counts as not for the program, and to which it said something."""
    found: set[int] = set()
    last = -1
    for entry in entries:
        event = entry.event
        if isinstance(event, ev.Utterance):
            last = entry.n if event.verdict == "not for me" else -1
        elif isinstance(event, ev.HAPPENINGS) and not isinstance(event, ev.PromptEnded):
            last = -1
        elif isinstance(event, ev.Say) and last >= 0:
            found.add(last)
    return found


def row_of(entry: Stamped) -> Row | None:
    """None for an event that tells a reader nothing."""
    make = _ROWS.get(type(entry.event))
    if make is None:
        return None
    who, what, text, aside, topics = make(entry.event)
    clip = getattr(entry.event, "clip", "")
    return Row(entry.n, entry.mono, entry.wall, who, what, printable(text), printable(aside), topics, clip)


#: Characters of a text that a row shows: no person says anything longer.
LONGEST_TEXT = 2000


def seen_as(text: str) -> str:
    """Without characters that control a terminal, turn the direction of writing, or cannot be seen; lines and tabs stay."""
    if text.isprintable():  # nearly every text; a page has thousands
        return text
    return "".join(c if c.isprintable() or c in "\n\t" else " " if c.isspace() else "\ufffd" for c in text)


def printable(text: str) -> str:
    """Without characters that control a terminal or turn the direction of writing, and no longer than `LONGEST_TEXT`."""
    shown = text[:LONGEST_TEXT]
    if not shown.isprintable():
        shown = "".join(c if c.isprintable() else " " if c in "\n\t" else "\ufffd" for c in shown)
    return shown if len(text) <= LONGEST_TEXT else f"{shown}…"


def plainly(name: str) -> str:
    """A name as a program writes it, in words: 'fan-circuit' -> 'fan circuit'"""
    return name.replace("-", " ").replace("_", " ")


def clock(seconds: float) -> str:
    """'0:01:07.4'; days before the hours where there are any: '2 d 03:00:00.0'"""
    tenths = max(round(seconds * 10), 0)
    minutes, rest = divmod(tenths, 600)
    hours, minutes = divmod(minutes, 60)
    days, hours = divmod(hours, 24)
    day = f"{days} d {hours:02d}" if days else str(hours)
    return f"{day}:{minutes:02d}:{rest / 10:04.1f}"


def span(seconds: float) -> str:
    """'7.5 s', '3 min 20 s', '2 h 5 min'"""
    if seconds < 60:
        return f"{seconds:.1f} s"
    minutes, rest = divmod(round(seconds), 60)
    if minutes < 60:
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    hours, minutes = divmod(minutes, 60)
    if hours < 48:
        return f"{hours} h {minutes} min" if minutes else f"{hours} h"
    return f"{hours / 24:.1f} d"


def minutes(seconds: float) -> str:
    """A duration as a person says it: 'under a minute', '12 min', '2 h 5 min', '3 days'"""
    whole = round(seconds / 60)
    if seconds < 30:
        return "under a minute"
    if whole < 60:
        return f"{whole} min"
    if whole < 48 * 60:
        return f"{whole // 60} h {whole % 60} min" if whole % 60 else f"{whole // 60} h"
    return f"{whole / 1440:.0f} days"


#: pint unit name -> how it is written.
_UNITS = {
    "degC": "°C",
    "degF": "°F",
    "delta_degC": "K",
    "volt": "V",
    "ampere": "A",
    "ohm": "Ω",
    "milliampere": "mA",
    "kilohm": "kΩ",
    "watt": "W",
    "hertz": "Hz",
    "percent": "%",
    "kelvin": "K",
    "minute": "min",
    "second": "s",
    "kilogram": "kg",
}


def unit(name: str) -> str:
    return _UNITS.get(name, name)


def answer_given(answer: str) -> str:
    """Evidence of a finding as it is read: '58 degF' -> '58 °F'; an answer in words as it is."""
    number, _, name = answer.rpartition(" ")
    return f"{number} {unit(name)}" if number[-1:].isdigit() and name in _UNITS else answer


def amount(value: float | None, name: str) -> str:
    return "" if value is None else f"{value:.6g} {unit(name)}".strip()


def range_of(reading: ev.ReadingTaken) -> str:
    """'' | 'in range' | 'out of its expected range' | 'not plausible'"""
    if reading.value is None:
        return reading.state
    if reading.plausible is not None and not reading.plausible[0] <= reading.value <= reading.plausible[1]:
        return "not plausible"
    if reading.expected is None:
        return ""
    return "in range" if reading.expected[0] <= reading.value <= reading.expected[1] else "out of its expected range"


def _utterance(event: ev.Utterance) -> _Part:
    words = shown_words(event)
    how = "typed, " if event.typed else ""
    aside = f"{how}{event.verdict}, {event.sure:.1%} sure"
    topics = _GATES if event.sense in ("gate", "denial") else _NONE
    if event.verdict == "asked again":
        rivals = ", ".join(text or f"{value:g}" if value is not None else text for _, text, value in event.rivals)
        aside += f": {event.reason or 'not sure'}" + (f"; or {rivals}" if rivals else "")
        return "technician", "asked again", words or "(speech)", aside, topics | TROUBLE
    if event.verdict == "not for me":
        return "technician", "not for the program", shown_words(event, event.words) or "(a sound)", aside, topics
    return "technician", "heard", words, aside + (f": {event.reason}" if event.reason else ""), topics


def _reading(event: ev.ReadingTaken) -> _Part:
    where = range_of(event)
    parts = [where]
    if event.expected is not None:
        parts.append(f"expected {event.expected[0]:g} to {event.expected[1]:g}")
    if event.plausible is not None:
        parts.append(f"plausible {event.plausible[0]:g} to {event.plausible[1]:g}")
    if event.accuracy:
        parts.append(f"instrument {event.accuracy}")
    if event.given is not None and event.given_unit not in ("", event.unit):
        parts.append(f"given as {amount(event.given, event.given_unit)}")
    if event.affirmed:
        parts.append("affirmed")
    text = f"{event.quantity}: {event.state or amount(event.value, event.unit)}"
    bad = where in ("not plausible", "out of its expected range", "over range", "unsteady")
    return "record", "reading", text, "; ".join(part for part in parts if part), _READINGS | (TROUBLE if bad else _NONE)


#: Ways in which a gate was shut, kept shut or cleared that a supervisor wants to see.
_GATE_TROUBLE = {
    "refused": "it was not the phrase",
    "denied": "a denial was heard",
    "wrong number": "the number was not theirs",
    "power is on": "'power is on' was said",
    "break": "the break was too long",
    "resume": "the visit was resumed",
    "found live": "it was found live",
    "may have come back": "it may have come back",
    "fault": "the program had a fault",
    "handover": "it was handed over",
}
_QUIET = {"isolation begun", "restore begun"}


def _gate(event: ev.Gate) -> _Part:
    if event.was != event.now:
        text = f"Isolation: {event.was} to {event.now}"
    elif event.how == "phrase":
        text = f"Isolation: {event.now}, gate phrase given"
    elif event.how == "relieved":
        text = f"Isolation: {event.now}, relieved, not proved"
    else:
        text = f"Isolation: {event.now}, the gate stays shut"
    how = _GATE_TROUBLE.get(event.how, f"by {event.how}")
    shut = event.was == event.now and event.how not in {"phrase", "relieved", *_QUIET}
    lost = event.was in ("ISOLATED", "ISOLATING") and event.now == "LIVE"
    aside = f"{how}: {event.why}" if event.why else how
    return "record", "gate", text, aside, _GATES | (TROUBLE if shut or lost else _NONE)


def _finding(event: ev.FindingMade) -> _Part:
    because = "; ".join(f"{step}: {answer_given(answer)}" for step, answer in event.evidence)
    return "record", "finding", event.text, because, _NONE


def _closed(event: ev.Closed) -> _Part:
    later = "" if event.not_before is None else f"not before {clock(event.not_before)} on the visit's clock"
    bad = event.outcome in ("stopped", "not fixed", "to be continued")
    text = f"Closed: {event.outcome}. {event.text}".strip()
    return "record", "closed", text, later, TROUBLE if bad else _NONE


def _said(event: ev.Say) -> _Part:
    topics = (_GATES if event.role == "refusal" else _NONE) | (TROUBLE if event.role == "refusal" else _NONE)
    return "program", "said", shown_said(event), "" if event.role == "step" else event.role, topics


_ROWS: dict[type[Any], Callable[[Any], _Part]] = {
    ev.Opened: lambda e: (
        "record",
        "opened",
        f"Visit opened: {e.procedure}",
        ", ".join(part for part in (e.technician, e.site, e.cabinet) if part),
        _NONE,
    ),
    ev.Utterance: _utterance,
    ev.NoteKept: lambda e: ("technician", "note", e.text or "(a note, in sound only)", f"kept, {span(e.seconds)}", _NONE),
    ev.Attached: lambda e: ("record", "attached", f"{e.step}: {e.file}", "", _NONE),
    ev.SoundLost: lambda e: ("record", "sound lost", f"The {e.what} was lost", e.device, TROUBLE),
    ev.SoundBack: lambda e: ("record", "sound back", f"The {e.what} is back", e.device, TROUBLE),
    ev.SoundDropped: lambda e: (
        "record",
        "sound dropped",
        f"{e.samples / 16:.0f} ms of sound lost",
        "in speech" if e.speech else "",
        TROUBLE,
    ),
    ev.ClockMoved: lambda e: ("record", "clock moved", f"The wall clock jumped by {e.seconds:+.1f} s", "", TROUBLE),
    ev.Resumed: lambda e: ("record", "resumed", "Taken up again", e.why, TROUBLE),
    ev.StopAsked: lambda e: ("record", "stop", "A stop was asked from outside the voice", e.why, TROUBLE),
    ev.FaultMet: lambda e: ("record", "fault", f"The {e.part} failed", e.what, TROUBLE),
    ev.FaultCaught: lambda e: (
        "record",
        "fault",
        f"The program failed{f' at {e.step}' if e.step else ''}; the visit was stopped as live",
        f"{e.during}: {e.what}",
        TROUBLE,
    ),
    ev.Say: _said,
    ev.StepEntered: lambda e: ("record", "step", f"Step {e.step} ({e.kind})", f"{' > '.join(e.path)}; {e.isolation}", _NONE),
    ev.AnswerTaken: lambda e: ("record", "answer", f"{e.step}: {e.answer}", "corrected" if e.corrected else "", _NONE),
    ev.ReadingTaken: _reading,
    ev.CautionTaken: lambda e: ("record", "caution", f"{e.level.capitalize()} acknowledged: {e.step}", "", _NONE),
    ev.Gate: _gate,
    ev.LockChanged: lambda e: (
        "record",
        "lock",
        f"The lock of {e.owner} is {'on' if e.on else 'off'} {e.source}",
        "" if e.how == "phrase" else e.how,
        _GATES | (TROUBLE if e.how != "phrase" else _NONE),
    ),
    ev.Corrected: lambda e: ("record", "correction", f"The answer to {e.step} was taken back", "", TROUBLE),
    ev.FindingMade: _finding,
    ev.HandedOver: lambda e: (
        "record",
        "handed over",
        f"Handed over to {e.to}",
        "; ".join(f"{k}: {v}" for k, v in e.summary),
        TROUBLE,
    ),
    ev.Decided: lambda e: (
        "record",
        "decision",
        f"{e.step}: {e.case}",
        "; ".join(f"{k}: {v}" for k, v in e.because),
        _NONE,
    ),
    ev.Alarm: lambda e: ("technician", "alarm", e.words or e.kind, f"isolation {e.isolation}", TROUBLE),
    ev.AlsoSaid: lambda e: ("technician", "also said", e.words, f"{e.means}: {e.now}" if e.means else e.now, _NONE),
    ev.FactUsed: lambda e: (
        "record", "known", f"{e.step}: {answer_given(e.value)}", f"not asked: {e.fact}, {e.age:.0f} s old", _NONE
    ),
    ev.DeskAsked: lambda e: ("record", "asked", f"A question of {e.by} was put", "", _NONE),
    ev.DeskAnswered: lambda e: ("record", "answered", "It was answered by the note before", "", _NONE),
    ev.StepPassed: lambda e: ("record", "passed", e.step, ", ".join(f"{name}: {value}" for name, value in e.because), _NONE),
    ev.EvidenceTaken: lambda e: (
        "record", "evidence", f"{e.what.capitalize()} {'taken' if e.taken else 'not taken'}: {e.step}", "", _NONE
    ),
    ev.Closed: _closed,
    ev.Sealed: lambda e: ("record", "sealed", f"Sealed after {e.events} events", e.head, _NONE),
    ev.SoundRemoved: lambda e: ("record", "sound removed", f"Sound of {len(e.clips)} events removed", e.why, _NONE),
    ev.SignedBy: lambda e: ("record", "signed", f"Under the key of a device called {e.device}", e.public_key, _NONE),
    ev.EndOpen: lambda e: (
        "record",
        "end open",
        f"There was no seal after event {e.events - 1}: a crash, or an end that was cut off",
        "",
        TROUBLE,
    ),
    ev.TailDropped: lambda e: (
        "record",
        "torn end",
        f"{e.size} bad bytes at the end were cut off: a crash leaves such bytes, and so does damage to the end",
        f"kept as {e.file}",
        TROUBLE,
    ),
}
