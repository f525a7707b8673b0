"""Instrument accuracy and comparison with limits, and what cannot be."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import umath

from handsfree.errors import Trouble
from handsfree.trade import possible
from handsfree.trade.uncertain import Accuracy, LimitVerdict, carry, hold_against, parse_accuracy, reading


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("0.5 degC", Accuracy(absolute=0.5, unit="degC")),
        ("±0.5 K", Accuracy(absolute=0.5, unit="K")),
        ("1 % + 2 digits", Accuracy(relative=0.01, digits=2)),
        ("1.5% + 0.1 V", Accuracy(relative=0.015, absolute=0.1, unit="V")),
        ("+/- 2 %", Accuracy(relative=0.02)),
    ],
)
def test_accuracies_as_data_sheets_write_them(text: str, expected: Accuracy) -> None:
    assert parse_accuracy(text) == expected


@pytest.mark.parametrize("text", ["", "good", "1 V + 1 A", "1 % of range", "-1 %"])
def test_other_accuracies_are_refused(text: str) -> None:
    with pytest.raises(Trouble, match="accuracy"):
        parse_accuracy(text)


def test_limit_of_error_of_a_meter_by_hand() -> None:
    # 230.0 V on a display that steps by 0.1 V, at 1 % + 2 digits: 2.3 + 0.2 V.
    assert parse_accuracy("1 % + 2 digits").limit(230.0, 0.1) == pytest.approx(2.5)


def test_digits_without_a_resolution_are_refused() -> None:
    with pytest.raises(Trouble, match="resolution"):
        reading(10.0, "1 % + 2 digits")


def test_standard_uncertainty_of_a_limit_is_over_root_three() -> None:
    # JCGM 100:2008, 4.3.7: a rectangular distribution of half-width a has a standard deviation a / sqrt(3).
    assert reading(5.0, "0.5 degC").std_dev == pytest.approx(0.5 / math.sqrt(3))


def test_carry_agrees_with_the_package_own_functions() -> None:
    ohms = reading(10_000.0, "1 %")
    ours, theirs = carry(math.log, ohms), umath.log(ohms)
    assert ours.nominal_value == pytest.approx(theirs.nominal_value)
    assert ours.std_dev == pytest.approx(theirs.std_dev, rel=1e-6)


def test_carry_keeps_correlations() -> None:
    volts = reading(230.0, "1 %")
    assert carry(lambda a, b: a - b, volts, volts).std_dev == pytest.approx(0.0, abs=1e-6)


@given(value=st.floats(-50, 50), limit=st.floats(-50, 50), accuracy=st.floats(0.01, 5))
def test_a_verdict_is_borderline_exactly_where_the_limit_is_in_doubt(value: float, limit: float, accuracy: float) -> None:
    got = hold_against(reading(value, Accuracy(absolute=accuracy)), high=limit).verdict
    distance, doubt = limit - value, 2 * accuracy / math.sqrt(3)
    if abs(abs(distance) - doubt) > 1e-6:
        clear = LimitVerdict.PASS if distance > 0 else LimitVerdict.FAIL
        expected = LimitVerdict.BORDERLINE if abs(distance) < doubt else clear
        assert got is expected


@given(
    value=st.floats(-50, 50), low=st.floats(-50, 50), width=st.floats(0, 50), error=st.floats(-1, 1), acc=st.floats(0.01, 3)
)
def test_no_error_inside_the_accuracy_turns_a_pass_into_a_fail(
    value: float, low: float, width: float, error: float, acc: float
) -> None:
    true_inside = low <= value <= low + width
    shown = reading(value + error * acc, Accuracy(absolute=acc))
    verdict = hold_against(shown, low, low + width).verdict
    assert verdict is not (LimitVerdict.FAIL if true_inside else LimitVerdict.PASS)


def test_a_meter_too_coarse_for_the_band_is_told_so() -> None:
    told = hold_against(reading(5.0, "3 K"), 4.0, 6.0)
    assert told.verdict is LimitVerdict.BORDERLINE
    assert "better" in told.sentence


def test_exact_values_on_the_limit_pass() -> None:
    assert hold_against(5.0, high=5.0).verdict is LimitVerdict.PASS
    assert hold_against(5.000001, high=5.0).verdict is LimitVerdict.FAIL


def test_a_comparison_needs_limits_in_order() -> None:
    with pytest.raises(Trouble):
        hold_against(1.0)
    with pytest.raises(Trouble, match="crossed"):
        hold_against(1.0, 3.0, 2.0)


@pytest.mark.parametrize(
    ("function", "value"),
    [
        (possible.celsius, -273.16),
        (possible.celsius, math.nan),
        (possible.ohms, -0.1),
        (possible.humidity, 140.0),
        (possible.humidity, -1.0),
    ],
)
def test_what_cannot_be_is_trouble(function, value: float) -> None:  # type: ignore[no-untyped-def]  # given by pytest
    with pytest.raises(Trouble) as caught:
        function(value)
    said = str(caught.value)
    assert said.endswith(".")
    assert said.count(". ") == 0  # one sentence


@pytest.mark.parametrize("function", [possible.positive, possible.not_negative])
def test_signs(function) -> None:  # type: ignore[no-untyped-def]  # given by pytest
    with pytest.raises(Trouble, match="mass of -1 kg"):
        function(-1.0, "mass", "kg")
