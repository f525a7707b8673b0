"""Small parts that the number grammars of several languages are made of: how values come apart.

Knows no language: what is here holds of numbers, not of words.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from decimal import Decimal
from typing import Any

from handsfree.language.twoway import Production

TEMPERATURES = frozenset({"degF", "degC", "degree", "kelvin"})
HALVES = tuple(Decimal(text) for text in ("0.5", "0.25", "0.75"))

Split = Callable[[Any], Iterable[tuple[Any, ...]]]


def when(test: Callable[[Any], bool], *parts: Callable[[Any], Any]) -> Split:
    """A split that holds where `test` does, with one function a part."""
    return lambda value: [tuple(part(value) for part in parts)] if test(value) else []


def same(value: Any) -> Any:
    return value


def within(low: int, high: int) -> Callable[[Any], bool]:
    return lambda value: low <= value <= high


def production(name: str, parts: str, join: Callable[..., Any], split: Split, rare: bool = False) -> Production:
    return Production(name, tuple(parts.split()), join, split, rare)


def digit_runs(double: str, triple: str) -> list[Production]:
    """'digits', a string of <digit>s, of which two or three alike in a row may be said with the given words."""

    def run(length: int) -> Split:
        return lambda s: [(s[0],)] if len(s) == length and len(set(s)) == 1 else []

    def more(s: str) -> list[tuple[str, str]]:
        return [(s[:n], s[n:]) for n in (1, 2, 3) if len(s) > n and len(set(s[:n])) == 1]

    return [
        Production("run", ("<digit>",), same, run(1)),
        Production("run", (double, "<digit>"), lambda d: 2 * d, run(2)),
        Production("run", (triple, "<digit>"), lambda d: 3 * d, run(3), rare=True),
        Production("digits", ("<run>", "<digits>"), lambda a, b: a + b if len(a + b) <= 9 else None, more),
        Production("digits", ("<run>",), same, lambda s: [(s,)] if len(set(s)) == 1 and len(s) <= 3 else []),
    ]


def parts_of(value: Decimal) -> tuple[int, str]:
    """43.25 -> (43, '25'); the second empty for a whole number."""
    whole, _, fraction = f"{value:f}".partition(".")
    return int(whole or 0), fraction.rstrip("0")


def fractional(value: Decimal) -> bool:
    return bool(parts_of(value)[1])
