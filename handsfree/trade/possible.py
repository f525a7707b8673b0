"""Refuses values that no cabinet, meter or room can have, with one sentence each (`Trouble`)."""

from __future__ import annotations

import math

from handsfree.errors import Trouble

ABSOLUTE_ZERO = -273.15  # degrees Celsius, exact by definition: NIST SP 811
KELVIN_OFFSET = 273.15


def finite(value: float, what: str) -> float:
    """Return `value`, or raise Trouble when it is not an ordinary number."""
    if not math.isfinite(value):
        raise Trouble(f"The {what} is not a number that can be used: take the reading again.")
    return value


def celsius(value: float, what: str = "temperature") -> float:
    """Return a temperature in degrees Celsius, or raise Trouble below absolute zero."""
    finite(value, what)
    if value < ABSOLUTE_ZERO:
        raise Trouble(f"The {what} of {value:g} degrees Celsius is below absolute zero ({ABSOLUTE_ZERO}): read it again.")
    return value


def positive(value: float, what: str, unit: str = "") -> float:
    """Return a value above zero, or raise Trouble."""
    finite(value, what)
    if value <= 0:
        raise Trouble(f"The {what} of {value:g} {unit}".rstrip() + " must be above zero: read it again.")
    return value


def not_negative(value: float, what: str, unit: str = "") -> float:
    """Return a value of zero or more, or raise Trouble."""
    finite(value, what)
    if value < 0:
        raise Trouble(f"The {what} of {value:g} {unit}".rstrip() + " cannot be negative: read it again.")
    return value


def ohms(value: float, what: str = "resistance") -> float:
    """Return a resistance; infinity is allowed, since a meter shows an open circuit as over-range."""
    if math.isnan(value):
        raise Trouble(f"The {what} is not a number that can be used: take the reading again.")
    if value < 0:
        raise Trouble(f"A {what} of {value:g} ohms is impossible: check the meter and its leads.")
    return value


def between(value: float, low: float, high: float, what: str, unit: str = "") -> float:
    """Return a value inside `low` to `high`, or raise Trouble that names the range."""
    finite(value, what)
    if not low <= value <= high:
        spaced = f" {unit}" if unit else ""
        raise Trouble(f"The {what} of {value:g}{spaced} is outside {low:g} to {high:g}{spaced}: read it again.")
    return value


def humidity(percent: float) -> float:
    """Return a relative humidity in percent, or raise Trouble outside 0 to 100."""
    finite(percent, "humidity")
    if not 0 <= percent <= 100:
        raise Trouble(f"A humidity of {percent:g} percent is impossible: it lies between 0 and 100 percent.")
    return percent
