"""'What next' and 'why', asked in the middle of shipped procedures, by typed visits through the real machine."""

from __future__ import annotations

import re

import pytest

from handsfree.procedure.model import Caution, Decide
from handsfree.procedure.observations import told
from handsfree.trade import faultmodel, whatnext
from tests.shipped.conftest import book_named
from tests.visit.scenes import Scene

COMPLAINTS = {
    "too-warm": "too_warm", "freezing-the-stock": "freezing", "dead-or-trips": "dead",
    "runs-all-the-time": "runs_always", "noisy-or-vibrating": "noisy", "iced-up": "iced_up",
    "wet": "wet",
}  # fmt: skip


def arrived(name: str) -> Scene:
    """A visit at the cabinet, past the hazards of the site."""
    return Scene(book_named(name)).open()


#: What is found at a warm cabinet, by the step that asks: in which order, the fault model says.
WARM = {
    "controller-mode": ("cooling",), "setting": ("43", "affirm"), "condenser-look": ("clean",),
    "compressor-sound": ("runs smoothly",), "condenser-fan-look": ("turning",),
    "shown-temperature": ("58", "affirm"), "room-temperature": ("70", "affirm"), "cabinet-temperature": ("58", "affirm"),
    "delivery-air": ("warm",), "coil-pattern": ("even frost",), "coil-look": ("even frost",),
    "door-strip": ("holds fast",), "load": ("long before",), "sun": ("in the shade",), "stock-look": ("clear",),
    "air-again": ("dead calm",), "heard-or-not": ("cannot tell",),
    "vents": ("room for air",), "deck-seat": ("hangs still",),
}  # fmt: skip


def at_step(step: str, **other: tuple[str, ...]) -> Scene:
    """A visit to a warm cabinet up to a step, `other` answered instead."""
    scene, told = arrived("too-warm"), {**WARM, **{name.replace("_", "-"): words for name, words in other.items()}}
    while scene.step != step:
        scene.words(*told[scene.step])
    return scene


@pytest.mark.parametrize(("name", "complaint"), COMPLAINTS.items())
def test_the_complaint_alone_gives_a_first_check(name: str, complaint: str) -> None:
    assert book_named(name).procedures[name].complaint == complaint
    scene = arrived(name)
    model = faultmodel.shipped()
    scene.words("what next")
    assert scene.said == f"To check next: {' '.join(whatnext.what_next(model, {'complaint': complaint}))}"
    assert any(check.asks in scene.said for check in model.checks.values())
    if isinstance(scene.state.step, Caution):  # there 'why' asks what the caution is for
        scene.words("understood")
    scene.words("why")
    assert re.search(r"Most likely .+: \d+ percent", scene.said)


def test_a_stopped_deck_leads_to_the_mode() -> None:
    scene = arrived("too-warm").words("something else")
    assert scene.state.told == {"mode": "other"}
    scene.words("why")
    assert "Most likely the controller is not in its cooling mode" in scene.said


def test_a_warm_cabinets_checks_come_in_the_order_of_the_fault_model() -> None:
    """What answers say so far decides what comes next; who cannot tell is not asked again."""
    decided = book_named("too-warm").at("too-warm", "look-next")
    assert isinstance(decided, Decide)
    steps = {str(case.check): case.go for case in decided.cases}
    scene, asked = arrived("too-warm"), []
    while scene.step not in steps.values():
        scene.words(*WARM[scene.step])
    while scene.step in steps.values():
        order = whatnext.worth(faultmodel.shipped(), {"complaint": "too_warm", **scene.state.told}, steps)
        heard = "compressor-sound" in asked  # a fan goes with its compressor
        left = [check for check in order if steps[check] not in asked and (heard or check != "condenser_fan_turns")]
        assert scene.step == steps[left[0]]
        asked.append(scene.step)
        scene.words("cannot tell" if scene.step == "delivery-air" else WARM[scene.step][0])
    assert asked.count("delivery-air") == 1
    assert len(asked) >= 4


def test_readings_tell_through_the_decision_they_lead_to() -> None:
    scene = at_step("load-first", shown_temperature=("45", "affirm"))
    assert scene.state.told["setting"] == "normal"
    assert scene.state.told["thermometer"] == "shown_colder"
    scene.words("why")
    assert "sensor reads too cold" in scene.said


def test_a_borderline_reading_tells_nothing() -> None:
    scene = at_step("cabinet-temperature", shown_temperature=("53", "affirm")).words("58", "affirm")
    assert "thermometer" not in scene.state.told


def test_under_isolation_the_next_check_needs_no_power_or_says_so() -> None:
    scene = at_step("unplug", compressor_sound=("cannot tell",))
    scene.words("go ahead", "isolated lock four two", "nothing runs", "understood")
    assert (scene.step, scene.power) == ("compressor-touch", "ISOLATED")
    before = scene.state
    scene.words("what next")
    advice = whatnext.next_check(faultmodel.shipped(), {"complaint": "too_warm", **scene.state.told}, isolated=True)
    assert advice is not None
    assert ("Restore the power first." in scene.said) is (advice.check.needs == "power")
    assert (scene.step, scene.power) == ("compressor-touch", "ISOLATED"), "advice moves nothing"
    assert scene.state.remembered == before.remembered
    scene.words("cool")
    assert scene.state.told["compressor_touch"] == "cool"


def test_what_a_called_procedure_finds_counts_for_its_caller() -> None:
    scene = at_step("condenser-fan-again", delivery_air=("dead calm",), condenser_fan_look=("stopped",))
    assert scene.state.path == ("too-warm", "fans-check-and-exchange")
    assert scene.state.told["air_flow"] == "none"
    assert scene.state.told["condenser_fan_turns"] == "still"


def test_ice_is_named_as_such() -> None:
    scene = arrived("iced-up").words("iced over", "next step", "43", "affirm", "slips out")
    scene.words("why")
    assert "the door does not seal" in scene.said


def test_every_diagnosis_tells_something() -> None:
    for name in COMPLAINTS:
        tells = {what.partition("=")[0] for step in book_named(name).procedures[name].steps for _, what in told(step)}
        assert len(tells) >= (1 if name == "noisy-or-vibrating" else 2), name
