"""The simulated cabinet: its law against an integrator, its meters, its faults."""

from __future__ import annotations

import math
import statistics
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from handsfree.errors import Trouble
from handsfree.trade.pulldown import Outlook, fit
from tests.bench.mirror.answers import CHECKS, READINGS, answer, mirrored, reading, reply, simulated_visit
from tests.bench.mirror.simulated import FAULTS, Condition
from tests.bench.mirror.simulator import Event, SimulatedCabinet, cabinet, complaints, settled

MODEL = mirrored()
HEALTHY = SimulatedCabinet("none", Condition(), 1, 22.0)


def test_simulator_and_model_speak_of_the_same_things() -> None:
    assert set(FAULTS) == {fault.id for fault in MODEL.faults}
    assert set(CHECKS) == set(MODEL.checks)


def test_a_pull_down_is_what_an_integrator_finds() -> None:
    c = HEALTHY.condition

    def law(t: float, y: list[float]) -> list[float]:
        return [(c.loss * (c.room - y[0]) + c.load - c.cooling * (y[0] - c.floor)) / (c.heat * 1000) * 60]

    for minutes in (10.0, 60.0, 200.0):
        state = HEALTHY.state(minutes)
        assert state.running
        theirs = solve_ivp(law, (0, minutes), [22.0], rtol=1e-10, atol=1e-10).y[0][-1]
        assert state.celsius == pytest.approx(theirs, abs=1e-6)


def test_a_healthy_cabinet_cycles_about_its_setting() -> None:
    temperatures = [HEALTHY.state(float(t)).celsius for t in range(2000, 4000, 7)]
    assert HEALTHY.condition.setting - 1.51 <= min(temperatures)
    assert max(temperatures) <= HEALTHY.condition.setting + 1.51
    assert {HEALTHY.state(float(t)).running for t in range(2000, 4000, 7)} == {True, False}
    assert settled(HEALTHY.condition)[1] == "cycles"


@settings(max_examples=40, deadline=None)
@given(a=st.floats(0, 2000), b=st.floats(0, 2000), fault=st.sampled_from(sorted(FAULTS)), seed=st.integers(0, 50))
def test_looking_in_between_changes_nothing(a: float, b: float, fault: str, seed: int) -> None:
    """State at a later minute is the same whether or not an event that does nothing is put before it."""
    simulated = cabinet(fault, seed)
    early, late = sorted((a, b))
    touched = simulated.after(Event(early, "set", simulated.condition.setting))
    assert touched.state(late).celsius == pytest.approx(simulated.state(late).celsius, abs=1e-6)


def test_power_off_warms_to_the_room_and_defrosts() -> None:
    iced = replace(cabinet("coil_iced", 3), celsius=5.0)
    off = iced.after(Event(0.0, "off"))
    assert off.state(60 * 24 * 20).celsius == pytest.approx(iced.condition.room, abs=0.1)
    assert not off.state(100.0).running
    back = off.after(Event(24 * 60.0, "on"))
    assert back.state(24 * 60.0 + 1).condition.ice == 0.0
    half = off.after(Event(6 * 60.0, "on"))
    assert half.state(6 * 60.0 + 1).condition.ice == pytest.approx(iced.condition.ice - 0.25)


@pytest.mark.parametrize("fault", sorted(FAULTS))
def test_a_repair_puts_every_fault_right(fault: str) -> None:
    simulated = cabinet(fault, 5).after(Event(0.0, "off")).after(Event(24 * 60.0, "on")).after(Event(24 * 60.0, "repair"))
    end = simulated.state(24 * 60.0 + 3 * 24 * 60.0)
    assert complaints(replace(simulated, condition=end.condition)) == ()
    assert end.celsius < 9.0


@pytest.mark.parametrize("fault", sorted(FAULTS))
def test_every_fault_can_be_noticed_and_every_answer_is_one_of_the_models(fault: str) -> None:
    noticed = 0
    for seed in range(12):
        simulated = cabinet(fault, seed)
        shown = complaints(simulated)
        noticed += bool(shown)
        assert set(shown) <= set(MODEL.complaint.answers)
        for check in MODEL.checks.values():
            assert answer(simulated, check.id, 0.0) in check.answers
    assert noticed >= 4


def test_the_same_question_at_the_same_minute_gets_the_same_answer() -> None:
    first, again = cabinet("condenser_fan", 4), cabinet("condenser_fan", 4)
    for name in (*READINGS, *CHECKS):
        assert reply(first, name, 12.5) == reply(again, name, 12.5)
    assert reading(first, "cabinet_temperature", 1.0) != reading(first, "cabinet_temperature", 2.0)


def test_meter_noise_has_the_spread_that_is_stated() -> None:
    steady = replace(cabinet("not_in_cooling", 1))
    shown = [reading(steady, "room_temperature", float(t)) for t in range(800)]
    step = 0.1 / math.sqrt(12)  # what rounding to the display adds
    assert statistics.stdev(shown) == pytest.approx(math.hypot(0.2, step), rel=0.12)
    assert statistics.fmean(shown) == pytest.approx(steady.condition.room, abs=0.05)


def test_an_open_winding_reads_over_range() -> None:
    broken = SimulatedCabinet("compressor_winding", Condition(run_ohms=math.inf), 1, 22.0)
    assert math.isinf(reading(broken, "common_to_run", 0.0))


def test_a_simulated_pull_down_is_followed_by_the_fit() -> None:
    """Repair a cabinet, read it every quarter of an hour, and hold the fit's promise against what then happens."""
    held = 0
    for seed in range(20):
        simulated = cabinet("relay_open", seed).after(Event(0.0, "repair"))
        target = simulated.state(0.0).condition.setting + 1.5
        rows = [(float(t), reading(simulated, "cabinet_temperature", float(t))) for t in range(0, 151, 15)]
        told = fit(rows, target)
        assert told.outlook is not Outlook.NOT_GOING
        reached = next(t for t in range(5000) if simulated.state(float(t)).celsius <= target)
        held += told.time_to(0.05) <= reached <= told.time_to(0.95)
    assert held >= 17


def test_failing_cabinets_do_not_get_there() -> None:
    told = []
    for seed in range(12):
        simulated = replace(cabinet("condenser_fan", seed), celsius=26.0)
        if settled(simulated.condition)[0] < 12:
            continue
        rows = [(float(t), reading(simulated, "cabinet_temperature", float(t))) for t in range(0, 24 * 60, 30)]
        told.append(fit(rows, 7.0).outlook)
    assert len(told) >= 5
    assert Outlook.THERE not in told
    assert told.count(Outlook.NOT_GOING) >= len(told) - 1


def test_visits_are_drawn_by_the_priors_and_complete() -> None:
    faults = [simulated_visit(MODEL, seed)[0] for seed in range(400)]
    share = faults.count("condenser_blocked") / 400
    assert share == pytest.approx(MODEL.fault("condenser_blocked").prior, abs=0.06)
    _, complaint, answers = simulated_visit(MODEL, 1)
    assert complaint in MODEL.complaint.answers
    assert set(answers) == set(MODEL.checks)


@pytest.mark.parametrize(
    "bad",
    [
        lambda: cabinet("gremlins", 1),
        lambda: reading(HEALTHY, "mood", 0.0),
        lambda: answer(HEALTHY, "mood", 0.0),
        lambda: HEALTHY.state(-1.0),
        lambda: HEALTHY.after(Event(0.0, "kick")),
        lambda: HEALTHY.after(Event(5.0, "off")).after(Event(1.0, "on")),
    ],
)
def test_impossible_input(bad) -> None:  # type: ignore[no-untyped-def]  # given by pytest
    with pytest.raises(Trouble):
        bad()
