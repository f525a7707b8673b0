"""What is spoken aloud: text of procedures, prompts; how phrases are written; that the rest knows no English."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from handsfree.errors import Trouble
from handsfree.language import prompts
from handsfree.language.base import Language, load
from handsfree.language.english import LANGUAGE
from handsfree.language.english_speakable import SPELLING
from handsfree.resources import shipped_folder


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("208 V", "two hundred and eight volts"),
        ("43.5 °F", "forty three point five degrees Fahrenheit"),
        ("-18 °C", "minus eighteen degrees Celsius"),
        ("−18°C", "minus eighteen degrees Celsius"),
        ("R-290", "R two nine zero"),
        ("R134a", "R one three four A"),
        ("HK-204B", "hotel kilo two zero four bravo"),
        ("Relay K1 clicks.", "Relay kilo one clicks."),
        ("LED", "L E D"),
        ("The LEDs and the PTC.", "The L E D's and the P T C."),
        ("e.g. the fan", "for example the fan"),
        ("Measure 0.5–2 A, approx. 3 times.", "Measure zero point five to two amps, about three times."),
        ("Is it 110 to 125 V?", "Is it one hundred and ten to one hundred and twenty five volts?"),
        ("4 °C ± 1 °C", "four degrees Celsius plus or minus one degree Celsius"),
        ("Do NOT touch the 24 V relay.", "Do NOT touch the twenty four volt relay."),
        ("Read 24 V across it.", "Read twenty four volts across it."),
        ("Wait 5 min.", "Wait five minutes."),
        ("A 2,200 Ω coil", "A two thousand two hundred ohm coil"),
        ("Put 2 screws in.", "Put two screws in."),
        ("NEVER pull.", "NEVER pull."),
        ("Switch the supply off.", "Switch the supply off."),
        ("Less than 30 V, then > 5 %.", "Less than thirty volts, then above five percent."),
        ("isolated, lock", "isolated, lock"),
        ("Serial 1234567890123", "Serial one two three four five six seven eight nine zero one two three"),
        ("0.00015 A", "zero point zero zero zero one five amps"),
        ("the -12 °C limit", "the minus twelve degree Celsius limit"),
        ("Firmware 1.2.3", "Firmware 1.2.3"),
        ("", ""),
    ],
)
def test_speakable(text: str, said: str) -> None:
    assert LANGUAGE.speakable(text) == said


@given(st.text(max_size=60))
@example("٣ V")
@example("1" * 400 + " V")
def test_any_text_can_be_made_speakable(text: str) -> None:
    assert isinstance(LANGUAGE.speakable(text), str)


def test_speakable_twice_is_speakable_once() -> None:
    for text in ("208 V at -18 °C", "HK-204B e.g. 5 min", "R-290 LEDs"):
        once = LANGUAGE.speakable(text)
        assert not re.search(r"\d", once)
        assert LANGUAGE.speakable(once).lower() == once.lower()


def test_the_spelling_alphabet_is_whole() -> None:
    assert sorted(SPELLING) == list("abcdefghijklmnopqrstuvwxyz")


@pytest.mark.parametrize(
    ("spoken", "among"),
    [
        ("isolated lock four two", {"Isolated, lock 42.", "Isolated lock 42.", "isolated lock four two"}),
        ("where am i", {"Where am I?", "Where am I"}),
        ("o l", {"OL.", "OL"}),
        ("next step", {"Next step.", "Next step", "next step"}),
        ("forty three point five degrees fahrenheit", {"43.5°F.", "43.5 degrees Fahrenheit."}),
        ("forty three", {"43.", "43", "Forty three."}),
        ("is it isolated lock four two", {"Is it isolated, lock 42?"}),
    ],
)
def test_written(spoken: str, among: set[str]) -> None:
    assert among <= set(LANGUAGE.written(spoken))


def test_the_prompts_that_ship_are_sound() -> None:
    shipped = prompts.load(shipped_folder("grammar") / "en.prompts.yaml")
    for key, sentence in shipped.sentences.items():
        filled = shipped.prompt(key, **dict.fromkeys(prompts.places(sentence), "X"))
        assert filled
        assert "{" not in filled


def test_prompts_are_strict() -> None:
    with pytest.raises(KeyError, match="no prompt"):
        LANGUAGE.prompt("no-such-key")
    key, places = next(
        (key, places)
        for key, text in prompts.load(shipped_folder("grammar") / "en.prompts.yaml").sentences.items()
        if (places := prompts.places(text))
    )
    with pytest.raises(KeyError, match="lacks a value"):
        LANGUAGE.prompt(key)
    assert "{x}" in LANGUAGE.prompt(key, **dict.fromkeys(places, "{x}"))  # a value is never filled in again


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("a: b\na: c", "line 2: the prompt 'a' is given twice"),
        ("a: '{b.__class__}'", "line 1: the prompt 'a' has a bad place"),
        ("a: '{0}'", "bad place"),
        ("a: 'x {b'", "bad place"),
        ("a: [b]", "line 1: a prompt is a name, a colon and a sentence"),
        ("a:", "a prompt is a name"),
        ("- a", "must be a mapping"),
        ("a: &x b\nc: *x\nd: *y", "cannot be read"),
        ("a: 'b", "cannot be read"),
        ("x: " + "y" * 200_001, "larger than"),
    ],
)
def test_bad_prompts_are_refused_in_a_sentence(tmp_path: Path, text: str, message: str) -> None:
    file = tmp_path / "xx.prompts.yaml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(Trouble) as trouble:
        prompts.load(file)
    assert message in trouble.value.sentence


def test_it_is_the_language_it_says() -> None:
    language: Language = load("en")
    assert language is LANGUAGE
    assert language.code == "en"
    with pytest.raises(Trouble, match="no language 'xx'"):
        load("xx")


def test_the_shared_machinery_knows_no_english() -> None:
    """No number, unit or command word of the grammar stands in a string of a module that every language shares."""
    here = Path(prompts.__file__).parent
    neutral = ("jsgf", "expand", "twoway", "tokens", "understanding", "decoys", "prompts", "numerals", "base", "phonetics")
    telling = {"isolated", "twenty", "volts", "hundred", "degrees", "affirm", "nought", "maybe"}
    for name in neutral:
        code = re.sub(r'""".*?"""|#[^\n]*', "", (here / f"{name}.py").read_text(encoding="utf-8"), flags=re.DOTALL)
        assert '"' in code
        strings = re.sub(r"\{[^}]*\}", "", " ".join(re.findall(r'"([^"\n]*)"', code)))
        assert not telling & set(re.findall(r"[a-z]+", strings)), name
