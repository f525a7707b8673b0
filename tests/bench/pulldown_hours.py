"""Hours to cold that a technician is told, against cabinets of scipy's ODE solver: are they true, and does the range hold?

    python -m tests.bench.pulldown_hours [--cabinets N] [--seed S] [--json]

Another hand than `cabinets_physics`. Four masses (air with its shelves, the outside and the inside of the stock, the wall)
follow their heat balances. A thermostat with a lagging sensor switches the deck, which loses capacity as the cabinet gets
cold and as frost grows, and pauses for a defrost. `scipy.integrate.solve_ivp` stops at each switching. Every parameter is
drawn widely, from masses and surfaces of bottles. None is taken from the procedures or the fit; the ranges are invented.

A cabinet is read at the minutes at which `prove-pull-down` has it read. It is there when the mean of half an hour, between
the bottles, is in its band. Told are the words of the procedure, by `proof.hours_left`. By number of readings:

- `ratio`: the hours told over the true ones, median; `early`: told less than half the true ones;
- `covered`: the true hours lie in the range that is told; `width`: its median, in hours, where it ends;
- `told`: how many got hours at all; `never`: cabinets that never get there, with `promised`: those that were told hours
  within a night, and `condemned` of both kinds."""

from __future__ import annotations

import argparse
import json
import math
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from random import Random
from statistics import median
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp

from handsfree.trade import proof

BAND = 3 / 1.8  # kelvin above the setting
AT = (0, 25, 50, 110, 170, 230, 290, 350)  # minutes: three readings half an hour apart, then each hour
LONGEST, GRID = 36 * 60, 5.0
Law = Callable[[float, np.ndarray], np.ndarray]


@dataclass(frozen=True)
class Drawn:
    """Watts, kelvin, joules a kelvin, minutes."""

    room: float
    setting: float
    switching: float
    lag: float
    watts: float
    fade: float  # share of its watts that frost takes in ten hours
    pause_every: float
    pause: float
    air: float
    outer: float
    inner: float
    wall: float
    to_stock: float
    within: float
    to_wall: float
    to_room: float
    leak: float
    inside: float  # lamp and fan
    probe: float  # share of air in what is felt between bottles
    start: float
    on_for: float


def drawn(rng: Random) -> Drawn:
    """A cabinet with 8 to 250 kg of drinks; a bottle has 0.5 m2 of surface for 5 kg, half of it hidden, at 4 to 12 W/m2K."""
    log = lambda low, high: low * (high / low) ** rng.random()  # noqa: E731
    kilograms, outside = log(8, 250), rng.uniform(0.25, 0.5)
    to_stock = kilograms * 0.1 * rng.uniform(0.35, 0.8) * rng.uniform(4, 12)
    return Drawn(
        room=rng.uniform(17, 33), setting=rng.uniform(1.5, 7), switching=rng.uniform(1.5, 5), lag=rng.uniform(0.5, 6),
        watts=log(160, 800), fade=rng.choice((0.0, rng.uniform(0, 0.3))), pause_every=rng.uniform(240, 480),
        pause=rng.choice((0.0, rng.uniform(10, 30))), air=rng.uniform(15e3, 90e3), outer=outside * kilograms * 3900,
        inner=(1 - outside) * kilograms * 3900, wall=rng.uniform(20e3, 120e3), to_stock=to_stock,
        within=to_stock * rng.uniform(0.8, 4), to_wall=rng.uniform(4, 12), to_room=rng.uniform(3, 9),
        leak=rng.uniform(0.1, 2), inside=rng.uniform(10, 80), probe=rng.uniform(0.15, 0.65), start=rng.uniform(11, 28),
        on_for=rng.uniform(10, 60),
    )  # fmt: skip


def _balances(c: Drawn, on: bool, minute: float, y: np.ndarray) -> list[float]:
    air, outer, inner, wall, sensed = y
    pausing = c.pause and minute % c.pause_every > c.pause_every - c.pause
    frost = 1 - c.fade * min(minute, 1200) / 600
    cooling = max(0.0, c.watts * frost * (1 + 0.022 * (air - 8))) if on and not pausing else 0.0
    stock, inward, out = c.to_stock * (outer - air), c.to_wall * (wall - air), c.to_room * (c.room - wall)
    within = c.within * (inner - outer)
    return [
        60 * (stock + inward + c.leak * (c.room - air) + c.inside - cooling) / c.air, 60 * (within - stock) / c.outer,
        -60 * within / c.inner, 60 * (out - inward) / c.wall, (air - sensed) / c.lag,
    ]  # fmt: skip


def followed(c: Drawn) -> np.ndarray:
    """What is felt between the bottles each five minutes, from the first reading on."""
    now, end, on = 0.0, c.on_for + LONGEST, True
    y = np.array([c.start, c.start, c.start, c.room - 3, c.start])
    grid = np.arange(0.0, end, GRID)
    felt = np.empty_like(grid)
    while now < end:
        edge = c.setting - c.switching / 2 if on else c.setting + c.switching / 2

        def switches(_t: float, y: np.ndarray, edge: float = edge) -> float:
            return float(y[4] - edge)

        switches.terminal, switches.direction = True, -1.0 if on else 1.0  # type: ignore[attr-defined]  # as the solver wants it
        leg = solve_ivp(partial(_balances, c, on), (now, end), y, "LSODA", events=switches, dense_output=True,
                        max_step=60.0, rtol=1e-4, atol=1e-3)  # fmt: skip
        inside = (grid >= now) & (grid <= leg.t[-1])
        if inside.any():
            at = leg.sol(grid[inside])
            felt[inside] = c.probe * at[0] + (1 - c.probe) * at[1]
        now, y = float(leg.t[-1]) + 1e-6, leg.y[:, -1]
        on = not on if leg.status == 1 else on
    return np.interp(np.arange(0.0, LONGEST - GRID, GRID) + c.on_for, grid, felt)


def there(felt: np.ndarray, high: float) -> float:
    """Minute from which the mean of half an hour is in the band; infinite where it never is."""
    wide = int(30 / GRID)
    mean = np.convolve(felt, np.ones(wide) / wide, "valid")
    first = np.nonzero(mean <= high)[0]
    return float(first[0]) * GRID if len(first) else math.inf


def read(felt: np.ndarray, rng: Random) -> list[tuple[float, float]]:
    bias, thermometer = rng.uniform(-0.4, 0.4), []
    for minute in AT:
        true = felt[int(minute / GRID)] + (rng.uniform(0, 2) if minute == 0 else 0.0)  # the door was open
        thermometer.append((float(minute), (round((true + bias + rng.gauss(0, 0.2)) * 1.8)) / 1.8))
    return thermometer


#: Likely hours below which `prove-pull-down` says so, and what its words promise: hours at the least, at the most.
WORDS = ((1.0, 0.0, 2.0), (3.0, 1.0, 4.0), (6.0, 2.0, 8.0), (math.inf, 4.0, math.inf))


def told(rows: list[tuple[float, float]], setting: float) -> tuple[float, float, float]:
    """Hours told: at the least, likely, at the most."""
    hours = proof.hours_left(rows, setting + BAND, 0.56)
    low, high = next((low, high) for below, low, high in WORDS if hours < below or math.isinf(below))
    return low, hours, high


@dataclass
class Row:
    get_there: int = 0
    told: int = 0
    ratios: tuple[float, ...] = ()
    covered: int = 0
    widths: tuple[float, ...] = ()
    condemned: int = 0
    never: int = 0
    promised: int = 0
    never_condemned: int = 0

    def made(self) -> dict[str, Any]:
        ratio = round(median(self.ratios), 2) if self.ratios else None
        return {
            "get_there": self.get_there, "told": self.told, "ratio": ratio,
            "early": round(sum(r < 0.5 for r in self.ratios) / max(1, self.told), 2),
            "covered": round(self.covered / max(1, self.told), 2),
            "width": round(median(self.widths), 1) if self.widths else None, "condemned": self.condemned,
            "never": self.never, "promised": self.promised, "never_condemned": self.never_condemned,
        }  # fmt: skip


def counted(cabinets: int, seed: int, say: Callable[..., tuple[float, float, float]] = told) -> dict[int, dict[str, Any]]:
    rows: dict[int, Row] = defaultdict(Row)
    for number in range(cabinets):
        rng = Random(f"pull-down hours/{seed}/{number}")
        c = drawn(rng)
        felt = followed(c)
        high = c.setting + BAND
        seen, when = read(felt, rng), there(felt, high)
        for count in range(3, len(AT) + 1):
            _count(rows[count], seen[:count], c, when, say)
    return {count: row.made() for count, row in sorted(rows.items())}


def _count(row: Row, seen: list[tuple[float, float]], c: Drawn, when: float, say: Any) -> None:
    setting = c.setting
    left = (when - seen[-1][0]) / 60
    if left <= 0 or seen[-1][1] <= setting:
        return
    verdict = proof.proof(seen, setting - BAND, setting + BAND, 0.56)
    hours = say(seen, setting) if verdict is proof.Cold.COMING else None
    if math.isinf(left):
        row.never += 1
        row.never_condemned += verdict is proof.Cold.WARM
        row.promised += hours is not None and hours[2] <= 8
        return
    row.get_there += 1
    row.condemned += verdict is proof.Cold.WARM
    if hours is not None:
        row.told += 1
        row.ratios += (max(0.1, hours[1]) / max(0.1, left),)
        row.covered += hours[0] <= left <= hours[2]
        row.widths += (hours[2] - hours[0],)


def main() -> None:
    parser = argparse.ArgumentParser(description="Hours to cold that are told, against cabinets of an ODE solver.")
    parser.add_argument("--cabinets", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    made = counted(given.cabinets, given.seed)
    print(json.dumps(made) if given.json else "\n".join(f"{count} readings: {row}" for count, row in made.items()))


if __name__ == "__main__":
    main()
