"""Small parts that the number grammars of several languages are made of: how to split values.

This file knows no language: it deals with numbers, not with words.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from decimal import Decimal
from typing import Any

from handsfree.language.numerals import MOST
from handsfree.language.twoway import Production

TEMPERATURES = frozenset({"degF", "degC", "degree", "kelvin"})
HALVES = tuple(Decimal(text) for text in ("0.5", "0.25", "0.75"))

Splitter = Callable[[Any], Iterable[tuple[Any, ...]]]


def when(test: Callable[[Any], bool], *parts: Callable[[Any], Any]) -> Splitter:
    """A split that applies where `test` is true, with one function for each part."""
    return lambda value: [tuple(part(value) for part in parts)] if test(value) else []


def same(value: Any) -> Any:
    return value


def within(low: int, high: int) -> Callable[[Any], bool]:
    return lambda value: low <= value <= high


def production(name: str, parts: str, join: Callable[..., Any], split: Splitter, rare: bool = False) -> Production:
    return Production(name, tuple(parts.split()), join, split, rare)


def digit_runs(double: str, triple: str) -> list[Production]:
    """'digits', a string of <digit>s. Two or three equal ones in a row may be said with the given words."""

    def run(length: int) -> Splitter:
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
    """43.25 -> (43, '25'); the second part is empty for a whole number."""
    whole, _, fraction = f"{value:f}".partition(".")
    return int(whole or 0), fraction.rstrip("0")


def fractional(value: Decimal) -> bool:
    return bool(parts_of(value)[1])


def wholes(units: str, nought: str) -> list[Production]:
    """'whole', a number below MOST: in full, or as people read it off. `units`: the part for one to nine. `nought`: the word
    for zero between tens and units."""

    def joined(hundreds: int, rest: int) -> int:
        return 100 * hundreds + rest

    def parted(low: int, high: int, test: Callable[[int], bool]) -> Splitter:
        return when(lambda v: low <= v <= high and test(v % 100), lambda v: v // 100, lambda v: v % 100)

    return [
        Production("whole", ("<cardinal>",), same, when(within(0, MOST - 1), same)),
        # 'one eighteen'
        Production("whole", (units, "<two_digits>"), joined, parted(110, 999, lambda rest: rest >= 10)),
        # 'twelve fifty', 'twelve oh five'
        Production("whole", ("<two_digits>", "<two_digits>"), joined, parted(1010, 9999, lambda rest: rest >= 10)),
        Production("whole", ("<two_digits>", nought, units), joined, parted(1001, 9999, lambda rest: 0 < rest < 10)),
        # 'two oh eight', 'double four'
        Production("whole", ("<digits>",), lambda s: int(s) if len(s) > 1 else None, when(within(10, 999_999), str)),
    ]


def below_one(value: Decimal) -> list[tuple[str, str]]:
    """A split into the point and the figures after it, for a value with nothing before the point."""
    return [("point", parts_of(value)[1])] if fractional(value) and value < 1 else []


def after_the_point(_: str, fraction: str) -> Decimal:
    return Decimal(f"0.{fraction}")


def magnitudes(units: str, nought: str, and_: str, *more: Production) -> list[Production]:
    """'fraction', the figures after the point, and 'magnitude', a number without its sign. `and_`: the word before a half.
    `more`: a language's own productions, placed after those with a point."""
    with_half: Splitter = lambda v: [(int(v), v % 1)] if v >= 1 and v % 1 in HALVES else []  # noqa: E731
    return [
        Production("fraction", ("<digits>",), same, lambda s: [(s,)]),
        Production("fraction", ("<two_digits>",), str, lambda s: [(int(s),)] if len(s) == 2 and s[0] != "0" else []),
        Production("magnitude", ("<whole>",), Decimal, when(lambda v: not fractional(v), int)),
        Production("magnitude", ("<whole>", "<point>", "<fraction>"), lambda w, _, f: Decimal(f"{w}.{f}"),
                   lambda v: [(parts_of(v)[0], "point", parts_of(v)[1])] if fractional(v) else []),
        Production("magnitude", ("<point>", "<fraction>"), after_the_point, below_one),
        *more,
        Production("magnitude", ("<whole>", and_, "<half>"), lambda w, h: w + h, with_half),
        Production("magnitude", ("<half>",), same, when(lambda v: v in HALVES, same)),
        # a lone digit after the nought may be a decimal whose point was lost: both readings are given, the literal one first
        Production("magnitude", (nought, units), lambda u: Decimal(u) / 10,
                   when(lambda v: 0 < v < 1 and len(parts_of(v)[1]) == 1, lambda v: int(v * 10)), rare=True),
    ]
