"""The trade's arithmetic by name, at the desk or in the van: `handsfree reckon superheat R-290 250 5`."""

from __future__ import annotations

import json
import math
from dataclasses import replace

from handsfree.errors import Trouble
from handsfree.trade.calls import CALLS, TEXT, Argument, Function, call


def listed() -> str:
    """A table of every function: its arguments, their units, and its result."""
    return "\n".join(f"{_use(entry)}\n    {entry.does}" for entry in CALLS.values())


def _use(entry: Function) -> str:
    def shown(argument: Argument) -> str:
        unit = "" if argument.unit in (TEXT, "any", "same", "truth", "dimensionless") else f" in {argument.unit}"
        default = "" if argument.default is None else f" = {argument.default}"
        return f"{argument.name.upper()}{unit}{default}"

    taken = [shown(argument) for argument in entry.arguments]
    if entry.repeats:
        taken.append(f"then {' and '.join(shown(argument) for argument in entry.repeats)}, again and again")
    return f"{entry.name}  {', '.join(taken)}"


def reckon(name: str, given: tuple[str, ...]) -> tuple[float | bool | str, str]:
    """Work out one function: (value, its unit or ''). A number may carry a unit: '40degF', '36psi'.

    Raises Trouble for an unknown name, a wrong number, or a unit that does not fit."""
    if name not in CALLS:
        near = [known for known in CALLS if name.lower() in known] or list(CALLS)
        raise Trouble(f"There is no function '{name}'. Some: {', '.join(near[:8])}. 'handsfree reckon' lists all.")
    entry = CALLS[name]
    asked = [*entry.arguments, *entry.repeats * max(0, len(given))]
    texts, asked = _same(given, asked)
    values = tuple(_value(text, argument) for text, argument in zip(texts, asked, strict=False))
    if len(values) < len(given):
        raise Trouble(f"{name} takes fewer values: {_use(entry)}.")
    result = call(name, *values)
    return result, "" if entry.result in ("word", "truth", "dimensionless") else entry.result


def _parted(text: str) -> tuple[str, str]:
    """Split '40degF' into its number and its unit."""
    digits = len(text) - len(text.lstrip("-+0123456789.eE"))
    return text[:digits], text[digits:].strip()


def _same(given: tuple[str, ...], asked: list[Argument]) -> tuple[list[str], list[Argument]]:
    """Bring values that are compared to the unit of the first. A plain number beside it has that unit too."""
    if not given or not asked or asked[0].unit != "any":
        return list(given), asked
    from handsfree.language.quantities import unit_fits

    number, own = _parted(given[0])
    own = own if number else ""  # 'open', or no number at all
    degrees = bool(own) and not own.startswith("delta_") and unit_fits("degC", own)
    common = "degC" if degrees else own or "dimensionless"
    # An accuracy of a temperature is a difference: one degree Fahrenheit is 0.56 kelvin, not -17 degrees Celsius.
    units = {argument.name: "delta_degC" if degrees and argument.name == "accuracy" else common for argument in asked}
    plain = [text if _parted(text)[1] else f"{text}{own}" for text in given]  # '41' beside '40degF' is in degF
    return plain, [replace(argument, unit=units[argument.name]) for argument in asked]


def _value(text: str, argument: Argument) -> float | str:
    if argument.unit == TEXT:
        return text
    number, unit = _parted(text)
    if text.lower() in ("open", "inf"):
        return math.inf
    try:
        value = float(number)
    except ValueError:
        raise Trouble(f"'{text}' is not a number for {argument.name}: write it like 12.5, or 40degF.") from None
    if not unit:
        return value
    from handsfree.language.quantities import convert, unit_fits

    if argument.unit in ("truth", "dimensionless"):
        raise Trouble(f"'{unit}' does not fit {argument.name}, which takes a plain number here.")
    if not unit_fits(argument.unit, unit):
        raise Trouble(f"'{unit}' does not fit {argument.name}, which is in {argument.unit}.")
    return float(convert(value, unit, argument.unit))


def show(name: str, given: tuple[str, ...], as_json: bool) -> None:
    """Print the result with its unit."""
    if not name:
        print(listed())
        return
    value, unit = reckon(name, given)
    if as_json:
        print(json.dumps({"function": name, "value": None if value == math.inf else value, "unit": unit}))
        return
    told = value if isinstance(value, str) else str(value).lower() if isinstance(value, bool) else f"{value:.5g}"
    print(f"{told} {unit}".rstrip())
