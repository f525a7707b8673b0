"""What stands on the card for the pocket: how to isolate, prove and restore, what to expect, what leads where."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

from handsfree.language.meaning import WAYS_OUT
from handsfree.language.quantities import symbol
from handsfree.language.tokens import capital
from handsfree.procedure.copying import HARD, Copy, CopyLine
from handsfree.procedure.graph import ways
from handsfree.procedure.model import Ask, Book, Caution, Isolate, Prove, Read, Restore, Step
from handsfree.procedure.sources import method_of


def card_lines(book: Book) -> Iterator[CopyLine]:
    """Numbers are those of the printed copy."""
    copy, main = Copy(book), book.procedures[book.main]
    copy.here = book.main
    steps = [step for one in book.procedures.values() for step in one.steps]
    yield CopyLine("title", main.title)
    hazards = dict.fromkeys(copy.value("hazard", name) for step in steps for name in step.hazards)
    if hazards:
        yield CopyLine("part", copy.words("card-hazards"))
        yield CopyLine("plain", ", ".join(hazards))
    for said in dict.fromkeys(step.say for step in main.steps if isinstance(step, Caution)):
        yield CopyLine("plain", said)
    yield from _gates(steps, copy)
    readings = [step for step in main.steps if isinstance(step, Read) and step.expected is not None]
    if readings:
        yield CopyLine("part", copy.words("card-readings"))
        for reading in readings:
            yield CopyLine("step", "", copy.number(reading.id))
            yield _expected(reading, copy)
    asked = [step for step in main.steps if isinstance(step, Ask)]
    if asked:
        yield CopyLine("part", copy.words("card-ways"))
    for step in asked:
        found = [way for way in ways(main, step) if way.name and way.to]
        leads = [
            f"{' / '.join(_named(way.name, copy).replace(' ', HARD) for way in same)}{HARD}{copy.to(to)}"
            for to, same in groupby(found, lambda way: way.to)
        ]
        yield CopyLine("step", "", copy.number(step.id))
        yield CopyLine("say", "   ".join([step.short or step.say, *leads]), copy.number(step.id))


def _named(way: str, copy: Copy) -> str:
    return copy.words(way.replace(" ", "-")) if way in WAYS_OUT else way


def _gates(steps: list[Step], copy: Copy) -> Iterator[CopyLine]:
    isolates: dict[tuple[str, ...], Isolate] = {}
    for step in steps:
        if isinstance(step, Isolate):
            isolates.setdefault(step.sources, step)
    for names, isolate in isolates.items():
        yield CopyLine("part", f"{copy.words('card-isolate')}: {', '.join(names)}")
        yield from (CopyLine("contents", one) for one in isolate.do)
    proofs = {_proved(step, copy): None for step in steps if isinstance(step, Prove)}
    if proofs:
        yield CopyLine("part", copy.words("card-prove"))
        measures = [step for step in steps if isinstance(step, Prove) and method_of(step).form != "look"]
        for words in dict.fromkeys(copy.tester(step) for step in measures):
            yield CopyLine("contents", copy.words("card-tester", tester=words))
        yield from (CopyLine("contents", one) for one in proofs)
    restore = next((step for step in steps if isinstance(step, Restore)), None)
    if restore is not None:
        yield CopyLine("part", copy.words("card-restore"))
        yield from (CopyLine("contents", one) for one in (*restore.checks, restore.power))
    if isolates:
        yield CopyLine("plain", copy.words("card-number"))


def _proved(step: Prove, copy: Copy) -> str:
    method = method_of(step)
    if method.form != "measure":
        return step.say
    points = capital("; ".join(copy.value("point", one) for one in step.measured(method)))
    unit = symbol(step.measured_in(method)).strip()
    return f"{step.say} {points}: {copy.words('below', value=f'{step.limit(method):.2g} {unit}')}."


def _expected(step: Read, copy: Copy) -> CopyLine:
    assert step.expected is not None
    low, high = step.expected
    value = copy.words("between", low=f"{low:g}", high=f"{high:g}{symbol(step.unit)}")
    return CopyLine("say", f"{capital(step.quantity)}: {value}", copy.number(step.id))
