"""What was found, done and read in a visit, gathered from its intact events for the report and for the supervisor's screen.

Rules of this file:

- A part is what the procedure declares that a finished step puts in new.
- A step counts as done when the person said so; not when it was only read, left by going back, or where the visit stopped.
  A wait that was cut short is an open point; one that was kept is no work.
- Work is what changes the cabinet, also where a question follows on it: 'Clean the gasket. Does it hold?' What is answered
  there, or right after a step of work, is evidence of what the work did. Looking, listening, measuring, plugging and locking
  only find out and make safe: their results are under the evidence, the readings and the isolation.
- Only a fault is listed as a fault: that something is in order, that the work is proved, and advice on the stock are listed
  separately. What a finding says is still to be proved is left to do.
- Readings are after the work once a supply was given back. Where none was, the first of a thing is before the work, and
  one that was taken again after work on a fault is after it. What a step set is after it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from handsfree.journal import events as ev
from handsfree.journal.declared import DeclaredSteps, declared_at, declared_in
from handsfree.journal.events import Stamped
from handsfree.journal.found import ADVICE, FAULT, PROVED, SOUND, findings_that_stand, taken_back, tells
from handsfree.journal.left import cut_waits, steps_done
from handsfree.journal.measured import measured
from handsfree.journal.rows import answer_given


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
    answers: dict[str, str] = field(default_factory=dict)
    to_prove: list[str] = field(default_factory=list)
    cut: list[str] = field(default_factory=list)
    before: dict[str, ev.ReadingTaken] = field(default_factory=dict)
    after: dict[str, ev.ReadingTaken] = field(default_factory=dict)


#: Kinds of step that may be work on the cabinet.
_WORK = ("instruct", "wait", "ask")
_NO_WORDS_OF_THE_STEP = re.compile(r"(Say|I|Another) |(\d+|one) (second|minute|hour)s?\b")
#: Beginnings of sentences that are not work: they look, measure, wait, warn, or handle the plug. A heuristic over the
#: procedures' own sentences, in English and Spanish; what it does not know counts as work.
_NO_WORK = re.compile(
    r"\s*(look|listen|read|hold|watch|feel|find|check|measure|note|ask|tell|say|stand|keep|give|wait|switch|(un)?plug"
    r"|take (a|the) (photo|reading)|put (your|a|the) (thermometer|probe|meter)|(pull|push) the plug|(put|take) your lock"
    r"|they|write|turn (it|the cabinet) (on|off)|(open|close|shut) the door|never|use no|do not|it must|its \w+ must"
    r"|mire|escuche|lea|espere|mida|ponga su termómetro|abra|cierre|enchufe|desenchufe|nunca|no use)\b",
    re.IGNORECASE,
)
#: Of a question's sentences only these beginnings are work: most questions are looked at, listened to or tried.
_WORK_ASKED = re.compile(
    r"\s*(bag|clean|clear|dry|empty|exchange|mop|move|refit|set|tighten"
    r"|ajuste|apriete|cambie|despeje|limpie|seque|vacíe)\b", re.IGNORECASE
)
#: The answer of the shipped procedures that says that a part is not there, and the steps whose names say which.
_ORDERED, _PART_NAMED = "order one", re.compile(r"(new|spare|other) ")
#: What a finding says of its proof, which is not done.
_TO_PROVE = re.compile(r"\bstill to be proved\b|\b(queda|falta) por comprobar\b", re.IGNORECASE)
_PLUG = re.compile(r"\b(plug|unplug|lock and tag|socket|enchufe|candado)\b", re.IGNORECASE)


def gathered(entries: Sequence[Stamped]) -> Gathered:
    """By the rules of this file."""
    got = Gathered()
    restored, found = False, {entry.n for entry in findings_that_stand(entries)}
    gone = taken_back(entries) | {e.n for e in entries if isinstance(e.event, ev.FindingMade) and e.n not in found}
    step: ev.StepEntered | None = None
    restores, worked, read = any(map(_gave_back, entries)), False, measured(entries)
    done, cut, alarm = steps_done(entries), {one.left.n for one in cut_waits(entries)}, False
    words: list[str] = []
    tried, handing = False, ""
    declared: dict[str, DeclaredSteps] = {}
    attached = {entry.event.step for entry in entries if isinstance(entry.event, ev.Attached)}
    for entry in entries:
        event = entry.event
        if isinstance(event, ev.StepEntered | ev.Closed):
            left = done.get(entry.n)
            tried = left is not None and left.said and left.step.kind == "instruct" and bool(words)
            if left is not None and left.step.kind == "wait":
                got.cut.extend((words or [plain(left.step.step)]) if entry.n in cut else [])
            elif left is not None and left.said:
                got.work.extend(words)
                worked = worked or bool(words and got.faults)
                of = declared_at(declared, left.step.path)
                if of is not None and (part := of.parts.get(left.step.step)):
                    got.parts.append(part)
            words = []
        if (one := read.get(entry.n)) is not None:
            set_so = not isinstance(event, ev.ReadingTaken)
            again = worked and not restores and one.thing in got.before
            (got.after if restored or set_so or again else got.before)[one.thing] = one.reading
        if isinstance(event, ev.StepEntered):
            step, handing = event, ""
        elif isinstance(event, ev.Opened):
            declared = declared_in(event.copies)
        elif isinstance(event, ev.Gate):
            restored = restored or _gave_back(entry)
        elif entry.n in gone:
            continue
        elif isinstance(event, ev.AnswerTaken):
            got.answers[event.step] = event.answer
            if tried or words:
                got.evidence.append(f"{plain(event.step)}: {event.answer}")
            tried = False
        elif isinstance(event, ev.Say) and event.role == "step" and handing:
            if why := " ".join(one for one in _sentences(own_words(event)) if handing not in one):
                got.handed[-1] = f"Handed over to {handing}: {why}"
            handing = ""
        elif isinstance(event, ev.Say) and event.role == "step" and step is not None and event.step == step.step:
            if step.kind in _WORK and (told := _told(own_words(event), step.kind)) and told not in words:
                words.append(told)
        elif isinstance(event, ev.EvidenceTaken):
            missing = "" if event.step in attached else " (not attached)" if event.taken else " (not taken)"
            got.evidence.append(f"{event.what.capitalize()}: {plain(event.step)}{missing}")
        elif type(event) in _LINES:
            for name, line in _LINES[type(event)](event):
                getattr(got, name).append(line)
            handing = event.to if isinstance(event, ev.HandedOver) else ""
            if isinstance(event, ev.FindingMade) and tells(event) == PROVED and not _TO_PROVE.search(event.text):
                got.to_prove.clear()
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
    parts = [part for part in _sentences(text) if kind == "wait" or not (_NO_WORK.match(part) or _PLUG.search(part))]
    return " ".join(part for part in parts if kind != "ask" or (_WORK_ASKED.match(part) and not part.endswith("?")))


_SECTION = {FAULT: "faults", SOUND: "proved", PROVED: "proved", ADVICE: "advice"}


def _found(event: ev.FindingMade) -> Iterator[tuple[str, str]]:
    """What it says is still to be proved is no finding, but left to do."""
    parts = re.split(r"(?<=[.!?])\s+", event.text)
    yield from (("to_prove", part) for part in parts if _TO_PROVE.search(part))
    if text := " ".join(part for part in parts if not _TO_PROVE.search(part)):
        yield _SECTION[tells(event)], text
    yield from _evidence_lines(event.evidence)


def _handed(event: ev.HandedOver) -> Iterator[tuple[str, str]]:
    yield "handed", f"Handed over to {event.to}."
    yield from _evidence_lines(event.summary)


def _evidence_lines(told: Sequence[tuple[str, str]]) -> Iterator[tuple[str, str]]:
    yield from (("evidence", f"{plain(step)}: {answer_given(answer)}") for step, answer in told if answer not in _NOT_TAKEN)


#: As the machine writes it in a summary, in English and Spanish.
_NOT_TAKEN = ("not taken", "sin tomar")

_LINES: dict[type[Any], Callable[[Any], Iterator[tuple[str, str]]]] = {
    ev.FindingMade: _found,
    ev.HandedOver: _handed,
}


def plain(name: str) -> str:
    """'fan-circuit' -> 'Fan circuit'"""
    return name.replace("-", " ").capitalize()


def to_order(got: Gathered) -> list[str]:
    """Parts that nobody had there."""
    names = [plain(step).lower() for step, answer in got.answers.items() if answer == _ORDERED]
    return [f"A part is to be ordered: {name}." if _PART_NAMED.match(name) else "A part is to be ordered." for name in names]
