"""A visit as a bystander would hear it, line by line: who speaks, what, when, and what came of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from handsfree.journal.events import (
    Alarm,
    AnswerTaken,
    Attached,
    CautionTaken,
    Closed,
    Corrected,
    DeskAnswered,
    EvidenceTaken,
    FactUsed,
    FaultCaught,
    FaultMet,
    FindingMade,
    Gate,
    NoteKept,
    ReadingTaken,
    Resumed,
    Say,
    SoundBack,
    SoundLost,
    Stamped,
    StepPassed,
    StopAsked,
    Tone,
    Utterance,
)
from handsfree.journal.private import shown_said, shown_words
from handsfree.journal.rows import amount, answer_given
from handsfree.language.meaning import Verdict


@dataclass(frozen=True)
class ToldLine:
    """`who`: program, technician, tone or record. `aside`: what came of it, '' for nothing to add."""

    at: float
    who: str
    text: str
    aside: str = ""


def clock(seconds: float) -> str:
    """'0:01:07.4'"""
    minutes, rest = divmod(max(seconds, 0.0), 60)
    hours, minutes = divmod(int(minutes), 60)
    return f"{hours}:{minutes:02d}:{rest:04.1f}"


def _utterance(event: Utterance) -> tuple[str, str, str]:
    meant = shown_words(event)
    if event.verdict == Verdict.ACCEPTED:
        return "technician", meant, f"accepted, {event.sure:.1%} sure"
    if event.verdict == Verdict.PROPOSED:
        return "technician", meant, f"read back to be affirmed, {event.sure:.1%} sure"
    if event.verdict == Verdict.NOT_FOR_ME:
        return "technician", shown_words(event, event.words) or "(a sound)", "not for the program"
    return "technician", shown_words(event, event.words) or meant or "(speech)", f"asked again: {event.reason or 'not sure'}"


def _reading(event: ReadingTaken) -> tuple[str, str, str]:
    if event.value is None:
        return "record", f"{event.quantity}: {event.state}", ""
    given = "" if event.given_unit == event.unit else f", given as {amount(event.given, event.given_unit)}"
    return "record", f"{event.quantity}: {amount(event.value, event.unit)}{given}", "affirmed" if event.affirmed else ""


_LINES: dict[type[Any], Callable[[Any], tuple[str, str, str]]] = {
    Say: lambda event: ("program", shown_said(event), ""),
    Tone: lambda event: ("tone", event.name, ""),
    Utterance: _utterance,
    NoteKept: lambda event: ("technician", event.text or "(a note)", "kept as a note"),
    Gate: lambda event: ("record", f"isolation {event.was} to {event.now}" if event.was != event.now else
                         f"isolation {event.now}, gate {'phrase given' if event.how == 'phrase' else 'shut'}", event.how),
    ReadingTaken: _reading,
    AnswerTaken: lambda event: ("record", f"{event.step}: {event.answer}", ""),
    CautionTaken: lambda event: ("record", f"{event.level} understood: {event.step}", ""),
    Alarm: lambda event: ("record", f"alarm: {event.kind}", f"isolation {event.isolation}"),
    FactUsed: lambda event: ("record", f"{event.step}: {event.value}", f"known already: {event.fact}"),
    StepPassed: lambda event: ("record", f"{event.step} passed", ", ".join(f"{name}: {of}" for name, of in event.because)),
    DeskAnswered: lambda event: ("record", "the desk's question is answered", ""),
    EvidenceTaken: lambda event: ("record", f"{event.what} taken: {event.step}", ""),
    Attached: lambda event: ("record", f"attached {event.file}", ""),
    Corrected: lambda event: ("record", f"answer to {event.step} taken back", ""),
    FindingMade: lambda event: ("record", f"finding {event.finding}",
                                "; ".join(f"{name}: {answer_given(value)}" for name, value in event.evidence)),
    Resumed: lambda event: ("record", f"resumed, {event.why}", ""),
    SoundLost: lambda event: ("record", f"{event.what} {event.device} lost", ""),
    SoundBack: lambda event: ("record", f"{event.what} {event.device} back", ""),
    StopAsked: lambda event: ("record", f"stop asked: {event.why}", ""),
    FaultMet: lambda event: ("record", f"{event.part} failed", event.what),
    FaultCaught: lambda event: ("record", "the program failed: stopped, as live", event.what),
    Closed: lambda event: ("record", f"closed: {event.outcome}", event.text),
}


def line(entry: Stamped) -> ToldLine | None:
    """None for events a bystander would not notice."""
    tell = _LINES.get(type(entry.event))
    if tell is None:
        return None
    who, text, aside = tell(entry.event)
    return ToldLine(entry.mono, who, text, aside)
