"""Spanish numbers: said and read back, against num2words, the names of Debian's sound files, and what people say."""

from __future__ import annotations

import random
import re
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from num2words import num2words  # type: ignore[import-untyped]  # carries no types

from handsfree.language import jsgf
from handsfree.language.quantities import SYMBOLS
from handsfree.language.spanish import LANGUAGE
from handsfree.language.spanish_hearing import AMBIGUOUS, NO_NUMBER, Ambiguity
from handsfree.language.tokens import tokens

SOUNDS = Path("/usr/share/asterisk/sounds/es_MX_f_Allison/digits")  # Debian's asterisk-core-sounds-es-g722


def values(text: str) -> list[tuple[float | None, str | None]]:
    return [(meaning.value, meaning.unit) for meaning in LANGUAGE.numbers(tokens(LANGUAGE.plain(text)))]


SAID = {
    "cuarenta y tres coma cinco": 43.5,
    "cuarenta y tres punto cinco": 43.5,
    "cuarenta y tres con cinco": 43.5,
    "cuatro tres coma cinco": 43.5,
    "cuatro tres decimal cinco": 43.5,
    "menos doce": -12,
    "doce bajo cero": -12,
    "doscientos ocho": 208,
    "dos cero ocho": 208,
    "ciento dieciocho": 118,
    "uno dieciocho": 118,
    "uno uno ocho": 118,
    "dos veinte": 220,
    "doble cuatro": 44,
    "triple cuatro": 444,
    "coma ocho": 0.8,
    "cero coma ocho": 0.8,
    "cero": 0,
    "dos mil doscientos": 2200,
    "veintidós cincuenta": 2250,
    "veintidós cero cinco": 2205,
    "once y medio": 11.5,
    "tres cuartos": 0.75,
    "un cuarto": 0.25,
    "uno y tres cuartos": 1.75,
    "medio": 0.5,
    "media": 0.5,
    "cien": 100,
    "ciento": 100,
    "mil": 1000,
    "mil cinco": 1005,
    "más cuatro": 4,
    "mas cuatro": 4,
    "dieciseis": 16,
    "diez y seis": 16,
    "veintidos": 22,
    "veinte y dos": 22,
    "treintaicinco": 35,
    "treintaitrés": 33,
    "treinta cinco": 35,
    "cuarenta y siete mil": 47_000,
    "trescientos treinta mil": 330_000,
    "un millón doscientos mil": 1_200_000,
    "dos millones": 2_000_000,
    "cuarenta y tres coma cero cinco": 43.05,
}
WRITTEN = {
    "43,5": 43.5,
    "43.5": 43.5,
    "-12": -12,
    "−12,5": -12.5,
    "11 1/2": 11.5,
    "11½": 11.5,
    "2.200": 2200,
    "2 200": 2200,
    "2200": 2200,
    "2,200": 2.2,
    "1.234,5": 1234.5,
    "1,234.5": 1234.5,
    "1.234.567": 1_234_567,
    ",8": 0.8,
    "0,80": 0.8,
    "1 18": 118,
    "2 08": 208,
    "4 3 coma 5": 43.5,
    "menos 12": -12,
    "12 bajo cero": -12,
    "08": 8,
    "3/4": 0.75,
    "330.000": 330_000,
    "Cuarenta y tres coma cinco.": 43.5,
}
WITH_UNIT = {
    "118 voltios": (118, "volt"),
    "ciento dieciocho volts": (118, "volt"),
    "43,5°F": (43.5, "degF"),
    "43,5 °C": (43.5, "degC"),
    "4,7 kΩ": (4.7, "kiloohm"),
    "55 %": (55, "percent"),
    "1 V": (1, "volt"),
    "un voltio": (1, "volt"),
    "uno voltio": (1, "volt"),
    "veintiún voltios": (21, "volt"),
    "veintiun voltios": (21, "volt"),
    "doscientas libras": (200, "pound"),
    "treinta y una horas": (31, "hour"),
    "5 grados": (5, "degree"),
    "doce grados bajo cero": (-12, "degree"),
    "un grado bajo cero": (-1, "degree"),
    "menos dieciocho grados celsius": (-18, "degC"),
    "menos dieciocho grados centigrados": (-18, "degC"),
    "cuatro amperios y medio": (4.5, "ampere"),
    "cuatro y medio amperios": (4.5, "ampere"),
    "medio amperio": (0.5, "ampere"),
    "dos horas y media": (2.5, "hour"),
    "dos coma dos kilo ohmios": (2.2, "kiloohm"),
    "sesenta y ocho libras por pulgada cuadrada": (68, "psi"),
    "mil revoluciones por minuto": (1000, "revolutions_per_minute"),
}


@pytest.mark.parametrize(("text", "value"), [*SAID.items(), *WRITTEN.items()])
def test_forms_people_use(text: str, value: float) -> None:
    assert values(text)[0] == (value, None)


@pytest.mark.parametrize(("text", "value"), WITH_UNIT.items())
def test_with_their_units(text: str, value: tuple[float, str]) -> None:
    assert values(text)[0] == value


@pytest.mark.parametrize("each", AMBIGUOUS, ids=lambda each: each.phrase)
def test_ambiguous_phrases_have_the_listed_reading(each: Ambiguity) -> None:
    found = [value for value, _ in values(each.phrase)]
    assert found[0] == each.chosen
    assert set(each.others) <= set(found)
    assert not set(each.never) & set(found)


@pytest.mark.parametrize("text", [*NO_NUMBER, "voltios", "aislado candado cuatro dos", "no"])
def test_what_is_no_number(text: str) -> None:
    assert values(text) == []


NUMBERS = st.one_of(
    st.integers(-999_999, 999_999).map(float),
    st.integers(-9_999_999, 9_999_999).map(lambda n: n / 1000),
    st.integers(10**6, 10**9 - 1).map(float),
)


@settings(max_examples=200, deadline=None)
@given(NUMBERS)
@example(21_021.0)
@example(-1.0)
@example(1_000_001.0)
@example(21_000_000.0)
def test_every_value_comes_back_from_its_words(value: float) -> None:
    assert values(LANGUAGE.say_number(value))[0] == (value, None)
    assert values(LANGUAGE.say_digits(value))[0][0] == value or abs(value) >= 10**6


@settings(max_examples=60, deadline=None)
@given(st.integers(-99_990, 99_990).map(lambda n: n / 10), st.sampled_from(sorted(SYMBOLS)))
@example(21.0, "volt")
@example(200.0, "pound")
@example(-1.0, "degC")
@example(2.2, "kiloohm")
@example(1234.5, "ohm")
def test_every_form_of_a_quantity_is_read_as_it(value: float, unit: str) -> None:
    own = unit.removeprefix("delta_")
    for form in (*LANGUAGE.spoken_forms(value, unit), *LANGUAGE.written_forms(value, unit)):
        first, spoken = values(form)[0]
        assert first == value, form
        assert spoken in (None, own, "degree"), form
    assert values(LANGUAGE.say_quantity(value, unit))[0] == (value, own or None)


def test_num2words_spanish_parses_to_its_value() -> None:
    """num2words, an independent library: every whole number from -999 to 9999."""
    for n in range(-999, 10_000):
        assert values(num2words(n, lang="es"))[0] == (n, None), n


def test_num2words_spanish_tenths_parse_to_their_values() -> None:
    for n in range(-9_999, 100_000, 7):
        value = n / 10
        # num2words 0.5.14 loses the sign of -0.6, so there the minus is put before it
        text = f"menos {num2words(-value, lang='es')}" if -1 < value < 0 else num2words(value, lang="es")
        assert values(text)[0] == (value, None), text


def test_the_programs_own_words_are_num2words_own() -> None:
    """The first way of each whole number is num2words' way: written as Spanish is."""
    for n in range(-999, 10_000):
        assert LANGUAGE.say_number(n) == num2words(n, lang="es"), n


#: What the names of the sound files stand for, besides plain figures: the words they hold by asterisk's rules for Spanish.
NAMED = {
    "1F": "una", "1M": "un", "100-and": "ciento", "and": "y", "hundred": "cien", "thousand": "mil", "million": "millón",
    "millions": "millones", "minus": "menos",
}  # fmt: skip


def test_the_words_of_debians_spanish_sounds_are_known() -> None:
    """The word list of asterisk-core-sounds-es-g722: each file's number is said and read back, each word is known."""
    assert SOUNDS.is_dir(), "apt-get install asterisk-core-sounds-es-g722"
    names = {path.stem for path in SOUNDS.glob("*.g722")}
    figures = sorted(int(name) for name in names if name.isdigit())
    assert len(figures) >= 44
    assert set(NAMED) <= names
    known = LANGUAGE.vocabulary()
    for figure in figures:
        said = num2words(figure, lang="es")
        assert set(said.split()) <= known
        assert values(said)[0] == (figure, None)
    assert set(NAMED.values()) <= known
    for size, ending in ((1, ""), (2, "00"), (4, "000")):  # put together as the switch puts them together
        text = {1: "ciento", 2: "doscientos", 4: "cuatro mil"}[size]
        assert values(f"{text} treinta y cinco")[0] == (int(f"{size}{ending or '00'}") + 35, None)


def test_both_ways_for_words_taken_for_one_another() -> None:
    both = {12, 13, 60, 65, 70, 76, 160, 612, 650, 700, 112, 102, 103, 60_000, 12_000, 12.5, -60, 1260}
    one = {0, 2, 3, 11, 15, 20, 43, 43.5, 100, 208, 500, 5000, -4}
    assert {value for value in both | one if LANGUAGE.needs_both_ways(value)} == both


@pytest.mark.parametrize(
    ("value", "other"),
    [(60, 70), (70, 60), (65, 75), (2, 12), (12, 2), (13, 3), (650, 750), (102, 112), (6, 3), (43.5, 43), (43.5, 435),
     (-12, 12), (12, -12), (60_000, 70_000), (118, 18), (43.25, 43.2), (20, 200), (200, 20)],
)  # fmt: skip
def test_confusable_values(value: float, other: float) -> None:
    assert other in LANGUAGE.confusable(value)
    assert value not in LANGUAGE.confusable(value)


@pytest.mark.parametrize(
    ("value", "unit", "said"),
    [
        (43.5, "degC", "cuarenta y tres coma cinco grados Celsius"),
        (1, "volt", "un voltio"),
        (21, "volt", "veintiún voltios"),
        (101, "ohm", "ciento un ohmios"),
        (1.5, "volt", "uno coma cinco voltios"),
        (31, "hour", "treinta y una horas"),
        (200, "pound", "doscientas libras"),
        (-1, "degC", "menos un grado Celsius"),
        (21, "percent", "veintiuno por ciento"),
        (5, "delta_degC", "cinco grados Celsius"),
        (3, "", "tres"),
        (21_000, "volt", "veintiún mil voltios"),
    ],
)
def test_say_quantity(value: float, unit: str, said: str) -> None:
    assert LANGUAGE.say_quantity(value, unit) == said


def test_say_digits() -> None:
    assert LANGUAGE.say_digits(-43.5) == "menos cuatro tres coma cinco"
    assert LANGUAGE.digits(("doble", "cuatro", "dos")) == ("cuatro", "cuatro", "dos")
    assert LANGUAGE.digits(("cuatro", "cuarenta")) == ()
    with pytest.raises(ValueError, match="too large"):
        LANGUAGE.say_number(1e12)


def test_vocabulary_covers_every_form() -> None:
    luck = random.Random(3)
    words = {
        word
        for _ in range(300)
        for form in LANGUAGE.spoken_forms(luck.randint(-99_999, 99_999) / 10, luck.choice(["degC", "pound", "ohm"]))
        for word in form.split()
    }
    assert words <= LANGUAGE.vocabulary()


@pytest.mark.parametrize("unit", ["", "degC", "volt", "hour", "psi"])
def test_a_recognisers_grammar_of_numbers(unit: str) -> None:
    text = LANGUAGE.number_grammar_jsgf(unit)
    grammar = jsgf.parse(text, "number.jsgf")
    assert grammar.rule("number").public
    rules = re.sub(r"^#.*|grammar number;|public |<[^>]+>", "", text, flags=re.MULTILINE)
    assert set(re.findall(r"[^\W\d_]+", rules)) <= LANGUAGE.vocabulary()
    nouns = {"": "", "degC": "m", "volt": "m", "hour": "mf", "psi": "mf"}  # an hour's minutes are masculine
    assert {gender for gender in "mf" if f"<counted_{gender}>" in text} == set(nouns[unit])
    assert "millones" not in text
    assert "mil " in text
    assert not re.search(r"\bmil\b", LANGUAGE.number_grammar_jsgf(unit, most=500))
