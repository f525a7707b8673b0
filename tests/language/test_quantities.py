"""Units: names, fit, conversion against NIST SP 811, difference and offset temperatures."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.errors import Trouble
from handsfree.language.english import LANGUAGE
from handsfree.language.quantities import SYMBOLS, alike, convert, pint_name, registry, symbol, unit_fits, unit_meant

# NIST SP 811 (2008), appendix B: exact factors, from memory, except where a factor is marked as rounded there.
NIST = [
    (32.0, "degF", "degC", 0.0), (212.0, "degF", "degC", 100.0), (-40.0, "degF", "degC", -40.0),
    (273.15, "kelvin", "degC", 0.0),
    (9.0, "degF", "kelvin", 5.0),
    (1.0, "psi", "pascal", 6894.757), (1.0, "bar", "kilopascal", 100.0), (1.0, "inch", "millimeter", 25.4),
    (1.0, "pound", "gram", 453.59237), (1.0, "inch_Hg", "pascal", 3386.389), (1.0, "inch_H2O_60F", "pascal", 248.84),
    (1.0, "millitorr", "pascal", 0.1333224), (1.0, "kilowatt_hour", "kilowatt_hour", 1.0), (2.2, "kiloohm", "ohm", 2200.0),
    (9.0, "delta_degF", "delta_degC", 5.0), (1.0, "hour", "minute", 60.0), (35.0, "microfarad", "microfarad", 35.0),
]  # fmt: skip


@pytest.mark.parametrize(("value", "spoken", "asked", "result"), NIST)
def test_conversions(value: float, spoken: str, asked: str, result: float) -> None:
    assert convert(value, spoken, asked) == pytest.approx(result, rel=5e-6, abs=1e-9)


@pytest.mark.parametrize(
    ("asked", "spoken", "unit"),
    [
        ("degF", None, "degF"), ("degF", "degree", "degF"), ("degF", "degC", "degC"), ("delta_degF", "degF", "delta_degF"),
        ("delta_degC", "kelvin", "delta_degC"), ("delta_degC", "degree", "delta_degC"), ("psi", "pound", "psi"),
        ("kilogram", "pound", "pound"), ("volt", "degree", "degree"), ("V", "volt", "volt"),
    ],
)  # fmt: skip
def test_what_a_spoken_unit_means(asked: str, spoken: str | None, unit: str) -> None:
    assert unit_meant(asked, spoken) == unit


FITS = [
    ("degF", "degC"), ("degF", "degree"), ("delta_degF", "kelvin"), ("volt", "millivolt"), ("ohm", "megaohm"),
    ("psi", "bar"),
    ("psi", "pound"), ("", None), ("minute", "second"), ("degF", None), ("V", "volt"), ("fahrenheit", "degF"),
]  # fmt: skip
CONTRADICTS = [
    ("degF", "volt"), ("ohm", "volt"), ("volt", "degree"), ("", "volt"), ("percent", "degree"), ("psi", "percent"),
    ("", "degree"),
    ("kilogram", "psi"), ("degF", "delta_degC"), ("hertz", "percent"), ("ampere", "volt"), ("", "percent"),
]  # fmt: skip


@pytest.mark.parametrize(("asked", "spoken"), FITS)
def test_units_that_fit(asked: str, spoken: str | None) -> None:
    assert unit_fits(asked, spoken)


@pytest.mark.parametrize(("asked", "spoken"), CONTRADICTS)
def test_units_that_contradict(asked: str, spoken: str) -> None:
    assert not unit_fits(asked, spoken)
    with pytest.raises(Trouble, match="does not answer"):
        convert(1.0, spoken, asked)


def test_every_unit_is_known_to_pint_and_has_words() -> None:
    for name in SYMBOLS:
        registry().Unit(name)
        assert pint_name(name) == name
        assert name.startswith("delta_") or name in LANGUAGE.units, name
        assert LANGUAGE.say_unit(name)
    assert set(LANGUAGE.units) <= set(SYMBOLS)
    with pytest.raises(Trouble, match="is not a unit"):
        pint_name("furlongs of nonsense")


@given(st.sampled_from([name for name in SYMBOLS if name != "degree"]), st.floats(-1e4, 1e4))
def test_there_and_back(unit: str, value: float) -> None:
    """But where a name means one thing at one step and another at the next: kelvin, 'degrees', 'pounds' of pressure."""
    for other in alike(unit):
        if {unit, other} & {"kelvin", "degree"} or unit.startswith("delta_") or {unit, other} == {"psi", "pound"}:
            continue
        back = convert(convert(value, unit, other), other, unit)
        assert math.isclose(back, value, rel_tol=1e-9, abs_tol=1e-6)


def test_symbols() -> None:
    assert symbol("degF") == " °F"
    assert symbol("") == ""
    assert symbol("fahrenheit") == " °F"
    assert "volt" not in alike("degF")
    assert alike("degF")[0] == "degF"
