"""Whole visits of the shipped procedures at simulated cabinets, by the real machine: they end, and they find the fault.

A few dozen here; the hundreds, the table and the spoken visits are `python -m tests.bench.simulated_visits`."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

from handsfree.isolation.people import Lock, Person
from handsfree.procedure.model import Ask, End, Finding, Read
from handsfree.visit.state import Awaiting
from tests.bench.mirror.answers import mirrored
from tests.bench.simulated_technician import ASKED, MEASURED
from tests.bench.simulated_visits import ACCUSES, OF_THE_STATE, PROCEDURES, SILENT, WORDS, Site, Visit, draw, rows
from tests.shipped.conftest import NAMES, book_named

EACH = 6


@cache
def made(complaint: str) -> tuple[Visit, ...]:
    return tuple(Site(*draw(7_000 + number, complaint)).run() for number in range(EACH))


def test_the_technician_knows_an_answer_to_every_question_and_reading() -> None:
    """Of what the complaints' procedures lead to; the platform check is not among them."""
    for name in set(NAMES) - {"platform-check"}:
        for step in book_named(name).procedures[name].steps:
            if isinstance(step, Ask):
                assert (name, step.id) in ASKED or ("", step.id) in ASKED, f"{name}/{step.id}"
            if isinstance(step, Read):
                assert step.id in MEASURED, f"{name}/{step.id}"


def test_the_technician_has_words_for_all_that_a_visit_can_wait_for() -> None:
    assert set(WORDS) | set(OF_THE_STATE) == set(Awaiting) - SILENT
    assert not set(WORDS) & set(OF_THE_STATE)


def test_who_comes_back_to_their_own_lock_says_its_number_again() -> None:
    """The lock stays on over a wait. Another's number would leave it on, with its owner away."""
    site = Site(*draw(7_000, "too_warm"))
    back = Person("the first person", ("four", "two"), here=False)
    lock = replace(site.state.interlock, people=(back,), locks=frozenset({Lock("mains by cord and plug", back.name)}))
    offered = replace(site.state, interlock=lock, joining=back.name, lock_offered=back.number)
    site.state = replace(offered, awaiting=Awaiting.LOCK_NUMBER)
    assert site._words() == "four two"
    site.state = replace(offered, awaiting=Awaiting.LOCK_AFFIRM)
    assert site._words() == "affirm"
    site.state = replace(site.state, joining="the second person", lock_offered=("five", "six"))
    assert site._words() == "affirm"


def test_every_accusing_finding_is_one_that_a_procedure_makes_and_a_fault_of_the_model() -> None:
    findings = {
        step.finding for name in NAMES for step in book_named(name).procedures[name].steps if isinstance(step, Finding)
    }
    faults = {fault.id for fault in mirrored().faults}
    assert set(ACCUSES) <= findings
    assert frozenset().union(*ACCUSES.values()) == faults, "each fault of the model can be found"


@pytest.mark.parametrize("complaint", PROCEDURES)
def test_visits_end_and_mostly_find_the_fault(complaint: str) -> None:
    """Two slips of the eye in a hundred are in the answers, so not every visit can be right; most must."""
    visits = made(complaint)
    assert all(visit.outcome for visit in visits)
    right = [visit for visit in visits if visit.verdict == "right"]
    assert len(right) >= EACH - 2, [(visit.fault, visit.findings) for visit in visits if visit.verdict != "right"]


#: Ends that hang on a proof over many readings, which the walks of their callers meet only from outside.
BEYOND_UNSEEN = {"runs-all-the-time": {"end-mended"}}


@pytest.mark.parametrize("name", BEYOND_UNSEEN)
def test_visits_come_to_the_ends_that_the_walk_loses(name: str) -> None:
    """By an outcome that no other end of the procedure has."""
    complaint = next(one for one, procedure in PROCEDURES.items() if procedure == name)
    ends = {step.id: step.outcome for step in book_named(name).procedures[name].steps if isinstance(step, End)}
    for lost in BEYOND_UNSEEN[name]:
        assert list(ends.values()).count(ends[lost]) == 1
        assert ends[lost] in {visit.outcome for visit in made(complaint)}


def test_a_visit_is_the_same_twice() -> None:
    made_cabinet, complaint = draw(7_000, "too_warm")
    assert Site(made_cabinet, complaint).run() == made("too_warm")[0]


def test_a_cabinet_without_its_fault_is_not_accused_of_it() -> None:
    """The truth is taken from the cabinet, not from the draw: the same visits judged by another fault are wrong."""
    for visit in made("dead"):
        other = Visit("loose_panel", visit.complaint, visit.findings, outcome=visit.outcome)
        assert other.verdict != "right"


def test_the_table_counts_every_visit_once() -> None:
    some = [visit for complaint in ("dead", "noisy") for visit in made(complaint)]
    table = rows(some)
    assert [row[0] for row in table] == ["dead-or-trips", "noisy-or-vibrating", "all"]
    assert table[-1][1] == str(2 * EACH)
    assert sum(int(cell.split()[0]) for cell in table[-1][2:5]) == 2 * EACH
