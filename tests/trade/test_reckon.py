"""The trade's arithmetic by name: every function can be asked for, and what does not do gets a sentence."""

from __future__ import annotations

import contextlib

import pytest
from CoolProp.CoolProp import PropsSI

from handsfree.cli import main
from handsfree.errors import Trouble
from handsfree.trade.calls import CALLS
from handsfree.trade.reckon import listed, reckon


def test_every_function_is_listed() -> None:
    shown = listed()
    assert all(f"{name}  " in shown or f"{name} " in shown for name in CALLS)


def test_against_coolprop_with_units_of_the_gauge() -> None:
    value, unit = reckon("superheat", ("R-290", "30psi", "40degF"))
    dew = PropsSI("T", "P", 30 * 6894.757 + 101325, "Q", 1, "R290") - 273.15
    assert value == pytest.approx((40 - 32) / 1.8 - dew, abs=0.02)
    assert unit == "delta_degC"


@pytest.mark.parametrize(("name", "given", "told"), [
    # IEC 60751: 138.51 ohm at 100 degC; NIST ITS-90: 4.096 mV at 100 degC of type K, 4.279 of type T.
    ("pt100", ("138.51",), 100.0), ("thermocouple_k", ("4.096",), 100.0), ("thermocouple_t", ("4.279",), 100.0),
    # IEC 60034-1: (234.5 + t2) / (234.5 + t1) = R2 / R1; Joule: V^2 / P; RC ln(V / 34).
    ("winding_temperature", ("10", "20", "12"), 12 / 10 * 254.5 - 234.5), ("heater_ohms", ("200", "230"), 264.5),
])  # fmt: skip
def test_table_values(name: str, given: tuple[str, ...], told: float) -> None:
    assert reckon(name, given)[0] == pytest.approx(told, abs=0.03)


@pytest.mark.parametrize(("name", "given", "says"), [
    ("superheart", (), "no function"), ("pt100", ("abc",), "not a number"), ("pt100", ("12volt",), "does not fit"),
    ("pt100", ("1", "2"), "takes fewer"), ("pt100", ("900",), "outside"), ("superheat", ("R-290", "-101", "5"), "vacuum"),
    ("superheat", ("R-999", "100", "5"), "not covered"), ("dew_point", ("20", "0"), "zero humidity"),
    ("thermistor_ohms", ("-270", "10000", "3435"), "outside"), ("saturation_pressure", ("R-744", "-60"), "triple"),
])  # fmt: skip
def test_what_cannot_be_gets_a_sentence(name: str, given: tuple[str, ...], says: str) -> None:
    with pytest.raises(Trouble, match=says):
        reckon(name, given)


def test_the_verb(capsys: pytest.CaptureFixture[str]) -> None:
    with contextlib.suppress(SystemExit):
        main(["reckon", "heater_ohms", "200", "230"])
    assert capsys.readouterr().out.strip() == "264.5 ohm"
    with pytest.raises(SystemExit) as stopped:
        main(["reckon", "pt100", "abc"])
    assert stopped.value.code == 2
