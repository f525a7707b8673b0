"""What is easily misheard or has two readings in spoken English numbers.

Rules of this file:

- `AMBIGUOUS` lists every class of phrase with more than one sensible reading, with the reading taken and why. The tests hold
  the parser to it.
- `confusable` lists the values that sound near a value, so that a recogniser can weigh them and the program can ask.
"""

from __future__ import annotations

from dataclasses import dataclass

from handsfree.language.misheard import near_numbers
from handsfree.language.numerals import exact


@dataclass(frozen=True)
class Ambiguity:
    """`phrase`: an example. `chosen`: the value taken. `others`: the other readings given. `never`: readings that people
    may have in mind but that are not given. `why`: the reason, in a sentence."""

    kind: str
    phrase: str
    chosen: float
    others: tuple[float, ...]
    never: tuple[float, ...]
    why: str


AMBIGUOUS: tuple[Ambiguity, ...] = (
    Ambiguity("hundreds without the word", "two fifty", 250, (), (2.5, 52),
              "A point is never supplied: a meter that shows 2.50 is read with its point."),
    Ambiguity("hundreds without the word", "one eighteen", 118, (), (1.18, 19), "The same; readings are not added up."),
    Ambiguity("oh in the middle", "two oh eight", 208, (), (2.08, 10), "Digits in a row are one number."),
    Ambiguity("oh in front", "oh eight", 8, (0.8,), (),
              "Digits in a row, but a lost 'point' is as likely: both are given, and the read-back tells them apart."),
    Ambiguity("two tens in a row", "twelve fifty", 1250, (), (12.5, 62), "As a year is said; a point is never supplied."),
    Ambiguity("tens, oh, digit", "twenty oh five", 2005, (), (205, 25), "As a year is said; 205 is 'two oh five'."),
    Ambiguity("tens and unit", "twenty two", 22, (), (202, 220), "The common reading; 'two two' is 22 as well."),
    Ambiguity("hundreds over ten", "twenty two hundred", 2200, (), (20200, 22100), "Never twenty and two hundred."),
    Ambiguity("tens after the point", "forty three point twenty five", 43.25, (), (43.205,), "A meter shows two digits."),
    Ambiguity("zero at the end", "forty three point five oh", 43.5, (), (435,), "A zero after decimals changes nothing."),
    Ambiguity("and a fraction", "one hundred and three quarters", 100.75, (), (25.75, 1.75), "'And' joins a fraction on."),
    Ambiguity("and", "one hundred and eighteen", 118, (), (100.18,), "'And' is no point."),
    Ambiguity("below", "twelve below", -12, (), (12,), "Below zero, wherever the step asks; the read-back says 'minus'."),
    Ambiguity("minus", "negative twelve", -12, (), (12,), "Before a number its sign; alone the command."),
    Ambiguity("double", "double four five", 445, (), (88, 45), "'Double' holds for the one digit after it."),
    Ambiguity("a thousand and", "one thousand two", 1002, (), (1200,), "The hundreds are never left out after a thousand."),
    Ambiguity("ten in the middle", "two ten", 210, (), (2.1, 20), "As 'one eighteen'."),
    Ambiguity("pairs of tens", "twenty one fifty", 2150, (), (170, 2051), "The first two words make one pair."),
)

#: Phrases that must not become a number. Recognisers invent the first one after a tens word (measured on a real speaker).
NO_NUMBER: tuple[str, ...] = (
    "twenty oh", "oh", "minus twelve below", "twenty thirty forty", "one hundred hundred", "point", "and a half",
)

_TEENS = {n: 10 * (n - 10) for n in range(13, 20)}  # 13 -> 30
_TYS = {ty: teen for teen, ty in _TEENS.items()}
_GROUPS = (1, 100, 1000, 10**6)


def _swaps(whole: int) -> set[int]:
    """The whole number with a -teen for a -ty or the reverse, in any place where one is said."""
    found = set()
    for group in _GROUPS:
        part = whole // group % 100
        other = _TEENS.get(part, _TYS.get(part))
        if other is not None and (group != 100 or whole % 100 == 0):
            found.add(whole + (other - part) * group)
    return found


def needs_both_ways(value: float) -> bool:
    """A -teen or a -ty is said in the number: 15, 50, 118, 1500, 30000; not 43 or 20."""
    return bool(_swaps(int(abs(exact(value)))))


def confusable(value: float) -> tuple[float, ...]:
    """Values that sound near, without the value itself: -teen for -ty, five for nine, and what `near_numbers` adds."""
    return near_numbers(value, _swaps, "59")
