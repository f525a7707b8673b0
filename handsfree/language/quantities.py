"""Quantities: which units there are, how they are written, whether one fits another, and how to convert one to another.

Rules of this file:

- Units carry pint's names everywhere ('degF', 'volt', '' for a bare count). Their words are in the grammar.
- 'degree' without a scale means the step's own unit.
- A step that asks in kelvin asks for a difference (superheat, subcooling), as the trade does. '280 kelvin' said to a step
  that asks in degC is a temperature.
- pint (exact factors, NIST SP 811) does the arithmetic. It is imported only when a conversion is wanted.
"""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING

from handsfree.language.declared import declared
from handsfree.language.registry import registry as registry

if TYPE_CHECKING:
    from pint import Unit

#: pint name -> how it is written, the one the program writes first
SYMBOLS: dict[str, tuple[str, ...]] = {
    "degF": ("°F", "F", "deg F", "degF"), "degC": ("°C", "C", "deg C", "degC"), "degree": ("°",), "kelvin": ("K",),
    "delta_degF": ("°F", "F"), "delta_degC": ("°C", "C"),
    "volt": ("V", "VAC", "VDC"), "millivolt": ("mV",), "kilovolt": ("kV",), "ampere": ("A",), "milliampere": ("mA",),
    "ohm": ("Ω", "Ω", "ohm"), "kiloohm": ("kΩ", "kΩ", "kohm", "kOhm"), "megaohm": ("MΩ", "MΩ", "Mohm", "MOhm"),
    "watt": ("W",), "kilowatt": ("kW",), "kilowatt_hour": ("kWh",), "hertz": ("Hz",),
    "psi": ("psi", "psig", "PSI"), "bar": ("bar",), "millibar": ("mbar",), "pascal": ("Pa",), "kilopascal": ("kPa",),
    "megapascal": ("MPa",), "inch_Hg": ("inHg",), "inch_H2O_60F": ("inH2O", "inWC"), "millitorr": ("mTorr",),
    "percent": ("%",), "second": ("s", "sec"), "minute": ("min",), "hour": ("h", "hr"), "day": ("d",),
    "kilogram": ("kg",), "gram": ("g",), "pound": ("lb", "lbs"), "ounce": ("oz",),
    "millimeter": ("mm",), "centimeter": ("cm",), "meter": ("m",), "inch": ("in",), "foot": ("ft",),
    "liter": ("L", "l"), "milliliter": ("mL", "ml"), "microfarad": ("µF", "μF", "uF", "mfd", "MFD"),
    "revolutions_per_minute": ("rpm", "RPM"), "meter_per_second": ("m/s",),
}
#: other names that a procedure may give them
_ALSO = {
    "fahrenheit": "degF", "degree_Fahrenheit": "degF", "celsius": "degC", "degree_Celsius": "degC", "K": "kelvin",
    "V": "volt", "volts": "volt", "amp": "ampere", "amps": "ampere", "A": "ampere", "ohms": "ohm", "kohm": "kiloohm",
    "W": "watt", "Hz": "hertz", "pound_force_per_square_inch": "psi", "%": "percent", "min": "minute", "s": "second",
    "delta_degree_Fahrenheit": "delta_degF", "delta_degree_Celsius": "delta_degC", "rpm": "revolutions_per_minute",
}
_TEMPERATURES = frozenset({"degF", "degC", "kelvin", "delta_degF", "delta_degC"})
#: where a difference is asked for and a temperature's unit is answered, the number is the difference
_DIFFERENCES = {"degF": "delta_degF", "degC": "delta_degC", "kelvin": "delta_degC"}
#: names said for short: (asked, spoken). A gauge in psi is read as 'sixty eight pounds'.
_SAID_SHORT = frozenset({("psi", "pound")})


def _unit(name: str) -> Unit:
    from pint.errors import UndefinedUnitError

    from handsfree.errors import Trouble

    try:
        return registry().Unit(name)
    except (UndefinedUnitError, ValueError, AttributeError) as error:
        raise Trouble(f"'{name}' is not a unit; use a pint name such as degF, degC, volt, ampere, ohm or psi.") from error


@cache
def pint_name(unit: str) -> str:
    """The name of a unit here: 'V' -> 'volt', 'fahrenheit' -> 'degF'. Trouble for what is no unit."""
    name = unit.strip()
    if not name or name in SYMBOLS:
        return name
    if name in _ALSO:
        return _ALSO[name]
    full = str(_unit(name))
    return full if full in SYMBOLS else _ALSO.get(full, full)


def unit_as_typed(unit: str) -> str:
    """As a writer puts it, without spaces and capitals: 'degrees C' -> 'degc'."""
    return re.sub(r"\s+|(?<=deg)rees?(?!$)", "", unit.casefold())


@cache
def units_as_typed() -> dict[str, str]:
    """Every way a unit is written, put plainly -> its name here; differences left out."""
    names = {name: (name, *ways) for name, ways in SYMBOLS.items() if not name.startswith("delta_")}
    also = {unit_as_typed(way): name for way, name in _ALSO.items() if name in names}
    return also | {unit_as_typed(way): name for name, ways in names.items() for way in ways}


def _is_difference(unit: str) -> bool:
    return unit.startswith("delta_") or unit == "kelvin"


@cache
def _dimension(unit: str) -> str:
    return "percent" if unit == "percent" else str(_unit(unit).dimensionality)


@cache
def unit_meant(asked: str, spoken: str | None) -> str:
    """The unit that a spoken one stands for at a step that asks in `asked`: none or 'degree' is the step's own; a
    temperature's unit where a difference is asked for is that difference; 'pounds' where psi is asked for is psi."""
    asked = pint_name(asked)
    if spoken is None or (spoken == "degree" and asked in _TEMPERATURES) or (asked, spoken) in _SAID_SHORT:
        return asked
    spoken = pint_name(spoken)
    return _DIFFERENCES.get(spoken, spoken) if _is_difference(asked) and spoken != asked else spoken


@cache
def unit_fits(asked: str, spoken: str | None) -> bool:
    """False where the spoken unit contradicts the one asked for: volts for ohms, any unit for a bare count."""
    own, asked = unit_meant(asked, spoken), pint_name(asked)
    if own == asked:
        return True
    if own.startswith("delta_") and not _is_difference(asked):
        return False
    return bool(own and asked) and own != "degree" and _dimension(own) == _dimension(asked)


def convert(value: float, spoken: str | None, asked: str) -> float:
    """The value in the unit asked for: (0, 'degC', 'degF') -> 32. The same number where the unit is the same.
    Trouble where the units contradict each other."""
    from handsfree.errors import Trouble

    own, asked = unit_meant(asked, spoken), pint_name(asked)
    if own == asked:
        return value
    if not unit_fits(asked, spoken):
        raise Trouble(f"A reading in {spoken or 'no unit'} does not answer a step that asks for {asked or 'a count'}.")
    return float(registry().Quantity(value, own).to(asked).magnitude)


def symbol(unit: str) -> str:
    """How the unit is written after a number, with its space: 'degF' -> ' °F', '' -> ''."""
    name = pint_name(unit)
    return " " + SYMBOLS.get(name, (name.replace("_", " "),))[0] if name else ""


def alike(unit: str) -> tuple[str, ...]:
    """The units here that fit the one asked for, itself first."""
    asked = pint_name(unit)
    if not asked:
        return ()
    rest = [name for name in SYMBOLS if name not in (asked, "degree", "delta_degF", "delta_degC") and unit_fits(asked, name)]
    return (asked, *rest, *(["degree"] if asked in _TEMPERATURES else []))


SYMBOLS.update({name: one.symbols for name, one in declared().items()})
