"""The functions that an expression may call: what each takes and gives, whoever's table it comes from.

Two kinds of table entry are understood: a plain function, read by its annotations, and an entry of the trade's own table,
which says the unit of each argument. Besides, a few conversions are built in, for the trade's functions take degrees
Celsius and kilopascals whatever the technician reads."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from handsfree.resources import of_trade

#: Name -> a function, or an entry of `handsfree.trade.calls.CALLS`.
Calls = Mapping[str, Any]
_UNITLESS = frozenset({"any", "dimensionless"})


@dataclass(frozen=True)
class Parameter:
    """`what`: number, text or truth. `unit`: None takes any; 'same' is that of the first argument."""

    name: str
    what: str
    unit: str | None = None
    needed: bool = True


@dataclass(frozen=True)
class Signature:
    """`repeats` may follow any number of times as a group, at least `groups` times. `words`: of a result that is text.
    `weighs`: it takes the instrument's accuracy as an argument, and answers for it."""

    parameters: tuple[Parameter, ...]
    what: str
    unit: str | None = None
    words: tuple[str, ...] | None = None
    repeats: tuple[Parameter, ...] = ()
    groups: int = 0
    weighs: bool = False


@dataclass(frozen=True)
class _Argument:
    name: str
    unit: str
    default: Any = None


@dataclass(frozen=True)
class _Conversion:
    """Shaped as an entry of the trade's table."""

    function: Callable[..., float]
    arguments: tuple[_Argument, ...]
    result: str
    words: tuple[str, ...] = ()
    repeats: tuple[_Argument, ...] = ()
    groups: int = 0


#: NIST SP 811: exact factors (from memory); 1 psi = 6.894757 kPa, 1 bar = 100 kPa.
BUILT_IN: Calls = {
    "celsius": _Conversion(lambda x: (x - 32.0) / 1.8, (_Argument("temperature", "degF"),), "degC"),
    "fahrenheit": _Conversion(lambda x: x * 1.8 + 32.0, (_Argument("temperature", "degC"),), "degF"),
    "celsius_steps": _Conversion(lambda x: x / 1.8, (_Argument("difference", "delta_degF"),), "delta_degC"),
    "psi_to_kilopascal": _Conversion(lambda x: x * 6.894757, (_Argument("pressure", "psi"),), "kilopascal"),
    "bar_to_kilopascal": _Conversion(lambda x: x * 100.0, (_Argument("pressure", "bar"),), "kilopascal"),
}


def usual_calls() -> Calls:
    """The table of the trade's functions; empty where the trade is left out."""
    module = of_trade("calls")
    calls: Calls = {} if module is None else module.CALLS
    return calls


@cache
def signature(entry: Any) -> Signature:
    """What a function takes and gives."""
    if not hasattr(entry, "arguments"):
        return _of_function(entry)
    what, unit = _kind(entry.result)
    return Signature(
        tuple(_parameter(one) for one in entry.arguments), what, unit, tuple(entry.words) if what == "text" else None,
        tuple(_parameter(one) for one in entry.repeats), entry.groups,
        any(one.name == "accuracy" for one in entry.arguments),
    )  # fmt: skip


def run_function(entry: Any, values: list[Any]) -> Any:
    """Whatever it raises, and it may raise anything, is the caller's to catch."""
    if not hasattr(entry, "arguments"):
        return entry(*values)
    return entry.function(*values, *(one.default for one in entry.arguments[len(values) :]))


def _parameter(argument: Any) -> Parameter:
    what, unit = _kind(argument.unit)
    return Parameter(argument.name, what, unit, argument.default is None)


def _kind(unit: str) -> tuple[str, str | None]:
    if unit in ("text", "word"):
        return "text", None
    if unit == "truth":
        return "truth", None
    return "number", None if unit in _UNITLESS else unit


def _of_function(function: Callable[..., Any]) -> Signature:
    kinds = {"str": "text", "bool": "truth"}

    def kind(annotation: Any) -> str:
        return kinds.get(annotation if isinstance(annotation, str) else getattr(annotation, "__name__", ""), "number")

    shape = inspect.signature(function)
    positional = (inspect.Parameter.POSITIONAL_ONLY, inspect.Parameter.POSITIONAL_OR_KEYWORD)
    parameters = tuple(
        Parameter(one.name, kind(one.annotation), None, one.default is inspect.Parameter.empty)
        for one in shape.parameters.values() if one.kind in positional
    )  # fmt: skip
    return Signature(parameters, kind(shape.return_annotation))
