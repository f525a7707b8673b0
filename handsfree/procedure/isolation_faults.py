"""What is wrong with the sources and the proofs that a book names, whatever way leads to them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from handsfree.isolation.energy import Method, Source
from handsfree.language import base
from handsfree.language.quantities import convert
from handsfree.procedure.accuracy import same_kind
from handsfree.procedure.hazards import usual
from handsfree.procedure.model import Book, Handover, Isolate, Prove, Restore, is_fed
from handsfree.procedure.sounds import taken_for
from handsfree.procedure.sources import NO_METHOD, UNKNOWN, method_of

#: (procedure, step, kind of fault, key of its sentence, what the sentence names)
FaultFound = tuple[str, str, str, str, dict[str, str]]


def found(book: Book) -> Iterator[FaultFound]:
    for name, procedure in book.procedures.items():
        for given in procedure.sources:
            for key, values in _declared(book, given.name, given):
                yield name, procedure.steps[0].id, "source unfit", key, {"source": given.name, **values}
        for step in procedure.steps:
            if isinstance(step, Restore | Handover):  # no gate stands before these
                for hazard in filter(is_fed, step.hazards):
                    yield name, step.id, "hazard while live", "hazard-no-gate", {"hazard": hazard, "kind": step.kind}
            if isinstance(step, Isolate):
                yield from _isolates(book, name, step)
            elif isinstance(step, Restore):
                for one in step.sources:
                    if one not in book.energy.sources:
                        yield name, step.id, "source unfit", "source-unknown", {"source": one}
            elif isinstance(step, Prove):
                for key, values in _proves(book, name, step):
                    yield name, step.id, "proof unfit", key, values


def _declared(book: Book, name: str, given: Any) -> Iterator[tuple[str, dict[str, str]]]:
    kind = usual().kinds.get(given.kind)
    if kind is None:
        yield "source-kind", {"kind": given.kind}
        return
    for before in given.behind or ():
        if before not in book.energy.sources or before == name:
            yield "source-unknown", {"source": before}
    for filler in kind.behind if given.behind is not None else ():
        fills = {one.name for one in book.energy.sources.values() if one.kind.name == filler and one.name != name}
        if fills and not fills & set(given.behind):
            yield "source-behind", {"kind": filler}
    for method in given.proofs:
        if method not in kind.proofs:
            yield "proof-not-of-kind", {"method": method, "kind": kind.name}
    for one in book.procedures.values():
        if any(other.name == name and other != given for other in one.sources):
            yield "source-twice", {"procedure": one.procedure}


def _isolates(book: Book, name: str, step: Isolate) -> Iterator[FaultFound]:
    unknown = [one for one in step.sources if book.energy.sources[one].kind is UNKNOWN]
    for one in unknown:
        yield name, step.id, "source unfit", "source-unknown", {"source": one}
    locked = {book.energy.sources[one].kind.lock for one in step.sources}
    if len(locked) > 1 and not unknown:
        yield name, step.id, "source unfit", "isolation-mixed", {}
    if sum(book.energy.tries((one,)) for one in step.sources) > 1:  # one answer says whether it ran
        yield name, step.id, "source unfit", "isolation-tries", {}
    for one in step.sources:
        for said in _said_alike(book, one):
            yield name, step.id, "source unfit", "source-said", {"source": one, "other": said}


def _said_alike(book: Book, source: str) -> Iterator[str]:
    """What else its name may be taken for where it is asked which source is on."""
    language = base.load(book.procedures[book.main].language)
    others = [one for one in book.energy.sources if one != source]
    if not others:  # nobody is asked which
        return
    yield from (other for other in (*others, language.prompt("all-sources")) if taken_for(language, source, other))
    yield from (way for ways in language.commands.values() for way in ways if way == source.casefold())


def _proves(book: Book, name: str, step: Prove) -> Iterator[tuple[str, dict[str, str]]]:
    source, method = book.energy.proves(name, step), method_of(step)
    if method is NO_METHOD:
        yield "proof-unknown", {"method": step.method}
        return
    if source.name == "?":
        yield from [("proof-of-which", {})] if book.energy.sources else []
        return
    if source.kind is UNKNOWN:
        yield "source-unknown", {"source": source.name}
    elif step.method not in source.kind.proofs:
        yield "proof-not-of-kind", {"method": step.method, "kind": source.kind.name}
    if method.form == "measure":
        yield from _measured(step, method, source)


def _measured(step: Prove, method: Method, source: Source) -> Iterator[tuple[str, dict[str, str]]]:
    unit = step.measured_in(method)
    if not same_kind(unit, method.unit):
        yield "proof-unit", {"unit": unit, "wanted": method.unit}
        return
    if step.below is not None and convert(step.below, unit, method.unit) > method.most:
        yield "proof-limit", {"below": f"{step.below:g}", "most": f"{method.most:g}", "unit": method.unit}
    if step.points and len({point.casefold() for point in step.points}) < len(method.points):
        yield "proof-points", {"least": str(len(method.points))}
