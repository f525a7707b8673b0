"""Splits, run time, moist air and heat loads."""

from __future__ import annotations

import pytest
from CoolProp.HumidAirProp import HAPropsSI
from hypothesis import given
from hypothesis import strategies as st

from handsfree.errors import Trouble
from handsfree.trade import cautions, cooling
from handsfree.trade.uncertain import reading

T = "0.5 degC"


@pytest.mark.parametrize(
    ("air_in", "air_out", "named"), [(8, 7, "low"), (8, 1, "normal"), (8, -9, "high"), (8, 5.2, "borderline")]
)
def test_evaporator_split(air_in: float, air_out: float, named: str) -> None:
    assert cooling.evaporator_split(reading(air_in, T), reading(air_out, T)) == named


@pytest.mark.parametrize(
    ("bend", "air", "named"), [(34, 24, "clean"), (41.5, 24, "suspect"), (50, 24, "dirty"), (44.2, 24, "borderline")]
)
def test_condenser_state(bend: float, air: float, named: str) -> None:
    assert cooling.condenser_state(reading(bend, T), reading(air, T)) == named


def test_run_time() -> None:
    assert cooling.run_time_fraction(6, 18) == pytest.approx(0.25)
    assert cooling.run_time_fraction(10, 0) == 1.0
    with pytest.raises(Trouble, match="whole cycle"):
        cooling.run_time_fraction(0, 0)


@given(t=st.floats(5, 50), rh=st.floats(15, 100))
def test_dew_point_against_coolprop(t: float, rh: float) -> None:
    theirs = HAPropsSI("DewPoint", "T", t + 273.15, "R", rh / 100, "P", 101_325) - 273.15
    if theirs > 0.1:  # below freezing CoolProp gives the frost point, which is another temperature
        assert cooling.dew_point(t, rh) == pytest.approx(theirs, abs=0.15)


@given(st.floats(-40, 55))
def test_saturated_air_is_at_its_dew_point(t: float) -> None:
    assert cooling.dew_point(t, 100.0) == pytest.approx(t, abs=1e-9)


def test_humidity_that_cannot_be() -> None:
    with pytest.raises(Trouble, match="140 percent is impossible"):
        cooling.dew_point(25.0, 140.0)
    with pytest.raises(Trouble):
        cooling.dew_point(25.0, 0.0)


def test_a_fill_by_hand() -> None:
    # 100 kg of water from 25 to 5 degC: 100 x 4.18 x 20 = 8360 kJ; at 232.2 W spare that is ten hours.
    assert cooling.fill_kilojoules(100, 25, 5) == pytest.approx(8360)
    assert cooling.fill_hours(100, 25, 5, 332.22, 100.0) == pytest.approx(10.0, rel=1e-3)
    assert cooling.fill_kilowatt_hours(100, 25, 5, 2.0) == pytest.approx(8360 / 7200)
    with pytest.raises(Trouble, match="never"):
        cooling.fill_hours(100, 25, 5, 100.0, 100.0)
    with pytest.raises(Trouble, match="already colder"):
        cooling.fill_kilojoules(100, 4, 5)


def test_settings_of_common_practice() -> None:
    # 43 degF is 6.1 degC, and much below 39 degF (3.9 degC) risks freezing: common practice, no source.
    assert cooling.setting_advice((43 - 32) / 1.8) == "normal"
    assert cooling.setting_advice((36 - 32) / 1.8) == "too cold"
    assert cooling.compressor_by_touch("cool") == "not running"
    with pytest.raises(Trouble):
        cooling.compressor_by_touch("purple")


def test_lifting_and_cautions() -> None:
    assert [cautions.people_to_lift(m) for m in (10, 25, 25.1, 50, 51)] == [1, 1, 2, 2, 3]
    for said in cautions.CAUTIONS.values():
        for sentence in " ".join(said).split(". "):
            assert len(sentence.split()) <= 20
    with pytest.raises(Trouble):
        cautions.caution("ghosts")


@pytest.mark.parametrize(
    "bad",
    [
        lambda: cooling.run_time_fraction(-1, 5),
        lambda: cooling.evaporator_split(-300.0, 5.0),
        lambda: cooling.condenser_state(50.0, -274.0),
        lambda: cooling.fill_kilojoules(-5, 25, 5),
        lambda: cautions.people_to_lift(0.0),
    ],
)
def test_impossible_input(bad) -> None:  # type: ignore[no-untyped-def]  # given by pytest
    with pytest.raises(Trouble):
        bad()
