"""Refrigerants: against published points, and against CoolProp."""

from __future__ import annotations

import pytest
from CoolProp import AbstractState
from CoolProp.CoolProp import PropsSI
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.errors import Trouble
from handsfree.trade import refrigerants as r

# Normal boiling points, bubble and dew at 101.325 kPa: ASHRAE Standard 34 tables, from memory.
BOILING = {
    "R-134a": (-26.1, -26.1),
    "R-290": (-42.1, -42.1),
    "R-600a": (-11.7, -11.7),
    "R-1234yf": (-29.5, -29.5),
    "R-1270": (-47.6, -47.6),
    "R-404A": (-46.2, -45.5),
    "R-407C": (-43.6, -36.6),
    "R-448A": (-45.9, -39.8),
    "R-449A": (-46.0, -39.9),
    "R-452A": (-47.0, -43.2),
    "R-454C": (-46.0, -37.8),
    "R-455A": (-51.6, -39.1),
    "R-513A": (-29.2, -29.1),
}


@pytest.mark.parametrize("name", BOILING)
def test_normal_boiling_points(name: str) -> None:
    bubble, dew = BOILING[name]
    assert r.saturation_temperature(name, 101.325, "bubble") == pytest.approx(bubble, abs=0.7)
    assert r.saturation_temperature(name, 101.325, "dew") == pytest.approx(dew, abs=0.7)


@pytest.mark.parametrize(
    ("name", "celsius", "kilopascals"),
    # NIST REFPROP / ASHRAE Fundamentals saturation tables, from memory.
    [("R-134a", 0, 292.8), ("R-134a", 25, 665.4), ("R-744", 0, 3485.1), ("R-290", 0, 474.5), ("R-600a", 20, 302.2)],
)
def test_saturation_pressures(name: str, celsius: float, kilopascals: float) -> None:
    assert r.saturation_pressure(name, celsius) == pytest.approx(kilopascals, rel=0.002)


@pytest.mark.parametrize("name", ["R-134a", "R-290", "R-600a", "R-744", "R-404A", "R-513A"])
def test_the_table_of_critical_points_is_coolprops(name: str) -> None:
    known = r.refrigerant(name)
    state = AbstractState("HEOS", known.fluid)
    if known.blend:
        found = next(p for p in state.all_critical_points() if p.stable)
        temperature, pressure = found.T, found.p
    else:
        temperature, pressure = state.T_critical(), state.p_critical()
    assert known.critical_celsius == pytest.approx(temperature - 273.15, abs=0.02)
    assert known.critical_kilopascals == pytest.approx(pressure / 1000, rel=0.001)


def test_r404a_as_a_mixture_agrees_with_its_own_equation() -> None:
    # CoolProp holds R-404A twice: as a mixture, and as a pseudo-pure fluid of its own (Lemmon 2003).
    for celsius in (-30, -10, 10, 30):
        own = PropsSI("P", "T", celsius + 273.15, "Q", 1, "HEOS::R404A") / 1000
        assert r.saturation_pressure("R-404A", celsius, "dew") == pytest.approx(own, rel=0.005)


@pytest.mark.parametrize("name", r.REFRIGERANTS)
def test_the_table_is_coolprops(name: str) -> None:
    """Between its points: 2e-5 of the pressure, a thousandth of a kelvin; where gauges are read, and near both its ends."""
    fluid = r.refrigerant(name).fluid
    for quality, point in ((0, "bubble"), (1, "dew")):
        for celsius in (-56.3, -33.7, -12.4, 3.1, 21.6, 29.9, 48.8, 57.3, 66.6):
            try:
                expected = PropsSI("P", "T", celsius + 273.15, "Q", quality, f"HEOS::{fluid}") / 1000
            except ValueError:  # beyond the critical point, or CoolProp finds none there
                continue
            assert r.saturation_pressure(name, celsius, point) == pytest.approx(expected, rel=2e-5)
            assert r.saturation_temperature(name, expected, point) == pytest.approx(celsius, abs=1e-3)


@settings(max_examples=40, deadline=None)
@given(
    name=st.sampled_from([n for n in r.REFRIGERANTS if n != "R-744"]),
    celsius=st.floats(-40, 50),
    point=st.sampled_from(["bubble", "dew"]),
)
def test_round_trip(name: str, celsius: float, point: r.SaturationPoint) -> None:
    pressure = r.saturation_pressure(name, celsius, point)
    assert r.saturation_temperature(name, pressure, point) == pytest.approx(celsius, abs=1e-4)


@settings(max_examples=20, deadline=None)
@given(name=st.sampled_from([n for n, known in r.REFRIGERANTS.items() if known.blend]), celsius=st.floats(-35, 45))
def test_blends_boil_before_they_finish_boiling(name: str, celsius: float) -> None:
    assert r.saturation_pressure(name, celsius, "bubble") > r.saturation_pressure(name, celsius, "dew")


def test_superheat_uses_dew_and_subcooling_uses_bubble() -> None:
    gauge = r.gauge(r.saturation_pressure("R-448A", -10, "dew"))
    assert r.superheat("R-448A", gauge, -4.0) == pytest.approx(6.0, abs=0.01)
    gauge = r.gauge(r.saturation_pressure("R-448A", 35, "bubble"))
    assert r.subcooling("R-448A", gauge, 30.0) == pytest.approx(5.0, abs=0.01)


@pytest.mark.parametrize(
    ("metres", "kilopascals"),
    # ISO 2533 standard atmosphere, from memory.
    [(0, 101.325), (1000, 89.875), (2000, 79.495), (5000, 54.020)],
)
def test_standard_atmosphere(metres: float, kilopascals: float) -> None:
    assert r.atmosphere(metres) == pytest.approx(kilopascals, rel=2e-4)


def test_altitude_raises_the_gauge() -> None:
    low, high = r.resting_pressure("R-290", 20.0), r.resting_pressure("R-290", 20.0, 2000.0)
    assert high.low_gauge - low.low_gauge == pytest.approx(101.325 - 79.495, abs=0.05)


@pytest.mark.parametrize(("kilopascals", "verdict"), [(735.0, "normal"), (400.0, "low"), (900.0, "high")])
def test_resting_pressure(kilopascals: float, verdict: str) -> None:
    assert r.resting_verdict("R-290", kilopascals, 20.0) == verdict


@pytest.mark.parametrize("typed", ["R-134a", "r134a", "R 134A", "134a"])
def test_names_as_they_are_typed(typed: str) -> None:
    assert r.refrigerant(typed).name == "R-134a"


def test_classes_and_cautions() -> None:
    # ISO 817 classes, from memory.
    assert [r.refrigerant(n).safety for n in ("R-134a", "R-290", "R-600a", "R-744", "R-1234yf", "R-404A")] == [
        "A1", "A3", "A3", "A1", "A2L", "A1",
    ]  # fmt: skip
    assert "flame symbol" in " ".join(r.cautions("R-290"))
    for said in r.CAUTIONS.values():
        for sentence in " ".join(said).split(". "):
            assert len(sentence.split()) <= 20


@pytest.mark.parametrize(
    "bad",
    [
        lambda: r.refrigerant("R-9999"),
        lambda: r.saturation_pressure("R-744", 35.0),
        lambda: r.saturation_pressure("R-448A", 90.0),
        lambda: r.saturation_pressure("R-134a", -280.0),
        lambda: r.saturation_pressure("R-134a", -150.0),
        lambda: r.saturation_temperature("R-134a", -5.0),
        lambda: r.saturation_temperature("R-134a", 6000.0),
        lambda: r.superheat("R-134a", -150.0, 5.0),
        lambda: r.saturation_pressure("R-134a", 0.0, "middle"),  # type: ignore[arg-type]  # it is to be refused
        lambda: r.atmosphere(20_000.0),
    ],
)
def test_impossible_input(bad) -> None:  # type: ignore[no-untyped-def]  # given by pytest
    with pytest.raises(Trouble):
        bad()
