"""How numbers are said in Spanish: the table of productions, both ways.

Rules of this file:

- The words and their values are in grammar/es.jsgf; this file says only how they are put together.
- The first way of every value is the one the program says. A production marked rare is understood but not said.
- Whole numbers stand here three times: alone ('veintiuno', 'doscientos'), before a masculine noun ('veintiún voltios') and
  before a feminine one ('veintiuna horas', 'doscientas libras'), under names that end in '', '_m' and '_f'. The last two are
  said only where they differ from the first (Real Academia Española, Diccionario panhispánico de dudas, 'uno' and
  'cardinales', from memory).
- A point, a minus or a unit is never supplied: 'dos veinte' is 220, not 2,20 (spanish_hearing.py lists the choices).
- Words without their accents are read too, and never said.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterator
from decimal import Decimal
from typing import Any

from handsfree.language.expand import expand
from handsfree.language.jsgf import Grammar
from handsfree.language.numerals import MOST
from handsfree.language.splits import (
    HALVES,
    TEMPERATURES,
    Splitter,
    digit_runs,
    fractional,
    magnitudes,
    production,
    same,
    when,
    wholes,
    within,
)
from handsfree.language.twoway import Entry, Production, TwoWay, WordsOfRule, entries

GENDERS = ("", "_m", "_f")


def bare(word: str) -> str:
    """Without accents: 'dieciséis' -> 'dieciseis'. The tilde of ñ is no accent."""
    parted = unicodedata.normalize("NFD", word)
    return unicodedata.normalize("NFC", "".join(sign for sign in parted if sign not in "\u0301\u0308"))


def agrees(value: int, gender: str) -> bool:
    """The number is said differently before a noun of this gender: 1, 21, 101 but not 11; 200 before a feminine one."""
    one = value % 10 == 1 and value % 100 != 11
    return one or (gender == "_f" and value % 1000 >= 200)


def _cardinals(g: str) -> list[Production]:
    """Names end in `g`, so do those of the parts that agree with the noun."""
    p = production
    below_100, below_1000, tail = f"below_100{g}", f"below_1000{g}", f"<below_1000{g}>"
    tens_more = when(lambda v: 30 < v <= 99 and v % 10 > 0, lambda v: v - v % 10, lambda v: v % 10)
    rest = when(lambda v: 200 < v <= 999 and v % 100 > 0, lambda v: v - v % 100, lambda v: v % 100)
    millions = when(lambda v: 2 * 10**6 <= v < MOST and v % 10**6 == 0, lambda v: v // 10**6)
    return [
        p(f"units{g}", f"<one{g}>", same, when(within(1, 1), same)),
        p(f"units{g}", "<from_two>", same, when(within(2, 9), same)),
        p(below_100, f"<units{g}>", same, when(within(1, 9), same)),
        p(below_100, f"<two_digits{g}>", same, when(within(10, 99), same)),
        p(f"two_digits{g}", "<teen>", same, when(lambda v: 10 <= v <= 29 and v != 21, same)),
        p(f"two_digits{g}", f"<twenty_one{g}>", same, when(within(21, 21), same)),
        p(f"two_digits{g}", "<tens>", same, when(lambda v: v >= 30 and v % 10 == 0, same)),
        p(f"two_digits{g}", f"<tens> y <units{g}>", lambda t, u: t + u, tens_more),
        p(f"two_digits{g}", f"<tens> <units{g}>", lambda t, u: t + u, tens_more, rare=True),  # the 'y' is swallowed
        p(f"two_digits{g}", "<old_teen>", same, when(within(16, 29), same), rare=True),
        p(f"two_digits{g}", "<joined_tens>", same, when(within(31, 99), same), rare=True),
        p(below_1000, f"<{below_100}>", same, when(within(1, 99), same)),
        p(below_1000, "cien", lambda: 100, when(lambda v: v == 100)),
        p(below_1000, "ciento", lambda: 100, when(lambda v: v == 100), rare=True),
        p(below_1000, f"ciento <{below_100}>", lambda r: 100 + r, when(within(101, 199), lambda v: v % 100)),
        p(below_1000, f"<hundred{g}>", same, when(lambda v: 200 <= v <= 999 and v % 100 == 0, same)),
        p(below_1000, f"<hundred{g}> <{below_100}>", lambda h, r: h + r, rest),
        p(f"thousands{g}", "mil", lambda: 1000, when(lambda v: v == 1000)),
        p(f"thousands{g}", "un mil", lambda: 1000, when(lambda v: v == 1000), rare=True),
        p(f"thousands{g}", f"mil {tail}", lambda r: 1000 + r, when(within(1001, 1999), lambda v: v % 1000)),
        p(f"thousands{g}", "<below_1000_m> mil", lambda t: 1000 * t if t > 1 else None,
          when(lambda v: 2000 <= v < 10**6 and v % 1000 == 0, lambda v: v // 1000)),
        p(f"thousands{g}", f"<below_1000_m> mil {tail}", lambda t, r: 1000 * t + r if t > 1 else None,
          when(lambda v: 2000 < v < 10**6 and v % 1000 > 0, lambda v: v // 1000, lambda v: v % 1000)),
        p(f"below_million{g}", tail, same, when(within(1, 999), same)),
        p(f"below_million{g}", f"<thousands{g}>", same, when(within(1000, 999_999), same)),
        p(f"millions{g}", "un <million>", lambda _: 10**6, when(lambda v: v == 10**6, lambda v: "million")),
        p(f"millions{g}", f"un <million> <below_million{g}>", lambda _, r: 10**6 + r,
          when(within(10**6 + 1, 2 * 10**6 - 1), lambda v: "million", lambda v: v % 10**6)),
        p(f"millions{g}", "<below_million_m> millones", lambda m: m * 10**6 if 1 < m < MOST // 10**6 else None, millions),
        p(f"millions{g}", f"<below_million_m> millones <below_million{g}>",
          lambda m, r: m * 10**6 + r if 1 < m < MOST // 10**6 else None,
          when(lambda v: 2 * 10**6 < v < MOST and v % 10**6 > 0, lambda v: v // 10**6, lambda v: v % 10**6)),
        p(f"cardinal{g}", "cero", lambda: 0, when(lambda v: v == 0)),
        p(f"cardinal{g}", tail, same, when(within(1, 999), same)),
        p(f"cardinal{g}", f"<thousands{g}>", same, when(within(1000, 999_999), same)),
        p(f"cardinal{g}", f"<millions{g}>", same, when(within(10**6, MOST - 1), same)),
    ]


def _fractions() -> list[Production]:
    """Ways to say the figures after the comma that only Spanish has."""
    return [
        Production("fraction", ("<one_m>",), lambda _: "1", lambda s: [(1,)] if s == "1" else [], rare=True),
        Production("fraction", ("cero", "<teen>"), lambda t: f"0{t}",
                   lambda s: [(int(s),)] if len(s) == 3 and s[0] == "0" and "10" <= s[1:] <= "29" else [], rare=True),
    ]


def _signed(g: str, inside: str) -> list[Production]:
    def least(test: Callable[[Any], bool], *parts: Callable[[Any], Any]) -> Splitter:
        """Before a noun, only the forms that differ are said."""
        return when(lambda v: test(v) and (not g or _told(v, g)), *parts)

    return [
        Production(f"signed{g}", (inside,), Decimal, least(lambda v: v >= 0, _plain)),
        Production(f"signed{g}", ("<minus>", inside), lambda s, m: Decimal(s * m),
                   lambda v: [(-1, _plain(-v))] if v < 0 and (not g or _told(v, g))
                   else [(1, _plain(v))] if v > 0 and (not g or _told(v, g)) else []),
        Production(f"signed{g}", (inside, "<below>"), lambda m, _: Decimal(-m) if m else None,
                   least(lambda v: v < 0, lambda v: _plain(-v), lambda v: "below")),
    ]


def _plain(value: Decimal) -> Any:
    return value if fractional(value) else Decimal(int(value))


def _told(value: Decimal, gender: str) -> bool:
    return not fractional(value) and agrees(int(abs(value)), gender)


def _quantities() -> list[Production]:
    def below(magnitude: Decimal, unit: str, _: str) -> tuple[Decimal, str] | None:
        return (-magnitude, unit) if magnitude and unit in TEMPERATURES else None

    def joined(value: Decimal, unit: str, half: Decimal) -> tuple[Decimal, str] | None:
        return (value + (half if value > 0 else -half), unit) if value and not fractional(value) else None

    def with_half(q: Any) -> list[tuple[Decimal, str, Decimal]]:
        size = abs(q[0])
        if q[1] is None or size < 1 or size % 1 not in HALVES:
            return []
        return [(Decimal(int(q[0])), q[1], size % 1)]

    def cold(g: str) -> Splitter:
        return lambda q: [(-q[0], q[1], "below")] if q[0] < 0 and q[1] in TEMPERATURES and (not g or _told(q[0], g)) else []

    def with_unit(rare: bool, g: str) -> Splitter:
        """`rare`: the form for a number that stands alone, though the noun after it needs another: 'veintiuno voltios'."""
        def split(q: Any) -> list[tuple[Decimal, str]]:
            return [(q[0], q[1])] if q[1] is not None and _told(q[0], g) == rare else []

        return split

    made = [
        Production("quantity", ("<signed>",), lambda v: (v, None), when(lambda q: q[1] is None, lambda q: q[0])),
    ]
    for g in ("_m", "_f"):
        unit = f"<unit{g}>"
        made += [
            Production("quantity", (f"<signed{g}>", unit), lambda v, u: (v, u),
                       when(lambda q: q[1] is not None, lambda q: q[0], lambda q: q[1])),
            Production("quantity", ("<signed>", unit), lambda v, u: (v, u), with_unit(False, g)),
            Production("quantity", ("<signed>", unit), lambda v, u: (v, u), with_unit(True, g), rare=True),
            Production("quantity", (f"<counted{g}>", unit, "<below>"), below, cold(g)),
            # 'cuatro amperios y medio', 'dos horas y media'
            Production("quantity", ("<signed>", unit, "y", "<half>"), joined, with_half, rare=True),
            Production("quantity", (f"<signed{g}>", unit, "y", "<half>"), joined, with_half, rare=True),
        ]
    made.append(Production("quantity", ("<magnitude>", "<unit>", "<below>"), below, cold("")))
    return made


def _counted(g: str) -> Iterator[Production]:
    yield Production(f"counted{g}", (f"<cardinal{g}>",), Decimal, when(lambda v: not fractional(v), int))


#: Of grammar/es.jsgf.
_WORDS: tuple[WordsOfRule, ...] = (
    ("digit", "digit", str, False),
    ("from_two", "from_two", int, False),
    *((name, name, int, False) for rule in ("one", "twenty_one") for name in (rule, f"{rule}_m", f"{rule}_f")),
    ("teen", "teen", int, False),
    ("old_teen", "old_teen", int, True),
    ("joined_tens", "joined_tens", int, True),
    ("tens", "tens", int, False),
    ("hundred", "hundred", int, False),
    ("hundred", "hundred_m", int, False),
    ("hundred_f", "hundred_f", int, False),
    ("half", "half", Decimal, False),
    ("unit", "unit", str, False),
)


def spanish_numbers(grammar: Grammar) -> TwoWay:
    """The two-way grammar whose words are `grammar`'s. Trouble where a rule it needs is missing."""
    lexicon = entries(grammar, _WORDS)
    feminine = {phrase.words[0] for phrase in expand(grammar, "feminine")}
    lexicon += [
        Entry("unit_f" if entry.words[0] in feminine else "unit_m", entry.words, entry.value)
        for entry in lexicon if entry.name == "unit"
    ]
    lexicon += [Entry("minus", p.words, int(p.tags[-1]), int(p.tags[-1]) > 0) for p in expand(grammar, "minus")]
    lexicon += [Entry(name, p.words, name) for name in ("below", "point") for p in expand(grammar, name)]
    lexicon.append(Entry("million", ("millón",), "million"))
    for entry in list(lexicon):
        folded = tuple(bare(word) for word in entry.words)
        if folded != entry.words:
            lexicon.append(Entry(entry.name, folded, entry.value, rare=True))
    productions = [
        *digit_runs("doble", "triple"), *wholes("<units>", "cero"), *magnitudes("<units>", "cero", "y", *_fractions()),
        *_signed("", "<magnitude>"), *_quantities(),
    ]  # fmt: skip
    for g in GENDERS:
        productions += _cardinals(g)
    for g in ("_m", "_f"):
        productions += [*_counted(g), *_signed(g, f"<counted{g}>")]
    return TwoWay(tuple(productions), tuple(lexicon))
