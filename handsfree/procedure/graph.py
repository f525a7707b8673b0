"""The graph of a book: every step, every way on from it, the called procedures written out at each call.

Rules of this file:

- A place is (calls, procedure, step): `calls` are the call steps passed through, as (procedure, step), outermost first.
- A called procedure's end, and falling off its last step, return to what follows the call. The main procedure's end is
  `FINISH`; falling off its last step is `NOWHERE`, which is a fault.
- All cases of a decide step count as possible, and so does `otherwise`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, NamedTuple, TypeAlias

from handsfree.errors import Trouble
from handsfree.procedure import phrasing
from handsfree.procedure.model import Answer, Ask, Book, Call, Decide, End, Procedure, Read, Step

#: networkx carries no types of its own, and is imported where it is used.
Graph: TypeAlias = Any

LIMIT_PLACES = 5000


class Place(NamedTuple):
    calls: tuple[tuple[str, str], ...]
    procedure: str
    step: str

    def shown(self, main: str) -> str:
        return self.step if self.procedure == main else f"{self.procedure}/{self.step}"


FINISH = Place((), "", "finish")
NOWHERE = Place((), "", "nowhere")
MISSING = Place((), "", "missing")
EXITS = frozenset({FINISH, NOWHERE, MISSING})


class TooLarge(Trouble):
    """The calls written out are more than LIMIT_PLACES steps, or procedures call each other in a circle."""


@dataclass(frozen=True)
class Way:
    """One way on from a step. `name`: what is said or holds for it, '' for simply going on. `to`: None for what follows
    the call, or the end of the main procedure."""

    name: str
    to: str | None
    ends: bool = False


def ways(procedure: Procedure, step: Step) -> Iterator[Way]:
    """Every way on from a step inside its own procedure; a call's is what follows it."""
    after = procedure.following(step.id)
    match step:
        case End():
            yield Way("", None, True)
        case Ask():
            for answer in step.answers:
                yield Way(answer.say, _after(answer, after))
            yield from _ways_out(step)
        case Read():
            yield Way("", after)
            yield Way("over range", step.over_range or after)
            yield Way("unsteady", step.unsteady or after)
            yield from _ways_out(step)
        case Decide():
            for case in step.cases:
                yield Way(case.when, case.go)
            yield Way("otherwise", step.otherwise)
        case _:
            yield Way("", after)


def _ways_out(step: Ask | Read) -> Iterator[Way]:
    """Of who cannot answer, by the names that the record has for them."""
    for name, to in (("cannot tell", step.unknown), ("not fitted", step.absent), ("skip it", step.skip)):
        if to is not None:
            yield Way(name, to)


@lru_cache(maxsize=256)
def outcomes(procedure: Procedure) -> tuple[str, ...]:
    """What a call of the procedure can bring: the outcomes of its End steps, and 'done' where it can run off its end."""
    ends = [step.outcome for step in procedure.steps if isinstance(step, End)]
    runs_off = any(way.to is None and not way.ends for step in procedure.steps for way in ways(procedure, step))
    return tuple(dict.fromkeys([*ends, *(("done",) if runs_off else ())]))


def _after(answer: Answer, after: str | None) -> str | None:
    return answer.go if answer.go is not None else after


def first_place(book: Book) -> Place:
    return Place((), book.main, book.procedures[book.main].steps[0].id)


class StepIndex:
    """Steps found once by name; `Procedure.step` looks through its list each time."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self.language = book.procedures[book.main].language
        self._steps = {name: {step.id: step for step in one.steps} for name, one in book.procedures.items()}
        self._ways: dict[tuple[str, str], tuple[Way, ...]] = {}

    def step(self, place: Place) -> Step:
        return self._steps[place.procedure][place.step]

    def next_places(self, place: Place) -> Iterator[tuple[Place, str]]:
        """(place, name of the way) of everything that can come next when the step is done."""
        step = self.step(place)
        if isinstance(step, Call):
            called = self.book.procedures.get(step.procedure)
            if called is None:
                yield MISSING, ""
                return
            inner = (*place.calls, (place.procedure, place.step))
            if len(inner) > len(self.book.procedures):
                raise TooLarge(phrasing.say(self.language, "circle"))
            yield Place(inner, step.procedure, called.steps[0].id), ""
            return
        for way in self._ways_of(place.procedure, place.step):
            yield self._resolved(place, way), way.name

    def _ways_of(self, procedure: str, step: str) -> tuple[Way, ...]:
        """Worked out where it is come to: a procedure checked by itself comes to few of those in its book."""
        if (procedure, step) not in self._ways:
            found = ways(self.book.procedures[procedure], self._steps[procedure][step])
            self._ways[procedure, step] = tuple(found)
        return self._ways[procedure, step]

    def _resolved(self, place: Place, way: Way) -> Place:
        calls, procedure, to, ends = place.calls, place.procedure, way.to, way.ends
        while to is None:
            if not calls:
                return FINISH if ends else NOWHERE
            # Back to the caller, by its end or off its last step alike; there only the call's own way on counts.
            (procedure, call), calls, ends = calls[-1], calls[:-1], False
            to = self._ways_of(procedure, call)[0].to
        return Place(calls, procedure, to) if to in self._steps[procedure] else MISSING

    def passed(self, place: Place) -> Place | None:
        """Where the visit goes if the step is skipped because all of its `unless` is known; None if it never is."""
        step = self.step(place)
        if not getattr(step, "unless", ()):
            return None
        return self._resolved(place, Way("", self.book.procedures[place.procedure].following(step.id)))

    def graph(self, skipping: bool = False) -> Graph:
        """Places as nodes, ways as edges with their `names`; from the start only, so every node is reachable. `skipping`:
        also the ways past steps that may be skipped, without a name."""
        import networkx as nx

        first = first_place(self.book)
        names: dict[tuple[Place, Place], tuple[str, ...]] = {}  # in a dictionary first: networkx takes long for each edge
        seen, waiting = {first}, [first]
        while waiting:
            place = waiting.pop()
            past = self.passed(place) if skipping else None
            for to, name in (*self.next_places(place), *([] if past is None else [(past, "")])):
                if to not in seen and to not in EXITS:
                    waiting.append(to)
                seen.add(to)
                names[place, to] = (*names.get((place, to), ()), name)
            if len(seen) > LIMIT_PLACES:
                raise TooLarge(phrasing.say(self.language, "size", procedure=self.book.main, most=LIMIT_PLACES))
        graph: Graph = nx.DiGraph()
        graph.add_node(first)
        graph.add_edges_from((place, to, {"names": told}) for (place, to), told in names.items())
        return graph


def places(graph: Graph) -> list[Place]:
    return [node for node in graph if isinstance(node, Place) and node not in EXITS]
