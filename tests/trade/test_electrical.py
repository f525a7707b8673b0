"""Supply, current, windings, insulation, capacitors, leads."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from handsfree.errors import Trouble
from handsfree.trade import electrical as e
from handsfree.trade.uncertain import LimitVerdict, reading


@pytest.mark.parametrize(
    ("volts", "nominal", "standard", "verdict"),
    [
        # ANSI C84.1 range A on a 120 V system: 114 to 126 V at the service. EN 50160 on 230 V: 207 to 253 V.
        (114.0, 120.0, "ANSI C84.1 A", LimitVerdict.PASS),
        (113.9, 120.0, "ANSI C84.1 A", LimitVerdict.FAIL),
        (126.1, 120.0, "ANSI C84.1 A", LimitVerdict.FAIL),
        (207.1, 230.0, "EN 50160", LimitVerdict.PASS),
        (206.9, 230.0, "EN 50160", LimitVerdict.FAIL),
        (253.1, 230.0, "EN 50160", LimitVerdict.FAIL),
    ],
)
def test_supply_bands(volts: float, nominal: float, standard: str, verdict: LimitVerdict) -> None:
    assert e.supply(volts, nominal, standard).verdict is verdict


def test_a_supply_within_the_meter_of_its_limit_is_measured_again() -> None:
    assert e.supply(reading(206.0, "1 % + 2 digits", 0.1), 230.0).verdict is LimitVerdict.BORDERLINE
    with pytest.raises(Trouble, match="standard"):
        e.supply(230.0, 230.0, "mine")


@pytest.mark.parametrize(
    ("amperes", "named"),
    [(0.0, "none"), (0.6, "low"), (2.0, "normal"), (2.6, "high"), (6.5, "locked rotor"), (2.21, "borderline")],
)
def test_running_current(amperes: float, named: str) -> None:
    assert e.running_current(reading(amperes, "2 %"), 2.0) == named


def test_running_current_with_the_plates_locked_rotor() -> None:
    assert e.running_current(7.0, 2.0, 11.0) == "high"
    assert e.running_current(8.0, 2.0, 11.0) == "locked rotor"
    with pytest.raises(Trouble, match="above"):
        e.running_current(7.0, 2.0, 1.0)


@given(run=st.floats(2, 20), ratio=st.floats(1.2, 5), errors=st.tuples(*[st.floats(-1, 1)] * 3))
def test_sound_windings_are_never_condemned_by_the_meter(run: float, ratio: float, errors: tuple[float, ...]) -> None:
    true = (run * ratio, run, run * (1 + ratio))
    three = [reading(v * (1 + 0.01 * k), "1 %") for v, k in zip(true, errors, strict=True)]
    assert e.windings(*three).verdict in (e.Windings.SOUND, e.Windings.BORDERLINE)


@pytest.mark.parametrize(
    ("three", "frame", "verdict", "word"),
    [
        ((20.0, 8.0, 28.0), math.inf, e.Windings.SOUND, "add up"),
        ((20.0, 8.0, 28.0), 0.2, e.Windings.FRAME, "frame"),
        ((math.inf, 8.0, math.inf), math.inf, e.Windings.OPEN, "start winding"),
        ((20.0, math.inf, math.inf), math.inf, e.Windings.OPEN, "run winding"),
        ((math.inf, math.inf, 28.0), math.inf, e.Windings.COMMON, "overload"),
        ((20.0, 0.0, 20.0), math.inf, e.Windings.SHORTED, "short"),
        ((20.0, 8.0, 22.0), math.inf, e.Windings.MISMATCH, "sum"),
        ((8.0, 20.0, 28.0), math.inf, e.Windings.SOUND, "add up"),
    ],
)
def test_windings(three: tuple[float, float, float], frame: float, verdict: e.Windings, word: str) -> None:
    told = e.windings(*three, frame)
    assert told.verdict is verdict
    assert word in told.sentence


@given(run=st.floats(2, 20), ratio=st.floats(1.2, 5), order=st.permutations(["common", "run", "start"]))
def test_terminals_are_named_whatever_their_order(run: float, ratio: float, order: list[str]) -> None:
    ohms = {frozenset(("common", "run")): run, frozenset(("common", "start")): run * ratio}
    ohms[frozenset(("run", "start"))] = run * (1 + ratio)
    a, b, c = order
    named = e.terminals(ohms[frozenset((a, b))], ohms[frozenset((b, c))], ohms[frozenset((c, a))])
    assert named == {name: pin for pin, name in zip("abc", order, strict=True)}


def test_terminals_too_alike() -> None:
    with pytest.raises(Trouble, match="alike"):
        e.terminals(8.0, 8.1, 16.0)


def test_winding_temperature_by_the_resistance_method() -> None:
    # IEC 60034-1: (234.5 + t2) / (234.5 + t1) = R2 / R1. A copper winding from 20 degC doubles at 274.5 degC.
    assert e.winding_temperature(10.0, 20.0, 20.0) == pytest.approx(2 * 254.5 - 234.5)
    assert e.winding_temperature(10.0, 20.0, 10.0 * 314.5 / 254.5) == pytest.approx(80.0)


@given(t1=st.floats(-20, 60), t2=st.floats(-20, 180), r1=st.floats(0.5, 100))
def test_winding_temperature_round_trip(t1: float, t2: float, r1: float) -> None:
    r2 = r1 * (234.5 + t2) / (234.5 + t1)
    assert e.winding_temperature(r1, t1, r2) == pytest.approx(t2, abs=1e-8)


def test_insulation() -> None:
    assert e.insulation(math.inf).verdict is LimitVerdict.PASS
    assert e.insulation(reading(0.2, "5 %")).verdict is LimitVerdict.FAIL
    assert e.insulation(reading(1.02, "5 %")).verdict is LimitVerdict.BORDERLINE


def test_capacitors() -> None:
    assert e.capacitor(reading(14.8, "2 %"), 15.0).verdict is LimitVerdict.PASS
    assert e.capacitor(reading(9.0, "2 %"), 15.0).verdict is LimitVerdict.FAIL
    assert e.capacitor(reading(14.0, "2 %"), 15.0).verdict is LimitVerdict.BORDERLINE


@given(c=st.floats(1, 400), v=st.floats(10, 450), f=st.sampled_from([50.0, 60.0]))
def test_capacitance_from_current_round_trip(c: float, v: float, f: float) -> None:
    current = 2 * math.pi * f * c * 1e-6 * v
    assert e.capacitance_from_current(current, v, f) == pytest.approx(c)


@pytest.mark.parametrize("volts", [100.0, 325.0, 450.0])
def test_discharge_against_an_integrated_circuit(volts: float) -> None:
    c, r = 40.0, 20_000.0
    seconds = e.discharge_seconds(c, r, volts)
    integrated = solve_ivp(lambda t, v: -v / (r * c * 1e-6), (0, seconds), [volts], rtol=1e-9, atol=1e-9)
    assert integrated.y[0][-1] == pytest.approx(e.SAFE_VOLTS, rel=1e-6)


def test_a_capacitor_already_safe_needs_no_wait() -> None:
    assert e.discharge_seconds(40.0, 20_000.0, 10.0) == 0.0
    assert e.discharge_seconds(40.0, 20_000.0, 0.0) == 0.0


def test_voltage_drop_on_start() -> None:
    assert e.start_drop(reading(230, "0.5 %"), reading(222, "0.5 %")).verdict is LimitVerdict.PASS
    assert e.start_drop(reading(230, "0.5 %"), reading(190, "0.5 %")).verdict is LimitVerdict.FAIL
    with pytest.raises(Trouble, match="above"):
        e.start_drop(230.0, 240.0)


def test_a_heater_by_its_plate() -> None:
    assert e.heater_ohms(200.0, 230.0) == pytest.approx(264.5)


@pytest.mark.parametrize(
    "bad",
    [
        lambda: e.supply(-1.0, 230.0),
        lambda: e.windings(-5.0, 8.0, 3.0),
        lambda: e.insulation(-1.0),
        lambda: e.capacitor(-1.0, 15.0),
        lambda: e.winding_temperature(10.0, -300.0, 12.0),
        lambda: e.winding_temperature(10.0, 20.0, -12.0),
        lambda: e.winding_temperature(10.0, 20.0, 12.0, "gold"),
        lambda: e.discharge_seconds(-40.0, 1000.0, 300.0),
        lambda: e.heater_ohms(0.0, 230.0),
        lambda: e.running_current(-0.1, 2.0),
    ],
)
def test_impossible_input(bad) -> None:  # type: ignore[no-untyped-def]  # given by pytest
    with pytest.raises(Trouble):
        bad()


#: Temperature coefficient of annealed copper, per kelvin, by its own temperature: NBS Handbook 100, table 1 (from memory).
COPPER = ((0, 0.00427), (15, 0.00401), (20, 0.00393), (25, 0.00385), (30, 0.00378), (50, 0.00352))


@pytest.mark.parametrize(("celsius", "coefficient"), COPPER)
def test_copper_of_the_wire_tables(celsius: float, coefficient: float) -> None:
    """One kelvin above `celsius` a winding has gained its coefficient: the resistance method says so."""
    assert e.winding_temperature(1.0, celsius, 1.0 + coefficient) == pytest.approx(celsius + 1, abs=0.004)


@pytest.mark.parametrize(("hertz", "constant"), [(60.0, 2652.0), (50.0, 3183.0)])
def test_a_capacitor_by_the_constants_of_the_trade(hertz: float, constant: float) -> None:
    """Microfarads are 2652 times amperes over volts at 60 Hz, 3183 at 50 Hz: service manuals, from memory."""
    assert e.capacitance_from_current(3.0, 230.0, hertz) == pytest.approx(constant * 3.0 / 230.0, rel=3e-4)


@pytest.mark.parametrize(("constants", "left"), [(1, 0.3679), (2, 0.1353), (3, 0.0498), (4, 0.0183)])
def test_a_discharge_by_the_table_of_time_constants(constants: int, left: float) -> None:
    """What a capacitor keeps after so many time constants: any textbook of circuits, from memory."""
    farads, ohms = 50e-6, 20_000.0
    assert e.discharge_seconds(50.0, ohms, e.SAFE_VOLTS / left) == pytest.approx(constants * ohms * farads, rel=2e-3)


@pytest.mark.parametrize(
    ("watts", "volts", "ohms"),
    [(60.0, 120.0, 240.0), (100.0, 230.0, 529.0), (200.0, 230.0, 264.5), (1000.0, 230.0, 52.9), (1500.0, 120.0, 9.6)],
)  # fmt: skip
def test_heaters_of_a_printed_table(watts: float, volts: float, ohms: float) -> None:
    """Ohms of heating rods by plate, as makers print them: from memory."""
    assert e.heater_ohms(watts, volts) == pytest.approx(ohms, rel=1e-3)
