"""What paper works by hand is never surer than the function that the device asks."""

from __future__ import annotations

import random

from handsfree.trade import electrical, food
from handsfree.trade.calls import CALLS
from handsfree.trade.proof import FEWEST, SHORTEST
from handsfree.trade.worksheets import BY_HAND

DICE = random.Random(5)


def test_every_sheet_is_of_a_function() -> None:
    assert all(set(sheets) <= set(CALLS) for sheets in BY_HAND.values())


def test_windings_by_hand() -> None:
    judge = CALLS["windings_state"].function
    seen = set()
    for _ in range(3000):
        a, b, plate = DICE.uniform(0.05, 30), DICE.uniform(0.05, 30), DICE.choice((115.0, 230.0))
        c = (a + b) * DICE.uniform(0.85, 1.15)
        least = max(plate / electrical.SHORT_AMPERES, electrical.LEAD_OHMS)
        gap = abs(c - (a + b))
        by_hand = (
            "shorted" if min(a, b, c) < least
            else "sound" if gap <= 0.03 * c
            else "does not add up" if gap > 0.06 * c + 0.4 else ""
        )  # fmt: skip
        seen.add(by_hand)
        if by_hand:
            assert judge(a, b, c, 1000.0, 1.0, plate) == by_hand
    assert seen == {"shorted", "sound", "does not add up", ""}


def test_cold_by_hand() -> None:
    """The last three inside, no nearer to an edge than a quarter of the band; of all inside none half a degree apart."""
    judge, cold = CALLS["cold_proof"].function, 0
    for _ in range(800):
        low, high = 4.0, 4.0 + 3.33
        level = DICE.uniform(low + (high - low) / 4, high - (high - low) / 4)
        start = [(0.0, DICE.uniform(level - 0.4, level + 8)), (10.0, DICE.uniform(level - 0.4, level + 4))]
        last = [(20.0 + SHORTEST * at / 2, level + DICE.uniform(-0.25, 0.25)) for at in range(FEWEST)]
        inside = [value for _, value in (*start, *last) if low <= value <= high]
        edge = (high - low) / 4
        if all(low + edge <= value <= high - edge for _, value in last) and max(inside) - min(inside) <= 0.5:
            said = judge(low, high, 0.56, *(value for row in (*start, *last) for value in row))
            cold += 1
            assert said == "cold", (start, last)
    assert cold > 50


def test_food_by_hand() -> None:
    for _ in range(1000):
        since, value = DICE.uniform(0, 400), DICE.uniform(0, 12)
        said = str(food.verdict(since, [(0.0, value)], 0.56))
        if value <= 4.4 and since <= 30:
            assert said == "keep"
        if value > 5.6 and since >= 240:
            assert said == "discard"
