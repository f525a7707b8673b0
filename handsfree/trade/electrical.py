"""Supply, current, windings, insulation, capacitors and leads.

Each judgement takes readings that may carry an uncertainty (`uncertain.reading`) and refuses to decide a
borderline one. Working on live parts, and all work on the fixed supply, is for licensed people under local codes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from handsfree.errors import Trouble
from handsfree.trade import possible
from handsfree.trade.uncertain import COVERAGE, Comparison, best, hold_against, reading, spread

if TYPE_CHECKING:
    from handsfree.trade.uncertain import Value

# Fractions of the nominal voltage. ANSI C84.1, service voltage, at the meter: range A 5 percent each way; range B for 120 V
# 110 to 127 V (from memory). EN 50160: 10 percent each way. At an outlet ANSI's utilization voltage applies, range A: 108 V
# of 120 V where no lighting is fed; an edition has 110 V, and the lower accuses no outlet wrongly (both from memory).
# Japan: 101 V, 6 V either way. Mexico, 127 V: 10 percent either way. Sites that say 240 V may have ANSI's, 216 to 252 V at
# an outlet, or the 230 V of Britain, 216.2 to 253 V: held to the wider. All three from memory.
SUPPLY_BANDS: dict[str, tuple[float, float]] = {
    "ANSI C84.1 A": (0.95, 1.05),
    "ANSI C84.1 B": (110 / 120, 127 / 120),
    "ANSI C84.1 A at an outlet": (0.90, 1.05),
    "EN 50160": (0.90, 1.10),
    "Japan": (0.95, 1.07),
    "Mexico": (0.90, 1.10),
    "240 V": (0.90, 253 / 240),
}
# What a supply system's nominal voltage is, in volts, and the limits at its outlets. ANSI C84.1 names 120, 208 and 240 V,
# EN 50160 names 230 V; 220 V is held as that (countries differ).
SYSTEMS: dict[float, str] = {
    100.0: "Japan", 120.0: "ANSI C84.1 A at an outlet", 127.0: "Mexico", 208.0: "ANSI C84.1 A at an outlet",
    220.0: "EN 50160", 230.0: "EN 50160", 240.0: "240 V",
}  # fmt: skip
# Copper and aluminium: IEC 60034-1, resistance method (aluminium's 225 from memory).
WINDING_CONSTANT = {"copper": 234.5, "aluminium": 225.0}
INSULATION_LEAST = 1.0  # megohm, protective class I: EN 50699 / VDE 0702 (from memory)
DROP_LIMIT = 0.10  # of the resting voltage while the motor starts: common practice, no source
LOCKED_MULTIPLE = 3.0  # running current of three times the plate's: common practice, no source
PLATE_HIGH, PLATE_LOW = 1.10, 0.50  # of the plate's current: common practice, no source
LEAD_OHMS = 0.2  # less than meter leads: common practice, no source
SHORT_AMPERES = 250.0  # no winding of a cabinet's compressor draws so much, even locked: common practice, no source
# Degrees Celsius: no winding is colder, and the enamel of none outlives more (class H is 180, IEC 60085, from memory).
WINDING_LOW, WINDING_HIGH = -50.0, 300.0
SAFE_VOLTS = 34.0  # a capacitor one second after unplugging: IEC 60335-1 clause 22.5 (from memory)


def supply(volts: Value, nominal: float, standard: str = "EN 50160") -> Comparison:
    """Hold the supply voltage against a standard named in `SUPPLY_BANDS`."""
    possible.not_negative(best(volts), "supply voltage", "volts")
    possible.positive(nominal, "nominal voltage", "volts")
    if standard not in SUPPLY_BANDS:
        raise Trouble(f"The supply standard {standard!r} is not known: use one of {', '.join(SUPPLY_BANDS)}.")
    low, high = SUPPLY_BANDS[standard]
    return hold_against(volts, low * nominal, high * nominal, what="supply voltage")


def supply_system(volts: Value, system: float) -> Comparison:
    """Hold an outlet's voltage against the limits of its nominal system, not of a plate. Trouble for any other."""
    if system not in SYSTEMS:
        known = ", ".join(f"{one:g}" for one in SYSTEMS)
        raise Trouble(f"{system:g} volts is not a supply system: name the site's system, not the plate. Known: {known}.")
    return supply(volts, system, SYSTEMS[system])


class Current(StrEnum):
    """What a running current says."""

    NONE = "none"
    LOW = "low"
    NORMAL = "normal"
    HIGH = "high"
    LOCKED = "locked rotor"
    BORDERLINE = "borderline"


def running_current(amperes: Value, plate: float, locked_plate: float | None = None) -> Current:
    """Judge a current against the plate.

    Locked rotor is suspected from three times the plate's running current, or from 70 percent of the plate's
    locked-rotor current where it states one. All shares are common practice, no source.
    """
    possible.not_negative(best(amperes), "current", "amperes")
    possible.positive(plate, "current on the plate", "amperes")
    locked = LOCKED_MULTIPLE * plate
    if locked_plate is not None:
        locked = 0.7 * possible.positive(locked_plate, "locked-rotor current on the plate", "amperes")
        if locked <= PLATE_HIGH * plate:  # or a sound running current would be called locked
            raise Trouble("The locked-rotor current must be well above the running current: read the plate again.")
    # Highest first: the first limit that is surely reached names the current; a doubtful limit ends the search.
    bands = (
        (locked, Current.LOCKED),
        (PLATE_HIGH * plate, Current.HIGH),
        (PLATE_LOW * plate, Current.NORMAL),
        (0.02 * plate, Current.LOW),
    )
    for limit, name in bands:
        verdict = hold_against(amperes, low=limit, what="current").verdict
        if verdict == "borderline":
            return Current.BORDERLINE
        if verdict == "pass":
            return name
    return Current.NONE


class Windings(StrEnum):
    """What three winding resistances, and each to frame, say."""

    SOUND = "sound"
    OPEN = "open"
    COMMON = "common open"
    SHORTED = "shorted"
    FRAME = "to frame"
    MISMATCH = "does not add up"
    BORDERLINE = "borderline"


@dataclass(frozen=True)
class WindingReport:
    """Judgement of a single-phase motor: terminals are common, start, run, when they can be told."""

    verdict: Windings
    sentence: str
    run: float = math.nan
    start: float = math.nan


def windings(
    common_start: Value, common_run: Value, start_run: Value, frame_megohms: float = math.inf, plate: float | None = None
) -> WindingReport:
    """Judge the windings of a hermetic single-phase motor, all leads off. Resistances in ohms; infinite is open.

    Between start and run the two windings lie in series, so that reading is the sum of the other two
    (Kirchhoff); a fourth check is to the frame, in megohms. `plate`: the compressor's voltage, which says what a winding
    would draw: more than `SHORT_AMPERES` is a short circuit (Ohm's law). Common open to both, with start to run sound, is
    the overload in the shell as well as a winding: it is COMMON, which condemns nothing. Run above start is sound too:
    some compressors with a starting thermistor are wound so.
    """
    values = (common_start, common_run, start_run)
    for value, name in zip(values, ("common to start", "common to run", "start to run"), strict=True):
        possible.ohms(best(value), f"resistance from {name}")
    possible.ohms(frame_megohms, "resistance to the frame")
    if frame_megohms < INSULATION_LEAST:
        return WindingReport(Windings.FRAME, "A winding leaks to the frame. Do not power this compressor again.")
    if math.isinf(best(common_start)) and math.isinf(best(common_run)) and not math.isinf(best(start_run)):
        return WindingReport(Windings.COMMON, _where_open([True, True, False]))
    if any(math.isinf(best(v)) for v in values):
        return WindingReport(Windings.OPEN, _where_open([math.isinf(best(v)) for v in values]))
    least = LEAD_OHMS if plate is None else max(LEAD_OHMS, possible.positive(plate, "voltage on the plate") / SHORT_AMPERES)
    if min(best(v) for v in values) < least:
        return WindingReport(Windings.SHORTED, "A winding reads as a short circuit. Zero the leads and repeat once.")
    return _sum_rule(common_start, common_run, start_run)


def _where_open(opened: list[bool]) -> str:
    common_start, common_run, start_run = opened
    if common_start and common_run and not start_run:
        return "Common is open. If the shell is hot, the overload may be open: let it cool and repeat."
    if common_start and start_run and not common_run:
        return "The start winding is open."
    if common_run and start_run and not common_start:
        return "The run winding is open."
    return "A winding is open. Check the meter leads, then repeat once."


def _sum_rule(common_start: Value, common_run: Value, start_run: Value) -> WindingReport:
    gap = start_run - (common_start + common_run)
    run, start = best(common_run), best(common_start)
    # Lead resistance enters once on the left and twice on the right; 3 percent of the sum: common practice.
    allowed = COVERAGE * spread(gap) + 0.03 * best(start_run) + 0.2
    if abs(best(gap)) > allowed:
        said = "Start to run is not the sum of the other two. Measure all three again."
        return WindingReport(Windings.MISMATCH, said, run, start)
    if COVERAGE * spread(gap) > 0.25 * best(start_run):
        return WindingReport(Windings.BORDERLINE, "This meter is too coarse for these windings.", run, start)
    return WindingReport(Windings.SOUND, "The windings add up, and none goes to the frame.", run, start)


def terminals(ab: float, bc: float, ca: float) -> dict[str, str]:
    """Name the three pins a, b, c from the readings between them: common, start and run.

    The highest reading lies between start and run, so the pin left over is common; the lower of the other two
    readings is the run winding. Raises Trouble when two readings are too alike to tell, or the three do not add up.
    """
    pairs = {"ab": possible.ohms(ab), "bc": possible.ohms(bc), "ca": possible.ohms(ca)}
    if any(math.isinf(v) for v in pairs.values()):
        raise Trouble("The pins cannot be named while a winding reads open.")
    ranked = sorted(pairs, key=pairs.__getitem__)
    low, middle, high = (pairs[name] for name in ranked)
    if low <= 0 or middle / low < 1.05 or high / middle < 1.05:
        raise Trouble("The three readings are too alike to name the pins: use the marks on the compressor.")
    # A meter shows tenths of an ohm, and its leads add some: common practice, no source.
    if _sum_rule(*(reading(each, "0.1") for each in (middle, low, high))).verdict is Windings.MISMATCH:
        raise Trouble("The highest reading is not the sum of the other two: measure all three again.")
    common = next(pin for pin in "abc" if pin not in ranked[2])
    run = next(pin for pin in ranked[0] if pin != common)
    start = next(pin for pin in ranked[1] if pin != common)
    return {"common": common, "run": run, "start": start}


def winding_temperature(cold_ohms: float, cold_celsius: float, hot_ohms: float, metal: str = "copper") -> float:
    """Mean winding temperature in degrees Celsius, by the resistance method of IEC 60034-1.

    (k + t2) / (k + t1) = R2 / R1 with k = 234.5 for copper.
    """
    if metal not in WINDING_CONSTANT:
        raise Trouble(f"The winding metal {metal!r} is not known: use copper or aluminium.")
    possible.positive(cold_ohms, "cold resistance", "ohms")
    possible.positive(hot_ohms, "hot resistance", "ohms")
    constant = WINDING_CONSTANT[metal]
    possible.between(cold_celsius, WINDING_LOW, 150, "temperature of the cold winding", "degrees Celsius")
    hot = hot_ohms / cold_ohms * (constant + cold_celsius) - constant
    if not WINDING_LOW <= hot <= WINDING_HIGH:
        raise Trouble(f"These resistances would mean a winding of {hot:.0f} degrees Celsius: take both again.")
    return hot


def insulation(megohms: Value, least: float = INSULATION_LEAST) -> Comparison:
    """Hold an insulation resistance (megohms, infinite allowed) against the least permitted."""
    possible.ohms(best(megohms), "insulation resistance")
    if math.isinf(best(megohms)):
        return hold_against(1e9, low=least, what="insulation")
    return hold_against(megohms, low=least, what="insulation")


def capacitor(microfarads: Value, plate: float, minus_percent: float = 6.0, plus_percent: float = 6.0) -> Comparison:
    """Hold a capacitance against its plate. Run capacitors are commonly 5 to 6 percent, 10 at most: read the plate."""
    possible.not_negative(best(microfarads), "capacitance", "microfarads")
    possible.positive(plate, "capacitance on the plate", "microfarads")
    possible.between(minus_percent, 0, 100, "lower tolerance", "percent")
    possible.not_negative(plus_percent, "upper tolerance", "percent")
    low, high = plate * (1 - minus_percent / 100), plate * (1 + plus_percent / 100)
    return hold_against(microfarads, low, high, what="capacitance")


def capacitance_from_current(amperes: float, volts: float, hertz: float) -> float:
    """Microfarads of a capacitor under load: C = I / (2 pi f V), the reactance of a capacitor."""
    possible.not_negative(amperes, "capacitor current", "amperes")
    possible.positive(volts, "capacitor voltage", "volts")
    possible.positive(hertz, "frequency", "hertz")
    return 1e6 * amperes / (2 * math.pi * hertz * volts)


def discharge_seconds(microfarads: float, resistor: float, volts: float, safe: float = SAFE_VOLTS) -> float:
    """Seconds until a capacitor across a resistor (ohms) falls to the safe voltage: t = R C ln(V / safe).

    `volts` is what the capacitor holds. Pulled off the mains it holds the peak at most: 1.41 times what a meter shows.
    """
    possible.positive(microfarads, "capacitance", "microfarads")
    possible.positive(possible.ohms(resistor), "discharge resistance", "ohms")
    possible.not_negative(volts, "voltage", "volts")
    possible.positive(safe, "safe voltage", "volts")
    return max(0.0, resistor * microfarads * 1e-6 * math.log(max(volts, 1e-300) / safe))


def start_drop(resting: Value, starting: Value, limit: float = DROP_LIMIT) -> Comparison:
    """Judge the drop of voltage while the motor starts; FAIL says a long or thin lead, or a poor joint.

    The limit of a tenth is common practice, no source.
    """
    possible.positive(best(resting), "resting voltage", "volts")
    possible.not_negative(best(starting), "voltage on start", "volts")
    drop = (resting - starting) / resting
    if best(drop) + COVERAGE * spread(drop) < 0:
        raise Trouble("The voltage on start is above the resting voltage: take both readings again.")
    return hold_against(drop, high=limit, what="drop of voltage on start")


def heater_ohms(watts: float, volts: float) -> float:
    """Resistance that a heater of this plate should read: R = V^2 / P (Joule's law)."""
    return possible.positive(volts, "voltage", "volts") ** 2 / possible.positive(watts, "power", "watts")
