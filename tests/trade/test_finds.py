"""What a refrigeration engineer found false, find by find, and the tests that failed before each was mended.

A find is a row: what was found, and where it is held. `path::name` is a test; a name in brackets is one of its cases."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from handsfree.procedure.evaluation import evaluate
from handsfree.procedure.model import Ask, Decide, Instruct, Isolate, Restore, Wait
from tests.shipped.conftest import NAMES, book_named

HERE = Path(__file__).parents[1]
SCENARIO = "trade/test_scenarios.py::test_an_experts_scenario"
FINDS: dict[str, tuple[str, ...]] = {
    "1 cold again certifies what is not mended": (
        f"{SCENARIO}[warming, 38 to 44]", f"{SCENARIO}[steady at 26 after freezing]", f"{SCENARIO}[46 and never heard]",
        f"{SCENARIO}[setting 46, cabinet 46]", f"{SCENARIO}[flat at 75]", "trade/test_proof.py::test_what_readings_prove",
        "trade/test_proof.py::test_a_cabinet_that_warms_slowly_from_frozen_is_not_said_to_stay_so",
    ),
    "2 a false verdict on food": (
        f"{SCENARIO}[food, 60 seen in the visit]", f"{SCENARIO}[frozen at -12]",
        "trade/test_food_verdict.py::test_the_verdict",
        "visit/test_incoming.py::test_a_loggers_file_counts_in_the_visit",
    ),
    "3 otherwise takes what is borderline": (
        f"{SCENARIO}[split of 21.5 degF]", f"{SCENARIO}[split of 5.9 degF]", f"{SCENARIO}[60 to 39 with weak air]",
        "shipped/test_borderline.py::test_nobody_is_accused_for_want_of_an_answer",
        "procedure/test_safe.py::test_what_check_calls_an_error_no_visit_starts",
    ),
    "4 a healthy outlet goes to the electrician": (
        f"{SCENARIO}[124 V, plate 115]", f"{SCENARIO}[206 V, plate 230]",
        "trade/test_edges.py::test_the_supply_is_held_to_its_nominal_system",
    ),
    "5 sound compressors are condemned": (
        f"{SCENARIO}[overload in a hot shell]", f"{SCENARIO}[weak capacitor]", f"{SCENARIO}[current relay bad by no look]",
        f"{SCENARIO}[start below run]", f"{SCENARIO}[run winding 0.3 ohm]", f"{SCENARIO}[seized]",
        "shipped/test_facts.py::test_a_capacitor_that_nobody_measured_condemns_no_compressor",
    ),
    "6 silent for want of a call": (
        f"{SCENARIO}[satisfied at 43]", "trade/test_finds.py::test_a_new_deck_is_not_blamed_while_nobody_calls_for_it",
        "trade/test_finds.py::test_a_fault_of_the_circuit_can_end_in_another_deck",
    ),
    "7 measured in the wrong way": (
        f"{SCENARIO}[burnt contact]", f"{SCENARIO}[electronic fans that turn]", f"{SCENARIO}[breaker was out]",
        f"{SCENARIO}[lead off the relay]", f"{SCENARIO}[sensor sound, cabinet warmed meanwhile]",
        "trade/test_finds.py::test_a_relays_contact_is_measured_under_load",
        "trade/test_finds.py::test_a_sensor_is_held_against_its_table_at_the_temperature_of_that_minute",
    ),
    "8 formulas": (
        "trade/test_edges.py::test_triple_points_are_coolprops",
        "trade/test_edges.py::test_windings_by_what_they_would_draw",
        "trade/test_edges.py::test_setting_advice_is_that_of_the_procedures",
        "trade/test_edges.py::test_a_compressor_that_is_seized_draws_what_any_start_draws",
    ),
    "9 cautions": (
        "trade/test_finds.py::test_no_probe_stays_beside_a_fan",
        "trade/test_finds.py::test_no_door_stands_open_in_public_unguarded",
        "trade/test_finds.py::test_a_mask_before_the_brush",
        "shipped/test_facts.py::test_a_flammable_charge_that_may_leak_gets_no_power_back",
    ),
    "10 missing of the job itself": ("trade/test_finds.py::test_the_job_has_it",),
}  # fmt: skip


@pytest.mark.parametrize("find", FINDS)
def test_each_find_is_held(find: str) -> None:
    for held in FINDS[find]:
        path, _, name = held.partition("::")
        bare = name.partition("[")[0]
        assert re.search(rf"^def {bare}\(", (HERE / path).read_text(encoding="utf-8"), re.MULTILINE), held
        case = name.partition("[")[2].rstrip("]")
        if case:
            from tests.trade.scenarios import SCENARIOS

            assert case in {one.name for one in SCENARIOS}, held
    assert len(FINDS) == 10


def said(name: str) -> str:
    steps = book_named(name).procedures[name].steps
    return " ".join(" ".join([step.say, *getattr(step, "do", ()), *getattr(step, "checks", ())]) for step in steps)


def test_a_new_deck_is_not_blamed_while_nobody_calls_for_it() -> None:
    start = book_named("deck-put-in").at("deck-put-in", "compressor-start")
    assert isinstance(start, Ask)
    silent = next(answer.go for answer in start.answers if answer.say == "silent")
    asked = book_named("deck-put-in").at("deck-put-in", str(silent))
    assert isinstance(asked, Ask)
    assert "call" in asked.say
    assert {answer.go for answer in asked.answers if answer.say == "idle"} == {"new-deck-idle"}


def test_a_fault_of_the_circuit_can_end_in_another_deck() -> None:
    steps = book_named("sealed-circuit-suspicion").procedures["sealed-circuit-suspicion"].steps
    assert any(getattr(step, "procedure", "") == "deck-exchange" for step in steps)


def test_a_relays_contact_is_measured_under_load() -> None:
    name = "relay-and-connector-check"
    ids = [step.id for step in book_named(name).procedures[name].steps]
    order = [ids.index(one) for one in ("clip-leads", "restore-for-test", "call-for-cooling", "contact-drop")]
    assert order == sorted(order)
    connected = book_named(name).at(name, "clip-leads")
    assert "Connect the compressor lead again" in connected.say
    assert "across the contact" in connected.say


def test_a_sensor_is_held_against_its_table_at_the_temperature_of_that_minute() -> None:
    name = "sensor-check-and-exchange"
    asked = book_named(name).at(name, "table-resistance")
    assert "now" in asked.say
    assert "ice water" in book_named(name).at(name, "ice-ohms").say


@pytest.mark.parametrize(("measured", "table", "onward"), [
    (28_300.0, 28_000.0, "fits-and-shows"), (31_500.0, 28_000.0, "sensor-off"), (29_600.0, 28_000.0, "sensor-not-known"),
    (1_031.0, 1_000.0, "sensor-not-known"), (101.2, 100.0, "sensor-not-known"), (1_150.0, 1_000.0, "sensor-off"),
])  # fmt: skip
@pytest.mark.parametrize(("step", "names"), [
    ("ice-says", ("ice_ohms", "ice_table")), ("fits-or-not", ("sensor_resistance", "table_resistance")),
])  # fmt: skip
def test_a_platinum_sensor_eight_kelvin_off_is_not_said_to_fit(
    step: str, names: tuple[str, str], measured: float, table: float, onward: str
) -> None:
    """A thousand ohms at 32 degF and 0.385 percent a kelvin: IEC 60751, from memory."""
    decides = book_named("sensor-check-and-exchange").at("sensor-check-and-exchange", step)
    assert isinstance(decides, Decide)
    values = dict(zip(names, (measured, table), strict=True))
    cases = (case.go for case in decides.cases if evaluate(case.when, values).holds)
    assert next(cases, decides.otherwise) == onward


def test_no_probe_stays_beside_a_fan() -> None:
    """After it was read it is taken off, isolated, before the work ends."""
    name = "condenser-cleaning"
    steps = book_named(name).procedures[name].steps
    ids = [step.id for step in steps]
    off = next(step for step in steps if isinstance(step, Instruct) and "Take the probe off" in step.say)
    before = steps[: ids.index(off.id)]
    assert off.behind_gate
    assert isinstance(next(step for step in reversed(before) if isinstance(step, Isolate | Restore)), Isolate)
    assert "until the next isolation" not in said(name)


def test_no_door_stands_open_in_public_unguarded() -> None:
    for name in NAMES:
        for step in book_named(name).procedures[name].steps:
            if isinstance(step, Instruct) and re.search(r"[Ff]ix the door open", step.say):
                assert "barrier" in step.say, (name, step.id)


def test_a_mask_before_the_brush() -> None:
    text = said("condenser-cleaning")
    assert text.index("mask") < text.index("Brush the condenser")


@pytest.mark.parametrize(("name", "words"), [
    ("condenser-cleaning", "the door's too"),
    ("relay-and-connector-check", "each relay, and which lead sits on which terminal"),
    ("relay-and-connector-check", "at both ends"), ("relay-and-connector-check", "back and forth"),
    ("relay-and-connector-check", "for the order"), ("compressor-does-not-start", "for the order"),
    ("deck-take-out", "path of each lead"), ("deck-take-out", "divider and the screws"), ("deck-put-in", "divider back"),
])  # fmt: skip
def test_the_job_has_it(name: str, words: str) -> None:
    assert words in said(name)


def test_what_is_read_again_and_again_ends() -> None:
    """A setting that nobody can show once led round the readings of a pull-down for ever."""
    name = "prove-pull-down"
    on = book_named(name).at(name, "read-on")
    assert isinstance(on, Decide)
    assert [case.go for case in on.cases] == ["watched", "watched"]
    assert isinstance(book_named(name).at(name, "next-wait"), Wait)
