"""Formulas at their edges, against tables and libraries that know nothing of the program; what is impossible is refused."""

from __future__ import annotations

import math

import pytest

from handsfree.errors import Trouble
from handsfree.trade import cooling, electrical, refrigerants, sensors, thermocouple
from handsfree.trade.calls import call
from handsfree.trade.faultmodel import shipped
from handsfree.trade.uncertain import LimitVerdict, reading


@pytest.mark.parametrize("celsius", [-270.0, -273.0, -150.0, 400.0])
def test_no_thermistor_is_asked_beyond_what_thermistors_do(celsius: float) -> None:
    with pytest.raises(Trouble, match="thermistor"):
        call("thermistor_ohms", celsius, 10_000.0, 3435.0)


@pytest.mark.parametrize(
    ("ohms", "celsius"),
    # IEC 60751 table for Pt100, as printed to 0.01 ohm (from memory): its ends and between.
    [(18.52, -200.0), (60.26, -100.0), (100.00, 0.0), (119.40, 50.0), (138.51, 100.0), (313.71, 600.0), (390.48, 850.0)],
)
def test_every_value_of_the_platinum_table_is_taken(ohms: float, celsius: float) -> None:
    assert call("pt100", ohms) == pytest.approx(celsius, abs=0.02)


def test_beyond_the_platinum_table_is_refused() -> None:
    for ohms in (18.50, 390.6):
        with pytest.raises(Trouble, match="platinum"):
            sensors.Platinum().celsius(ohms)


@pytest.mark.parametrize(
    ("kind", "millivolts", "celsius"),
    # NIST ITS-90 tables, reference junction at 0 degrees Celsius (from memory).
    [("K", -5.891, -200.0), ("K", 0.0, 0.0), ("K", 4.096, 100.0), ("K", 41.276, 1000.0),
     ("T", -5.603, -200.0), ("T", 4.279, 100.0), ("T", 20.872, 400.0)],
)  # fmt: skip
def test_thermocouples_to_the_ends_of_their_tables(kind: str, millivolts: float, celsius: float) -> None:
    assert thermocouple.celsius(kind, millivolts, 0.0) == pytest.approx(celsius, abs=0.1)


@pytest.mark.parametrize("gauge", [-101.3, -100.0])
def test_a_vacuum_is_no_suction_of_a_running_circuit(gauge: float) -> None:
    with pytest.raises(Trouble, match="vacuum"):
        call("superheat", "R-134a", gauge, 10.0)


def test_superheat_at_ordinary_pressures_is_coolprops() -> None:
    from CoolProp.CoolProp import PropsSI

    for name, fluid in (("R-290", "R290"), ("R-600a", "R600a"), ("R-134a", "R134a")):
        kelvin = PropsSI("T", "P", 100e3 + 101325, "Q", 1, fluid)
        assert call("superheat", name, 100.0, kelvin - 273.15 + 7) == pytest.approx(7, abs=0.01)


@pytest.mark.parametrize("celsius", [-56.6, -80.0])
def test_carbon_dioxide_has_no_saturation_below_its_triple_point(celsius: float) -> None:
    """Triple point -56.558 degrees Celsius, 517.95 kPa: Span and Wagner, J. Phys. Chem. Ref. Data 25 (1996)."""
    with pytest.raises(Trouble, match="triple"):
        refrigerants.saturation_pressure("R-744", celsius)
    with pytest.raises(Trouble, match="triple"):
        refrigerants.saturation_temperature("R-744", 400.0)


def test_triple_points_are_coolprops() -> None:
    from CoolProp.CoolProp import PropsSI

    for known in refrigerants.REFRIGERANTS.values():
        if known.triple_celsius > refrigerants.LOWEST:
            assert known.triple_celsius == pytest.approx(PropsSI("Ttriple", known.fluid) - 273.15, abs=0.01)
        elif not known.blend:
            assert PropsSI("Ttriple", known.fluid) - 273.15 < refrigerants.LOWEST


@pytest.mark.parametrize(
    ("fahrenheit", "says"), [(38.0, "too cold"), (39.5, "normal"), (43.0, "normal"), (45.5, "normal"), (48.0, "too warm")]
)
def test_setting_advice_is_that_of_the_procedures(fahrenheit: float, says: str) -> None:
    assert cooling.setting_advice((fahrenheit - 32) / 1.8) == says


@pytest.mark.parametrize(
    ("volts", "system", "verdict"),
    # ANSI C84.1 range A at an outlet (utilization): 10 % low, 5 % high. EN 50160: 10 % about 230 V.
    [(124.0, 120.0, "pass"), (106.0, 120.0, "fail"), (128.0, 120.0, "fail"), (206.0, 208.0, "pass"), (185.0, 208.0, "fail"),
     (196.0, 230.0, "fail"), (210.0, 230.0, "pass"), (250.0, 240.0, "pass"), (214.0, 240.0, "fail"), (114.8, 120.0, "pass"),
     (207.5, 230.0, "borderline"), (101.0, 100.0, "pass"), (94.0, 100.0, "fail")],
)  # fmt: skip
def test_the_supply_is_held_to_its_nominal_system(volts: float, system: float, verdict: str) -> None:
    assert call("supply_state", volts, system, 0.4) == verdict


def test_a_plate_is_no_supply_system() -> None:
    for plate in (115.0, 190.0, 260.0):
        with pytest.raises(Trouble, match="system"):
            call("supply_state", 120.0, plate)


def test_an_overload_in_a_hot_shell_is_no_open_winding() -> None:
    assert electrical.windings(math.inf, math.inf, 35.0).verdict is electrical.Windings.COMMON
    assert call("windings_state", math.inf, math.inf, 35.0) == "common open"
    assert call("windings_state", 24.0, math.inf, math.inf) == "open"


@pytest.mark.parametrize(("run", "start", "plate", "says"), [
    (0.3, 24.0, 230.0, "shorted"), (0.3, 6.0, 115.0, "shorted"), (1.3, 5.0, 115.0, "sound"), (11.0, 24.0, 230.0, "sound"),
    (13.0, 10.0, 230.0, "sound"), (2.4, 9.0, 230.0, "sound"),
])  # fmt: skip
def test_windings_by_what_they_would_draw(run: float, start: float, plate: float, says: str) -> None:
    """Start below run is health in some compressors with a starting thermistor: common practice, no source."""
    assert call("windings_state", start, run, start + run, math.inf, 1.0, plate) == says


def test_a_condenser_under_a_warm_cabinet_may_be_hotter() -> None:
    """More heat comes over from a warm cabinet: 22 K over the air is dirty at 5 degrees inside and not at 25."""
    assert call("condenser_state", 46.5, 24.0, 0.5, 5.0) == "dirty"
    assert call("condenser_state", 46.5, 24.0, 0.5, 25.0) != "dirty"


def test_a_compressor_that_is_seized_draws_what_any_start_draws() -> None:
    """Locked rotor is locked rotor: the drop of the voltage tells of the lead, not of the compressor (Ohm's law)."""
    model = shipped()
    ids = [fault.id for fault in model.faults]
    large = model.checks["start_drop"].column("large")
    assert large[ids.index("compressor_seized")] == pytest.approx(large[ids.index("set_too_cold")])


def test_a_capacitor_at_its_limit_is_measured_again() -> None:
    assert electrical.capacitor(reading(56.4, "2 %"), 60.0).verdict is LimitVerdict.BORDERLINE
    assert electrical.capacitor(reading(40.0, "2 %"), 60.0).verdict is LimitVerdict.FAIL


def test_a_vapour_is_cooled_by_numbers_of_scipy() -> None:
    """The pull-down's law against an independent integration (scipy) of Newton's law."""
    from scipy.integrate import solve_ivp

    solved = solve_ivp(lambda t, y: [(4.0 - y[0]) / 60], (0, 120), [20.0], rtol=1e-8, t_eval=[0, 30, 60, 90, 120])
    rows = [x for pair in zip(solved.t, solved.y[0], strict=True) for x in pair]
    assert call("pull_down_settles", 5.0, *rows) == pytest.approx(4.0, abs=1.0)
