"""The proofs, against a machine that tries everything: on random small procedures, calls included, both must come to the
same faults."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import Any

import networkx as nx
import pytest
from hypothesis import HealthCheck, event, given, settings

from handsfree.errors import Trouble
from handsfree.isolation.rules import Hold, Power
from handsfree.procedure.graph import EXITS, Place, StepIndex, first_place
from handsfree.procedure.load import book_of, load_book
from handsfree.procedure.model import Book
from handsfree.procedure.proof_parts import KINDS, Moment, SupplyState, standing
from handsfree.procedure.proofs import after, barrier, moments, prove
from handsfree.procedure.safe import must_run
from handsfree.procedure.sentences import STEP
from tests.procedure.machines import Walker, books, procedure, step

DATA = Path(__file__).parent / "data"


# ---- each kind of fault, by hand ------------------------------------------------------------------------------------

ISO, DEAD, BACK = step("iso", "isolate"), step("dead", "prove"), step("back", "restore")
SAFE = (ISO, DEAD, step("work", "instruct", hazards=["mains"]), BACK)
END = step("over", "end")


def faults(*steps: dict[str, Any], **more: Any) -> dict[str, tuple[str, tuple[str, ...]]]:
    return {fault.kind: (fault.step, fault.path) for fault in prove(book_of(procedure("main", *steps, **more)))}


def test_a_safe_one_has_none() -> None:
    assert faults(*SAFE, END) == {}
    must_run(book_of(procedure("main", *SAFE, END)))


WARN = step("warn", "caution", hazards=["stored charge"])
RELIEF = step("relief", "isolate", sources=["capacitors"])
GONE = step("gone", "prove", method="charge-meter", source="capacitors")
BOTH = step("both", "restore", sources=["plug", "capacitors"])

HAND = [
    ((step("work", "instruct", hazards=["mains"]), END), "hazard while live", "work", ("work",)),
    ((ISO, step("work", "instruct", hazards=["moving fan"]), BACK, END), "hazard while live", "work", ("iso", "work")),
    (
        (*SAFE, step("again", "instruct", hazards=["stored charge"]), END),
        "hazard while live",
        "again",
        ("iso", "dead", "work", "back", "again"),
    ),
    (
        (step("look", "ask", answers=[{"say": "a"}, {"say": "b", "go": "work"}]), *SAFE, END),
        "hazard while live",
        "work",
        ("look", "work"),
    ),
    (
        (ISO, DEAD, step("night", "wait", lasts="24 h"), step("work", "instruct", needs_isolation=True), END),
        "hazard while live",
        "work",
        ("iso", "dead", "night", "work"),
    ),
    (
        (ISO, DEAD, step("desk", "handover"), step("work", "instruct", hazards=["mains"]), END),
        "hazard while live",
        "work",
        ("iso", "dead", "desk", "work"),
    ),
    ((DEAD, END), "proof without isolation", "dead", ("dead",)),
    ((BACK, END), "restore without isolation", "back", ("back",)),
    ((ISO, DEAD, END), "ends isolated", "over", ("iso", "dead", "over")),
    ((ISO, DEAD, step("rest", "wait", lasts="31 min"), BACK, END), "wait breaks isolation", "rest", ("iso", "dead", "rest")),
    ((step("look", "instruct"),), "dead end", "look", ("look",)),
    ((step("look", "instruct", go="over"), step("lost", "instruct"), END), "unreachable", "lost", ()),
    ((step("a", "instruct"), step("b", "instruct", go="a"), END), "no way out", "a", ("a", "b", "a")),
    ((step("fins", "instruct", hazards=["sharp fins"]), END), "hazard without caution", "fins", ("fins",)),
    (
        (step("other", "caution", hazards=["hot surface"]), step("fins", "instruct", hazards=["sharp fins"]), END),
        "hazard without caution",
        "fins",
        ("other", "fins"),
    ),
    (
        (step("fins", "caution", hazards=["sharp fins"], protects="over"), step("a", "instruct"), END),
        "caution out of place",
        "fins",
        (),
    ),
    (
        (
            step("look", "ask", answers=[{"say": "a"}, {"say": "b", "go": "cut"}]),
            step("warn", "caution"),
            step("cut", "instruct"),
            END,
        ),
        "caution passed by",
        "cut",
        ("look", "cut"),
    ),
    ((step("a", "instruct", go="nothing"), END), "nowhere", "a", ("a",)),
    (
        (WARN, ISO, step("dead", "prove", method="meter", source="plug"), RELIEF, GONE, BOTH, END),
        "proof before relief", "dead", ("warn", "iso", "dead"),
    ),
    ((WARN, RELIEF, GONE, ISO, DEAD, BOTH, END), "filled again", "relief", ("warn", "relief")),
    ((step("iso", "isolate", sources=["the moon"]), step("back", "restore"), END), "source unfit", "iso", ()),
    ((ISO, step("dead", "prove", method="meter", below=400), BACK, END), "proof unfit", "dead", ()),
    ((step("a", "call", procedure="nothing"), END), "nowhere", "a", ("a",)),
]


@pytest.mark.parametrize(
    ("steps", "kind", "where", "path"), HAND, ids=[f"{kind}-{at}" for at, (_, kind, _, _) in enumerate(HAND)]
)
def test_each_fault_is_found_with_its_path(steps: tuple[Any, ...], kind: str, where: str, path: tuple[str, ...]) -> None:
    assert faults(*steps)[kind] == (where, path)


def test_every_kind_but_size_is_tried_by_hand() -> None:
    assert {kind for _, kind, _, _ in HAND} == set(KINDS) - {"size"}


GOOD: list[tuple[dict[str, Any], ...]] = [
    (ISO, DEAD, step("over", "end", outcome="made safe")),
    (ISO, DEAD, step("desk", "handover"), END),
    (ISO, BACK, END),
    (
        *SAFE,
        step("iso2", "isolate"),
        step("dead2", "prove"),
        step("w2", "instruct", hazards=["mains"]),
        step("b2", "restore"),
        END,
    ),
    (step("warn", "caution", hazards=["mains", "sharp fins"]), step("fins", "instruct", hazards=["sharp fins"]), END),
    (step("one", "caution"), step("two", "caution", protects="cut"), step("cut", "instruct"), END),
    (step("again", "ask", answers=[{"say": "yes", "go": "again"}, {"say": "no"}]), END),
    (ISO, step("rest", "wait", lasts="30 min"), BACK, END),
    (ISO, step("night", "wait", lasts="2 d"), END),
]


@pytest.mark.parametrize("steps", GOOD, ids=range(len(GOOD)))
def test_what_is_allowed(steps: tuple[Any, ...]) -> None:
    assert faults(*steps) == {}


def test_the_shipped_examples_are_proved() -> None:
    assert prove(load_book(DATA / "warm-cabinet.yaml", [])) == ()
    assert prove(load_book(DATA / "ask-and-read.yaml", [])) == ()


def test_a_called_procedure_may_rely_on_its_caller_only_where_every_call_is_isolated() -> None:
    inner = procedure("inner", step("work", "instruct", hazards=["mains"]))
    call = step("do", "call", procedure="inner")
    assert prove(book_of(procedure("main", ISO, DEAD, call, BACK, END), inner)) == ()
    found = prove(book_of(procedure("main", ISO, DEAD, call, BACK, step("more", "call", procedure="inner"), END), inner))
    assert [(fault.kind, fault.step, fault.file) for fault in found] == [("hazard while live", "work", "inner.yaml")]
    assert found[0].path == ("iso", "dead", "do", "inner/work", "back", "more", "inner/work")
    assert "iso -> dead -> do -> inner/work -> back -> more -> inner/work" in found[0].sentence


def test_the_end_of_a_called_procedure_is_not_the_end_of_its_caller() -> None:
    inner = procedure("inner", step("look", "instruct"), END)
    found = prove(book_of(procedure("main", step("do", "call", procedure="inner")), inner))
    assert [(fault.kind, fault.file, fault.path) for fault in found] == [
        ("dead end", "main.yaml", ("do", "inner/look", "inner/over"))
    ]


def test_a_break_is_the_shortest_that_any_procedure_on_the_way_allows() -> None:
    inner = procedure("inner", step("rest", "wait", lasts="40 min"), break_minutes=60)
    steps = (ISO, step("do", "call", procedure="inner"), BACK, END)
    assert [fault.kind for fault in prove(book_of(procedure("main", *steps), inner))] == ["wait breaks isolation"]
    assert prove(book_of(procedure("main", *steps, break_minutes=45), inner)) == ()


def test_calls_that_grow_without_end_are_refused() -> None:
    chain = [
        procedure(f"p{at}", *(step(f"c{n}", "call", procedure=f"p{at + 1}") for n in range(3)), END) for at in range(12)
    ]
    found = prove(book_of(*chain, procedure("p12", END)))
    assert [fault.kind for fault in found] == ["size"]
    ring = [procedure("a", step("c", "call", procedure="b"), END), procedure("b", step("c", "call", procedure="a"))]
    assert [fault.kind for fault in prove(book_of(*ring))] == ["size"]


def test_a_book_with_faults_does_not_start() -> None:
    with pytest.raises(Trouble, match=r"main\.yaml: error, graph: Step `work` works on mains .* Path: work\."):
        must_run(book_of(procedure("main", step("work", "instruct", hazards=["mains"]), END)))


COMPARED = {
    "hazard while live",
    "proof without isolation",
    "restore without isolation",
    "ends isolated",
    "wait breaks isolation",
    "hazard without caution",
    "unreachable",
    "dead end",
}


@given(books())
@settings(max_examples=600, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_the_same_verdict_as_a_machine_that_tries_everything(book: Book) -> None:
    walker = Walker(book)
    found = prove(book)
    by_graph = {(fault.kind, fault.file.removesuffix(".yaml"), fault.step) for fault in found if fault.kind in COMPARED}
    assert by_graph == walker.broken | walker.unreached()
    assert any(fault.kind == "no way out" for fault in found) == walker.trapped()
    for kind in {fault.kind for fault in found}:
        event(kind)
    event(f"{len(walker.visited) // 5 * 5}+ places")


@given(books())
@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_going_back_reaches_no_new_moment_and_paths_are_real(book: Book) -> None:
    expansion = StepIndex(book)
    assert set(moments(expansion)) == set(moments(expansion, go_back=False))
    graph = expansion.graph()
    for fault in prove(book):
        if fault.path and fault.kind != "no way out":
            places = nx.shortest_path(graph, first_place(book), _last(graph, fault.path, book))
            names = [place.shown(book.main) for place in places]
            assert len(names) <= len(fault.path)
        for one, other in zip(fault.path, fault.path[1:], strict=False):
            assert any(a.shown(book.main) == one and b.shown(book.main) == other for a, b in graph.edges if b not in EXITS)


def _last(graph: Any, path: tuple[str, ...], book: Book) -> Place:
    return next(place for place in graph if place not in EXITS and place.shown(book.main) == path[-1])


@given(books())
@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_the_same_as_the_dominator_form(book: Book) -> None:
    """With the starts of the unproved state as sources and the proofs of death taken out, what is reachable is what can be
    reached unproved; with the isolations taken out, what can be reached live. Only where no proof of death lacks its
    isolation are the two forms of the first the same thing."""
    expansion = StepIndex(book)
    graph = expansion.graph()
    places = [place for place in graph if place not in EXITS]

    def reached(sources: set[Any], removed: str) -> set[Any]:
        kept = graph.subgraph([place for place in places if expansion.step(place).kind != removed])
        return {to for source in sources if source in kept for to in {source, *nx.descendants(kept, source)}}

    def starts(*kinds: str) -> set[Any]:
        clearing = [
            place
            for place in places
            if expansion.step(place).kind in kinds
            or (barrier(expansion.step(place)) and expansion.step(place).kind == "wait")
        ]
        return {first_place(book), *(to for place in clearing for to in graph.successors(place))}

    states = moments(expansion)
    live = {moment.place for moment in states if isinstance(moment, Moment) and moment.state is SupplyState.LIVE}
    unproved = {moment.place for moment in states if isinstance(moment, Moment) and moment.state is not SupplyState.ISOLATED}
    isolates = {place for place in places if expansion.step(place).kind == "isolate"}
    by_cut = reached(starts("restore", "handover"), "isolate")
    assert by_cut == live - isolates
    if not any(expansion.step(place).kind == "prove" for place in live):
        proofs = {place for place in places if expansion.step(place).kind == "prove"}
        assert reached(starts("restore", "handover", "isolate"), "prove") == unproved - proofs


def test_exhaustively_on_every_small_procedure() -> None:
    """All procedures of three steps out of seven kinds, each going on, back to the first or to the end."""
    kinds: list[dict[str, Any]] = [
        {"kind": "instruct", "hazards": ["mains"]},
        {"kind": "isolate"},
        {"kind": "prove"},
        {"kind": "restore"},
        {"kind": "handover"},
        {"kind": "wait", "lasts": "24 h"},
        {"kind": "ask"},
    ]
    tried = faulty = 0
    for chosen in itertools.product(kinds, repeat=3):
        for targets in itertools.product([None, "s0", "s3"], repeat=3):
            made = []
            for at, (one, target) in enumerate(zip(chosen, targets, strict=True)):
                way = {"answers": [{"say": "a", "go": target}, {"say": "b"}]} if one["kind"] == "ask" else {"go": target}
                made.append(step(f"s{at}", **one, **way))
            book = book_of(procedure("main", *made, step("s3", "end")))
            walker = Walker(book)
            found = prove(book)
            by_graph = {(fault.kind, "main", fault.step) for fault in found if fault.kind in COMPARED}
            assert by_graph == walker.broken | walker.unreached()
            assert any(fault.kind == "no way out" for fault in found) == walker.trapped()
            tried += 1
            faulty += bool(found)
    assert tried == 7**3 * 3**3
    assert 0 < faulty < tried


HOLDS = {
    SupplyState.LIVE: Hold(), SupplyState.ISOLATING: Hold(Power.ISOLATING, claimed=True),
    SupplyState.ISOLATED: Hold(Power.ISOLATED, claimed=True),
}


def _after(one: Any, state: SupplyState) -> SupplyState:
    energy = book_of(procedure("main", step("iso", "isolate"), END)).energy
    then = after(energy, "main", one, {"plug": HOLDS[state]})
    return Moment(Place((), "main", "s"), standing(then)).state


def test_the_table_of_states_says_what_every_kind_of_step_does() -> None:
    changes = {}
    for kind in ("instruct", "caution", "isolate", "prove", "restore", "wait", "handover", "end"):
        one = STEP.validate_python(step("s", kind))
        changes[kind] = [SupplyState(_after(one, state)) for state in SupplyState]
    same = ["live", "isolating", "isolated"]
    assert changes == {
        "instruct": same,
        "caution": same,
        "wait": same,
        "end": same,
        "isolate": ["isolating"] * 3,
        "prove": ["live", "isolated", "isolated"],
        "restore": ["live"] * 3,
        "handover": ["live"] * 3,
    }
