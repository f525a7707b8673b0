"""A language put together: what is asked of it by recognisers, corpora and the visit, at its edges."""

from __future__ import annotations

from typing import Any

import pytest

from handsfree.language import jsgf
from handsfree.language.base import load
from handsfree.language.english_numbers import english_numbers
from handsfree.language.quantities import alike, pint_name

ENGLISH: Any = load("en")
SPANISH: Any = load("es")


def test_digits_one_by_one_both_ways() -> None:
    assert ENGLISH.say_digits(43.5) == "four three decimal five"
    assert ENGLISH.say_digits(-12) == "minus one two"
    assert SPANISH.say_digits(-0.25) == "menos cero coma dos cinco"
    assert ENGLISH.digits(("double", "four", "niner")) == ("four", "four", "nine")
    assert ENGLISH.digits(("42",)) == ("four", "two")
    assert ENGLISH.digits(("warm",)) == ()
    assert ENGLISH.digit_ways(("four", "four")) == ("four four", "double four")
    assert ENGLISH.digit_ways(("seven", "three")) == ("seven three",)


def test_a_unit_after_one_after_many_and_without_words() -> None:
    assert (ENGLISH.say_unit("volt"), ENGLISH.say_unit("volt", 1), ENGLISH.say_unit("volt", -1)) == ("volts", "volt", "volt")
    assert ENGLISH.say_unit("") == ""
    assert ENGLISH.say_unit("delta_degF") == "degrees Fahrenheit"
    assert ENGLISH.say_unit("kilogram / meter ** 3") == "kilogram per meter to the 3"


def test_the_ways_to_say_a_reading_leave_out_the_wrong_number_of_its_unit() -> None:
    one, two = ENGLISH.spoken_forms(1, "volt"), ENGLISH.spoken_forms(2, "volt")
    assert one[:2] == ("one volt", "one")
    assert "one volts" not in one
    assert "two volts" in two
    assert "two volt" not in two
    cold = ENGLISH.spoken_forms(-2, "degC")
    assert {"minus two degrees celsius", "minus two degrees", "two degrees below zero"} <= set(cold)
    assert "minus two degree" not in cold
    assert ENGLISH.spoken_forms(3, "") == ("three",)
    assert ENGLISH.spoken_forms(3, "kilogram / meter ** 3")[1:] == ("three",)
    assert SPANISH.spoken_forms(2, "kelvin")[0] == SPANISH.say_quantity(2, "kelvin")


@pytest.mark.parametrize(("unit", "most", "has", "lacks"), [
    ("volt", 999, ("volts", "millivolts"), ("<thousands>", "million", "[<below>]")),
    ("volt", 9999, ("thousand",), ("million",)),
    ("degF", 10**7, ("thousand", "million", "[<below>]", "degrees fahrenheit"), ()),
    ("", 999, ("[<below>]",), ("<unit>", "volts")),
])
def test_the_grammar_of_a_number_for_a_recogniser(
    unit: str, most: float, has: tuple[str, ...], lacks: tuple[str, ...]
) -> None:
    text = ENGLISH.number_grammar_jsgf(unit, most)
    assert text.startswith("#JSGF V1.0 UTF-8;\ngrammar number;\npublic <number> = [<minus>] <magnitude> ")
    jsgf.parse(text, "number")
    assert all(word in text for word in has)
    assert not any(word in text for word in lacks)
    assert {word for word in text.split() if word == "wun"} == set()  # rare ones are left out


def test_what_is_written_for_a_reading_or_a_phrase() -> None:
    assert ENGLISH.written("forty three volts")[:2] == ("43 volts.", "43 V.")
    assert ENGLISH.written("next step") == ("Next step.", "Next step", "next step")
    assert "43" in ENGLISH.written("forty three")


def test_names_of_units_and_those_that_fit_none() -> None:
    assert pint_name(" volts ") == "volt"
    assert pint_name("degree_Fahrenheit") == "degF"
    assert pint_name("newton") == "newton"
    assert pint_name("foot_pound") == "foot_pound"
    assert alike("") == ()


def test_every_word_of_a_number_is_in_the_vocabulary_and_rare_ones_are_not() -> None:
    words = ENGLISH.vocabulary()
    assert {"seven", "hundred", "volts", "point", "minus", "oh", "double"} <= words
    assert "wun" not in words
    assert "wun" in ENGLISH.two_way.words()
    assert ENGLISH.two_way.read("digits", ("one",) * 41) == ()


def test_what_is_kept_of_sayings_is_bounded() -> None:
    numbers = english_numbers(ENGLISH.grammar)
    first = numbers.say("cardinal", 7)
    numbers._memo.update({("nothing", n, False): () for n in range(50_001)})
    assert numbers.say("cardinal", 7) == first
    assert len(numbers._memo) > 50_000
    numbers.say("cardinal", 8)
    assert len(numbers._memo) < 100
