"""How numbers are said in English: the table of productions, both ways.

Rules of this file:

- The words and their values are in grammar/en.jsgf; this file says only how they are put together.
- The first way of every value is the one the program says. A production marked rare is understood but not said.
- A point, a minus or a unit is never supplied: 'two fifty' is 250, not 2.50 (english_hearing.py lists the choices).
"""

from __future__ import annotations

from decimal import Decimal

from handsfree.language.expand import expand
from handsfree.language.jsgf import Grammar
from handsfree.language.numerals import MOST
from handsfree.language.splits import (
    HALVES,
    TEMPERATURES,
    after_the_point,
    below_one,
    digit_runs,
    magnitudes,
    production,
    same,
    when,
    wholes,
    within,
)
from handsfree.language.twoway import Entry, Production, TwoWay, WordsOfRule, entries


def _cardinals() -> list[Production]:
    p = production

    hundreds = when(lambda v: 100 <= v <= 999 and v % 100 == 0, lambda v: v // 100)
    hundreds_more = when(lambda v: 101 <= v <= 999 and v % 100 > 0, lambda v: v // 100, lambda v: v % 100)
    whole_thousand = when(lambda v: 1000 <= v < 10**6 and v % 1000 == 0, lambda v: v // 1000)
    thousand_more = when(lambda v: 1000 < v < 10**6 and v % 1000 > 0, lambda v: v // 1000, lambda v: v % 1000)
    # 'twenty two hundred', but nobody says 'twenty hundred'
    many = when(lambda v: 1100 <= v <= 9999 and v % 100 == 0 and v // 100 % 10 > 0, lambda v: v // 100)
    many_more = when(
        lambda v: 1100 < v <= 9999 and v % 100 > 0 and v // 100 % 10 > 0, lambda v: v // 100, lambda v: v % 100
    )
    return [
        p("below_100", "<unit_digit>", same, when(within(1, 9), same)),
        p("below_100", "<two_digits>", same, when(within(10, 99), same)),
        p("two_digits", "<teen>", same, when(within(10, 19), same)),
        p("two_digits", "<tens>", same, when(lambda v: v >= 20 and v % 10 == 0, same)),
        p("two_digits", "<tens> <unit_digit>", lambda t, u: t + u,
          when(lambda v: 20 < v <= 99 and v % 10 > 0, lambda v: v - v % 10, lambda v: v % 10)),
        p("hundreds", "<unit_digit> hundred", lambda h: 100 * h, hundreds),
        p("hundreds", "<unit_digit> hundred and <below_100>", lambda h, r: 100 * h + r, hundreds_more),
        p("hundreds", "<unit_digit> hundred <below_100>", lambda h, r: 100 * h + r, hundreds_more),
        p("below_1000", "<below_100>", same, when(within(1, 99), same)),
        p("below_1000", "<hundreds>", same, when(within(100, 999), same)),
        p("tail", "<hundreds>", same, when(within(100, 999), same)),
        p("tail", "and <below_100>", same, when(within(1, 99), same)),
        p("tail", "<below_100>", same, when(within(1, 99), same)),
        p("thousands", "<below_1000> thousand", lambda t: 1000 * t, whole_thousand),
        p("thousands", "<below_1000> thousand <tail>", lambda t, r: 1000 * t + r, thousand_more),
        p("millions", "<below_1000> million", lambda m: m * 10**6,
          when(lambda v: 10**6 <= v < MOST and v % 10**6 == 0, lambda v: v // 10**6)),
        p("millions", "<below_1000> million <tail>", lambda m, r: m * 10**6 + r,
          when(lambda v: 10**6 < v < MOST and 0 < v % 10**6 < 1000, lambda v: v // 10**6, lambda v: v % 10**6)),
        p("millions", "<below_1000> million <thousands>", lambda m, r: m * 10**6 + r,
          when(lambda v: 10**6 < v < MOST and v % 10**6 >= 1000, lambda v: v // 10**6, lambda v: v % 10**6)),
        p("cardinal", "zero", lambda: 0, when(lambda v: v == 0)),
        p("cardinal", "<rare_nought>", lambda _: 0, when(lambda v: v == 0, lambda v: "0"), rare=True),
        p("cardinal", "<below_1000>", same, when(within(1, 999), same)),
        p("cardinal", "<thousands>", same, when(within(1000, 999_999), same)),
        p("cardinal", "<millions>", same, when(within(10**6, MOST - 1), same)),
        p("cardinal", "<two_digits> hundred", lambda h: 100 * h, many),
        p("cardinal", "<two_digits> hundred and <below_100>", lambda h, r: 100 * h + r, many_more, rare=True),
        p("cardinal", "<two_digits> hundred <below_100>", lambda h, r: 100 * h + r, many_more, rare=True),
        p("cardinal", "a hundred", lambda: 100, when(lambda v: v == 100)),
        p("cardinal", "a hundred and <below_100>", lambda r: 100 + r, when(within(101, 199), lambda v: v % 100)),
        p("cardinal", "hundred", lambda: 100, when(lambda v: v == 100), rare=True),
        p("cardinal", "a thousand", lambda: 1000, when(lambda v: v == 1000)),
        p("cardinal", "a thousand <tail>", lambda r: 1000 + r, when(within(1001, 1999), lambda v: v % 1000), rare=True),
    ]


def _magnitudes() -> list[Production]:
    return [
        *magnitudes(
            "<unit_digit>", "oh", "and",
            Production("magnitude", ("oh", "<point>", "<fraction>"), after_the_point, below_one),
        ),
        Production("signed", ("<magnitude>",), same, when(lambda v: v >= 0, same)),
        Production("signed", ("<minus>", "<magnitude>"), lambda s, m: s * m,
                   lambda v: [(-1, -v)] if v < 0 else [(1, v)] if v > 0 else []),
        Production("signed", ("<magnitude>", "<below>"), lambda m, _: -m if m else None,
                   when(lambda v: v < 0, lambda v: -v, lambda v: "below")),
    ]


def _quantities() -> list[Production]:
    def below(magnitude: Decimal, unit: str, _: str) -> tuple[Decimal, str] | None:
        return (-magnitude, unit) if magnitude and unit in TEMPERATURES else None

    half_of = when(lambda q: q[0] == HALVES[0] and q[1] is not None, lambda q: q[1])
    return [
        Production("quantity", ("<signed>",), lambda v: (v, None), when(lambda q: q[1] is None, lambda q: q[0])),
        Production("quantity", ("<signed>", "<unit>"), lambda v, u: (v, u),
                   when(lambda q: q[1] is not None, lambda q: q[0], lambda q: q[1])),
        Production("quantity", ("<magnitude>", "<unit>", "<below>"), below,
                   lambda q: [(-q[0], q[1], "below")] if q[0] < 0 and q[1] in TEMPERATURES else []),
        *(Production("quantity", ("half", a, "<unit>"), lambda u: (HALVES[0], u), half_of, rare=True)
          for a in ("a", "an")),
    ]


#: Of grammar/en.jsgf.
_WORDS: tuple[WordsOfRule, ...] = (
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
    lexicon = entries(grammar, _WORDS)
    lexicon += [Entry("minus", p.words, int(p.tags[-1]), int(p.tags[-1]) > 0) for p in expand(grammar, "minus")]
    lexicon += [Entry(name, p.words, name) for name in ("below", "point") for p in expand(grammar, name)]
    productions = (
        *_cardinals(), *digit_runs("double", "triple"), *wholes("<unit_digit>", "oh"), *_magnitudes(), *_quantities(),
    )  # fmt: skip
    return TwoWay(productions, tuple(lexicon))
