"""How numbers are said in English: the table of productions, both ways.

Rules of this file:

- The words and their values are in grammar/en.jsgf; here is only how they are put together.
- The first way of every value is the one the program says. A production marked rare is understood but not said.
- A point, a minus or a unit is never supplied: 'two fifty' is 250, not 2.50 (english_hearing.py lists the choices).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from decimal import Decimal
from typing import Any

from handsfree.language.expand import expand
from handsfree.language.jsgf import Grammar
from handsfree.language.numerals import MOST
from handsfree.language.twoway import Entry, Production, TwoWay

TEMPERATURES = frozenset({"degF", "degC", "degree", "kelvin"})
HALVES = tuple(Decimal(text) for text in ("0.5", "0.25", "0.75"))

Split = Callable[[Any], Iterable[tuple[Any, ...]]]


def _when(test: Callable[[Any], bool], *parts: Callable[[Any], Any]) -> Split:
    """A split that holds where `test` does, with one function a part."""
    return lambda value: [tuple(part(value) for part in parts)] if test(value) else []


def _same(value: Any) -> Any:
    return value


def _within(low: int, high: int) -> Callable[[Any], bool]:
    return lambda value: low <= value <= high


def _cardinals() -> list[Production]:
    def p(name: str, parts: str, join: Callable[..., Any], split: Split, rare: bool = False) -> Production:
        return Production(name, tuple(parts.split()), join, split, rare)

    hundreds = _when(lambda v: 100 <= v <= 999 and v % 100 == 0, lambda v: v // 100)
    hundreds_more = _when(lambda v: 101 <= v <= 999 and v % 100 > 0, lambda v: v // 100, lambda v: v % 100)
    whole_thousand = _when(lambda v: 1000 <= v < 10**6 and v % 1000 == 0, lambda v: v // 1000)
    thousand_more = _when(lambda v: 1000 < v < 10**6 and v % 1000 > 0, lambda v: v // 1000, lambda v: v % 1000)
    # 'twenty two hundred', but nobody says 'twenty hundred'
    many = _when(lambda v: 1100 <= v <= 9999 and v % 100 == 0 and v // 100 % 10 > 0, lambda v: v // 100)
    many_more = _when(
        lambda v: 1100 < v <= 9999 and v % 100 > 0 and v // 100 % 10 > 0, lambda v: v // 100, lambda v: v % 100
    )
    return [
        p("below_100", "<unit_digit>", _same, _when(_within(1, 9), _same)),
        p("below_100", "<two_digits>", _same, _when(_within(10, 99), _same)),
        p("two_digits", "<teen>", _same, _when(_within(10, 19), _same)),
        p("two_digits", "<tens>", _same, _when(lambda v: v >= 20 and v % 10 == 0, _same)),
        p("two_digits", "<tens> <unit_digit>", lambda t, u: t + u,
          _when(lambda v: 20 < v <= 99 and v % 10 > 0, lambda v: v - v % 10, lambda v: v % 10)),
        p("hundreds", "<unit_digit> hundred", lambda h: 100 * h, hundreds),
        p("hundreds", "<unit_digit> hundred and <below_100>", lambda h, r: 100 * h + r, hundreds_more),
        p("hundreds", "<unit_digit> hundred <below_100>", lambda h, r: 100 * h + r, hundreds_more),
        p("below_1000", "<below_100>", _same, _when(_within(1, 99), _same)),
        p("below_1000", "<hundreds>", _same, _when(_within(100, 999), _same)),
        p("tail", "<hundreds>", _same, _when(_within(100, 999), _same)),
        p("tail", "and <below_100>", _same, _when(_within(1, 99), _same)),
        p("tail", "<below_100>", _same, _when(_within(1, 99), _same)),
        p("thousands", "<below_1000> thousand", lambda t: 1000 * t, whole_thousand),
        p("thousands", "<below_1000> thousand <tail>", lambda t, r: 1000 * t + r, thousand_more),
        p("millions", "<below_1000> million", lambda m: m * 10**6,
          _when(lambda v: 10**6 <= v < MOST and v % 10**6 == 0, lambda v: v // 10**6)),
        p("millions", "<below_1000> million <tail>", lambda m, r: m * 10**6 + r,
          _when(lambda v: 10**6 < v < MOST and 0 < v % 10**6 < 1000, lambda v: v // 10**6, lambda v: v % 10**6)),
        p("millions", "<below_1000> million <thousands>", lambda m, r: m * 10**6 + r,
          _when(lambda v: 10**6 < v < MOST and v % 10**6 >= 1000, lambda v: v // 10**6, lambda v: v % 10**6)),
        p("cardinal", "zero", lambda: 0, _when(lambda v: v == 0)),
        p("cardinal", "<rare_nought>", lambda _: 0, _when(lambda v: v == 0, lambda v: "0"), rare=True),
        p("cardinal", "<below_1000>", _same, _when(_within(1, 999), _same)),
        p("cardinal", "<thousands>", _same, _when(_within(1000, 999_999), _same)),
        p("cardinal", "<millions>", _same, _when(_within(10**6, MOST - 1), _same)),
        p("cardinal", "<two_digits> hundred", lambda h: 100 * h, many),
        p("cardinal", "<two_digits> hundred and <below_100>", lambda h, r: 100 * h + r, many_more, rare=True),
        p("cardinal", "<two_digits> hundred <below_100>", lambda h, r: 100 * h + r, many_more, rare=True),
        p("cardinal", "a hundred", lambda: 100, _when(lambda v: v == 100)),
        p("cardinal", "a hundred and <below_100>", lambda r: 100 + r, _when(_within(101, 199), lambda v: v % 100)),
        p("cardinal", "hundred", lambda: 100, _when(lambda v: v == 100), rare=True),
        p("cardinal", "a thousand", lambda: 1000, _when(lambda v: v == 1000)),
        p("cardinal", "a thousand <tail>", lambda r: 1000 + r, _when(_within(1001, 1999), lambda v: v % 1000), rare=True),
    ]


def _digit_runs() -> list[Production]:
    def run(length: int) -> Split:
        return lambda s: [(s[0],)] if len(s) == length and len(set(s)) == 1 else []

    def more(s: str) -> list[tuple[str, str]]:
        return [(s[:n], s[n:]) for n in (1, 2, 3) if len(s) > n and len(set(s[:n])) == 1]

    return [
        Production("run", ("<digit>",), _same, run(1)),
        Production("run", ("double", "<digit>"), lambda d: 2 * d, run(2)),
        Production("run", ("triple", "<digit>"), lambda d: 3 * d, run(3), rare=True),
        Production("digits", ("<run>", "<digits>"), lambda a, b: a + b if len(a + b) <= 9 else None, more),
        Production("digits", ("<run>",), _same, lambda s: [(s,)] if len(set(s)) == 1 and len(s) <= 3 else []),
    ]


def _wholes() -> list[Production]:
    return [
        Production("whole", ("<cardinal>",), _same, _when(_within(0, MOST - 1), _same)),
        # 'one eighteen'
        Production("whole", ("<unit_digit>", "<two_digits>"), lambda h, r: 100 * h + r,
                   _when(lambda v: 110 <= v <= 999 and v % 100 >= 10, lambda v: v // 100, lambda v: v % 100)),
        # 'twelve fifty', 'twelve oh five'
        Production("whole", ("<two_digits>", "<two_digits>"), lambda h, r: 100 * h + r,
                   _when(lambda v: 1010 <= v <= 9999 and v % 100 >= 10, lambda v: v // 100, lambda v: v % 100)),
        Production("whole", ("<two_digits>", "oh", "<unit_digit>"), lambda h, r: 100 * h + r,
                   _when(lambda v: 1001 <= v <= 9999 and 0 < v % 100 < 10, lambda v: v // 100, lambda v: v % 100)),
        # 'two oh eight', 'double four'
        Production("whole", ("<digits>",), lambda s: int(s) if len(s) > 1 else None, _when(_within(10, 999_999), str)),
    ]


def _parts(value: Decimal) -> tuple[int, str]:
    """43.25 -> (43, '25'); the second empty for a whole number."""
    whole, _, fraction = f"{value:f}".partition(".")
    return int(whole or 0), fraction.rstrip("0")


def _magnitudes() -> list[Production]:
    def fractional(value: Decimal) -> bool:
        return bool(_parts(value)[1])

    def joined(whole: int, fraction: str) -> Decimal:
        return Decimal(f"{whole}.{fraction}")

    below_one: Split = lambda v: [("point", _parts(v)[1])] if fractional(v) and v < 1 else []  # noqa: E731
    with_half: Split = lambda v: [(int(v), v % 1)] if v >= 1 and v % 1 in HALVES else []  # noqa: E731
    return [
        Production("fraction", ("<digits>",), _same, lambda s: [(s,)]),
        Production("fraction", ("<two_digits>",), str, lambda s: [(int(s),)] if len(s) == 2 and s[0] != "0" else []),
        Production("magnitude", ("<whole>",), Decimal, _when(lambda v: not fractional(v), int)),
        Production("magnitude", ("<whole>", "<point>", "<fraction>"), lambda w, _, f: joined(w, f),
                   lambda v: [(_parts(v)[0], "point", _parts(v)[1])] if fractional(v) else []),
        Production("magnitude", ("<point>", "<fraction>"), lambda _, f: joined(0, f), below_one),
        Production("magnitude", ("oh", "<point>", "<fraction>"), lambda _, f: joined(0, f), below_one),
        Production("magnitude", ("<whole>", "and", "<half>"), lambda w, h: w + h, with_half),
        Production("magnitude", ("<half>",), _same, _when(lambda v: v in HALVES, _same)),
        # a lone digit after 'oh' may be a decimal whose point was lost: both are given, the one as said first
        Production("magnitude", ("oh", "<unit_digit>"), lambda u: Decimal(u) / 10,
                   _when(lambda v: 0 < v < 1 and len(_parts(v)[1]) == 1, lambda v: int(v * 10)), rare=True),
        Production("signed", ("<magnitude>",), _same, _when(lambda v: v >= 0, _same)),
        Production("signed", ("<minus>", "<magnitude>"), lambda s, m: s * m,
                   lambda v: [(-1, -v)] if v < 0 else [(1, v)] if v > 0 else []),
        Production("signed", ("<magnitude>", "<below>"), lambda m, _: -m if m else None,
                   _when(lambda v: v < 0, lambda v: -v, lambda v: "below")),
    ]


def _quantities() -> list[Production]:
    def below(magnitude: Decimal, unit: str, _: str) -> tuple[Decimal, str] | None:
        return (-magnitude, unit) if magnitude and unit in TEMPERATURES else None

    half_of = _when(lambda q: q[0] == HALVES[0] and q[1] is not None, lambda q: q[1])
    return [
        Production("quantity", ("<signed>",), lambda v: (v, None), _when(lambda q: q[1] is None, lambda q: q[0])),
        Production("quantity", ("<signed>", "<unit>"), lambda v, u: (v, u),
                   _when(lambda q: q[1] is not None, lambda q: q[0], lambda q: q[1])),
        Production("quantity", ("<magnitude>", "<unit>", "<below>"), below,
                   lambda q: [(-q[0], q[1], "below")] if q[0] < 0 and q[1] in TEMPERATURES else []),
        *(Production("quantity", ("half", a, "<unit>"), lambda u: (HALVES[0], u), half_of, rare=True)
          for a in ("a", "an")),
    ]


#: rule of grammar/en.jsgf -> (name here, how its tag becomes a value, rare)
_WORDS: tuple[tuple[str, str, Callable[[str], Any], bool], ...] = (
    ("nought", "digit", str, False),
    ("unit_digit", "digit", str, False),
    ("rare_nought", "digit", str, True),
    ("radio_digit", "digit", str, True),
    ("unit_digit", "unit_digit", int, False),
    ("radio_digit", "unit_digit", int, True),
    ("rare_nought", "rare_nought", str, True),
    ("teen", "teen", int, False),
    ("tens", "tens", int, False),
    ("half", "half", Decimal, False),
    ("unit", "unit", str, False),
)


def english_numbers(grammar: Grammar) -> TwoWay:
    """The two-way grammar whose words are `grammar`'s. Trouble where a rule it needs is missing."""
    lexicon = [
        Entry(name, phrase.words, value(phrase.tags[-1]), rare)
        for rule, name, value, rare in _WORDS
        for phrase in expand(grammar, rule)
    ]
    lexicon += [Entry("minus", p.words, int(p.tags[-1]), int(p.tags[-1]) > 0) for p in expand(grammar, "minus")]
    lexicon += [Entry(name, p.words, name) for name in ("below", "point") for p in expand(grammar, name)]
    productions = (*_cardinals(), *_digit_runs(), *_wholes(), *_magnitudes(), *_quantities())
    return TwoWay(productions, tuple(lexicon))
