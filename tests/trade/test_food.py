"""Time above the limit, and keep, discard or ask."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.errors import Trouble
from handsfree.trade import food
from handsfree.trade.food import Food, decide, time_above


def test_both_ends_above_with_a_short_gap_counts_whole() -> None:
    got = time_above([(0, 9.0), (30, 9.0)])
    assert got.most == 30
    assert got.least == pytest.approx(30)


def test_a_gap_by_hand() -> None:
    # 10 K/h both ways. From 3 degC, 5 degC is reached after 12 minutes at the soonest, and left 6 minutes before 4 degC.
    got = time_above([(0, 3.0), (60, 4.0)])
    assert got.most == pytest.approx(60 - 12 - 6)
    assert got.least == 0


def test_a_cooling_gap_by_hand() -> None:
    # From 7 degC at 10 K/h down: at least 12 minutes above, at most until 0 minutes before 5 degC.
    got = time_above([(0, 7.0), (60, 5.0)])
    assert got.least == pytest.approx(12)
    assert got.most == pytest.approx(60)


@given(
    temperatures=st.lists(st.floats(-5, 20), min_size=2, max_size=40),
    keep=st.lists(st.booleans(), min_size=40, max_size=40),
)
def test_the_true_time_lies_between_least_and_most(temperatures: list[float], keep: list[bool]) -> None:
    """A path no steeper than the rates, sampled at some of its minutes: the interval holds its true time above."""
    path = [temperatures[0]]
    for aim in temperatures[1:]:  # 10 K/h is 1/6 K a minute: walk towards each aim for ten minutes
        for _ in range(10):
            path.append(path[-1] + max(-1 / 6, min(1 / 6, aim - path[-1])))
    rows = list(enumerate(path))
    picked = [rows[0]] + [row for row, k in zip(rows[10:-1:10], keep, strict=False) if k] + [rows[-1]]
    got = time_above([(float(m), v) for m, v in picked])
    # The path is straight within a minute, so its time above is exact.
    true = 0.0
    for a, b in zip(path, path[1:], strict=False):  # noqa: RUF007
        high, low = max(a, b), min(a, b)
        true += 1.0 if low > 5 else 0.0 if high <= 5 else (high - 5) / (high - low)
    assert got.least - 1e-6 <= true <= got.most + 1e-6


@given(st.lists(st.tuples(st.integers(0, 500), st.floats(-5, 25)), min_size=2, max_size=12, unique_by=lambda r: r[0]))
def test_a_worse_thermometer_never_narrows_the_answer(rows: list[tuple[float, float]]) -> None:
    sharp, coarse = time_above(rows), time_above(rows, accuracy=1.0)
    assert coarse.least <= sharp.least + 1e-9
    assert coarse.most >= sharp.most - 1e-9


@pytest.mark.parametrize(
    ("readings", "options", "decision"),
    [
        ([(0, 3.0), (20, 3.5), (40, 3.0)], {}, Food.KEEP),
        ([(0, 3.0), (300, 3.0)], {}, Food.ASK),  # five hours of which nothing is known
        ([(0, 4.8), (10, 4.8)], {}, Food.ASK),  # inside the thermometer's error of the limit
        ([(0, 9.0)], {}, Food.ASK),
        ([(30.0 * k, 12.0) for k in range(10)], {}, Food.DISCARD),
        ([(0, 12.0), (120, 12.0), (260, 12.0)], {}, Food.ASK),  # it may have been cold in between
        ([(0, 8.0), (60, 8.0)], {}, Food.ASK),
        ([(0, 8.0), (20, 5.0)], {"just_filled": True}, Food.KEEP),
        ([(0, 8.0), (45, 8.0)], {"just_filled": True}, Food.ASK),
        ([(0, 20.0), (600, 20.0)], {"perishable": False}, Food.KEEP),
    ],
)
def test_decisions(readings: list[tuple[float, float]], options: dict[str, bool], decision: Food) -> None:
    got = decide(readings, **options)  # type: ignore[arg-type]  # options by name
    assert got.decision is decision
    assert got.sentences[-1] == food.DEFER


def test_the_vending_limit_of_the_food_code() -> None:
    # FDA Food Code 4-204.111: no more than 30 minutes.
    assert not food.vending_must_stop(30.0)
    assert food.vending_must_stop(30.1)


@pytest.mark.parametrize(
    "bad",
    [
        lambda: time_above([]),
        lambda: time_above([(0, -280.0)]),
        lambda: time_above([(0, 3.0), (0, 9.0)]),
        lambda: time_above([(0, 3.0), (5, 3.0)], rise=0.0),
        lambda: time_above([(0, 3.0), (5, 3.0)], accuracy=-1.0),
        lambda: food.vending_must_stop(-1.0),
    ],
)
def test_impossible_input(bad) -> None:  # type: ignore[no-untyped-def]  # given by pytest
    with pytest.raises(Trouble):
        bad()
