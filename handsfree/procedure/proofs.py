"""Proofs about a procedure, made on its graph before it may run.

Rules of this file:

- What is proved is proved of *moments*: a place together with how every source stands on arriving there. Each kind of step
  changes that in one way, in `after`, by the rules of `handsfree.isolation.rules`: the machine decides by the same.
- A step that may be skipped (`unless`) is proved both ways: done and skipped.
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
from functools import cache

from handsfree.isolation import rules
from handsfree.isolation.rules import Hold, Holds, Power, SourceEvent
from handsfree.procedure import isolation_faults, phrasing
from handsfree.procedure.graph import EXITS, FINISH, MISSING, NOWHERE, Graph, Place, StepIndex, TooLarge, first_place, places
from handsfree.procedure.model import (
    GATES,
    Book,
    End,
    Handover,
    Isolate,
    Prove,
    Restore,
    Step,
    Wait,
    is_fed,
)
from handsfree.procedure.proof_cautions import hazard_cautions, protected
from handsfree.procedure.proof_parts import KINDS, Moment, Proof, ProofFault, standing, way_to
from handsfree.procedure.sources import Energy, method_of


def after(energy: Energy, procedure: str, step: Step, holds: Holds) -> dict[str, Hold]:
    """How the sources stand once the step is done: everybody gives their phrases, and every proof finds it dead."""
    sources, then = energy.sources, dict(holds)
    match step:
        case Isolate():
            then.update({name: rules.turned(rules.at(then, name), SourceEvent.ISOLATION_BEGUN) for name in step.sources})
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


def prove(book: Book) -> tuple[ProofFault, ...]:
    """Every fault of the book's graph, each step and kind once; `safe.faults_of` asks this and more. Books that load_book
    would have refused (a call or a target that does not exist) get faults too."""
    expansion = StepIndex(book)
    try:
        graph = expansion.graph(skipping=True)
    except TooLarge as error:
        return (ProofFault(book.file(book.main), 0, "", "size", error.sentence, language=expansion.language),)
    proof = Proof(book, expansion, graph)
    found: dict[tuple[str, str, str], ProofFault] = {}
    for name, step, kind, key, values in isolation_faults.found(book):
        one = proof.fault(Place((), name, step), kind, None, key, **values)
        found.setdefault((one.file, one.step, one.kind), one)
    for check in (_lost, _isolation, _unreachable, _loops, hazard_cautions, protected):
        for fault in check(proof):
            found.setdefault((fault.file, fault.step, fault.kind), fault)
    return tuple(sorted(found.values(), key=lambda fault: (KINDS.index(fault.kind), fault.file, fault.line)))


def moments(expansion: StepIndex, go_back: bool = True) -> Graph:
    """The graph of moments, from the beginning, all LIVE. Exits are places, with no standing."""
    import networkx as nx

    graph: Graph = nx.DiGraph()
    first = Moment(first_place(expansion.book), ())
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
        past = expansion.passed(here.place)
        if past is not None:
            add(here, past if past in EXITS else Moment(past, here.standing))
        for place, _ in expansion.next_places(here.place):
            if place in EXITS:
                add(here, place)
                continue
            there = Moment(place, then)
            add(here, there)
            if go_back and not barrier(step):
                add(there, Moment(here.place, then))
    return graph


def _lost(proof: Proof) -> Iterator[ProofFault]:
    """Ways that lead to nothing."""
    for place in places(proof.graph):
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


def _hazard_live(proof: Proof, place: Place, step: Step, holds: Holds) -> bool:
    return bool(rules.missing(proof.energy.needs(step), holds))


def _proof_unclaimed(proof: Proof, place: Place, step: Step, holds: Holds) -> bool:
    return isinstance(step, Prove) and not rules.at(holds, proof.energy.proves(place.procedure, step).name).held


def _proof_unrelieved(proof: Proof, place: Place, step: Step, holds: Holds) -> bool:
    if not isinstance(step, Prove):
        return False
    source = proof.energy.proves(place.procedure, step)
    return bool(rules.unrelieved(source, method_of(step), proof.energy.sources, holds))


def _filled_again(proof: Proof, place: Place, step: Step, holds: Holds) -> bool:
    """Relieved while what fills it again is on: what is isolated in the same step counts."""
    if not isinstance(step, Isolate):
        return False
    claims = after(proof.energy, place.procedure, step, holds)
    mine = rules.by_phrase(proof.energy.sources, step.sources) or step.sources
    return any(not rules.at(claims, name).claimed for name in mine)


def _nothing_to_restore(proof: Proof, place: Place, step: Step, holds: Holds) -> bool:
    if not isinstance(step, Restore):
        return False
    return not any(rules.at(holds, name).held for name in proof.energy.restores(place.procedure, step))


def _ends_isolated(proof: Proof, place: Place, step: Step, holds: Holds) -> bool:
    return isinstance(step, End) and not place.calls and step.outcome != "made safe" and _held(holds)


def _held(holds: Holds) -> bool:
    return any(hold.power is not Power.LIVE for hold in holds.values())


_BAD_MOMENTS: tuple[tuple[str, Callable[[Proof, Place, Step, Holds], bool]], ...] = (
    ("hazard while live", _hazard_live),
    ("proof without isolation", _proof_unclaimed),
    ("proof before relief", _proof_unrelieved),
    ("filled again", _filled_again),
    ("restore without isolation", _nothing_to_restore),
    ("ends isolated", _ends_isolated),
)


def _isolation(proof: Proof) -> Iterator[ProofFault]:
    all_moments = moments(proof.expansion)
    first = Moment(first_place(proof.book), ())

    @cache
    def forward() -> Graph:
        return moments(proof.expansion, go_back=False)

    def shown(moment: Moment) -> list[Place]:
        """A way to it, without 'go back' where there is one."""
        return way_to(forward() if moment in forward() else all_moments, first, moment)

    for moment in all_moments:
        if not isinstance(moment, Moment):
            continue
        place, holds = moment.place, moment.holds
        step = proof.expansion.step(place)
        path = None
        for kind, bad in _BAD_MOMENTS:
            if bad(proof, place, step, holds):
                path = path or shown(moment)
                yield proof.fault(place, kind, path, **_values(proof, place, step, holds))
        if isinstance(step, Wait) and not step.leaves_site and _held(holds):
            allowed = _break_allowed(proof, place)
            if step.seconds > allowed * 60:
                told = {"lasts": step.lasts, "allowed": f"{allowed:g}"}
                yield proof.fault(place, "wait breaks isolation", shown(moment), **told)


def _values(proof: Proof, place: Place, step: Step, holds: Holds) -> dict[str, str]:
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


def _break_allowed(proof: Proof, place: Place) -> float:
    """Minutes. A wait longer than the break that the procedure, or one that calls it, allows would clear the isolation half
    way."""
    names = (place.procedure, *(procedure for procedure, _ in place.calls))
    return min(proof.book.procedures[name].break_minutes for name in names)


def _unreachable(proof: Proof) -> Iterator[ProofFault]:
    reached = {(place.procedure, place.step) for place in places(proof.graph)}
    called = {name for name, _ in reached}
    for name, procedure in proof.book.procedures.items():
        if name not in called:
            continue  # every call to it is itself unreachable, and reported
        for step in procedure.steps:
            if (name, step.id) not in reached:
                yield proof.fault(Place((), name, step.id), "unreachable")


def _loops(proof: Proof) -> Iterator[ProofFault]:
    """Every place must be able to reach an end; of those that cannot, one in each ring is named. A place that runs into
    nothing is reported as that, not as a loop."""
    import networkx as nx

    can: set[object] = set()
    for end in (FINISH, NOWHERE, MISSING):
        if end in proof.graph:
            can |= nx.ancestors(proof.graph, end)
    stuck = proof.graph.subgraph([place for place in places(proof.graph) if place not in can])
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
