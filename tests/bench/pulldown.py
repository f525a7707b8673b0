"""False alarms of "it will not get there", and how soon it is said: counted on simulated pull-downs.

    python -m tests.bench.pulldown [--cabinets 300]

A reading every ten minutes for eight hours, meter noise of 0.3 K, an error common to all readings of up to 0.5 K,
rounded to 0.1 K; the fit looks after every reading from the third on and stops at its first verdict. "One mass"
is the law that is fitted; "air and stock" has a fast and a slow part, which the law does not know.
"""

from __future__ import annotations

import argparse
import math
import random
import statistics
from collections.abc import Callable
from dataclasses import dataclass

from handsfree.trade.pulldown import LONGEST, Outlook, fit

TARGET, NOISE, BIAS = 5.0, 0.3, 0.5
Curve = Callable[[float], float]


def one_mass(rng: random.Random, low: float, high: float) -> Curve:
    """A pull-down of one exponential, settling between two temperatures."""
    settle, start, tau = rng.uniform(low, high), rng.uniform(14, 28), 20 * 20 ** rng.random()
    return lambda t: settle + (start - settle) * math.exp(-t / tau)


def air_and_stock(rng: random.Random, low: float, high: float) -> Curve:
    """A fast part, the air, and a slow one, the stock."""
    settle, start = rng.uniform(low, high), rng.uniform(14, 28)
    fast, slow, share = rng.uniform(8, 25), rng.uniform(120, 600), rng.uniform(0.3, 0.6)
    return lambda t: settle + (start - settle) * (share * math.exp(-t / fast) + (1 - share) * math.exp(-t / slow))


@dataclass(frozen=True)
class Count:
    """How a batch ended: condemned, found there, or undecided; and the median minute of condemning."""

    cabinets: int
    condemned: int
    there: int
    minute: float


def count(curve: Callable[[random.Random, float, float], Curve], low: float, high: float, cabinets: int,
          slowest: float = LONGEST, hours: float = 8) -> Count:  # fmt: skip
    """Run a batch."""
    ends: list[tuple[Outlook, float]] = []
    for number in range(cabinets):
        rng = random.Random(f"{number}/{low}/{high}")
        true, bias = curve(rng, low, high), rng.uniform(-BIAS, BIAS)
        rows: list[tuple[float, float]] = []
        for minute in range(0, int(hours * 60) + 1, 10):
            rows.append((minute, round(true(minute) + bias + rng.gauss(0, NOISE), 1)))
            if len(rows) >= 3:
                outlook = fit(rows, TARGET, noise=NOISE, accuracy=BIAS, slowest=slowest).outlook
                if outlook in (Outlook.NOT_GOING, Outlook.THERE):
                    ends.append((outlook, minute))
                    break
    bad = [minute for outlook, minute in ends if outlook is Outlook.NOT_GOING]
    return Count(cabinets, len(bad), len(ends) - len(bad), statistics.median(bad) if bad else math.nan)


CASES = (
    ("healthy, one mass, settles -10 to 2", one_mass, -10.0, 2.0),
    ("healthy, one mass, settles 2 to 4.5", one_mass, 2.0, 4.5),
    ("healthy, air and stock, settles -10 to 2", air_and_stock, -10.0, 2.0),
    ("healthy, air and stock, settles 2 to 4.5", air_and_stock, 2.0, 4.5),
    ("failing, one mass, settles 7 to 10", one_mass, 7.0, 10.0),
    ("failing, one mass, settles 10 to 16", one_mass, 10.0, 16.0),
    ("failing, air and stock, settles 10 to 14", air_and_stock, 10.0, 14.0),
)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description="False alarms of the pull-down verdict.")
    parser.add_argument("--cabinets", type=int, default=300)
    cabinets = parser.parse_args().cabinets
    print("| pull-down to 5 °C | slowest tau | cabinets | said 'will not get there' | said 'there' | median minute said |")
    print("|---|---:|---:|---:|---:|---:|")
    for slowest in (LONGEST, 720.0):
        for name, curve, low, high in CASES:
            c = count(curve, low, high, cabinets, slowest)
            print(f"| {name} | {slowest:.0f} min | {c.cabinets} | {c.condemned} | {c.there} | {c.minute:.0f} |")


if __name__ == "__main__":
    main()
