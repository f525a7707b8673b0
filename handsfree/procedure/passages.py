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
    graph: Graph = None
    for step in steps:
        if not isinstance(step, Decide | Finding | Handover):
            continue
        graph = graph if graph is not None else StepIndex(book).graph()
        place = Place((), name, step.id)
        if place not in graph:
            continue
        before = _before(graph, place)
        say = partial(remark_at, book, name, step, "values")
        if isinstance(step, Decide):
            for named in dict.fromkeys(ids[one] for case in step.cases for one in expressions.names_used(case.when)):
                if named not in before:
                    yield say(Weight.ERROR, "decides-unpassed", named=named)
        else:
            yield from _leaning(step, before, kinds, say)


def _before(graph: Graph, place: Place) -> frozenset[str]:
    """Ids of the steps of the same procedure that lie on some way to the place."""
    import networkx as nx

    return frozenset(one.step for one in nx.ancestors(graph, place) if one.calls == () and one.procedure == place.procedure)


def _leaning(
    step: Finding | Handover, before: frozenset[str], kinds: dict[str, Step], say: partial[Remark]
) -> Iterator[Remark]:
    named, how = (step.evidence, "evidence") if isinstance(step, Finding) else (step.summary, "summary")
    for one in named:
        if not isinstance(kinds[one], TELLING):
            yield say(Weight.ADVICE, f"{how}-mute", named=one, kind=kinds[one].kind)
        elif one not in before:
            yield say(Weight.ADVICE, f"{how}-unpassed", named=one)
