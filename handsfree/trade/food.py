"""Food safety: time above the limit from sparse readings, and keep, discard or ask.

FDA Food Code 2022: 3-501.16 (A)(2), cold holding at 5 degrees Celsius or below; 3-501.19, time as a public health
control (4 hours; from memory: 6 hours if never above 21 degrees Celsius); 4-204.111, a vending machine stops when
it is above 5 degrees Celsius for more than 30 minutes after filling or service. The local authority comes first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

from handsfree.errors import Trouble
from handsfree.trade import possible

LIMIT = 5.0
VENDING_MINUTES = 30.0
DISCARD_MINUTES = 240.0
# How fast the product itself can warm or cool, kelvin an hour: common practice, no source.
FASTEST_RISE = 10.0
FASTEST_FALL = 10.0
DEFER = "The local authority has the last word."


class Food(StrEnum):
    """What to do with the stock."""

    KEEP = "keep"
    DISCARD = "discard"
    ASK = "ask"


@dataclass(frozen=True)
class Exposure:
    """Minutes above the limit: the least and the most that the readings allow, and the most within one gap."""

    least: float
    most: float
    longest: float


def _rows(readings: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    if not readings:
        raise Trouble("The time above the limit needs at least one reading with its time.")
    rows = sorted(readings)
    for minute, value in rows:
        possible.finite(minute, "time of a reading")
        possible.celsius(value, "product temperature")
    if any(a[0] == b[0] and a[1] != b[1] for a, b in pairwise(rows)):
        raise Trouble("Two readings of the same minute disagree: correct one of them.")
    return rows


def _gap(gap: float, start: float, end: float, limit: float, rise: float, fall: float) -> tuple[float, float]:
    """Least and most minutes above `limit` between two readings, at rates in kelvin per minute."""
    # Where the readings themselves show a faster change, that is the rate: or the least would come out above the most.
    if gap > 0:
        rise, fall = max(rise, (end - start) / gap), max(fall, (start - end) / gap)
    # Most: warm as fast as can be from the first reading, and cool as fast as can be into the second.
    below = max(0.0, limit - start) / rise + max(0.0, limit - end) / fall
    # Least: cool as fast as can be from the first, and warm as fast as can be into the second.
    above = max(0.0, start - limit) / fall + max(0.0, end - limit) / rise
    return min(gap, above), max(0.0, gap - below)


def time_above(
    readings: Sequence[tuple[float, float]],
    limit: float = LIMIT,
    *,
    accuracy: float = 0.0,
    rise: float = FASTEST_RISE,
    fall: float = FASTEST_FALL,
) -> Exposure:
    """Minutes above `limit` from (minute, degrees Celsius) product readings, bounded over what lies between them.

    Between two readings nothing is known but how fast stock can warm and cool (kelvin per hour), so the result is
    an interval; `accuracy` (kelvin) widens it both ways. Readings that change faster than that raise the rate in their
    gap. Readings may come in any order.
    """
    rows = _rows(readings)
    possible.celsius(limit, "limit")
    possible.not_negative(accuracy, "accuracy of the thermometer")
    up, down = possible.positive(rise, "rate of warming") / 60, possible.positive(fall, "rate of cooling") / 60
    gaps = list(pairwise(rows))
    least = [_gap(t2 - t1, c1 - accuracy, c2 - accuracy, limit, up, down)[0] for (t1, c1), (t2, c2) in gaps]
    most = [_gap(t2 - t1, c1 + accuracy, c2 + accuracy, limit, up, down)[1] for (t1, c1), (t2, c2) in gaps]
    return Exposure(sum(least), sum(most), max(most, default=0.0))


@dataclass(frozen=True)
class FoodDecision:
    """The decision, its reasons as sentences to speak, and the exposure behind it."""

    decision: Food
    sentences: tuple[str, ...]
    exposure: Exposure


def decide(
    readings: Sequence[tuple[float, float]],
    *,
    accuracy: float = 0.5,
    perishable: bool = True,
    just_filled: bool = False,
    rise: float = FASTEST_RISE,
    fall: float = FASTEST_FALL,
) -> FoodDecision:
    """Keep, discard or ask, from (minute, degrees Celsius) product readings since the stock was last surely cold.

    Keep only when every reading is surely inside the limit and no gap between two of them could hide more than 30
    minutes above it (the yardstick of 4-204.111; for other stock than a vending machine's: common practice, no
    source), or when, after filling or service, all the time above comes to 30 minutes at most. Discard when even
    the best case is four hours above. Whatever lies between is asked of the operator's food safety plan and the
    local authority.
    """
    exposure = time_above(readings, accuracy=accuracy, rise=rise, fall=fall)
    warmest = max(value for _, value in readings)
    if not perishable:
        said = "Stock that needs no cooling for safety may stay. Check its quality."
        return FoodDecision(Food.KEEP, (said, DEFER), exposure)
    if exposure.least >= DISCARD_MINUTES:
        said = "The stock was above five degrees Celsius for four hours or more. Set it aside to discard."
        return FoodDecision(Food.DISCARD, (said, "Label it, so that nobody sells it.", DEFER), exposure)
    never_seen_above = warmest + accuracy <= LIMIT and exposure.longest <= VENDING_MINUTES
    if never_seen_above or (just_filled and len(readings) > 1 and exposure.most <= VENDING_MINUTES):
        said = "Even at worst, these readings keep the stock inside the limit. It may stay."
        return FoodDecision(Food.KEEP, (said, DEFER), exposure)
    said = "The time that the stock was above five degrees Celsius is not known well enough."
    if exposure.most > 0:
        said = f"The stock may have been above five degrees Celsius for up to {exposure.most:.0f} minutes."
    return FoodDecision(Food.ASK, (said, "Stop its sale and ask the operator.", DEFER), exposure)


def verdict(minutes_since_cold: float, readings: Sequence[tuple[float, float]], accuracy: float = 0.5) -> Food:
    """Keep, discard or ask, from every (minute, degrees Celsius) reading of a visit. The product's own reading is the last.

    `minutes_since_cold`: since somebody surely saw it cold. `accuracy`: of the thermometer, kelvin. A reading of
    the cabinet counts as one of the product, which may have been as warm as the air (3-501.16 (A)(2)). Keep: every reading
    is surely inside the limit, and it was seen cold within 30 minutes (the yardstick of 4-204.111). Discard: the product is
    surely above the limit now, and nobody saw it cold within four hours (3-501.19, from memory). Otherwise ask. Raises
    Trouble for values that cannot be.
    """
    rows = _rows(readings)
    possible.not_negative(minutes_since_cold, "time since the stock was surely cold", "minutes")
    possible.not_negative(accuracy, "accuracy of the thermometer")
    if max(value for _, value in rows) + accuracy <= LIMIT and minutes_since_cold <= VENDING_MINUTES:
        return Food.KEEP
    if rows[-1][1] - accuracy > LIMIT and minutes_since_cold >= DISCARD_MINUTES:
        return Food.DISCARD
    return Food.ASK


def vending_must_stop(minutes_above: float) -> bool:
    """Whether a vending machine must stop selling: its air was above 5 degrees Celsius for more than 30 minutes after
    filling, service or restocking (4-204.111 (B)). At any other time it has no such half hour."""
    return possible.not_negative(minutes_above, "time above the limit", "minutes") > VENDING_MINUTES
