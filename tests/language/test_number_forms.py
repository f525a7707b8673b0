"""The number grammars at their edges: every way to say each value under every name, beside what it reads as.

`data/english_forms.txt` and `data/spanish_forms.txt` hold what is said today, so that any change shows in a diff that
somebody reads; they are made by `python -m tests.language.test_number_forms en > …`. The checks that do not rest on this
program (num2words, ICAO's digit words, forms people use) are in test_numbers and test_spanish_numbers.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from handsfree.errors import Trouble
from handsfree.language import jsgf
from handsfree.language.base import load
from handsfree.language.english_numbers import english_numbers
from handsfree.language.spanish_numbers import spanish_numbers
from handsfree.language.twoway import TwoWay

MILLION = 10**6
WHOLE = (
    *(0, 1, 2, 9, 10, 11, 12, 19, 20, 21, 29, 30, 31, 43, 50, 90, 99, 100, 101, 102, 110, 111, 118, 120, 199, 200, 201, 208),
    *(250, 300, 999, 1000, 1001, 1005, 1010, 1099, 1100, 1101, 1110, 1200, 1205, 1250, 1999, 2000, 2001, 2010, 2100, 2345),
    *(5000, 9900, 9905, 9999, 10_000, 10_100, 21_000, 99_999, 100_000, 100_001, 110_000, 201_000, 999_000, 999_999, MILLION),
    *(MILLION + 1, MILLION + 100, MILLION + 999, MILLION + 1000, 1_234_567, 2 * MILLION - 1, 2 * MILLION, 2 * MILLION + 1),
    *(21 * MILLION, 100 * MILLION, 1000 * MILLION - 1, 1000 * MILLION),
)
SIZES = tuple(map(Decimal, (
    "0", "1", "2", "12", "100", "0.1", "0.5", "0.25", "0.75", "0.8", "0.85", "1.5", "11.5", "11.25", "2.75", "43.05",
    "0.125", "1.005", "2000.5",
)))  # fmt: skip
SIGNED = (*SIZES, *map(Decimal, ("-1", "-12", "-0.5", "-21", "-1.5")))
FIGURES = (
    "0", "1", "5", "05", "010", "012", "10", "11", "12", "30", "50", "55", "555", "5555", "99", "123", "112233",
    "123456789",
)  # fmt: skip
UNITS = ("volt", "degF", "degree", "pound", None)
OF: dict[str, tuple[Any, ...]] = {
    "magnitude": SIZES,
    **dict.fromkeys(("signed", "signed_m", "signed_f", "counted_m", "counted_f"), SIGNED),
    **dict.fromkeys(("fraction", "digits", "run"), FIGURES),
    "quantity": tuple(
        (Decimal(size), unit)
        for size in ("0", "1", "2", "0.5", "1.5", "-12", "-1", "-0.5", "21", "200", "-1.5")
        for unit in UNITS
    ),
}
MOST = 5  # of more ways than this only the first and the last stand in the list, and how many there are


def grammar(code: str) -> TwoWay:
    language = load(code)
    return {"en": english_numbers, "es": spanish_numbers}[code](language.grammar)


def names(numbers: TwoWay) -> list[str]:
    return list(dict.fromkeys(production.name for production in numbers.productions))


def cases(numbers: TwoWay) -> Iterator[tuple[str, Any]]:
    for name in names(numbers):
        for value in OF.get(name, WHOLE):
            yield name, value


def written(value: Any) -> str:
    return " ".join(str(part) for part in value) if isinstance(value, tuple) else str(value)


def line(numbers: TwoWay, name: str, value: Any) -> str | None:
    plain = [" ".join(way) for way in numbers.say(name, value)]
    rare = [text for way in numbers.say(name, value, rare=True) if (text := " ".join(way)) not in plain]
    if not plain and not rare:
        return None
    return f"{name} {written(value)}: {listed(plain)}" + (f" / rare {listed(rare)}" if rare else "")


def listed(ways: list[str]) -> str:
    shown = ways if len(ways) <= MOST else [*ways[:2], "…", *ways[-2:]]
    return f"{len(ways)} {' | '.join(shown)}".strip()


def table(code: str) -> list[str]:
    numbers = grammar(code)
    return [text for name, value in cases(numbers) if (text := line(numbers, name, value))]


@pytest.fixture(scope="module", params=["en", "es"])
def code(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def stored(code: str) -> list[str]:
    path = Path(__file__).parent / "data" / f"{'english' if code == 'en' else 'spanish'}_forms.txt"
    return path.read_text(encoding="utf-8").splitlines()


def test_every_way_at_every_edge_is_as_it_was(code: str) -> None:
    now, then = table(code), stored(code)
    assert [text for text in now if text not in set(then)] == []
    assert now == then


def test_each_of_these_ways_reads_back_as_its_value(code: str) -> None:
    """Under the same name; and what is not rare under the widest name first of all readings."""
    numbers = grammar(code)
    for name, value in cases(numbers):
        for way in numbers.say(name, value, rare=True)[:40]:
            assert value in numbers.read(name, way), (name, value, way)
        for way in numbers.say(name, value)[:40] if name in ("cardinal", "signed") else ():
            assert numbers.read(name, way)[0] == value


HALF = Decimal("0.5")


@pytest.mark.parametrize(("name", "words", "read"), [
    ("signed", "five below", (Decimal(-5),)),
    ("signed", "zero below", ()),
    ("quantity", "five degrees below", ((Decimal(-5), "degree"),)),
    ("quantity", "five volts below", ()),
    ("quantity", "zero degrees below zero", ()),
    ("quantity", "half a volt", ((HALF, "volt"),)),
    ("quantity", "half an ohm", ((HALF, "ohm"),)),
])
def test_below_is_of_temperatures_and_half_of_units(name: str, words: str, read: tuple[Any, ...]) -> None:
    assert grammar("en").read(name, tuple(words.split())) == read


def test_no_way_is_given_twice_and_none_reads_as_two_under_cardinal(code: str) -> None:
    numbers = grammar(code)
    for value in WHOLE:
        ways = numbers.say("cardinal", value, rare=True)
        assert len(ways) == len(set(ways))
        assert all(len(numbers.read("cardinal", way)) == 1 for way in ways[:40])


@pytest.mark.parametrize(("which", "gone"), [("en", "teen"), ("en", "minus"), ("es", "hundred"), ("es", "feminine")])
def test_a_grammar_without_a_rule_it_needs_is_trouble(which: str, gone: str) -> None:
    text = (Path(jsgf.__file__).parents[2] / "grammar" / f"{which}.jsgf").read_text(encoding="utf-8")
    with pytest.raises(Trouble, match=gone):
        {"en": english_numbers, "es": spanish_numbers}[which](jsgf.parse(text.replace(f"<{gone}>", f"<un{gone}>"), "x.jsgf"))


if __name__ == "__main__":
    print("\n".join(table(sys.argv[1])))
