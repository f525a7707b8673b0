"""Refrigerants: saturation, superheat, subcooling and resting pressure, from a table that CoolProp made.

CoolProp (Bell and others, Ind. Eng. Chem. Res. 53 (2014) 2498) carries the reference equations of state; the
mixtures are its predefined ones, in mole fractions after ISO 817. `saturation.json` has its pressures every few kelvin
(`python -m tests.bench.saturation`); between them the logarithm of the pressure is a cubic of 1/T. For a blend the
*bubble* point (first vapour: liquid line, subcooling) and the *dew* point (last liquid: suction line, superheat)
differ by the glide.

Opening a sealed circuit is for certified technicians only (40 CFR part 82 subpart F, or the local rule).
"""

from __future__ import annotations

import json
import math
from bisect import bisect_left
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal

from handsfree.errors import Trouble
from handsfree.trade import possible
from handsfree.trade.possible import KELVIN_OFFSET

SaturationPoint = Literal["bubble", "dew"]
TABLE = Path(__file__).with_name("saturation.json")
LOWEST = -100.0  # degrees Celsius
COLDEST_SUCTION = -60.0  # degrees Celsius of a dew point that a cabinet's circuit can run at: common practice, no source


@dataclass(frozen=True)
class Refrigerant:
    """A refrigerant: its name in CoolProp, its safety class after ISO 817, and whether it is a blend.

    The critical point (degrees Celsius, kilopascals) is what CoolProp finds for this fluid. It is written down
    since the search takes seconds for a blend; a test holds the table to CoolProp.
    """

    name: str
    fluid: str
    safety: str
    critical_celsius: float
    critical_kilopascals: float
    blend: bool = False
    triple_celsius: float = -math.inf  # where it lies above LOWEST; below it there is no liquid


_LIST = (
    Refrigerant("R-134a", "R134a", "A1", 101.06, 4059),
    Refrigerant("R-290", "R290", "A3", 96.74, 4251),
    Refrigerant("R-600a", "R600a", "A3", 134.66, 3629),
    Refrigerant("R-744", "CarbonDioxide", "A1", 30.978, 7377, triple_celsius=-56.558),
    Refrigerant("R-1234yf", "R1234yf", "A2L", 94.7, 3384),
    Refrigerant("R-1270", "R1270", "A3", 91.06, 4555),
    Refrigerant("R-404A", "R404A.mix", "A1", 72.12, 3735, True),
    Refrigerant("R-407C", "R407C.mix", "A1", 86.14, 4639, True),
    Refrigerant("R-448A", "R448A.mix", "A1", 82.79, 4605, True),
    Refrigerant("R-449A", "R449A.mix", "A1", 82.49, 4517, True),
    Refrigerant("R-452A", "R452A.mix", "A1", 75.1, 3984, True),
    Refrigerant("R-454C", "R454C.mix", "A2L", 87.64, 4370, True),
    Refrigerant("R-455A", "R455A.mix", "A2L", 85.63, 4602, True),
    Refrigerant("R-513A", "R513A.mix", "A1", 95.41, 3655, True),
)
REFRIGERANTS: dict[str, Refrigerant] = {r.name: r for r in _LIST}

# Cautions by class: IEC 60335-2-89 for the flame symbol and ventilation; the wording is ours.
CAUTIONS: dict[str, tuple[str, ...]] = {
    "A1": (
        "This refrigerant does not burn, but it displaces air. Ventilate the place.",
        "A jet of liquid freezes skin and eyes. Wear glasses and gloves.",
    ),
    "A2L": (
        "This refrigerant burns slowly. Keep flames and sparks away.",
        "Ventilate the place before you go near the circuit.",
        "A jet of liquid freezes skin and eyes. Wear glasses and gloves.",
    ),
    "A3": (
        "This refrigerant burns like cooking gas. Look for the flame symbol on the plate.",
        "Allow no flame, spark or smoking. Ventilate the place, low down as well.",
        "If you smell or hear a leak, leave the switch alone. Go out and keep people away.",
        "A jet of liquid freezes skin and eyes. Wear glasses and gloves.",
    ),
}


def refrigerant(name: str) -> Refrigerant:
    """Find a refrigerant by its ISO 817 designation, however it is typed. Raises Trouble for one not covered."""
    key = "".join(c for c in name.lower() if c.isalnum())
    for known in _LIST:
        if key in {known.name.replace("-", "").lower(), known.name.replace("-", "").lower().lstrip("r")}:
            return known
    raise Trouble(f"The refrigerant {name!r} is not covered here: use its maker's table. Known: {', '.join(REFRIGERANTS)}.")


@dataclass(frozen=True)
class Saturation:
    """Points of one refrigerant, rising: `inverse`: 1/T in 1/kelvin, `log`: of the pressure in kilopascals."""

    inverse: tuple[float, ...]
    log: tuple[float, ...]


@cache
def _saturation(name: str, point: SaturationPoint) -> Saturation:
    known = refrigerant(name)
    rows = json.loads(TABLE.read_text(encoding="utf-8"))[known.name][point if known.blend else "dew"]
    return Saturation(
        tuple(1 / (celsius + KELVIN_OFFSET) for celsius, _ in rows), tuple(math.log(pressure) for _, pressure in rows)
    )


def _beyond(name: str) -> Trouble:
    known = refrigerant(name)
    said = f"{known.name} has no saturation there: it is too near its critical point, or below its range."
    return Trouble(said)


def _log_pressure(table: Saturation, inverse: float) -> float:
    """Lagrange's cubic through the four nearest points."""
    at = bisect_left(table.inverse, -inverse, key=lambda one: -one)
    first = min(max(at - 2, 0), len(table.inverse) - 4)
    xs, ys = table.inverse[first : first + 4], table.log[first : first + 4]
    return sum(
        y * math.prod((inverse - other) / (x - other) for m, other in enumerate(xs) if m != n)
        for n, (x, y) in enumerate(zip(xs, ys, strict=True))
    )


def _point(point: SaturationPoint) -> SaturationPoint:
    if point not in ("bubble", "dew"):
        raise Trouble(f"A saturation point is either bubble or dew, not {point!r}.")
    return point


def saturation_pressure(name: str, celsius: float, point: SaturationPoint = "dew") -> float:
    """Kilopascals absolute at which the refrigerant boils or condenses at a temperature."""
    known = refrigerant(name)
    if possible.celsius(celsius) >= known.critical_celsius:
        raise Trouble(f"{known.name} has no saturation at {celsius:g} degrees Celsius: that is above its critical point.")
    # Lower than any gauge set is used; far below it the equations of state are carried beyond their range.
    _above_triple(known, celsius)
    possible.between(celsius, LOWEST, known.critical_celsius, "saturation temperature", "degrees Celsius")
    table, inverse = _saturation(known.name, _point(point)), 1 / (celsius + KELVIN_OFFSET)
    if inverse < table.inverse[-1]:
        raise _beyond(name)
    return math.exp(_log_pressure(table, inverse))


def saturation_temperature(name: str, kilopascals: float, point: SaturationPoint = "dew") -> float:
    """Degrees Celsius at which the refrigerant boils or condenses at an absolute pressure."""
    known = refrigerant(name)
    possible.positive(kilopascals, "absolute pressure", "kilopascals")
    if kilopascals >= known.critical_kilopascals:
        raise Trouble(f"{known.name} has no saturation at {kilopascals:g} kilopascals: that is above its critical point.")
    table, wanted = _saturation(known.name, _point(point)), math.log(kilopascals)
    if wanted < table.log[0] and known.triple_celsius > LOWEST:
        raise _no_liquid(known, f"at {kilopascals:g} kilopascals")
    if not table.log[0] <= wanted <= table.log[-1]:
        raise _beyond(name)
    warm, cold = table.inverse[-1], table.inverse[0]
    while cold - warm > 1e-12:  # of some 0.004: less than a microkelvin
        middle = (warm + cold) / 2
        warm, cold = (middle, cold) if _log_pressure(table, middle) > wanted else (warm, middle)
    return 2 / (warm + cold) - KELVIN_OFFSET


def _above_triple(known: Refrigerant, celsius: float) -> None:
    if celsius < known.triple_celsius:
        raise _no_liquid(known, f"at {celsius:g} degrees Celsius")


def _no_liquid(known: Refrigerant, where: str) -> Trouble:
    return Trouble(f"{known.name} has no liquid {where}: that is below its triple point.")


def atmosphere(altitude_metres: float = 0.0) -> float:
    """Air pressure in kilopascals at an altitude up to 11 km: ISO 2533 standard atmosphere."""
    possible.between(altitude_metres, -500, 11000, "altitude", "metres")
    return float(101.325 * (1 - 0.0065 * altitude_metres / 288.15) ** 5.255880)


def absolute(gauge_kilopascals: float, altitude_metres: float = 0.0) -> float:
    """Absolute pressure from a gauge, in kilopascals. Raises Trouble below a perfect vacuum."""
    total = possible.finite(gauge_kilopascals, "gauge pressure") + atmosphere(altitude_metres)
    if total < 0:
        raise Trouble(f"A gauge pressure of {gauge_kilopascals:g} kilopascals is below a vacuum: check the gauge.")
    return total


def gauge(absolute_kilopascals: float, altitude_metres: float = 0.0) -> float:
    """What a gauge shows for an absolute pressure, in kilopascals."""
    return possible.not_negative(absolute_kilopascals, "absolute pressure") - atmosphere(altitude_metres)


def superheat(name: str, suction_gauge: float, line_celsius: float, altitude_metres: float = 0.0) -> float:
    """Kelvin by which the suction gas is above its *dew* point. Gauge in kilopascals."""
    possible.celsius(line_celsius, "suction line temperature")
    total = absolute(suction_gauge, altitude_metres)
    if total < saturation_pressure(name, max(COLDEST_SUCTION, refrigerant(name).triple_celsius + 0.1), "dew"):
        said = f"A suction of {suction_gauge:g} kilopascals is a vacuum, not a running circuit: check the gauge."
        raise Trouble(said)
    return line_celsius - saturation_temperature(name, total, "dew")


def subcooling(name: str, liquid_gauge: float, line_celsius: float, altitude_metres: float = 0.0) -> float:
    """Kelvin by which the liquid is below its *bubble* point. Gauge in kilopascals."""
    possible.celsius(line_celsius, "liquid line temperature")
    return saturation_temperature(name, absolute(liquid_gauge, altitude_metres), "bubble") - line_celsius


@dataclass(frozen=True)
class Resting:
    """What a gauge should read on a circuit that has stood long enough to take the room's temperature."""

    low_gauge: float
    high_gauge: float
    sentence: str


def resting_pressure(name: str, room_celsius: float, altitude_metres: float = 0.0, doubt: float = 1.0) -> Resting:
    """Gauge pressures (kilopascals) expected at rest, over the room's temperature plus and minus `doubt` kelvin.

    A circuit that holds any liquid stands between dew and bubble pressure. Below it, the charge is all vapour: a
    small charge may be so in health, so low pressure is evidence and no proof. Above it: air, or the wrong gas.
    """
    possible.not_negative(doubt, "uncertainty of the room temperature")
    low = gauge(saturation_pressure(name, room_celsius - doubt, "dew"), altitude_metres)
    high = gauge(saturation_pressure(name, room_celsius + doubt, "bubble"), altitude_metres)
    return Resting(low, high, f"At rest the gauge should read {low:.0f} to {high:.0f} kilopascals.")


def resting_verdict(
    name: str, gauge_kilopascals: float, room_celsius: float, altitude_metres: float = 0.0, doubt: float = 1.0
) -> str:
    """ "low", "normal" or "high": a resting gauge against what `resting_pressure` expects."""
    absolute(gauge_kilopascals, altitude_metres)
    expected = resting_pressure(name, room_celsius, altitude_metres, doubt)
    if gauge_kilopascals < expected.low_gauge:
        return "low"
    return "high" if gauge_kilopascals > expected.high_gauge else "normal"


def cautions(name: str) -> tuple[str, ...]:
    """The usual cautions for a refrigerant, by its ISO 817 safety class."""
    return CAUTIONS[refrigerant(name).safety]
