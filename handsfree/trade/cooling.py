"""Air-side splits, run time, and heat: doors, walls, warm stock, moist air.

Thresholds marked so are common practice; the formulas carry their source.
"""

from __future__ import annotations

import math
from enum import StrEnum
from typing import TYPE_CHECKING

from handsfree.errors import Trouble
from handsfree.trade import possible
from handsfree.trade.uncertain import LimitVerdict, best, hold_against

if TYPE_CHECKING:
    from handsfree.trade.uncertain import Value

WATER_HEAT = 4.18  # kJ / (kg K) at 20 degC: soft drinks and beer lie within a few percent of water (from memory)
CONDENSER_CLEAN, CONDENSER_DIRTY = 15.0, 20.0  # kelvin over the entering air: common practice, no source
# A warm cabinet boils the refrigerant warmer, so that more heat comes over to the condenser: about 2 % a kelvin of the
# cabinet above 5 degrees, and no more than half as much again. Common practice, no source.
LOAD_A_KELVIN, LOAD_MOST, LOAD_FROM = 0.02, 1.5, 5.0
# A setting of a drinks cabinet (39 and 46 degF, as the procedures have them): common practice, no source.
SETTING_LOW, SETTING_HIGH = (39 - 32) / 1.8, (46 - 32) / 1.8
DEW_LOWEST = -45.0  # degrees Celsius: the Magnus form over water was fitted to some -40 (from memory)
EVAPORATOR_LOW, EVAPORATOR_HIGH = 3.0, 12.0  # kelvin of air-side split: common practice, no source


def run_time_fraction(on_minutes: float, off_minutes: float) -> float:
    """Share of the time that the compressor runs, from one or more whole cycles."""
    on = possible.not_negative(on_minutes, "time on", "minutes")
    off = possible.not_negative(off_minutes, "time off", "minutes")
    if on + off == 0:
        raise Trouble("The run time needs at least one timed stretch: time a whole cycle.")
    return on / (on + off)


class Split(StrEnum):
    """What a temperature split says."""

    LOW = "low"
    NORMAL = "normal"
    HIGH = "high"
    BORDERLINE = "borderline"


def _band(value: Value, low: float, high: float, what: str) -> Split:
    under = hold_against(value, low=low, what=what).verdict
    over = hold_against(value, high=high, what=what).verdict
    if LimitVerdict.BORDERLINE in (under, over):
        return Split.BORDERLINE
    if under is LimitVerdict.FAIL:
        return Split.LOW
    return Split.HIGH if over is LimitVerdict.FAIL else Split.NORMAL


def evaporator_split(air_in: Value, air_out: Value) -> Split:
    """Judge how far the air cools across the evaporator, from readings in degrees Celsius after ten minutes of running.

    Low: little refrigeration, or far too much air. High: too little air (ice, a slow fan, a blocked return).
    """
    possible.celsius(best(air_in), "air into the evaporator")
    possible.celsius(best(air_out), "air out of the evaporator")
    return _band(air_in - air_out, EVAPORATOR_LOW, EVAPORATOR_HIGH, "evaporator split")


def condenser_state(condensing: Value, air_in: Value, cabinet: float = LOAD_FROM) -> str:
    """ "clean", "suspect", "dirty" or "borderline", from the condensing temperature over the entering air.

    The condensing temperature comes from a gauge, or from a probe clipped to a tube bend half-way along the coil.
    A dirty coil, a slow fan, or hot air drawn in again all raise it; look before you clean. `cabinet`: the air inside,
    degrees Celsius; a warm one loads the condenser more, and the limits go up with it.
    """
    possible.celsius(best(condensing), "condensing temperature")
    possible.celsius(best(air_in), "air into the condenser")
    share = min(LOAD_MOST, 1 + LOAD_A_KELVIN * max(0.0, possible.celsius(cabinet, "air in the cabinet") - LOAD_FROM))
    split = _band(condensing - air_in, CONDENSER_CLEAN * share, CONDENSER_DIRTY * share, "condenser split")
    return {Split.LOW: "clean", Split.NORMAL: "suspect", Split.HIGH: "dirty"}.get(split, "borderline")


def dew_point(celsius: float, humidity_percent: float) -> float:
    """Degrees Celsius at which this air wets a surface, over water: the Magnus form inverted. Alduchov and Eskridge,
    J. Appl. Meteor. 35 (1996)."""
    t = possible.between(possible.celsius(celsius), DEW_LOWEST, 60, "air temperature", "degrees Celsius")
    if possible.humidity(humidity_percent) == 0:
        raise Trouble("Air of zero humidity has no dew point: check the hygrometer.")
    gamma = math.log(humidity_percent / 100) + 17.625 * t / (t + 243.04)
    wets = 243.04 * gamma / (17.625 - gamma)
    if wets < DEW_LOWEST:
        raise Trouble("Air as dry as this has no dew point that the formula reaches: check the hygrometer.")
    return wets


def fill_kilojoules(kilograms: float, warm: float, cold: float, specific_heat: float = WATER_HEAT) -> float:
    """Heat to take from a fill, m c dT, in kilojoules. Above freezing only: no latent heat of freezing is counted."""
    possible.not_negative(kilograms, "mass of the stock", "kilograms")
    possible.positive(specific_heat, "specific heat")
    if possible.celsius(cold, "temperature aimed for") > possible.celsius(warm, "temperature of the fill"):
        raise Trouble("The fill is already colder than the target temperature: there is no heat to remove.")
    if cold < 0:
        raise Trouble("A fill below zero degrees freezes, and the heat of freezing is not counted: aim for a warmer one.")
    return kilograms * specific_heat * (warm - cold)


def fill_hours(kilograms: float, warm: float, cold: float, capacity_watts: float, load_watts: float = 0.0) -> float:
    """Hours to cool a fill with what the deck has left over its other loads. Raises Trouble when nothing is left.

    An energy balance: the true time is longer, since heat leaves the last bottles slowly.
    """
    spare = possible.positive(capacity_watts, "cooling capacity", "watts") - possible.not_negative(load_watts, "load")
    if spare <= 0:
        raise Trouble("The other loads take all of the cooling capacity: this fill will never be cooled.")
    return fill_kilojoules(kilograms, warm, cold) * 1000 / spare / 3600


def fill_kilowatt_hours(kilograms: float, warm: float, cold: float, performance: float = 1.5) -> float:
    """Electrical energy to cool a fill, for a coefficient of performance (about 1.5: common practice, no source)."""
    return fill_kilojoules(kilograms, warm, cold) / 3600 / possible.positive(performance, "coefficient of performance")


def setting_advice(set_point: float) -> str:
    """ "too cold", "normal" or "too warm" for a drinks cabinet's setting in degrees Celsius.

    Factory setting near 43 degF (6.1 degC); much below 39 degF (3.9 degC) risks freezing: common practice, no source.
    """
    possible.celsius(set_point, "setting")
    if set_point < SETTING_LOW:
        return "too cold"
    return "too warm" if set_point > SETTING_HIGH else "normal"


def compressor_by_touch(touch: str) -> str:
    """What a compressor's shell says: "cool", "warm" or "very hot". Common practice, no source."""
    says = {"cool": "not running", "warm": "running normally", "very hot": "overworked"}
    if touch not in says:
        raise Trouble(f"A compressor feels cool, warm or very hot, not {touch!r}.")
    return says[touch]
