"""No part is accused too early, no cover left off, no meter lead left on, no good supply called unsafe."""

from __future__ import annotations

import pytest

from handsfree.journal.events import TimerRang
from handsfree.procedure.model import Finding, Handover, Procedure, Read, Step
from tests.shipped.conftest import book_named
from tests.shipped.test_facts import chosen, ways_of
from tests.shipped.test_what_next import arrived

DEAD, START = "dead-or-trips", "compressor-does-not-start"
Words = dict[str, tuple[str, ...]]
SOUND: Words = {
    "complaint": ("lit but idle",), "controller-mode": ("cooling",), "setting": ("43", "affirm"),
    "call-for-cooling": ("idle",), "call-again": ("idle",), "shown-temperature": ("58", "affirm"),
    "sensor-place-temperature": ("58", "affirm"),
}  # fmt: skip


def shipped(name: str) -> Procedure:
    return book_named(name).procedures[name]


def lead_to(step: Step) -> set[str]:
    """Every step that this one names as the next."""
    ways = [getattr(step, way, None) for way in ("go", "otherwise", "unknown", "over_range", "unsteady")]
    many = (*getattr(step, "answers", ()), *getattr(step, "cases", ()))
    return {way for way in (*ways, *(one.go for one in many)) if way}


@pytest.mark.parametrize(
    ("other", "found"),
    [
        ({"controller-mode": ("something else",)}, "not-in-cooling-mode"),
        ({"setting": ("65", "affirm")}, "setting-too-warm"),
        ({"shown-temperature": ("42", "affirm")}, "controller-rests"),
        ({}, "controller-does-not-call"),
        ({"controller-mode": ("cannot tell",)}, "controller-does-not-call"),
        ({"controller-mode": ("cannot tell",), "setting": ("cannot tell",)}, ""),
    ],
)
def test_mode_setting_and_temperature_come_before_a_controller_that_idles(other: Words, found: str) -> None:
    scene, asked = arrived(DEAD), []
    while scene.step in (*SOUND, "pause-wait") and scene.step != "sensor-place-temperature":
        asked.append(scene.step)
        if scene.step == "pause-wait":  # a controller pauses to defrost its coil
            scene.tell(TimerRang("wait"), 1860.0)
        else:
            scene.words(*{**SOUND, **other}[scene.step])
    findings = {step.id: step.finding for step in shipped(DEAD).steps if isinstance(step, Finding)}
    assert [findings[step] for step in scene.oracle.entered if step in findings] == ([found] if found else [])
    assert asked[1] == "controller-mode"
    assert "setting" in asked or found == "not-in-cooling-mode"


def test_a_true_sensor_condemns_no_controller() -> None:
    known = {"sensor_work": "no fault found", "setting": 43.0}
    assert chosen(DEAD, "after-sensor-work", shown_temperature=42.0, **known) == "pull-down"
    assert chosen(DEAD, "after-sensor-work", shown_temperature=58.0, **known) == "idle-handover"
    assert chosen(DEAD, "after-sensor-work", **known) == "idle-handover"
    assert "suspect" not in shipped(DEAD).step("idle-handover").say


def test_a_good_supply_is_not_called_unsafe() -> None:
    for trips, work, go in (
        ({}, "not fixed", "unsolved-handover"),
        ({"after_power": "trips on start"}, "not fixed", "desk-handover"),
        ({"after_power": "trips on start"}, "no fault found", "desk-handover"),
        ({}, "no fault found", "pull-down"),
    ):
        assert chosen(DEAD, "after-compressor-work", compressor_work=work, **trips) == go
    assert chosen(DEAD, "after-pull-down", pull_down="not fixed", compressor_work="not fixed") == "unsolved-handover"
    unsolved = shipped(DEAD).step("unsolved-handover")
    assert isinstance(unsolved, Handover)
    assert not unsolved.makes
    assert "supply" not in unsolved.say


def test_a_freezers_setting_is_plausible() -> None:
    setting = shipped(DEAD).step("setting")
    assert isinstance(setting, Read)
    assert setting.plausible[0] <= 0


def test_nobody_hands_over_with_the_leads_on_and_the_plug_in() -> None:
    """From the live measurement on, until the plug is out again."""
    steps = {step.id: step for step in shipped(START).steps}
    for name in ("terminal-voltage", "try-result", "lost-or-seized"):
        assert "part-handover" not in lead_to(steps[name])
        assert "unjudged-handover" in lead_to(steps[name])
    for name in ("unjudged-handover", "seized-handover"):
        assert "Pull the plug and lock it. The meter leads come off behind the lock." in steps[name].say
        assert dict(steps[name].makes) == {"left": "locked off"}


def test_the_relay_is_met_with_its_box_open_its_charge_measured_and_the_terminals_covered() -> None:
    steps = shipped(START).steps
    order = [step.id for step in steps]
    to_box = {step.id for step in steps if "open-box" in lead_to(step)} | {order[order.index("open-box") - 1]}
    assert to_box == {"cover-back", "start-device-on"}
    assert all("Put the terminal cover back." in shipped(START).step(name).say for name in to_box)
    assert {step.id for step in steps if lead_to(step) & {"relay-work", "other-relay"}} == {"box-safe", "other-relay"}
    assert order[order.index("fit-relay") + 1] == "shut-box"
    assert chosen(START, "box-safe", box_charge=0.0) == "relay-work"
    assert chosen(START, "box-safe", box_charge=300.0) == "box-again"
    # What two discharges leave is another supply: nobody is led round for ever, nor to a terminal of that box.
    assert ways_of(START, "box-again") == {"first try": "box-charge", "repeated": "live-box"}
    assert shipped(START).step("live-box").kind == "handover"
    assert chosen(START, "box-safe", box_charge=0.0, terminal_voltage=120.0) == "other-relay"


def test_an_old_start_device_is_not_accused_where_the_new_one_failed_too() -> None:
    tried = {"try_known": "spare here", "sound_again": "hums and clicks", "runs_on": "runs smoothly"}
    assert chosen(START, "runs-by-what", **tried) == "start-proved"
    assert chosen(START, "runs-by-what", try_result="it starts", **tried) == "compressor-runs"
