"""Whether a cabinet is cold again, or will be, from timed readings and a band around its setting.

Rules of this file:

- The band is the setting plus and minus its differential. Cold means surely inside the band, and not about to leave it. Too
  cold is as bad as too warm.
- Above the band the fit of `pulldown` decides (Newton's law). Below it the cabinet must warm up until its thermostat takes
  over. A cabinet will not get there if it falls no more, and the steepest line that its readings allow stops short.
- Where the readings cannot tell, the answer is "read again". Nothing is called cold on hope.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from handsfree.trade import possible, pulldown

AHEAD = 60.0  # minutes that a slope is carried on, to see whether it leaves the band: common practice, no source
NOISE = 0.3  # kelvin, one standard deviation of a reading between bottles: common practice, no source
FEWEST, SHORTEST = 3, 25.0  # readings and minutes before anything is called cold
SHORTEST_FLAT = 45.0  # minutes before a cabinet that does not fall is said to stay warm


class Cold(StrEnum):
    """What the readings prove."""

    COLD = "cold"
    COMING = "on its way"
    WARM = "stays too warm"
    FROZEN = "stays too cold"
    AGAIN = "read again"


@dataclass(frozen=True)
class Slope:
    """A slope in kelvin per hour, with its doubt (two standard deviations)."""

    value: float
    doubt: float

    @property
    def rises(self) -> bool:
        return self.value - self.doubt > 0

    @property
    def falls(self) -> bool:
        return self.value + self.doubt < 0


def slope(readings: Sequence[tuple[float, float]], noise: float = NOISE) -> Slope:
    """Least-squares slope of (minute, degrees Celsius) readings. `noise`: scatter of one, kelvin; it sets the doubt."""
    middle = sum(t for t, _ in readings) / len(readings)
    mean = sum(y for _, y in readings) / len(readings)
    squares = sum((t - middle) ** 2 for t, _ in readings)
    if squares == 0:
        return Slope(0.0, math.inf)
    value = sum((t - middle) * (y - mean) for t, y in readings) / squares
    return Slope(60 * value, 60 * 2 * noise / math.sqrt(squares))


def scatter(readings: Sequence[tuple[float, float]]) -> float:
    """Standard deviation about the straight line, kelvin. It is large where a cabinet cycles, which fits no such law."""
    if len(readings) < FEWEST:
        return 0.0
    middle = sum(t for t, _ in readings) / len(readings)
    mean = sum(y for _, y in readings) / len(readings)
    line = slope(readings).value / 60
    left = sum((y - mean - line * (t - middle)) ** 2 for t, y in readings)
    return math.sqrt(left / (len(readings) - 2))


def proof(readings: Sequence[tuple[float, float]], low: float, high: float, accuracy: float = 0.5) -> Cold:
    """Cold, on its way, or not, from (minute, degrees Celsius) readings with the door shut and the deck switched on.

    `low`, `high`: the band, degrees Celsius. `accuracy`: the thermometer's limit of error, kelvin. Trouble for fewer than
    two times, or a band upside down.
    """
    possible.positive(high - possible.celsius(low, "lower edge of the band"), "width of the band", "kelvin")
    rows = sorted(readings)
    fitted = pulldown.fit(rows, high, accuracy=accuracy)
    last, doubt = rows[-1][1], 2 * math.hypot(NOISE / 2, accuracy / math.sqrt(3))
    if len(rows) < FEWEST or rows[-1][0] - rows[0][0] < SHORTEST:
        return Cold.AGAIN if last <= high else _from_above(fitted, rows, accuracy)
    if last > high:
        return _from_above(fitted, rows, accuracy)
    if last < low:
        return _from_below(rows, low, accuracy)
    near_edge = last - doubt < low or last + doubt > high
    return Cold.AGAIN if near_edge or _leaves(rows, low, high) else Cold.COLD


def _leaves(rows: Sequence[tuple[float, float]], low: float, high: float) -> bool:
    """Whether the slope of the last three readings, or of all in the band, is more than chance and soon leads out of the
    band."""
    inside = [row for row in rows if low <= row[1] <= high]
    for line in (slope(rows[-FEWEST:]), slope(inside)):
        ahead = rows[-1][1] + line.value * AHEAD / 60
        if (line.rises and ahead > high) or (line.falls and ahead < low):
            return True
    return False


def _from_above(fitted: pulldown.PullDown, rows: Sequence[tuple[float, float]], accuracy: float) -> Cold:
    falls = len(rows) >= FEWEST and slope(rows).falls
    short = fitted.outlook is pulldown.Outlook.NOT_GOING or (not falls and _flat(rows, fitted.target, accuracy))
    later = rows[len(rows) // 2 :]
    if short and scatter(later) <= 2 * NOISE and not slope(later).falls:
        return Cold.WARM
    coming = fitted.outlook in (pulldown.Outlook.ON_ITS_WAY, pulldown.Outlook.THERE) or falls
    return Cold.COMING if coming else Cold.AGAIN


def _flat(rows: Sequence[tuple[float, float]], target: float, accuracy: float) -> bool:
    """Whether it is too flat to get there: by the steepest line that all readings allow, and by the best line through the
    later half, where a slow start hides nothing."""
    if len(rows) < pulldown.FEWEST_TO_CONDEMN or rows[-1][0] - rows[0][0] < SHORTEST_FLAT:
        return False
    bias, ahead = accuracy / math.sqrt(3), pulldown.SLOW_STOCK
    return pulldown.stops_short(rows, target, NOISE, bias, ahead) and pulldown.stops_short(
        pulldown.later(rows), target, NOISE, bias, ahead, coverage=0.0
    )


def _from_below(rows: Sequence[tuple[float, float]], low: float, accuracy: float) -> Cold:
    """The verdict below the band: it warms up, it stays too cold, or the readings cannot tell."""
    line = slope(rows)
    if line.rises:
        return Cold.COMING
    hopeful = rows[-1][1] + (line.value + line.doubt) * pulldown.SLOW_STOCK / 60
    enough = len(rows) >= pulldown.FEWEST_TO_CONDEMN and rows[-1][0] - rows[0][0] >= pulldown.SHORTEST_TO_CONDEMN
    surely = rows[-1][1] + accuracy < low
    # Heavy stock warms by half a kelvin an hour: flat for less than its doubt says nothing yet.
    return Cold.FROZEN if enough and surely and hopeful < low else Cold.AGAIN


def hours_left(readings: Sequence[tuple[float, float]], high: float, accuracy: float = 0.5) -> float:
    """Likely hours from the last reading to the band from above, of a cabinet that gets there; infinite beyond a week.

    `readings`: (minute, degrees Celsius), door shut, deck switched on. `high`: the upper edge of the band, degrees Celsius.
    `accuracy`: the thermometer's limit of error, kelvin. Trouble for fewer than two times.
    As many cabinets need longer as need less: four in five lie between a half and twice of it, roughly
    (`tests.bench.pulldown_hours`).
    """
    rows = sorted(readings)
    fitted = pulldown.fit(rows, high, noise=pulldown.RESTED_NOISE, accuracy=accuracy, belief=pulldown.RESTED)
    spent = rows[-1][0] - rows[0][0]
    return max(0.0, fitted.likely - spent) / 60
