"""How a visit begins: by a complaint, by the name of a procedure, or by the dispatcher's call sheet.

Rules of this file:

- A visit without a name is `service-call`: it asks what is wrong.
- The name of one of its branches gives that complaint in advance: the visit does not ask for it, but still has its arrival,
  its stock and its close-out.
- A call sheet's words for the complaint count if exactly one complaint has them; otherwise the technician is asked.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from handsfree.language import base, gist
from handsfree.language.meaning import Listening, Sense
from handsfree.procedure import load
from handsfree.procedure.cabinet import Page
from handsfree.procedure.evaluation import evaluate
from handsfree.procedure.expressions import name_of
from handsfree.procedure.model import Ask, Book, Call, Decide
from handsfree.visit.callsheet import CallSheet, load_call_sheet

VISIT = "service-call"
COMPLAINT = "complaint"
#: What is known before the visit begins: (fact, its words), or a number with its unit: '230 volt'.
Known = tuple[str, str]


@dataclass(frozen=True)
class VisitStart:
    """`procedure`: name or file. `known`: facts. `sheet`: if there is one."""

    procedure: str
    known: tuple[Known, ...] = ()
    sheet: CallSheet | None = None


def begun_by(named: str | None, call: Path | None) -> VisitStart:
    """Trouble if the call sheet is faulty, or if there is no such procedure."""
    if call is not None:
        sheet = load_call_sheet(call)
        complaint = complaint_in(sheet.complaint, load.load_book(VISIT))
        return VisitStart(VISIT, _told(complaint), sheet)
    if named is None:
        return VisitStart(VISIT)
    if load.is_name(named):
        complaint = ways(load.load_book(VISIT)).get(named)
        if complaint is not None:
            return VisitStart(VISIT, _told(complaint))
    return VisitStart(named)


def _told(complaint: str | None) -> tuple[Known, ...]:
    return () if complaint is None else ((COMPLAINT, complaint),)


def ways(book: Book) -> dict[str, str]:
    """Procedure -> the complaint that leads to it, by the visit's own decision; the first if several do."""
    asked = _asked(book)
    found: dict[str, str] = {}
    decisions = [
        step for step in book.procedures[book.main].steps
        if isinstance(step, Decide) and any(f"{COMPLAINT} ==" in case.when for case in step.cases)
    ]
    for answer in asked.answers if asked is not None else ():
        for decide in decisions:
            sure = (case.go for case in decide.cases if evaluate(case.when, {name_of(COMPLAINT): answer.say}).sure)
            step = book.at(book.main, next(sure, decide.otherwise))
            if isinstance(step, Call):
                found.setdefault(step.procedure, answer.say)
    return found


def complaint_in(text: str, book: Book) -> str | None:
    """The complaint that a text means: one of its answers, or what its words say; None if they mean none, or two."""
    asked = _asked(book)
    if asked is None:
        return None
    language = base.load(book.procedures[book.main].language)
    phrases = {way: answer.say for answer in asked.answers for way in (answer.say, *answer.also)}
    meant = [each for each in language.understand(text, Listening(phrases=tuple(phrases))) if each.sense is Sense.PHRASE]
    if meant:
        return phrases[meant[0].text]
    found = gist.told(text, language.code, asked.gist)
    return phrases.get(found[0]) if len(found) == 1 else None


def _asked(book: Book) -> Ask | None:
    first = book.procedures[book.main].steps[0]
    return first if isinstance(first, Ask) and first.fact == COMPLAINT else None


def known_of(page: Page) -> tuple[Known, ...]:
    """What the cabinet's page tells before anybody looks."""
    found: list[Known] = []
    if page.plate is not None:
        found.append(("flame-symbol", "flame shown" if page.plate.flame_symbol else "plain plate"))
        found.append(("plate-voltage", f"{page.plate.volts:g} volt"))
        found.append(("plate-current", f"{page.plate.amperes:g} ampere"))
    if page.deck is not None:
        found.append(("deck-mass", f"{page.deck.kilograms:g} kilogram"))
    if page.heater is not None:
        found.append(("heater", "heater fitted" if page.heater else "timed pauses"))
    if page.sensor is not None and 32.0 in (row := dict(page.sensor.points)):
        found.append(("sensor-ice-ohms", f"{row[32.0]:g} ohm"))
    return tuple(found)
