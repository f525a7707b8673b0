"""What the shipped procedures say: how it is worded, what stands in front of a hazard, and what they end in."""

from __future__ import annotations

import re
from collections.abc import Iterator

import networkx as nx
import pytest

from handsfree.language import base
from handsfree.language.meaning import Listening, Sense
from handsfree.procedure import observations, sounds, values, wording
from handsfree.procedure.graph import EXITS, Place, StepIndex, first_place
from handsfree.procedure.hazards import usual
from handsfree.procedure.model import (
    Ask,
    Book,
    Call,
    Caution,
    Decide,
    Finding,
    Handover,
    Isolate,
    Prove,
    Read,
    Restore,
    Step,
    Wait,
)
from handsfree.procedure.remarks import Weight
from tests.shipped.conftest import NAMES, book_named

ENGLISH = base.load("en")

#: What issue and trade ask for, by the files that carry it.
WANTED = {
    "arrival-and-hazards", "too-warm", "freezing-the-stock", "dead-or-trips", "runs-all-the-time", "noisy-or-vibrating",
    "iced-up", "defrost", "condenser-cleaning", "sensor-check-and-exchange", "fans-check-and-exchange",
    "compressor-does-not-start", "relay-and-connector-check", "deck-take-out", "deck-put-in", "deck-exchange",
    "prove-pull-down", "food-safety", "sealed-circuit-suspicion", "close-out", "platform-check", "service-call",
    "wet", "second-look", "deck-seat",
}  # fmt: skip
COMPLAINTS = ("too-warm", "freezing-the-stock", "dead-or-trips", "runs-all-the-time", "noisy-or-vibrating", "iced-up", "wet")


def main_steps(book: Book) -> tuple[Step, ...]:
    return book.procedures[book.main].steps


def spoken(step: Step) -> Iterator[str]:
    yield step.say
    if isinstance(step, Isolate):
        yield from step.do
    if isinstance(step, Restore):
        yield from (*step.checks, step.power)
    if isinstance(step, Prove) and step.method == "meter":
        yield step.tester
    if isinstance(step, Wait):
        yield step.because


def sentences(step: Step) -> Iterator[str]:
    for text in spoken(step):
        yield from re.split(r"(?<=[.?!])\s+", text.strip())


def test_the_set_is_whole() -> None:
    assert set(NAMES) >= WANTED


# ---- wording --------------------------------------------------------------------------------------------------------


def test_sentences_are_short_and_whole(book: Book) -> None:
    """At most 20 words, ASD-STE100; counted here by hand, not by the program's own check."""
    for step in main_steps(book):
        for sentence in sentences(step):
            assert len(sentence.split()) <= 20, f"{step.id}: {sentence}"
            assert sentence[-1] in ".?!", f"{step.id}: {sentence}"
            assert sentence[0].isupper(), f"{step.id}: {sentence}"


def test_the_programs_own_checks_find_no_error(book: Book) -> None:
    remarks = (
        *values.remarks(book, book.main, ENGLISH),
        *wording.remarks(book, book.main),
        *sounds.remarks(book, book.main, ENGLISH),
        *observations.remarks(book, book.main),
    )
    assert [remark.shown for remark in remarks if remark.weight is Weight.ERROR] == []


def test_answers_are_words_of_their_own(book: Book) -> None:
    taken = {way for ways in ENGLISH.commands.values() for way in ways}
    for step in main_steps(book):
        if not isinstance(step, Ask):
            continue
        for words in (way for answer in step.answers for way in (answer.say, *answer.also)):
            assert words not in taken
            assert not {"yes", "no", "not", "okay"} & set(words.split()), f"{step.id}: {words}"
            assert not re.search(r"(teen|ty)\b", words.replace("dirty", "").replace("empty", "")), f"{step.id}: {words}"


def test_each_answer_is_understood_as_itself(book: Book) -> None:
    for step in main_steps(book):
        if isinstance(step, Ask):
            ways = tuple(way for answer in step.answers for way in (answer.say, *answer.also))
            for way in ways:
                meaning = ENGLISH.understand(way, Listening(phrases=ways))[0]
                assert (meaning.sense, meaning.text) == (Sense.PHRASE, way)


def test_service_menu_keys_are_left_to_the_manual(book: Book) -> None:
    for step in main_steps(book):
        text = " ".join(spoken(step))
        assert not re.search(r"\b(press|hold) (the )?(button|key)", text, re.I), step.id
        if re.search(r"\b(show the (mode|setting)|set the controller)\b", text, re.I):
            assert "manual says" in text, step.id


# ---- what stands in front of a hazard -------------------------------------------------------------------------------


def _reached_without(book: Book, guards: set[tuple[str, str]]) -> set[Place]:
    expansion = StepIndex(book)
    graph = expansion.graph()
    kept = [place for place in graph if place not in EXITS and (place.procedure, place.step) not in guards]
    first = first_place(book)
    return {first, *nx.descendants(graph.subgraph(kept), first)} if first in kept else set()


@pytest.mark.parametrize("hazard", sorted(one.name for one in usual().hazards.values() if one.caution))
def test_each_hazard_has_its_caution_on_every_path(book: Book, hazard: str) -> None:
    """Hot surface, sharp fins, stored charge, refrigerant, heavy load: with their cautions taken out, none is reached."""
    expansion = StepIndex(book)
    warned = {
        (name, step.id)
        for name, procedure in book.procedures.items()
        for step in procedure.steps
        if isinstance(step, Caution) and hazard in step.hazards
    }
    for place in _reached_without(book, warned):
        assert hazard not in expansion.step(place).hazards, place


def test_voltage_is_never_read_with_a_hand_at_a_live_part(book: Book) -> None:
    """Live: at the outlet with a plug-in meter, or with leads clipped on behind the gate on every path. Else isolated."""
    clips = {
        (name, step.id)
        for name, procedure in book.procedures.items()
        for step in procedure.steps
        if step.behind_gate and "clip the meter leads" in step.say.casefold()
    }
    unclipped = {(place.procedure, place.step) for place in _reached_without(book, clips)}
    for step in main_steps(book):
        if not isinstance(step, Read) or step.unit not in ("volt", "ampere") or step.behind_gate:
            continue
        if "plate" in step.quantity or "nominal" in step.quantity or step.instrument == "plug-in meter":
            continue
        assert step.instrument == "meter with clipped leads", step.id
        assert (book.main, step.id) not in unclipped, step.id


def test_hands_stay_off_relays_connectors_and_fans_while_live(book: Book) -> None:
    """Unplugging, and proving it, comes before any hand goes near one: common practice, no source."""
    reach = re.compile(r"\b(undo|turn|exchange|push|pull|discharge)\b[^.]*\b(relay|connector|terminal|fan|capacitor)", re.I)
    tells = (Decide, Finding, Handover, Call, Caution, Prove, Isolate, Restore)
    for step in main_steps(book):
        if not isinstance(step, tells) and reach.search(step.say):
            assert step.behind_gate, step.id


# ---- what they end in -----------------------------------------------------------------------------------------------


def test_findings_name_steps_that_bring_evidence(book: Book) -> None:
    for step in main_steps(book):
        named = step.evidence if isinstance(step, Finding) else step.summary if isinstance(step, Handover) else ()
        for name in named:
            assert isinstance(book.at(book.main, name), Ask | Read | Call), f"{step.id} names {name}"


@pytest.mark.parametrize("name", COMPLAINTS)
def test_a_complaint_ends_with_its_proof_or_is_handed_over_with_all_that_was_asked(name: str) -> None:
    steps = main_steps(book_named(name))
    called = {step.procedure for step in steps if isinstance(step, Call)}
    assert "prove-pull-down" in called or name == "wet"  # water is proved by the site's look the next day
    assert any(isinstance(step, Finding) for step in steps)
    desk = next(step for step in steps if isinstance(step, Handover) and step.to == "the support desk")
    asked = {step.id for step in steps if isinstance(step, Ask | Read)}
    by_the_way = {"who-looks-on", "door-work", "spare-deck", "frozen-where", "outlet-lamp", "tighten"}
    assert asked - set(desk.summary) <= by_the_way, "the desk is told all that was asked"


def test_a_visit_goes_every_way_by_the_hazards_the_stock_and_the_customer() -> None:
    """Each part once, and the ways of `service-call` are those of all complaints."""
    visit = book_named("service-call").procedures["service-call"]
    calls = [step for step in visit.steps if isinstance(step, Call)]
    assert {*COMPLAINTS, "deck-exchange"} <= {step.procedure for step in calls}
    ways = {step.id for step in calls if step.procedure in (*COMPLAINTS, "deck-exchange")}
    graph = nx.DiGraph()
    for step in visit.steps:
        for answer in step.answers if isinstance(step, Ask) else ():
            graph.add_edge(step.id, answer.go or visit.following(step.id))
        if isinstance(step, Ask) and step.unknown is not None:
            graph.add_edge(step.id, step.unknown)
        if isinstance(step, Decide):
            graph.add_edges_from((step.id, to) for to in (step.otherwise, *(case.go for case in step.cases)))
        elif not isinstance(step, Ask) and (after := visit.following(step.id)) is not None:
            graph.add_edge(step.id, after)
    first, site = visit.steps[0].id, {step.id for step in calls if step.procedure == "arrival-and-hazards"}
    unguarded = graph.subgraph(set(graph) - site)
    assert not ways & set(nx.descendants(unguarded, first)), "nobody works before the hazards of the site were looked at"
    closing = {step.id for step in calls if step.procedure == "close-out"}
    stock = {step.id for step in calls if step.procedure == "food-safety"}
    # Where gas leaks nobody goes back to the cabinet: not for its stock, nor for its covers.
    cases = [case for step in visit.steps if isinstance(step, Decide) for case in step.cases]
    gas = {case.when for case in cases if case.go == "end-cleared"}
    assert gas == {f'{way} == "made safe"' for way in ("way-warm", "way-ice", "way-runs", "way-second")}
    ends = {step.id for step in visit.steps if step.kind == "end"} - {"end-cleared"}
    for left_out in (closing, stock):
        open_ended = graph.subgraph(set(graph) - left_out)
        assert not any(ends & set(nx.descendants(open_ended, way)) for way in ways), "whatever the way, the visit is closed"
