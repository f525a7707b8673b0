"""Thermistors, platinum, thermocouples, and which is wrong."""

from __future__ import annotations

import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from thermocouple_its90 import get as independent_couple

from handsfree.errors import Trouble
from handsfree.trade import sensors, thermocouple
from handsfree.trade.sensors import Beta, Platinum, Suspect, which_is_wrong
from handsfree.trade.uncertain import reading

CURVE = Beta(10_000.0, 25.0, 3435.0)

# IEC 60751: 100 and 138.51 ohm are named in the project's list of sources; the rest from memory.
IEC_60751 = (
    (-200, 18.52),
    (-100, 60.26),
    (-50, 80.31),
    (0, 100.00),
    (50, 119.40),
    (100, 138.51),
    (200, 175.86),
    (850, 390.48),
)
# NIST Monograph 175 tables, millivolts, from memory.
NIST_K = ((-200, -5.891), (-100, -3.554), (-40, -1.527), (0, 0.0), (25, 1.000), (100, 4.096), (500, 20.644), (1000, 41.276))
NIST_T = ((-200, -5.603), (-100, -3.379), (-40, -1.475), (0, 0.0), (25, 0.992), (100, 4.279), (200, 9.288), (400, 20.872))


@pytest.mark.parametrize(("celsius", "ohms"), IEC_60751)
def test_platinum_table(celsius: float, ohms: float) -> None:
    assert Platinum().ohms(celsius) == pytest.approx(ohms, abs=0.0051)
    assert Platinum(1000.0).ohms(celsius) == pytest.approx(10 * ohms, abs=0.051)


@given(st.floats(-200, 850))
def test_platinum_round_trip(celsius: float) -> None:
    assert Platinum().celsius(Platinum().ohms(celsius)) == pytest.approx(celsius, abs=1e-6)


@given(st.floats(-40, 120))
def test_thermistor_round_trips(celsius: float) -> None:
    assert CURVE.celsius(CURVE.ohms(celsius)) == pytest.approx(celsius, abs=1e-7)


@pytest.mark.parametrize("value", [-5.0, 0.0])
def test_impossible_resistances(value: float) -> None:
    for curve in (CURVE, Platinum()):
        with pytest.raises(Trouble):
            curve.celsius(value)


@pytest.mark.parametrize(("kind", "table"), [("K", NIST_K), ("T", NIST_T)])
def test_thermocouple_tables(kind: str, table: tuple[tuple[float, float], ...]) -> None:
    for celsius, millivolts in table:
        assert thermocouple.millivolts(kind, celsius) == pytest.approx(millivolts, abs=0.00051)


@given(celsius=st.floats(-200, 400), kind=st.sampled_from("KT"))
def test_thermocouples_against_an_independent_library(celsius: float, kind: str) -> None:
    theirs = independent_couple(kind)
    assert thermocouple.millivolts(kind, celsius) == pytest.approx(theirs.emf(celsius), abs=1e-8)
    # Its inverse is NIST's own polynomials, good to 0.06 K; ours inverts the reference function.
    back = thermocouple.celsius(kind, thermocouple.millivolts(kind, celsius))
    assert back == pytest.approx(celsius, abs=1e-6)
    if celsius < 399.9:  # at the very end of type T's range its inverse refuses what its own function gives
        assert back == pytest.approx(theirs.temperature(thermocouple.millivolts(kind, celsius)), abs=0.07)


@given(hot=st.floats(-60, 300), junction=st.floats(-20, 50), kind=st.sampled_from("KT"))
def test_cold_junction(hot: float, junction: float, kind: str) -> None:
    measured = thermocouple.millivolts(kind, hot) - thermocouple.millivolts(kind, junction)
    assert thermocouple.celsius(kind, measured, junction) == pytest.approx(hot, abs=1e-6)


@pytest.mark.parametrize("call", [("J", 1.0), ("K", 80.0), ("T", -9.0), ("K", math.nan)])
def test_impossible_thermocouples(call: tuple[str, float]) -> None:
    with pytest.raises(Trouble):
        thermocouple.celsius(*call)


T = "0.5 degC"


@pytest.mark.parametrize(
    ("shown", "measured", "ohms", "suspect"),
    [
        (6.0, 6.2, CURVE.ohms(6.1), Suspect.CABINET),
        (6.0, 14.0, CURVE.ohms(6.0), Suspect.SENSOR),
        (6.0, 14.0, CURVE.ohms(14.0), Suspect.CONTROLLER),
        (60.0, 5.0, 1e9, Suspect.SENSOR_OPEN),
        (60.0, 5.0, math.inf, Suspect.SENSOR_OPEN),
        (90.0, 5.0, 3.0, Suspect.SENSOR_SHORT),
    ],
)
def test_which_is_wrong(shown: float, measured: float, ohms: float, suspect: Suspect) -> None:
    resistance = ohms if math.isinf(ohms) else reading(ohms, "1 %")
    assert which_is_wrong(shown, reading(measured, T), resistance, CURVE).suspect is suspect


def test_without_a_resistance_the_chain_is_accused() -> None:
    assert which_is_wrong(6.0, reading(14.0, T)).suspect is Suspect.CHAIN
    assert which_is_wrong(6.0, reading(6.3, T)).suspect is Suspect.CABINET
    assert which_is_wrong(6.0, reading(7.4, T)).suspect is Suspect.BORDERLINE


@given(true=st.floats(-5, 30), error=st.floats(-1, 1), meter=st.floats(-1, 1))
@example(true=13.0, error=1.0, meter=-1.0)  # sensor, thermometer and meter all at their worst
def test_a_sound_chain_is_never_accused(true: float, error: float, meter: float) -> None:
    felt = true + 0.9 * error  # the sensor's own error is inside its tolerance of one kelvin
    ohms = reading(CURVE.ohms(felt) * (1 + 0.01 * meter), "1 %")
    got = which_is_wrong(felt, reading(true + 0.5 * meter, T), ohms, CURVE).suspect
    assert got in (Suspect.CABINET, Suspect.BORDERLINE)


def test_shown_temperature_that_makes_no_sense() -> None:
    # Common practice, no source: well above the room, or normal while the stock is warm, is the sensor.
    assert not sensors.shown_makes_sense(35.0, 22.0, True)
    assert not sensors.shown_makes_sense(6.0, 22.0, True)
    assert sensors.shown_makes_sense(14.0, 22.0, True)
    assert sensors.shown_makes_sense(6.0, 22.0, False)
    with pytest.raises(Trouble):
        sensors.shown_makes_sense(-300.0, 22.0, False)


def test_an_offset_is_the_gap_and_no_more_than_a_correction() -> None:
    assert sensors.offset_to_set(3.0, 5.0) == pytest.approx(2.0)
    assert sensors.offset_to_set(7.0, 5.0, set_now=-1.0) == pytest.approx(-3.0)  # it showed 8 without the offset of -1
    assert sensors.offset_to_set(0.0, 5.0) == pytest.approx(5.0)
    for shown, measured, now in ((-1.0, 5.0, 0.0), (3.0, 5.0, 4.0), (-300.0, 5.0, 0.0), (math.nan, 5.0, 0.0)):
        with pytest.raises(Trouble):
            sensors.offset_to_set(shown, measured, now)
