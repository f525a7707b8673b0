"""The verdict on food from every reading of a visit."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.trade.food import Food, verdict


def rows(*fahrenheit: float) -> list[tuple[float, float]]:
    return [(20.0 * at, (one - 32) / 1.8) for at, one in enumerate(fahrenheit)]


@pytest.mark.parametrize(
    ("fahrenheit", "since", "says"),
    [
        ((38, 38), 5, Food.KEEP),
        ((60, 50, 38), 5, Food.ASK),  # the cabinet was seen warm in this very visit
        ((38, 38), 120, Food.ASK),
        ((41.0, 40.5), 5, Food.ASK),  # within the thermometer's accuracy of the limit
        ((62, 62), 400, Food.DISCARD),
        ((62, 62), 60, Food.ASK),
        ((62, 41.5), 400, Food.ASK),  # the product itself is too near the limit to condemn it
    ],
)
def test_the_verdict(fahrenheit: tuple[float, ...], since: float, says: Food) -> None:
    assert verdict(since, rows(*fahrenheit), accuracy=1 / 1.8) is says


@given(st.lists(st.floats(30, 80), min_size=1, max_size=6), st.floats(0, 600))
def test_nothing_seen_above_the_limit_is_kept(values: list[float], since: float) -> None:
    if max(values) > 41:
        assert verdict(since, rows(*values), accuracy=0.0) is not Food.KEEP
