"""The accuracy of an instrument as a half-width around a reading.

'0.5 degC', '1 %', '1 % + 2 digits', '1 % + 0.2 volt', '0.5 % + 3 digits of 0.1'. A digit is the last place of the number as
it was spoken unless 'of' says how much it is: 43.5 has a digit of 0.1, 43 of 1."""

from __future__ import annotations

import re
from functools import lru_cache

from handsfree.language.registry import registry

_TERM = re.compile(r"^(\d+(?:\.\d+)?) ?(%|percent|digits?(?: of (\d+(?:\.\d+)?))?|[A-Za-z][A-Za-z0-9_]*)$")


def wrong(text: str, unit: str) -> str:
    """What is wrong with an accuracy for a reading in `unit`, to follow 'step `x`'; '' for nothing."""
    try:
        half_width(text, unit, 1.0)
    except ValueError as error:
        return str(error)
    return ""


def half_width(text: str | None, unit: str, value: float) -> float:
    """In `unit`; 0 for no accuracy. ValueError with the rest of a sentence for what cannot be read."""
    if text is None:
        return 0.0
    return sum(_term(part.strip(), unit, value, text) for part in text.replace("±", "").split("+"))


def _term(part: str, unit: str, value: float, text: str) -> float:
    match = _TERM.match(part)
    if match is None:
        raise ValueError(f"has the accuracy '{text}', which is not of the form '0.5 degC', '1 %' or '1 % + 2 digits'.")
    number, what, of = float(match[1]), match[2], match[3]
    if what in ("%", "percent"):
        return abs(value) * number / 100.0
    if what.startswith("digit"):
        return number * (float(of) if of else _last_place(value))
    if what == unit:
        return number
    return number * _factor(what, unit, text)


def _last_place(value: float) -> float:
    shown = f"{value:.6f}".rstrip("0")
    return float(10.0 ** -len(shown.partition(".")[2]))


@lru_cache(maxsize=256)
def _factor(given: str, unit: str, text: str) -> float:
    """How many `unit` a difference of one `given` is: a difference of 1 degC is 1.8 degF."""
    difference = {"degC": "delta_degC", "degF": "delta_degF", "celsius": "delta_degC", "fahrenheit": "delta_degF"}
    units = registry()
    try:
        one = units.Quantity(1.0, difference.get(given, given))
        return float(one.to(difference.get(unit, unit or "dimensionless")).magnitude)
    except Exception:  # pint raises a dozen kinds, all meaning the same here
        raise ValueError(f"has the accuracy '{text}', which does not fit its unit '{unit}'.") from None


def same_kind(one: str, other: str) -> bool:
    """Both are units of the same quantity; False where either is none."""
    units = registry()
    try:
        return bool(units.Unit(one).dimensionality == units.Unit(other).dimensionality)
    except Exception:  # a unit pint does not know is reported elsewhere
        return False
