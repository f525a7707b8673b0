"""The pull-down fit against scipy, its honesty about doubt, and its false alarms."""

from __future__ import annotations

import math
import random

import numpy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import curve_fit

from handsfree.errors import Trouble
from handsfree.trade.pulldown import Outlook, fit
from tests.bench.pulldown import air_and_stock, count, one_mass


def newton(t: float, settle: float, start: float, tau: float) -> float:
    return settle + (start - settle) * math.exp(-t / tau)


def test_rich_readings_agree_with_scipy() -> None:
    rng = random.Random(5)
    rows = [(float(t), newton(t, 2.0, 24.0, 60.0) + rng.gauss(0, 0.2)) for t in range(0, 300, 5)]
    t, y = numpy.array(rows).T
    law = lambda t, settle, start, tau: settle + (start - settle) * numpy.exp(-t / tau)  # noqa: E731
    (settle, _, tau), covariance = curve_fit(law, t, y, p0=(0, 20, 100), sigma=numpy.full(len(t), 0.2), absolute_sigma=True)
    ours = fit(rows, 5.0, noise=0.2, accuracy=0.0)
    doubt = math.sqrt(covariance[0][0])
    assert ours.settle == pytest.approx(settle, abs=0.5 * doubt)
    assert ours.settle_doubt == pytest.approx(doubt, rel=0.25)
    assert ours.tau == pytest.approx(tau, rel=0.05)
    expected = tau * math.log((24.0 - settle) / (5.0 - settle))
    assert ours.likely == pytest.approx(expected, rel=0.05)


@settings(max_examples=60, deadline=None)
@given(settle=st.floats(-10, 3), start=st.floats(12, 30), tau=st.floats(15, 300))
def test_time_to_target_without_noise(settle: float, start: float, tau: float) -> None:
    rows = [(tau * k / 6, newton(tau * k / 6, settle, start, tau)) for k in range(19)]
    told = fit(rows, 5.0, noise=0.02, accuracy=0.0)
    exact = tau * math.log((start - settle) / (5.0 - settle))
    assert told.likely == pytest.approx(exact, rel=0.08)
    assert told.settle == pytest.approx(settle, abs=0.6)


def test_two_readings_are_enough_to_start_and_not_to_decide() -> None:
    told = fit([(0, 20.0), (10, 18.0)], 5.0)
    assert told.outlook is Outlook.UNKNOWN
    assert told.settle_doubt > 3.0
    assert 0.05 < told.chance < 0.95


def test_intervals_cover_what_they_promise() -> None:
    """Cabinets drawn as the fit assumes: 5 and 95 percent times bracket the truth about nine times in ten."""
    rng, inside, total = random.Random(3), 0, 0
    while total < 150:
        settle, start, tau = rng.gauss(5.0, 15.0), rng.uniform(15, 30), 5 * (48 * 12) ** rng.random()
        if not settle < 4.0 or start < settle + 3:
            continue
        rows = [(t, newton(t, settle, start, tau) + rng.gauss(0, 0.3)) for t in range(0, 61, 10)]
        if rows[-1][1] < 6:
            continue
        told, true = fit(rows, 5.0, accuracy=0.0), tau * math.log((start - settle) / (5.0 - settle))
        total += 1
        inside += told.time_to(0.05) <= true <= told.time_to(0.95)
    assert 0.80 <= inside / total <= 1.0


@given(st.permutations([(0.0, 22.0), (10.0, 19.0), (25.0, 16.5), (40.0, 14.2)]))
def test_order_of_readings_does_not_matter(rows: list[tuple[float, float]]) -> None:
    assert fit(rows, 5.0).settle == fit(sorted(rows), 5.0).settle


@given(shift=st.floats(-20, 20), later=st.floats(0, 1000))
def test_a_shift_of_everything_shifts_the_answer(shift: float, later: float) -> None:
    rows = [(0.0, 22.0), (10.0, 19.0), (25.0, 16.5), (40.0, 14.2)]
    moved = fit([(t + later, y + shift) for t, y in rows], 5.0 + shift)
    assert moved.settle == pytest.approx(fit(rows, 5.0).settle + shift, abs=1e-5)
    assert moved.likely == pytest.approx(fit(rows, 5.0).likely, rel=1e-5)


def test_a_cabinet_at_its_target_is_there() -> None:
    assert fit([(0, 9.0), (20, 5.0), (40, 3.4), (60, 3.6)], 5.0).outlook is Outlook.THERE


def test_a_flat_cabinet_is_not_going_to_get_there() -> None:
    rows = [(t, 12.0 + 0.1 * (t % 3)) for t in range(0, 241, 20)]
    told = fit(rows, 5.0)
    assert told.outlook is Outlook.NOT_GOING
    assert told.settle == pytest.approx(12.1, abs=0.5)


def test_bad_news_needs_readings_and_time() -> None:
    assert fit([(0, 12.0), (5, 12.0), (10, 12.0)], 5.0).outlook is Outlook.UNKNOWN


# False alarms. The full count is `python -m tests.bench.pulldown`; these are smaller batches of the same.
def test_no_false_alarm_in_a_hundred_healthy_pull_downs() -> None:
    assert count(one_mass, -10.0, 4.5, 60, hours=4).condemned == 0
    assert count(air_and_stock, -10.0, 2.0, 40, hours=4).condemned == 0


def test_failing_cabinets_are_told_and_never_passed() -> None:
    told = count(one_mass, 10.0, 16.0, 30, hours=6)
    assert told.there == 0
    assert told.condemned >= 15


@pytest.mark.parametrize(
    "bad",
    [
        lambda: fit([], 5.0),
        lambda: fit([(0, 20.0)], 5.0),
        lambda: fit([(0, 20.0), (0, 19.0)], 5.0),
        lambda: fit([(0, 20.0), (10, -280.0)], 5.0),
        lambda: fit([(0, 20.0), (10, math.nan)], 5.0),
        lambda: fit([(0, 20.0), (10, 18.0)], -300.0),
        lambda: fit([(0, 20.0), (10, 18.0)], 5.0, noise=0.0),
        lambda: fit([(0, 20.0), (10, 18.0)], 5.0, accuracy=-1.0),
    ],
)
def test_impossible_input(bad) -> None:  # type: ignore[no-untyped-def]  # given by pytest
    with pytest.raises(Trouble):
        bad()
