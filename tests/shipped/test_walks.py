"""Every way through every shipped procedure, by the real machine."""

from __future__ import annotations

import pytest

from handsfree.procedure import load
from handsfree.procedure.graph import outcomes
from handsfree.procedure.model import Ask, Book, Call, Decide, End, Procedure
from handsfree.procedure.proofs import prove
from tests.shipped.conftest import NAMES, book_named
from tests.shipped.walker import Walk, all_edges, walk, wander

#: What hangs on how fast a cabinet cools over many readings: tried with readings of its own, in test_facts.
BY_SERIES = ("how-long", "stay-two", "stay-four", "stay-eight", "stay-night",
             "overnight", "by-morning", "slow-night", "morning-temperature", "hour-wait", "settles-warm", "settles-cold",
             "watched", "next-look", "end-watched", "end-not-cold")  # fmt: skip

#: What only a reading within its accuracy of a limit leads to, an answer that no reading tried here goes with, or the fault
#: model's own order: test_borderline, the scenarios and `wander` try these.
UNSEEN = {
    "runs-all-the-time": {("run-share", "otherwise")},
    "dead-or-trips": {("mended-or-not", "otherwise")},
    # A freezer shows what no other cabinet does: acted in tests/trade/scenarios_third.
    "too-warm": {("frozen-or-not", "cabinet-temperature < 10"), ("frozen-or-not", "otherwise")},
    "sensor-check-and-exchange": {
        ("agree-or-not", "not taken(sensor-place-temperature) or not taken(shown-temperature)")},
    # Hangs on readings made before it was called: tried in test_said_truly, acted in tests/trade/scenarios_third.
    "food-safety": {
        ("keep-or-not", 'product-temperature < 41 and filled == "freshly filled" and minutes-since-cold < 30')},
    "defrost": {("heater-state", "otherwise")},
    "compressor-does-not-start": {("winding-sum", "otherwise")},
    "prove-pull-down": {("read-on", "not taken(setting)")},
}

#: Steps that only such ways lead to.
ASIDE = {"prove-pull-down": set(BY_SERIES), "food-safety": {"keep-filled"}}

#: Walked by itself, and by whoever calls it only from outside: what it makes of many readings would be met there all over.
FROM_OUTSIDE = ("prove-pull-down",)
#: Of these all that they call is met from outside: together they are more than can be walked.
MANY_CALLED = ("too-warm", "compressor-does-not-start", "runs-all-the-time", "iced-up", "second-look")

#: Made of others, each of which is walked by itself: it is walked from outside them.
OF_OTHERS = ("service-call",)


def test_it_is_proved(book: Book) -> None:
    assert prove(book) == ()


@pytest.mark.parametrize("name", [name for name in NAMES if name not in OF_OTHERS])
def test_every_way_ends_and_no_hazard_is_met_live(name: str) -> None:
    """`walk` asserts at each step it enters; here, that it left nothing out."""
    book = book_named(name)
    left_nothing_out(book, walk(seen_from_outside(book)))


def asks_the_fault_model(name: str) -> bool:
    decisions = (step for step in book_named(name).procedures[name].steps if isinstance(step, Decide))
    return any(case.check for step in decisions for case in step.cases)


@pytest.mark.parametrize("name", filter(asks_the_fault_model, NAMES))
def test_ways_in_the_fault_models_own_order_end(name: str) -> None:
    """Some of them: `walk` takes the checks as they are written."""
    book = seen_from_outside(book_named(name))
    found = [wander(book, seed) for seed in range(12)]
    assert len({frozenset(one.entered) for one in found}) > 6


def seen_from_outside(book: Book) -> Book:
    """With what is walked by itself as a question of how it ended."""
    others = [one for name, one in book.procedures.items() if name != book.main]
    stubs = [one.procedure for one in others] if book.main in MANY_CALLED else FROM_OUTSIDE
    stubbed = (ends_as_told(one, outcomes(one)) if one.procedure in stubs else one for one in others)
    return load.book_of(book.procedures[book.main], *stubbed)


def test_every_way_of_a_visit_ends() -> None:
    """From outside its ways: each in turn with all its ends, and again as what else is wrong; the others with one end.
    A second look follows a first that did not do: there the noise has all its ends too."""
    book = book_named("service-call")
    visit = book.procedures[book.main]
    whole = Walk(book)
    for name in {step.procedure for step in visit.steps if isinstance(step, Call)}:
        varied = {name, "noisy-or-vibrating"} if name == "second-look" else {name}
        ends = {other: outcomes(one)[: None if other in varied else 1] for other, one in book.procedures.items()}
        stubs = [ends_as_told(one, ends[one.procedure]) for one in book.procedures.values() if one is not visit]
        found = walk(load.book_of(only_asks_for(visit, name), *stubs))
        whole.edges |= found.edges
        whole.entered |= found.entered
        whole.closed |= found.closed
    left_nothing_out(book, whole)


def ends_as_told(procedure: Procedure, ends: tuple[str, ...]) -> Procedure:
    """A question of how it ended, and nothing else."""
    names = {outcome: f"end-{number}" for number, outcome in enumerate(ends)}
    answers = ", ".join(f"{outcome}: {name}" for outcome, name in {**names, "some other way": "end-0"}.items())
    ways = "".join(f"  - {{id: {name}, kind: end, outcome: {outcome}, say: So.}}\n" for outcome, name in names.items())
    ask = f'  - {{id: how, kind: ask, say: "How did it end?", answers: {{{answers}}}}}\n'
    text = f"procedure: {procedure.procedure}\ntitle: {procedure.title}\nsteps:\n{ask}{ways}"
    return load.parse_procedure(text, "stub.yaml")


def only_asks_for(visit: Procedure, name: str) -> Procedure:
    """What else is wrong: this, or nothing. The names of its answers stay as they are."""
    asked = visit.step("what-else")
    assert isinstance(asked, Ask)
    ways = {step.id for step in visit.steps if isinstance(step, Call) and step.procedure == name}
    kept = tuple(answer for answer in asked.answers if answer.go in {"stock", *ways})
    less = asked.model_copy(update={"answers": kept})
    return visit.model_copy(update={"steps": tuple(less if step is asked else step for step in visit.steps)})


def left_nothing_out(book: Book, found: Walk) -> None:
    main = book.procedures[book.main]
    aside = ASIDE.get(book.main, set())
    assert {edge for edge in all_edges(main) if edge[0] not in aside} - found.edges - UNSEEN.get(book.main, set()) == set()
    assert not UNSEEN.get(book.main, set()) & found.edges, "what is seen now is no exception any more"
    assert {(book.main, step.id) for step in main.steps if step.id not in aside} - found.entered == set()
    outcomes = {step.outcome for step in main.steps if isinstance(step, End)}
    assert outcomes <= {outcome for outcome, _ in found.closed}
    assert {power for _, power in found.closed} == {"LIVE"}, "a closed visit counts on no isolation"
    gated = [step.id for step in main.steps if step.behind_gate]
    assert found.hazards >= len(gated)
