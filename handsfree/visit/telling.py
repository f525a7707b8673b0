"""A visit as a bystander would hear it, line by line: who speaks, what, when, and what came of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from handsfree.journal.events import (
    Alarm,
    AlsoSaid,
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
from handsfree.procedure import phrasing


@dataclass(frozen=True)
class ToldLine:
    """`who`: program, technician, tone or record. `aside`: what came of it, '' for nothing to add."""

    at: float
    who: str
    text: str
    aside: str = ""


ToldParts = tuple[str, str, str]


@dataclass(frozen=True)
class TellingWords:
    """The sentences of a language that tell of a visit."""

    code: str

    def __call__(self, key: str, **values: object) -> str:
        return phrasing.say(self.code, f"told-{key}", **values)

    def value(self, what: str, name: str) -> str:
        return phrasing.value(self.code, what, str(name))


def _utterance(event: Utterance, say: TellingWords) -> ToldParts:
    meant, sure = shown_words(event), f"{event.sure:.1%}"
    if event.verdict == Verdict.ACCEPTED:
        return "technician", meant, say("accepted", sure=sure)
    if event.verdict == Verdict.PROPOSED:
        return "technician", meant, say("read-back", sure=sure)
    words = shown_words(event, event.words)
    if event.verdict == Verdict.NOT_FOR_ME:
        return "technician", words or say("a-sound"), say("not-for-it")
    why, colon, more = event.reason.partition(": ")  # 'a look-alike: negation'
    reason = f"{say.value('reason', why)}{colon}{say.value('reason', more)}" if why else say("not-sure")
    return "technician", words or meant or say("speech"), say("again", reason=reason)


def _reading(event: ReadingTaken, say: TellingWords) -> ToldParts:
    if event.value is None:
        return "record", f"{event.quantity}: {say.value('reading', event.state)}", ""
    taken = f"{event.quantity}: {amount(event.value, event.unit)}"
    if event.given_unit != event.unit:
        taken = say("given-as", taken=taken, given=amount(event.given, event.given_unit))
    return "record", taken, say("affirmed") if event.affirmed else ""


def _gate(event: Gate, say: TellingWords) -> ToldParts:
    was, now = (say.value("power", state.lower()) for state in (event.was, event.now))
    how = say.value("how", event.how)
    if event.was != event.now:
        return "record", say("isolation-moved", was=was, now=now), how
    which = {"phrase": "gate-given", "relieved": "gate-relieved"}.get(event.how, "gate-shut")
    return "record", say(which, now=now), how


def _alarm(event: Alarm, say: TellingWords) -> ToldParts:
    isolation = say.value("power", str(event.isolation).lower())
    return "record", say("alarm", kind=say.value("alarm", event.kind)), say("isolation", isolation=isolation)


def _evidence(event: EvidenceTaken, say: TellingWords) -> ToldParts:
    key = "evidence" if event.taken else "no-evidence"
    return "record", say(key, what=say.value("what", event.what), step=event.step), ""


def _finding(event: FindingMade, say: TellingWords) -> ToldParts:
    evidence = "; ".join(f"{name}: {answer_given(value)}" for name, value in event.evidence)
    return "record", say("finding", finding=event.finding), evidence


_LINES: dict[type[Any], Callable[[Any, TellingWords], ToldParts]] = {
    Say: lambda event, say: ("program", shown_said(event), ""),
    Tone: lambda event, say: ("tone", say.value("tone", event.name), ""),
    Utterance: _utterance,
    NoteKept: lambda event, say: ("technician", event.text or say("a-note"), say("kept")),
    Gate: _gate,
    ReadingTaken: _reading,
    AnswerTaken: lambda event, say: ("record", f"{event.step}: {event.answer}", ""),
    CautionTaken: lambda event, say: (
        "record", say("understood", level=say.value("level", event.level), step=event.step), ""
    ),
    Alarm: _alarm,
    AlsoSaid: lambda event, say: ("record", event.means or event.words, say(f"also-{event.now}")),
    FactUsed: lambda event, say: ("record", f"{event.step}: {answer_given(event.value)}", say("known", fact=event.fact)),
    StepPassed: lambda event, say: (
        "record", say("passed", step=event.step), ", ".join(f"{name}: {of}" for name, of in event.because)
    ),
    DeskAnswered: lambda event, say: ("record", say("desk-answered"), ""),
    EvidenceTaken: _evidence,
    Attached: lambda event, say: ("record", say("attached", file=event.file), ""),
    Corrected: lambda event, say: ("record", say("taken-back", step=event.step), ""),
    FindingMade: _finding,
    Resumed: lambda event, say: ("record", say("resumed", why=event.why), ""),
    SoundLost: lambda event, say: ("record", say("lost", what=say.value("device", event.what), device=event.device), ""),
    SoundBack: lambda event, say: ("record", say("back", what=say.value("device", event.what), device=event.device), ""),
    StopAsked: lambda event, say: ("record", say("stop-asked", why=say.value("why", event.why)), ""),
    FaultMet: lambda event, say: ("record", say("part-failed", part=say.value("part", event.part)), event.what),
    FaultCaught: lambda event, say: ("record", say("program-failed"), event.what),
    Closed: lambda event, say: ("record", say("closed", outcome=say.value("outcome", event.outcome)), event.text),
}


def line(entry: Stamped, code: str = phrasing.USUAL) -> ToldLine | None:
    """In the language `code`. None for events a bystander would not notice."""
    tell = _LINES.get(type(entry.event))
    if tell is None:
        return None
    who, text, aside = tell(entry.event, TellingWords(code))
    return ToldLine(entry.mono, who, text, aside)
