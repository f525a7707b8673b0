"""What a step leans on must lie behind it: what a decision reads, the evidence of a finding, the summary of a hand-over.

Only ways through the procedure by itself count; a step that nothing leads to is the graph's to report."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

from handsfree.procedure import expressions
from handsfree.procedure.expressions import name_of
from handsfree.procedure.graph import Graph, Place, StepIndex
from handsfree.procedure.model import Ask, Book, Call, Decide, Evidence, Finding, Handover, Prove, Read, Step
from handsfree.procedure.remarks import Remark, Weight, remark_at

#: Kinds that leave something behind which another step can name.
TELLING = (Ask, Read, Call, Evidence, Prove)


def remarks(book: Book, name: str) -> Iterator[Remark]:
    steps = book.procedures[name].steps
    ids = {name_of(step.id): step.id for step in steps}
    kinds = {step.id: step for step in steps}
    came_from: dict[Place, tuple[Place, ...]] = {}
    for step in steps:
        if not isinstance(step, Decide | Finding | Handover):
            continue
        came_from = came_from or _came_from(StepIndex(book).graph())
        place = Place((), name, step.id)
        if place not in came_from:
            continue
        before = _before(came_from, place)
        say = partial(remark_at, book, name, step, "values")
        if isinstance(step, Decide):
            for named in dict.fromkeys(ids[one] for case in step.cases for one in expressions.names_used(case.when)):
                if named not in before:
                    yield say(Weight.ERROR, "decides-unpassed", named=named)
        else:
            yield from _leaning(step, before, kinds, say)


def _came_from(graph: Graph) -> dict[Place, tuple[Place, ...]]:
    """Asked for each step that leans on others: of networkx itself, their ancestors took most of the time of a check."""
    return {place: tuple(graph.predecessors(place)) for place in graph}


def _before(came_from: dict[Place, tuple[Place, ...]], place: Place) -> frozenset[str]:
    """Ids of the steps of the same procedure that lie on some way to the place."""
    found, waiting = {place}, [place]
    while waiting:
        new = set(came_from[waiting.pop()]) - found
        found |= new
        waiting.extend(new)
    found.remove(place)
    return frozenset(one.step for one in found if one.calls == () and one.procedure == place.procedure)


def _leaning(
    step: Finding | Handover, before: frozenset[str], kinds: dict[str, Step], say: partial[Remark]
) -> Iterator[Remark]:
    named, how = (step.evidence, "evidence") if isinstance(step, Finding) else (step.summary, "summary")
    for one in named:
        if not isinstance(kinds[one], TELLING):
            yield say(Weight.ADVICE, f"{how}-mute", named=one, kind=kinds[one].kind)
        elif one not in before:
            yield say(Weight.ADVICE, f"{how}-unpassed", named=one)
