"""A finding behind which the technician went back is no finding of the visit, unless it was made again."""

from __future__ import annotations

from typing import Any

import pytest

from handsfree.journal import events as ev
from handsfree.journal.events import Stamped
from handsfree.journal.found import diagnosis, findings_that_stand
from handsfree.journal.gathering import gathered
from handsfree.journal.rows import rows

PATH = ("too-warm",)
FILLED = ev.FindingMade(PATH, "load-found", "fresh-fill", "Warm stock was filled in.", (("load", "freshly filled"),))
CIRCUIT = ev.FindingMade(PATH, "circuit", "sealed-circuit-suspected", "The sealed circuit is suspect.")
NOT_YET = ev.FindingMade((*PATH, "prove-pull-down"), "watched", "not-proved-yet", "The cabinet is not proved cold yet.")
BACK = ev.Utterance("accepted", "command", "go back")
LIKELY = ev.Utterance("proposed", "command", "go back")
READ_BACK = ev.Say(1, "Go back?", "readback")
YES = ev.Utterance("accepted", "command", "affirm")
DONE = ev.Utterance("accepted", "command", "next step")
AT_ISOLATION = ev.StepEntered(PATH, "off", "isolate", "LIVE")


def _answer(step: str, answer: str) -> ev.AnswerTaken:
    return ev.AnswerTaken(PATH, step, answer)


def _step(name: str, kind: str = "ask", isolation: str = "LIVE") -> ev.StepEntered:
    return ev.StepEntered(PATH, name, kind, isolation)


def _record(*happened: Any) -> list[Stamped]:
    return [Stamped(n, "2026-02-11T09:30:00+01:00", float(n), event) for n, event in enumerate(happened)]


LOADED = (_step("load"), _answer("load", "freshly filled"))
BEGUN = (AT_ISOLATION, *LOADED, _step("load-found", "finding"), FILLED, _step("next"))


@pytest.mark.parametrize(
    ("after", "stands"),
    [
        ((), True),
        ((ev.Corrected(PATH, "load"), _step("load"), _answer("load", "long before")), False),
        ((BACK, _step("load"), _answer("load", "long before")), False),
        ((ev.Corrected(PATH, "load"), _step("load"), _answer("load", "freshly filled"), FILLED), True),
        ((_answer("next", "yes"), _step("far"), ev.Corrected(PATH, "next"), _step("next")), True),
        ((_step("far"), BACK, _step("next")), True),
        ((LIKELY, READ_BACK, YES, _step("load"), _answer("load", "long before")), False),
        ((LIKELY, YES, _step("load"), _answer("load", "freshly filled")), True),
        ((ev.EvidenceTaken(PATH, "next", "photo"), _step("far"), ev.Corrected(PATH, "next"), _step("next")), True),
        # round a loop, and back twice: behind where they were the time before
        ((_step("load"), _step("next"), BACK, _step("load"), BACK, _step("next"), BACK, _step("load")), False),
        # 'go back' leads to an isolation first: what counts is where it leads then
        ((_step("far"), BACK, AT_ISOLATION, DONE, _step("far", isolation="ISOLATED")), True),
        ((_step("far"), BACK, AT_ISOLATION, DONE, _step("load", isolation="ISOLATED")), False),
    ],
)
def test_what_was_found_before_somebody_went_back_behind_it(after: tuple[Any, ...], stands: bool) -> None:
    entries = _record(*BEGUN, *after)
    assert bool(findings_that_stand(entries)) == stands
    got = gathered(entries)
    assert got.faults == (["Warm stock was filled in."] if stands else [])
    assert ("Load: freshly filled" in got.evidence) == stands
    assert (diagnosis(entries) is not None) == stands


def test_the_cause_is_the_diagnosis_and_not_that_the_cold_is_not_proved_yet() -> None:
    found = diagnosis(_record(CIRCUIT, NOT_YET))
    assert found is not None
    assert found.event == CIRCUIT
    alone = diagnosis(_record(NOT_YET))
    assert alone is not None
    assert alone.event == NOT_YET


def test_what_was_known_already_is_shown_in_its_unit() -> None:
    used = ev.FactUsed(PATH, "room", "room-temperature", "71.6 degF", 60.0)
    weighed = ev.FactUsed(PATH, "deck-mass", "deck-mass", "18 kilogram", 60.0)
    shown = [row.text for row in rows(_record(used, weighed))]
    assert shown == ["room: 71.6 °F", "deck-mass: 18 kg"]


PARTED = (_step("overnight", "wait"), ev.Closed("to be continued"))
RESUMED = ev.Resumed("to be continued")


def test_a_wait_over_night_that_is_cut_short_after_a_resume_is_an_open_point() -> None:
    answered = ev.Utterance("accepted", "phrase", "tomorrow")
    assert gathered(_record(answered, *PARTED, RESUMED, DONE, _step("morning", "read"))).cut == ["Overnight"]
    assert gathered(_record(answered, *PARTED)).cut == []
    assert gathered(_record(answered, *PARTED, RESUMED, _step("morning", "read"))).cut == []
    over = (answered, *PARTED, RESUMED, ev.DropTimer("wait"), DONE, _step("off", "isolate"))  # its lock number was asked for
    assert gathered(_record(*over)).cut == []


def test_what_the_site_is_asked_to_do_is_no_work_that_was_done() -> None:
    text = "Ask the site to look tomorrow. They call if it is warm. Write this on the service sheet."
    for words, work in ((text, []), ("Clean the fins.", ["Clean the fins."])):
        begun = (_step("look", "instruct"), ev.Say(1, words, "step", step="look"))
        assert gathered(_record(*begun, DONE, _step("end", "end"))).work == work


BRUSH = (_step("brush", "instruct"), ev.Say(1, "Brush the condenser.", "step", step="brush"))
SHOCK = ev.Utterance("accepted", "command", "i got a shock")
CLEARED = ev.Gate("ISOLATED", "LIVE", "power is on", "")


@pytest.mark.parametrize(
    "left",
    [
        (BACK, _step("load")),
        (LIKELY, READ_BACK, YES, _step("load")),
        (ev.Utterance("accepted", "command", "correction"), ev.Corrected(PATH, "load"), _step("load")),
        (SHOCK, CLEARED, AT_ISOLATION),
        (SHOCK, CLEARED, ev.Utterance("accepted", "digits", "4 2"), YES, AT_ISOLATION),
        (ev.Utterance("accepted", "command", "stop the visit"), YES, YES, ev.Closed("stopped")),
    ],
)
def test_a_step_that_was_left_is_no_work_that_was_done_until_it_is(left: tuple[Any, ...]) -> None:
    assert gathered(_record(*BRUSH, *left)).work == []
    assert gathered(_record(_step("rest", "wait"), *left)).cut == []
    assert gathered(_record(*BRUSH, *left, DONE, *BRUSH, DONE, _step("end", "end"))).work == ["Brush the condenser."]
