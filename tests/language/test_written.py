"""Numbers and phrases as a transcriber writes them, word by word; that every form reads back is in test_numbers."""

from __future__ import annotations

from decimal import Decimal

import pytest

from handsfree.language.base import load
from handsfree.language.numerals import (
    MOST,
    PLACES,
    NumberWords,
    Written,
    exact,
    written_forms,
    written_numbers,
    written_phrase,
    written_plainly,
)
from handsfree.language.tokens import tokens

ENGLISH, SPANISH = load("en"), load("es")
EN: NumberWords = ENGLISH.words
ES: NumberWords = SPANISH.words
WRITTEN: Written = ENGLISH._written


def words(text: str) -> str:
    return " ".join(WRITTEN.words(tokens(text)))


# ---- numbers to text ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("value", "english", "spanish"), [
    (43.5, "43.5;43 1/2", "43,5;43 1/2"), (2200.0, "2200;2,200", "2200;2.200"),
    (2200.5, "2200.5;2,200.5;2200 1/2", "2200,5;2.200,5;2200 1/2"), (-12.0, "-12;minus 12", "-12;menos 12"),
    (0.8, "0.8;.8", "0,8;,8"), (0.25, "0.25;.25;1/4", "0,25;,25;1/4"), (0.5, "0.5;.5;1/2", "0,5;,5;1/2"),
    (-0.75, "-0.75;-.75;-3/4;minus 0.75", "-0,75;-,75;-3/4;menos 0,75"), (1.75, "1.75;1 3/4", "1,75;1 3/4"),
    (1.0, "1", "1"), (0.0, "0", "0"), (999.9, "999.9", "999,9"), (1000.0, "1000;1,000", "1000;1.000"),
    (1e6, "1000000;1,000,000", "1000000;1.000.000"), (100.0, "100", "100"), (-1000.0, "-1000;-1,000;minus 1000", None),
])  # fmt: skip
def test_a_number_is_written_with_the_signs_of_its_language(value: float, english: str, spanish: str | None) -> None:
    assert written_numbers(value, EN) == tuple(english.split(";"))
    assert spanish is None or written_numbers(value, ES) == tuple(spanish.split(";"))


@pytest.mark.parametrize(("value", "unit", "forms"), [
    (5.0, "", "5"),
    (1.0, "volt", "1;1 volt;1 V;1 VAC;1 VDC"),
    (2.0, "volt", "2;2 volts;2 V;2 VAC;2 VDC"),
    (55.0, "percent", "55;55 percent;55 per cent;55%"),
    (2200.0, "ohm", "2200;2,200;2200 ohms;2200 Ω;2200 ohm;2,200 ohms;2,200 Ω;2,200 ohm"),
    (3.0, "microfarad", "3;3 microfarads;3 µF;3 uF;3 mfd;3 MFD"),
    (3.0, "inch_Hg", "3;3 inches of mercury;3 inHg"),
    (2.0, "kiloohm", "2;2 kilo ohms;2 kilohms;2 kilohm;2 kΩ;2 kohm;2 kOhm"),
    (-1.0, "degC", "-1;minus 1;-1 degree Celsius;-1 Celsius;-1 degrees centigrade;-1 centigrade;-1 degrees C;-1°C;-1 C;"
                   "-1 deg C;-1 degC;minus 1 degree Celsius;minus 1 Celsius;minus 1 degrees centigrade;minus 1 centigrade;"
                   "minus 1 degrees C;minus 1°C;minus 1 C;minus 1 deg C;minus 1 degC;1 below;1 degrees below;1 below zero"),
    (-12.5, "degF", "-12.5;-12 1/2;minus 12.5;-12.5 degrees Fahrenheit;-12.5 Fahrenheit;-12.5 degrees F;-12.5°F;-12.5 F;"
                    "-12.5 deg F;-12.5 degF;-12 1/2 degrees Fahrenheit;-12 1/2 Fahrenheit;-12 1/2 degrees F;-12 1/2°F;"
                    "-12 1/2 F;-12 1/2 deg F;-12 1/2 degF;12.5 below;12.5 degrees below;12.5 below zero"),
    (-5.0, "volt", "-5;minus 5;-5 volts;-5 V;-5 VAC;-5 VDC;minus 5 volts;minus 5 V;minus 5 VAC;minus 5 VDC"),
])  # fmt: skip
def test_a_reading_is_written_with_its_unit_in_words_and_signs(value: float, unit: str, forms: str) -> None:
    assert written_forms(value, unit, WRITTEN) == tuple(forms.split(";"))


@pytest.mark.parametrize("value", [0.0, 0.5])
def test_only_what_is_below_zero_is_written_so(value: float) -> None:
    assert not [form for form in written_forms(value, "degF", WRITTEN) if "below" in form]


def test_a_unit_without_words_is_written_by_its_signs() -> None:
    assert written_forms(3.0, "volt", Written(EN, WRITTEN.numbers, {})) == ("3", "3 V", "3 VAC", "3 VDC")


def test_the_spanish_forms_below_zero_have_their_comma() -> None:
    assert written_forms(-12.5, "degF", SPANISH._written)[-2:] == ("12,5 bajo cero", "12,5 grados bajo cero")


@pytest.mark.parametrize(("text", "value"), [
    ("43.50", "43.5"), ("0.0", "0"), ("100", "100"), ("1E+3", "1000"), ("0.100", "0.1"), ("10.0", "10"),
])  # fmt: skip
def test_plain(text: str, value: str) -> None:
    assert written_plainly(Decimal(text)) == value


@pytest.mark.parametrize(("value", "number"), [
    (43.5, "43.5"), (0.1234, "0.123"), (0.1236, "0.124"), (-0.0, "0"), (-0.0001, "0"), (2.0, "2"),
    (999_999_999.0, "999999999"), (-999_999_999.0, "-999999999"),
])  # fmt: skip
def test_a_number_is_said_to_three_places(value: float, number: str) -> None:
    assert exact(value) == Decimal(number)
    assert not exact(value).is_signed() or number.startswith("-")
    assert (PLACES, MOST) == (3, 10**9)


@pytest.mark.parametrize("value", [1e9, -1e9, float("inf"), 999_999_999.9999])
def test_what_is_too_large_is_not_said(value: float) -> None:
    with pytest.raises((ValueError, ArithmeticError)) as error:
        exact(value)
    assert value == float("inf") or f"{value} is too large to be said" in str(error.value)


# ---- text to words --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("text", "said"), [
    ("2200", "two thousand two hundred"), ("-12", "minus twelve"), (".8", "point eight"), ("08", "zero eight"),
    ("1/2", "a half"), ("-1/2", "minus a half"), ("43.50", "forty three point five zero"), ("0", "zero"),
    ("00", "zero zero"),
    ("0.5", "zero point five"), ("999999999", None), ("1234567890", "1234567890"), ("1/3", "1/3"), ("-7/8", "-7/8"),
    ("5.", "five point"), ("01.5", "zero one point five"),
])  # fmt: skip
def test_one_written_number(text: str, said: str | None) -> None:
    found = " ".join(WRITTEN.number(text))
    assert found == said if said is not None else found.startswith("nine hundred and ninety nine million")


@pytest.mark.parametrize(("text", "said"), [
    ("43.5 °F", "forty three point five degrees fahrenheit"), ("1 V", "one volt"), ("2 V", "two volts"),
    ("the 5 fans", "the five fans"), ("20 5", "two zero five"), ("20 15", "twenty fifteen"), ("20 0", "twenty zero"),
    ("19 5", "nineteen five"), ("90 9", "nine zero nine"), ("100 5", "one hundred five"), ("30", "thirty"),
    ("11 1/2", "eleven and a half"), ("lock 1/2", "lock a half"), ("-11 1/2", "minus eleven and a half"), ("1/2", "a half"),
    ("11 x 1/2", "eleven x a half"), ("5 %", "five percent"), ("5 deg F", "five degrees fahrenheit"),
    ("3 m/s", "three meters per second"), ("5 V 6 A", "five volts six amps"), ("warm", "warm"), ("", ""),
    ("1 °F 2", "one degree fahrenheit two"), ("20 1/2", "twenty and a half"),
])  # fmt: skip
def test_written_numbers_and_the_signs_after_them_become_words(text: str, said: str) -> None:
    assert words(text) == said


@pytest.mark.parametrize(("pieces", "said"), [
    (("20", "X"), "twenty X"), (("1/2", "5"), "a half five"), (("X5", "1/2"), "X5 a half"), (("20",), "twenty"),
    (("-5", "1/2"), "minus five and a half"),
])  # fmt: skip
def test_only_figures_go_with_figures(pieces: tuple[str, ...], said: str) -> None:
    assert " ".join(WRITTEN.words(pieces)) == said


@pytest.mark.parametrize(("pieces", "said"), [
    (("lock", "42"), "lock four two"), (("-42",), "minus four two"), (("4.2",), "4.2"), (("٤٢",), "٤٢"), (("", "x"), " x"),
    (("-", "7"), "- seven"),
])  # fmt: skip
def test_digit_by_digit(pieces: tuple[str, ...], said: str) -> None:
    assert " ".join(WRITTEN.digits(pieces)) == said


def test_figures_and_their_names() -> None:
    assert EN.spell("409") == ("four", "zero", "nine")
    assert EN.figures(("four", "zero", "nine")) == "409"
    assert EN.spell("") == ()
    with pytest.raises(ValueError, match="not in tuple"):
        EN.figures(("niner",))
    assert EN.capital("two degrees fahrenheit  f") == "two degrees Fahrenheit F"


def test_a_language_that_says_nothing_else_has_the_english_signs() -> None:
    bare = NumberWords(("zero",), "cardinal", "minus", "point", "decimal", "and", {}, {}, (), {})
    assert (bare.decimal_sign, bare.thousands_sign, bare.per, bare.power) == (".", ",", "per", "to the")


# ---- phrases --------------------------------------------------------------------------------------------------------

GATES = ("isolated lock", "clear lock")
ASKING = frozenset({"is", "where"})


@pytest.mark.parametrize(("spoken", "forms"), [
    ("next step", "Next step.;Next step;next step"),
    ("where am i", "Where am I?;Where am I.;Where am I;where am I"),
    ("o l", "O l.;OL.;O l;OL;o l"),
    ("o", "O.;O;o"),
    ("lock four two", "Lock 4 2.;Lock 42.;Lock 4-2.;Lock four two.;Lock 4 2;Lock 42;Lock 4-2;Lock four two;"
                      "lock 4 2;lock 42;lock 4-2;lock four two"),
    ("four two", "4 2.;42.;4-2.;Four two.;4 2;42;4-2;Four two;four two"),
    ("isolated lock", "Isolated lock.;Isolated, lock.;Isolated. Lock.;Isolated lock;Isolated, lock;Isolated. Lock;"
                      "isolated lock;isolated, lock;isolated. Lock"),
    ("", ".;"),
])  # fmt: skip
def test_a_phrase_is_written_as_a_sentence_and_as_it_is(spoken: str, forms: str) -> None:
    assert written_phrase(spoken, GATES, EN, ASKING) == tuple(forms.split(";"))


@pytest.mark.parametrize("head", ["isolated lock", "is it isolated lock", "isolated log", "isolated but lock"])
def test_a_gate_phrase_and_all_that_is_like_it_is_written_in_the_same_ways(head: str) -> None:
    """Scores of one meaning add up over its ways: with fewer of them a look-alike would seem the less likely for it."""
    spoken, (before, last) = f"{head} four two", head.rsplit(" ", 1)
    texts = [
        f"{before}{between}{number}"
        for number in ("4 2", "42", "4-2", "four two")
        for between in (f" {last} ", f", {last} ", f". {last.capitalize()} ")
    ]
    capital = [text[0].upper() + text[1:] for text in texts]
    marks = ("?", ".") if head.startswith("is it") else (".",)
    assert written_phrase(spoken, GATES, EN, ASKING) == (*(text + m for text in capital for m in marks), *capital, *texts)


def test_a_lock_of_three_figures_is_taken_whole() -> None:
    assert written_phrase("isolated lock four two one", GATES, EN, ASKING)[:4] == (
        "Isolated lock 4 2 1.", "Isolated, lock 4 2 1.", "Isolated. Lock 4 2 1.", "Isolated lock 421.",
    )  # fmt: skip


def test_a_gate_elsewhere_than_before_the_number_is_no_gate() -> None:
    """The comma stands before the last word, whatever it is."""
    assert written_phrase("isolated lock is four two", GATES, EN, ASKING)[:3] == (
        "Isolated lock is 4 2.", "Isolated lock, is 4 2.", "Isolated lock. Is 4 2.",
    )  # fmt: skip
