"""Whether a fit of two time constants, air and stock, tells more of a pull-down than the one that ships.

    python -m tests.bench.two_nodes --cabinets N --seed S [--json]

Cabinets are those of `cabinets_physics`, which has two nodes and a wall: sound ones with warm stock, and failing ones. They
are read every 25 minutes between bottles, by a thermometer with its own error. After each reading both fits say whether the
cabinet will get to its band, and when. What is counted:

- `false_alarms`: a cabinet that gets there is said not to; `found`: one that never does is said not to.
- `hours`: of those that get there and got a time: how many got one, the median of the time said over the true one, and how
  many lie within half and one and a half of it."""

from __future__ import annotations

import argparse
import json
import math
from collections.abc import Sequence
from copy import copy
from random import Random
from statistics import median
from typing import Any

import numpy as np

from handsfree.trade import proof, pulldown
from tests.bench.cabinets_faults import sound
from tests.bench.cabinets_physics import Cabinet

EVERY, READINGS = 25.0, (3, 4, 5, 6, 8)
HIGH = 3 / 1.8  # kelvin above the setting, as procedures have it
LONGEST = 48 * 60.0
FAST, SLOW = np.geomspace(3, 60, 8), np.geomspace(40, 2880, 18)
PAIRS = np.array([(fast, slow) for fast in FAST for slow in SLOW if slow > 1.8 * fast])
SETTLE, AMPLITUDE, NOISE = pulldown.OPEN.spread, 40.0, 0.3


def inside(c: Cabinet) -> float:
    return 0.5 * c.air + 0.5 * c.stock


def drawn(rng: Random, failing: bool) -> Cabinet:
    c = sound(rng)
    c.stock = rng.uniform(12, 28)
    c.air, c.wall, c.sensed = c.stock + rng.uniform(-3, 3), c.room - 5, c.stock
    if failing:
        spoil = rng.choice(("charge", "dirt", "fan", "gap"))
        c.charge = rng.uniform(0.1, 0.35) if spoil == "charge" else c.charge
        c.dirt = rng.uniform(0.9, 1.0) if spoil == "dirt" else c.dirt
        c.condenser_fan = 0.0 if spoil == "fan" else c.condenser_fan
        c.gap = rng.uniform(8, 14) if spoil == "gap" else c.gap
    return c


def followed(c: Cabinet, rng: Random) -> tuple[list[tuple[float, float]], float]:
    """Its readings, and the minute at which it is in its band; infinite where it never is. Put on half an hour ago."""
    c.pass_to(30.0)
    bias, rows = rng.uniform(-0.4, 0.4), []
    target = c.setting + HIGH
    for number in range(max(READINGS)):
        c.pass_to(30 + EVERY * number)
        rows.append((EVERY * number, round((inside(c) + bias + rng.gauss(0, 0.2)) * 1.8) / 1.8))
    on, there = copy(c), math.inf
    again = EVERY * (len(rows) - 1)
    while on.minute < LONGEST:
        on.pass_to(on.minute + 10.0, 1.0)
        again += 10.0
        if inside(on) <= target:
            there = again
            break
    return rows, there


def two(rows: Sequence[tuple[float, float]], target: float) -> tuple[float, float]:
    """(chance that it settles at or below the target, likely minute of getting there): T = settle + a e^(-t/fast) +
    b e^(-t/slow), each pair of time constants in closed form, weighed by its evidence, as `pulldown` does with one."""
    t = np.array([row[0] for row in rows])
    y = np.array([row[1] for row in rows]) - target
    late = np.arange(0.0, LONGEST, 10.0)
    total, chance, below = 0.0, 0.0, np.zeros_like(late)
    found = []
    for fast, slow in PAIRS:
        design = np.stack([np.ones_like(t), np.exp(-t / fast), np.exp(-t / slow)], axis=1)
        precision = design.T @ design / NOISE**2 + np.diag([1 / SETTLE**2, 1 / AMPLITUDE**2, 1 / AMPLITUDE**2])
        covariance = np.linalg.inv(precision)
        mean = covariance @ (design.T @ y / NOISE**2)
        evidence = 0.5 * np.linalg.slogdet(covariance)[1] - 0.5 * float(y @ y / NOISE**2 - mean @ precision @ mean)
        found.append((evidence, fast, slow, mean, covariance))
    top = max(one[0] for one in found)
    for evidence, fast, slow, mean, covariance in found:
        weight = math.exp(evidence - top)
        if weight < 1e-5:
            continue
        total += weight
        chance += weight * _below(mean[0], covariance[0, 0])
        ahead = np.stack([np.ones_like(late), np.exp(-late / fast), np.exp(-late / slow)], axis=1)
        spread = np.einsum("ij,jk,ik->i", ahead, covariance, ahead)
        below += weight * np.array([_below(m, v) for m, v in zip(ahead @ mean, spread, strict=True)])
    first = np.nonzero(below / total >= 0.5)[0]
    return chance / total, float(late[first[0]]) if len(first) else math.inf


def _below(mean: float, variance: float) -> float:
    bias = 0.5 / math.sqrt(3)
    return 0.5 * math.erfc(mean / math.sqrt(2 * (max(variance, 0.0) + bias * bias)))


def one(rows: Sequence[tuple[float, float]], target: float) -> tuple[bool, float]:
    return proof.proof(rows, target - 2 * HIGH, target) is proof.Cold.WARM, rows[-1][0] + 60 * proof.hours_left(rows, target)


def counted(cabinets: int, seed: int) -> dict[str, Any]:
    said: dict[str, dict[int, list[tuple[bool, bool, float, float]]]] = {"one": {}, "two": {}}
    for number in range(cabinets):
        rng = Random(f"two nodes/{seed}/{number}")
        c = drawn(rng, failing=number % 3 == 0)
        target = c.setting + HIGH
        rows, there = followed(c, rng)
        for count in READINGS:
            seen = rows[:count]
            if seen[-1][1] <= target or there <= seen[-1][0]:
                continue
            never = math.isinf(there)
            left = there - seen[-1][0]
            warm, likely = one(seen, target)
            said["one"].setdefault(count, []).append((never, warm, likely - seen[-1][0], left))
            chance, likely = two(seen, target)
            condemned = chance <= 0.01 and count >= 4
            said["two"].setdefault(count, []).append((never, condemned, likely - seen[-1][0], left))
    return {fit: {count: _row(made) for count, made in by.items()} for fit, by in said.items()}


def _row(made: Sequence[tuple[bool, bool, float, float]]) -> dict[str, Any]:
    fine = [one for one in made if not one[0]]
    bad = [one for one in made if one[0]]
    timed = [max(1.0, said) / max(1.0, true) for _, _, said, true in fine if math.isfinite(said)]
    return {
        "get_there": len(fine), "false_alarms": sum(one[1] for one in fine),
        "never": len(bad), "found": sum(one[1] for one in bad),
        "timed": len(timed), "ratio": round(median(timed), 2) if timed else None,
        "within_half": sum(0.5 <= ratio <= 1.5 for ratio in timed),
    }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description="A fit of two time constants against the one that ships.")
    parser.add_argument("--cabinets", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    made = counted(given.cabinets, given.seed)
    if given.json:
        print(json.dumps(made))
        return
    for fit, by in made.items():
        for count, row in by.items():
            print(f"{fit:20} {count} readings: {row}")


if __name__ == "__main__":
    main()
