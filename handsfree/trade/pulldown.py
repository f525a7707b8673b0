"""Pull-down: from timed readings to where a cabinet will settle, when, and whether it will get there.

Newton's law of cooling, T(t) = settle + (start - settle) exp(-t / tau): Newton, Phil. Trans. 22 (1701).

For a given tau the law is a straight line in its other two numbers, so each tau of a grid is fitted by linear
least squares in closed form, and the grid is weighed by how well it fits (variable projection: Golub and Pereyra,
SIAM J. Numer. Anal. 10 (1973); the weight is the exact Gaussian evidence). No step can diverge, two readings
are enough to start with, and the answer is honest about what few readings cannot tell.

What is believed before any reading decides what few readings can say, and two questions want two beliefs:

- Will it get there? `OPEN`: any tau from 5 minutes to 48 hours, and a settling temperature near the target give or take 15
  kelvin, so that neither outcome is favoured.
- When will it be there, if it gets there? `RESTED`: a thermostat rests the deck near its setting, so the curve cannot head
  far below it. Warm stock gives its heat away over some hours. The first reading follows an open door. With `OPEN` the quick
  fall of the air was carried on, and the hours came out at 0.6 of the true ones.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property, lru_cache
from typing import NamedTuple

from handsfree.errors import Trouble
from handsfree.trade import possible

SHORTEST, LONGEST, STEPS = 5.0, 48 * 60.0, 40
NEGLIGIBLE = 12.0  # a grid point this far below the best, in log evidence, weighs nothing
START_SPREAD = 100.0  # the first temperature is measured, so its prior says nothing
SURE = 0.99  # of not getting there, before it is said
ENOUGH = 0.90  # of getting there, before a time is promised
SLOW_STOCK = 600.0  # minutes, the time constant of a cabinet full of large bottles: common practice, no source
NIGHT = 240.0  # minutes without a reading after which two readings are a slope of their own
RESOLVED = 0.01  # minutes: a time to the target is told in hours
FEWEST_TO_CONDEMN, SHORTEST_TO_CONDEMN = 4, 30.0  # readings and minutes: an early curve has fast parts


class Outlook(StrEnum):
    """The outlook so far."""

    THERE = "there"
    ON_ITS_WAY = "on its way"
    NOT_GOING = "not going to get there"
    UNKNOWN = "read again"


@dataclass(frozen=True)
class Belief:
    """What is believed before any reading.

    `settle`, `spread`: kelvin above the target at which the cabinet settles, mean and standard deviation. `tau`: minutes,
    the middle of a log-normal time constant; `tau_doubt`: its standard deviation in natural logarithms, infinite for none.
    `first`: scatter of the first reading in kelvin, where it is wider than that of the others.
    """

    settle: float
    spread: float
    tau: float = 60.0
    tau_doubt: float = math.inf
    first: float = 0.0


OPEN = Belief(0.0, 15.0)
# Common practice, no source: chosen on cabinets of an ODE solver (`tests.bench.pulldown_hours`, seeds 11 and 12), and
# rounded. A band ends some 1.7 kelvin above its setting, and the deck alone would settle some 2 kelvin below it.
RESTED = Belief(-3.7, 1.0, tau=300.0, tau_doubt=0.8, first=1.5)
RESTED_NOISE = 0.6  # kelvin: air between the bottles goes up and down as the deck runs and rests


@dataclass(frozen=True)
class _Given:
    """What the caller states: the target, the scatter of a reading, the common error, the longest time constant."""

    target: float
    noise: float
    bias: float
    slowest: float
    belief: Belief


#: Minutes from the first reading, kelvin above the target, precision of the reading in 1/K².
_Row = tuple[float, float, float]


class _Line(NamedTuple):
    """The fit for one tau: means and covariance of (settle, start), and its weight. A tuple, for there are 120 in a fit."""

    tau: float
    weight: float
    settle: float
    start: float
    v_settle: float
    v_start: float
    v_both: float

    def at(self, minutes: float) -> tuple[float, float]:
        """Mean and variance of the temperature at a time."""
        e = math.exp(-minutes / self.tau)
        mean = self.settle * (1 - e) + self.start * e
        variance = self.v_settle * (1 - e) ** 2 + self.v_start * e * e + 2 * self.v_both * e * (1 - e)
        return mean, max(variance, 0.0)


@dataclass(frozen=True)
class PullDown:
    """A fitted pull-down. Temperatures in degrees Celsius, times in minutes from the first reading.

    `settle` and `settle_doubt` are mean and standard deviation of where it ends; `chance` is the probability that
    this is at or below the target; `bias` is what the readings have in common, one standard deviation in kelvin.
    """

    outlook: Outlook
    target: float
    settle: float
    settle_doubt: float
    tau: float
    chance: float
    bias: float
    lines: tuple[_Line, ...]

    @cached_property
    def likely(self) -> float:
        """The time to the target, as likely too long as too short; infinite where the readings cannot bound it. It is worked
        out when it is asked for: it takes four times as long as the fit, and most only ask for the outlook."""
        return self.time_to(0.5)

    def time_to(self, share: float) -> float:
        """Minutes at which the chance of being at the target reaches `share`; infinite beyond a week."""
        return _time_to(self.lines, share, self.target, self.bias)

    def at(self, minutes: float) -> tuple[float, float]:
        """Mean and standard deviation of the temperature at a time after the first reading."""
        parts = [(line.weight, *line.at(minutes)) for line in self.lines]
        mean = sum(w * m for w, m, _ in parts)
        return mean, math.sqrt(sum(w * (v + (m - mean) ** 2) for w, m, v in parts))


def _checked(readings: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    rows = sorted(readings)
    for minute, value in rows:
        possible.finite(minute, "time of a reading")
        possible.celsius(value, "cabinet temperature")
    if len({minute for minute, _ in rows}) < 2:
        raise Trouble("A pull-down needs at least two readings at different times.")
    return [(minute - rows[0][0], value) for minute, value in rows]


def _line(rows: Sequence[_Row], tau: float, given: _Given) -> _Line:
    """Bayesian least squares in (settle, start) for one tau, priors included; the weight is left as a logarithm.

    All temperatures are counted from the target here, which keeps the sums small. The squares of the readings are left out
    of the weight, for they are the same for every tau.
    """
    belief = given.belief
    a, b, c = 1 / belief.spread**2, 1 / START_SPREAD**2, 0.0  # precision of settle, of start, and between them
    u, v = a * belief.settle, 0.0
    for minute, above, precision in rows:
        e = math.exp(-minute / tau)
        of_settle, of_start = precision * (1 - e), precision * e
        a, b, c = a + of_settle * (1 - e), b + of_start * e, c + of_settle * e
        u, v = u + of_settle * above, v + of_start * above
    determinant = a * b - c * c
    settle, start = (b * u - c * v) / determinant, (a * v - c * u) / determinant
    evidence = 0.5 * (u * settle + v * start - math.log(determinant))
    evidence -= 0.5 * (math.log(tau / belief.tau) / belief.tau_doubt) ** 2
    mean, began = settle + given.target, start + given.target
    return _Line(tau, evidence, mean, began, b / determinant, a / determinant, -c / determinant)


def _weighed(lines: Sequence[_Line]) -> tuple[_Line, ...]:
    top = max(line.weight for line in lines)
    total = sum(math.exp(line.weight - top) for line in lines)
    return tuple(line._replace(weight=math.exp(line.weight - top) / total) for line in lines)


def _chance_at(lines: Sequence[_Line], minutes: float, target: float, bias: float) -> float:
    """Probability of being at or below the target then; `minutes` may be infinite. A loop that calls little, for it is asked
    some twenty times for one time to the target."""
    twice = 0.0
    for tau, weight, settle, start, v_settle, v_start, v_both in lines:
        e = math.exp(-minutes / tau)
        left = 1 - e
        variance = v_settle * left * left + v_start * e * e + 2 * v_both * e * left
        variance = max(variance, 0.0) + bias * bias
        twice += weight * math.erfc((settle * left + start * e - target) / math.sqrt(2 * max(variance, 1e-12)))
    return twice / 2


def _time_to(lines: Sequence[_Line], share: float, target: float, bias: float, longest: float = 7 * 1440) -> float:
    """Minutes at which the chance of being at the target reaches `share`; infinite beyond a week."""
    if _chance_at(lines, longest, target, bias) < share:
        return math.inf
    low, high = 0.0, longest
    while high - low > RESOLVED:
        middle = (low + high) / 2
        low, high = (low, middle) if _chance_at(lines, middle, target, bias) >= share else (middle, high)
    return high


def fit(
    readings: Sequence[tuple[float, float]],
    target: float,
    *,
    noise: float = 0.3,
    accuracy: float = 0.5,
    slowest: float = LONGEST,
    belief: Belief = OPEN,
) -> PullDown:
    """Fit (minute, degrees Celsius) readings, taken with the door shut and the compressor in cooling.

    `noise` is the scatter of one reading (kelvin, one standard deviation); `accuracy` is the thermometer's limit
    of error, common to all the readings and therefore not averaged away. `slowest` is the longest time constant
    thought possible: an empty cabinet cannot take 48 hours, and saying so (300, say) brings the answer sooner.
    `belief`: `OPEN` for whether it gets there, `RESTED` for when. Readings may come in any order. Raises Trouble for fewer
    than two different times, and for a noise, accuracy, target or reading that cannot be.
    """
    return _fit(tuple((minute, value) for minute, value in readings), target, noise, accuracy, slowest, belief)


@lru_cache(maxsize=4096)
def _fit(
    readings: tuple[tuple[float, float], ...], target: float, noise: float, accuracy: float, slowest: float, belief: Belief
) -> PullDown:
    """The same readings are judged by several cases of one decision."""
    possible.celsius(target, "target")
    possible.positive(noise, "scatter of the readings", "kelvin")
    possible.between(slowest, 2 * SHORTEST, LONGEST, "longest time constant", "minutes")
    bias = possible.not_negative(accuracy, "accuracy of the thermometer") / math.sqrt(3)
    rows = _checked(readings)
    given = _Given(target, noise, bias, slowest, belief)
    lines = _fitted(rows, given)
    chance = _chance_at(lines, math.inf, target, bias)
    settle = sum(n.weight * n.settle for n in lines)
    doubt = math.sqrt(sum(n.weight * (n.v_settle + (n.settle - settle) ** 2) for n in lines))
    tau = math.exp(sum(n.weight * math.log(n.tau) for n in lines))
    outlook = _outlook(rows, lines, chance, given)
    return PullDown(outlook, target, settle, doubt, tau, chance, bias, lines)


def _fitted(rows: Sequence[tuple[float, float]], given: _Given) -> tuple[_Line, ...]:
    """The grid over all of tau, then a second one over the part of it that the readings leave possible."""

    first = max(given.noise, given.belief.first)
    weighed = [(t, y - given.target, 1 / (given.noise if at else first) ** 2) for at, (t, y) in enumerate(rows)]

    def grid(low: float, high: float) -> list[_Line]:
        ratio = (high / low) ** (1 / (STEPS - 1))
        return [_line(weighed, low * ratio**i, given) for i in range(STEPS)]

    coarse = grid(SHORTEST, given.slowest)
    top = max(line.weight for line in coarse)
    alive = [i for i, line in enumerate(coarse) if line.weight > top - NEGLIGIBLE]
    low, high = coarse[max(0, alive[0] - 1)].tau, coarse[min(STEPS - 1, alive[-1] + 1)].tau
    return _weighed(grid(low, high))


def _outlook(rows: list[tuple[float, float]], lines: tuple[_Line, ...], chance: float, given: _Given) -> Outlook:
    # The last reading counts by itself too: a cabinet that has reached its target starts to cycle there.
    surely_there = rows[-1][1] + 2 * math.hypot(given.bias, given.noise) <= given.target
    if surely_there or _chance_at(lines, rows[-1][0], given.target, given.bias) >= 0.975:
        return Outlook.THERE
    if chance <= 1 - SURE and _may_condemn(rows, given):
        return Outlook.NOT_GOING
    return Outlook.ON_ITS_WAY if chance >= ENOUGH else Outlook.UNKNOWN


def _may_condemn(rows: list[tuple[float, float]], given: _Given) -> bool:
    """A second opinion before bad news, which does not assume one exponential.

    Air cools before stock does, so a healthy pull-down is steeper at its start than at its end, and one exponential through
    all of it settles too high. This takes the line through the later half, as steep as the noise allows, and extends it for
    the time constant of the slowest stock. Bad news needs that line to stop short too.
    """
    if len(rows) < FEWEST_TO_CONDEMN or rows[-1][0] < SHORTEST_TO_CONDEMN:
        return False
    return stops_short(later(rows), given.target, given.noise, given.bias, min(given.slowest, SLOW_STOCK))


def later(rows: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """The readings of the later half of the time; where the last one stands alone after `NIGHT`, the one before it too."""
    middle = (rows[0][0] + rows[-1][0]) / 2
    alone = rows[-1][0] - rows[-2][0] >= NIGHT
    return list(rows[-2:]) if alone else [row for row in rows if row[0] >= middle]


def stops_short(
    rows: Sequence[tuple[float, float]], target: float, noise: float, bias: float, ahead: float, coverage: float = 2.0
) -> bool:
    """Whether the line through (minute, degrees Celsius) readings, as steep as `coverage` times its own doubt allows, and
    carried on for `ahead` minutes, ends above the target."""
    middle = sum(t for t, _ in rows) / len(rows)
    mean = sum(y for _, y in rows) / len(rows)
    squares = sum((t - middle) ** 2 for t, _ in rows)
    if squares == 0:
        return False
    slope = sum((t - middle) * (y - mean) for t, y in rows) / squares
    steepest = min(0.0, slope - coverage * noise / math.sqrt(squares))
    end = mean + slope * (rows[-1][0] - middle)
    return end + steepest * ahead - 2 * bias > target
