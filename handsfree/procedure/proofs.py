"""Proofs about a procedure, made on its graph before it may run.

Rules of this file:

- What is proved is proved of *moments*: a place together with how every source stands on arriving there. Each kind of step
  changes that in one way, in `after`, by the rules of `handsfree.isolation.rules`: the machine decides by the same.
- 'Go back' moves to the step visited before and undoes nothing of the isolation. It never crosses a barrier: a gate, or a
  wait that leaves the site. Every step that changes the isolation is a barrier, so going back reaches no new moment;
  its edges are in the graph all the same, so that this stays proved if either list changes.
- Stated as dominators: with the starts of the live state (the beginning; what follows a restore, a hand-over or a wait
  that leaves the site) as sources and every proof of death taken out, no hazard step may be reachable. Both forms give
  the same answer; a test compares them with each other and with a machine that tries everything.
- What can happen at any moment (a break too long, 'power is on', a crash) only ever clears the isolation. The machine then
  refuses the hazard step; no proof over the graph is needed for that.

29 CFR 1910.147 (d) and (e) for the order of things."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from handsfree.isolation import rules
from handsfree.isolation.rules import Hold, Holds, Power, Turn
from handsfree.procedure import isolation_faults, phrasing
from handsfree.procedure.graph import EXITS, FINISH, MISSING, NOWHERE, Expansion, Graph, Place, TooLarge, start
from handsfree.procedure.hazards import usual
from handsfree.procedure.model import (
    GATES,
    Book,
    Caution,
    End,
    Handover,
    Isolate,
    Prove,
    Restore,
    Step,
    Wait,
    is_fed,
)
from handsfree.procedure.remarks import aloud
from handsfree.procedure.sources import UNKNOWN, Energy, method_of

#: How every source stands: (name, hold), by name; what is LIVE is left out.
Standing = tuple[tuple[str, Hold], ...]


def standing(holds: Holds) -> Standing:
    return tuple(sorted((name, hold) for name, hold in holds.items() if hold.power is not Power.LIVE))


class State(StrEnum):
    """How all sources together stand, for people: the least safe of what was begun."""

    LIVE = "live"
    ISOLATING = "isolating"
    ISOLATED = "isolated"


class Moment(NamedTuple):
    place: Place
    standing: Standing

    @property
    def state(self) -> State:
        powers = {hold.power for _, hold in self.standing}
        return State.LIVE if not powers else State.ISOLATED if powers == {Power.ISOLATED} else State.ISOLATING

    @property
    def holds(self) -> dict[str, Hold]:
        return dict(self.standing)


@dataclass(frozen=True)
class Fault:
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


def after(energy: Energy, procedure: str, step: Step, holds: Holds) -> dict[str, Hold]:
    """How the sources stand once the step is done: everybody gives their phrases, and every proof finds it dead."""
    sources, then = energy.sources, dict(holds)
    match step:
        case Isolate():
            then.update({name: rules.turned(rules.at(then, name), Turn.ISOLATION_BEGUN) for name in step.sources})
            then = rules.claimed(sources, step.sources, rules.settled(sources, then))
        case Prove():
            source = energy.proves(procedure, step)
            then[source.name] = rules.proved(source, step.method, rules.at(then, source.name))
        case Restore():
            then.update(dict.fromkeys(energy.restores(procedure, step), rules.LIVE))
        case Handover():
            return {}
        case Wait() if step.leaves_site:
            return {}
    return rules.settled(sources, then)


def barrier(step: Step) -> bool:
    """'Go back' never crosses it."""
    return isinstance(step, GATES) or (isinstance(step, Wait) and step.leaves_site)


def prove(book: Book) -> tuple[Fault, ...]:
    """Every fault of the book's graph, each step and kind once; `safe.faults_of` asks this and more. Books that load_book
    would have refused (a call or a target that does not exist) get faults too."""
    expansion = Expansion(book)
    try:
        graph = expansion.graph()
    except TooLarge as error:
        return (Fault(book.file(book.main), 0, "", "size", error.sentence, language=expansion.language),)
    proof = _Proof(book, expansion, graph)
    found: dict[tuple[str, str, str], Fault] = {}
    for name, step, kind, key, values in isolation_faults.found(book):
        one = proof.fault(Place((), name, step), kind, None, key, **values)
        found.setdefault((one.file, one.step, one.kind), one)
    for check in (_lost, _isolation, _unreachable, _loops, _hazard_cautions, _protected):
        for fault in check(proof):
            found.setdefault((fault.file, fault.step, fault.kind), fault)
    return tuple(sorted(found.values(), key=lambda fault: (KINDS.index(fault.kind), fault.file, fault.line)))


def moments(expansion: Expansion, go_back: bool = True) -> Graph:
    """The graph of moments, from the beginning, all LIVE. Exits are places, with no standing."""
    import networkx as nx

    graph: Graph = nx.DiGraph()
    first = Moment(start(expansion.book), ())
    graph.add_node(first)
    waiting = [first]

    def add(here: Moment, there: Moment | Place) -> None:
        if there not in graph and isinstance(there, Moment):
            waiting.append(there)
        graph.add_edge(here, there)

    while waiting:
        here = waiting.pop()
        step = expansion.step(here.place)
        then = standing(after(expansion.book.energy, here.place.procedure, step, here.holds))
        for place, _ in expansion.next_places(here.place):
            if place in EXITS:
                add(here, place)
                continue
            there = Moment(place, then)
            add(here, there)
            if go_back and not barrier(step):
                add(there, Moment(here.place, then))
    return graph


@dataclass(frozen=True)
class _Proof:
    book: Book
    expansion: Expansion
    graph: Graph

    @property
    def language(self) -> str:
        return self.expansion.language

    @property
    def energy(self) -> Energy:
        return self.book.energy

    def met(self, step: Step) -> tuple[str, ...]:
        """The hazards of a step; relieving a charge meets what that charge feeds."""
        if not isinstance(step, Isolate):
            return step.hazards
        loose = {self.energy.sources[name].kind for name in step.sources} - {UNKNOWN}
        fed = {kind.name for kind in loose if not kind.lock}
        return (*step.hazards, *(one.name for one in usual().hazards.values() if fed & set(one.fed_by)))

    def fault(
        self, place: Place, kind: str, path: list[Place] | None = None, key: str = "", **values: object
    ) -> Fault:
        """`key`: of the sentence that follows the step's name, the kind's own when absent; the path is put behind it."""
        code, key = self.language, key or kind.replace(" ", "-")
        shown = tuple(one.shown(self.book.main) for one in path or ())
        tail = f" {phrasing.say(code, 'path', path=' -> '.join(shown))}" if shown else ""
        sentence = phrasing.say(code, "at-step", step=place.step, why=phrasing.say(code, key, **values))
        return Fault(
            self.book.file(place.procedure), self.book.line(place.procedure, place.step), place.step, kind,
            f"{sentence}{tail}", shown, aloud(code, key, **values), code,
        )  # fmt: skip

    def path(self, to: Place) -> list[Place]:
        return _path(self.graph, start(self.book), to)


def _path(graph: Graph, first: object, to: object) -> list[Place]:
    import networkx as nx

    nodes = nx.shortest_path(graph, first, to)
    return [node.place if isinstance(node, Moment) else node for node in nodes]


def _lost(proof: _Proof) -> Iterator[Fault]:
    """Ways that lead to nothing."""
    for place in _places(proof.graph):
        step = proof.expansion.step(place)
        if proof.graph.has_edge(place, MISSING):
            if step.kind == "call":
                yield proof.fault(place, "nowhere", proof.path(place), "nowhere-call", procedure=step.procedure)
            else:
                yield proof.fault(place, "nowhere", proof.path(place))
        if proof.graph.has_edge(place, NOWHERE):
            names = proof.graph.edges[place, NOWHERE]["names"]
            by = names[0] if not place.calls else ""
            # A called procedure that ends goes back to its caller: if nothing follows there, the call is to blame.
            blamed = Place((), *place.calls[0]) if place.calls else place
            yield proof.fault(blamed, "dead end", proof.path(place), "dead-end-by" if by else "", by=by)


def _places(graph: Graph) -> list[Place]:
    return [node for node in graph if isinstance(node, Place) and node not in EXITS]


def _hazard_live(proof: _Proof, place: Place, step: Step, holds: Holds) -> bool:
    return bool(rules.missing(proof.energy.needs(step), holds))


def _proof_unclaimed(proof: _Proof, place: Place, step: Step, holds: Holds) -> bool:
    return isinstance(step, Prove) and not rules.at(holds, proof.energy.proves(place.procedure, step).name).held


def _proof_unrelieved(proof: _Proof, place: Place, step: Step, holds: Holds) -> bool:
    if not isinstance(step, Prove):
        return False
    source = proof.energy.proves(place.procedure, step)
    return bool(rules.unrelieved(source, method_of(step), proof.energy.sources, holds))


def _filled_again(proof: _Proof, place: Place, step: Step, holds: Holds) -> bool:
    """Relieved while what fills it again is on: what is isolated in the same step counts."""
    if not isinstance(step, Isolate):
        return False
    claims = after(proof.energy, place.procedure, step, holds)
    mine = rules.by_phrase(proof.energy.sources, step.sources) or step.sources
    return any(not rules.at(claims, name).claimed for name in mine)


def _nothing_to_restore(proof: _Proof, place: Place, step: Step, holds: Holds) -> bool:
    if not isinstance(step, Restore):
        return False
    return not any(rules.at(holds, name).held for name in proof.energy.restores(place.procedure, step))


def _ends_isolated(proof: _Proof, place: Place, step: Step, holds: Holds) -> bool:
    return isinstance(step, End) and not place.calls and step.outcome != "made safe" and _held(holds)


def _held(holds: Holds) -> bool:
    return any(hold.power is not Power.LIVE for hold in holds.values())


_BAD_MOMENTS: tuple[tuple[str, Callable[[_Proof, Place, Step, Holds], bool]], ...] = (
    ("hazard while live", _hazard_live),
    ("proof without isolation", _proof_unclaimed),
    ("proof before relief", _proof_unrelieved),
    ("filled again", _filled_again),
    ("restore without isolation", _nothing_to_restore),
    ("ends isolated", _ends_isolated),
)


def _isolation(proof: _Proof) -> Iterator[Fault]:
    all_moments = moments(proof.expansion)
    forward = moments(proof.expansion, go_back=False)
    first = Moment(start(proof.book), ())
    for moment in all_moments:
        if not isinstance(moment, Moment):
            continue
        place, holds = moment.place, moment.holds
        step = proof.expansion.step(place)
        path = None
        for kind, bad in _BAD_MOMENTS:
            if bad(proof, place, step, holds):
                path = path or _path(forward if moment in forward else all_moments, first, moment)
                yield proof.fault(place, kind, path, **_values(proof, place, step, holds))
        if isinstance(step, Wait) and not step.leaves_site and _held(holds):
            yield from _broken(proof, step, _path(all_moments, first, moment))


def _values(proof: _Proof, place: Place, step: Step, holds: Holds) -> dict[str, str]:
    """What the sentences of a bad moment name: the hazards of the step, and the sources that are wrong there."""
    code = proof.language
    named = [phrasing.value(code, "hazard", hazard) for hazard in step.hazards if is_fed(hazard)]
    both = f" {phrasing.say(code, 'and')} "
    wrong: tuple[str, ...] = rules.missing(proof.energy.needs(step), holds)
    if isinstance(step, Prove):
        source = proof.energy.proves(place.procedure, step)
        wrong = rules.unrelieved(source, method_of(step), proof.energy.sources, holds) or (source.name,)
    return {
        "hazards": both.join(named) or phrasing.say(code, "needs-isolation"),
        "sources": both.join(name.lstrip("?") or phrasing.say(code, "some-source") for name in wrong),
    }


def _broken(proof: _Proof, step: Wait, path: list[Place]) -> Iterator[Fault]:
    """A wait longer than the break that the procedure, or one that calls it, allows would clear the isolation half way."""
    place = path[-1]
    names = (place.procedure, *(procedure for procedure, _ in place.calls))
    allowed = min(proof.book.procedures[name].break_minutes for name in names)
    if step.seconds > allowed * 60:
        yield proof.fault(place, "wait breaks isolation", path, lasts=step.lasts, allowed=f"{allowed:g}")


def _unreachable(proof: _Proof) -> Iterator[Fault]:
    reached = {(place.procedure, place.step) for place in _places(proof.graph)}
    called = {name for name, _ in reached}
    for name, procedure in proof.book.procedures.items():
        if name not in called:
            continue  # every call to it is itself unreachable, and reported
        for step in procedure.steps:
            if (name, step.id) not in reached:
                yield proof.fault(Place((), name, step.id), "unreachable")


def _loops(proof: _Proof) -> Iterator[Fault]:
    """Every place must be able to reach an end; of those that cannot, one in each ring is named. A place that runs into
    nothing is reported as that, not as a loop."""
    import networkx as nx

    can: set[object] = set()
    for end in (FINISH, NOWHERE, MISSING):
        if end in proof.graph:
            can |= nx.ancestors(proof.graph, end)
    stuck = proof.graph.subgraph([place for place in _places(proof.graph) if place not in can])
    for ring in nx.strongly_connected_components(stuck):
        if any(to not in ring for place in ring for to in stuck.successors(place)):
            continue
        order = [place for place in proof.graph if place in ring]
        place = order[0]
        assert isinstance(place, Place)
        around = _around(stuck.subgraph(ring), place)
        yield proof.fault(place, "no way out", around)


def _around(ring: Graph, place: Place) -> list[Place]:
    import networkx as nx

    step = next(iter(ring.successors(place)))
    return [place, *nx.shortest_path(ring, step, place)]


def _hazard_cautions(proof: _Proof) -> Iterator[Fault]:
    """A hazard that asks for one needs its caution on every path: take out the cautions that name it, and
    no step that meets it may be reachable (the same as: some of them together dominate it)."""
    for hazard in sorted(one.name for one in usual().hazards.values() if one.caution):

        def warns(place: Place, hazard: str = hazard) -> bool:
            step = proof.expansion.step(place)
            return isinstance(step, Caution) and hazard in step.hazards

        for place, path in _reached_past(proof, warns):
            step = proof.expansion.step(place)
            if hazard in proof.met(step) and not isinstance(step, Caution):
                named = phrasing.value(proof.language, "hazard", hazard)
                yield proof.fault(place, "hazard without caution", path, hazard=named)


def _reached_past(proof: _Proof, removed: Callable[[Place], bool]) -> Iterator[tuple[Place, list[Place]]]:
    """(place, path to it) of all that is reachable with the steps for which `removed` holds taken out."""
    import networkx as nx

    first = start(proof.book)
    kept = [place for place in _places(proof.graph) if not removed(place)]
    if first not in kept:
        return
    yield from nx.single_source_shortest_path(proof.graph.subgraph(kept), first).items()


def _protected(proof: _Proof) -> Iterator[Fault]:
    """A caution is read right before what it protects, and nothing reaches that without passing it."""
    guards: dict[tuple[str, str], list[str]] = {}
    for name in {place.procedure for place in _places(proof.graph)}:
        procedure = proof.book.procedures[name]
        for step in procedure.steps:
            if not isinstance(step, Caution):
                continue
            follows = _past_cautions(proof, name, step)
            target = step.protects or follows
            if target is None or target != follows:
                what = f"`{target}`" if target else phrasing.say(proof.language, "no-step-here")
                next_one = f"`{follows}`" if follows else phrasing.say(proof.language, "nothing-follows")
                yield proof.fault(Place((), name, step.id), "caution out of place", target=what, follows=next_one)
            else:
                guards.setdefault((name, target), []).append(step.id)
    for (name, target), cautions in sorted(guards.items()):
        removed = frozenset((name, caution) for caution in cautions)

        def guards_it(place: Place, removed: frozenset[tuple[str, str]] = removed) -> bool:
            return (place.procedure, place.step) in removed

        for place, path in _reached_past(proof, guards_it):
            if (place.procedure, place.step) == (name, target):
                yield proof.fault(place, "caution passed by", path, caution=cautions[0])
                break


def _past_cautions(proof: _Proof, name: str, step: Step) -> str | None:
    """The first step after this one that is no caution; None off the end or in a ring of cautions."""
    procedure, seen = proof.book.procedures[name], {step.id}
    steps = {one.id: one for one in procedure.steps}
    following = procedure.following(step.id)
    while following in steps and following not in seen and isinstance(steps[following], Caution):
        seen.add(following)
        following = procedure.following(following)
    return following if following in steps and following not in seen else None
