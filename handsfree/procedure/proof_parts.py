"""What a proof is made of: a moment of the graph, a fault, and the book, graph and energy that every check asks."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import NamedTuple

from handsfree.isolation.rules import Hold, Holds, Power
from handsfree.procedure import phrasing
from handsfree.procedure.graph import EXITS, Graph, Place, StepIndex, first_place, places
from handsfree.procedure.hazards import usual
from handsfree.procedure.model import (
    Book,
    Isolate,
    Step,
)
from handsfree.procedure.remarks import aloud
from handsfree.procedure.sources import UNKNOWN, Energy

#: How every source stands: (name, hold), by name; what is LIVE is left out.
Standing = tuple[tuple[str, Hold], ...]


def standing(holds: Holds) -> Standing:
    return tuple(sorted((name, hold) for name, hold in holds.items() if hold.power is not Power.LIVE))


class SupplyState(StrEnum):
    """How all sources together stand, for people: the least safe of what was begun."""

    LIVE = "live"
    ISOLATING = "isolating"
    ISOLATED = "isolated"


class Moment(NamedTuple):
    place: Place
    standing: Standing

    @property
    def state(self) -> SupplyState:
        powers = {hold.power for _, hold in self.standing}
        if not powers:
            return SupplyState.LIVE
        return SupplyState.ISOLATED if powers == {Power.ISOLATED} else SupplyState.ISOLATING

    @property
    def holds(self) -> dict[str, Hold]:
        return dict(self.standing)


@dataclass(frozen=True)
class ProofFault:
    """`kind`: one of KINDS. `path`: the steps that lead there, as shown in `sentence`; () where no path matters. `aloud`:
    the sentence for the ear. Sentences are in the language of the book's main procedure."""

    file: str
    line: int
    step: str
    kind: str
    sentence: str
    path: tuple[str, ...] = ()
    aloud: str = ""
    language: str = phrasing.USUAL

    @property
    def shown(self) -> str:
        place = phrasing.say(self.language, "line", file=self.file, line=self.line) if self.line else self.file
        return f"{place}: {self.sentence}"


KINDS = (
    "size", "nowhere", "hazard while live", "proof without isolation", "proof before relief", "filled again",
    "restore without isolation", "ends isolated", "source unfit", "proof unfit",
    "wait breaks isolation", "dead end", "unreachable", "no way out", "hazard without caution", "caution out of place",
    "caution passed by",
)  # fmt: skip


@dataclass(frozen=True)
class Proof:
    book: Book
    expansion: StepIndex
    graph: Graph

    @property
    def language(self) -> str:
        return self.expansion.language

    @property
    def energy(self) -> Energy:
        return self.book.energy

    @cached_property
    def onward(self) -> dict[Place, tuple[Place, ...]]:
        """Every place, with those that can come next: the proofs go through them very often."""
        return {place: tuple(to for to in self.graph.successors(place) if to not in EXITS) for place in places(self.graph)}

    def met(self, step: Step) -> tuple[str, ...]:
        """The hazards of a step; relieving a charge meets what that charge feeds."""
        if not isinstance(step, Isolate):
            return step.hazards
        loose = {self.energy.sources[name].kind for name in step.sources} - {UNKNOWN}
        fed = {kind.name for kind in loose if not kind.lock}
        return (*step.hazards, *(one.name for one in usual().hazards.values() if fed & set(one.fed_by)))

    def fault(
        self, place: Place, kind: str, path: list[Place] | None = None, key: str = "", /, **values: object
    ) -> ProofFault:
        """`key`: of the sentence that follows the step's name, the kind's own when absent; the path is put behind it."""
        code, key = self.language, key or kind.replace(" ", "-")
        shown = tuple(one.shown(self.book.main) for one in path or ())
        tail = f" {phrasing.say(code, 'path', path=' -> '.join(shown))}" if shown else ""
        sentence = phrasing.say(code, "at-step", step=place.step, why=phrasing.say(code, key, **values))
        return ProofFault(
            self.book.file(place.procedure), self.book.line(place.procedure, place.step), place.step, kind,
            f"{sentence}{tail}", shown, aloud(code, key, **values), code,
        )  # fmt: skip

    def path(self, to: Place) -> list[Place]:
        return way_to(self.graph, first_place(self.book), to)


def way_to(graph: Graph, first: object, to: object) -> list[Place]:
    import networkx as nx

    nodes = nx.shortest_path(graph, first, to)
    return [node.place if isinstance(node, Moment) else node for node in nodes]
