"""What exact words mean under what is in force; that no denial ever opens a gate; forms and decoys."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.language.english import LANGUAGE
from handsfree.language.english_words import WORDS
from handsfree.language.meaning import (
    ALWAYS,
    IN_OWN_WORDS,
    WHEN_ASKED,
    Denial,
    GateAsked,
    Listening,
    Meaning,
    NumberAsked,
    Sense,
    gate_text,
)

DIGITS = WORDS.digits
GATE = Listening(gate=GateAsked("isolated", ("four", "two")))
CLEAR = Listening(gate=GateAsked("clear", ("nine", "nine", "zero")))
READING = Listening(number=NumberAsked("degF", -40, 150))
CHOICE = Listening(phrases=("cool", "warm", "LED on", "not running", "running"))
LOCK = Listening(digits=(2, 4))


def one(text: str, listening: Listening) -> tuple[Sense, str] | None:
    found = LANGUAGE.understand(text, listening)
    return (found[0].sense, found[0].text) if found else None


OPENS = [
    "isolated lock four two",
    "Isolated, lock 42.",
    "isolated lock 42",
    "ISOLATED. LOCK 4 2!",
    "isolated, lock 4-2",
    "Isolated, lock four, two.",
    "  isolated   lock  four two ",
]
STAYS_SHUT = {
    "not isolated": Denial.NEGATION,
    "it is not isolated lock four two": Denial.NEGATION,
    "isn't isolated": Denial.NEGATION,
    "isolated not lock four two": Denial.NEGATION,
    "isolated lock four two no": Denial.NEGATION,
    "power is not isolated": Denial.NEGATION,
    "never isolated, lock 42": Denial.NEGATION,
    "isolated lock -42": Denial.NEGATION,
    "is it isolated": Denial.QUESTION,
    "isolated lock four two?": Denial.QUESTION,
    "Is the power isolated?": Denial.QUESTION,
    "should I say isolated lock four two": Denial.QUESTION,
    "still on": Denial.STILL_ON,
    "it's still on": Denial.STILL_ON,
    "still isolated lock 42": Denial.STILL_ON,
    "isolated I think": Denial.UNSURE,
    "maybe isolated lock four two": Denial.UNSURE,
    "isolated lock four two I think": Denial.UNSURE,
    "isolated lock four two soon": Denial.UNSURE,
    "isolated": Denial.HALF,
    "isolated lock": Denial.HALF,
    "isolated lock four": Denial.HALF,
    "lock four two": Denial.HALF,
    "four two": Denial.HALF,
    "isolated four two": Denial.HALF,
    "isolated lock forty two": Denial.HALF,
    "isolated lock 4.2": Denial.HALF,
    "isolated lock four three": Denial.NUMBER,
    "isolated lock 43": Denial.NUMBER,
    "isolated lock 422": Denial.NUMBER,
    "isolated lock two four": Denial.NUMBER,
    "isolated lock four four two": Denial.NUMBER,
    "four three": Denial.NUMBER,
    "isolated lock two": Denial.NUMBER,
    "isolated lock 42 42": Denial.NUMBER,
    "isolate lock four two": Denial.NEAR,
    "insulated lock four two": Denial.NEAR,
    "clear lock four two": Denial.NEAR,
    "okay isolated lock four two": Denial.NEAR,
    "isolated lock four two please": Denial.NEAR,
}


@pytest.mark.parametrize("text", OPENS)
def test_the_whole_phrase_opens(text: str) -> None:
    assert one(text, GATE) == (Sense.GATE, gate_text("isolated", ("four", "two")))


def test_other_ways_to_say_the_digits_open() -> None:
    for text in ("clear lock nine nine zero", "Clear, lock 990.", "clear lock niner nine oh", "clear lock double nine zero"):
        assert one(text, CLEAR) == (Sense.GATE, gate_text("clear", ("nine", "nine", "zero")))


@pytest.mark.parametrize(("text", "kind"), STAYS_SHUT.items())
def test_denials_keep_it_shut_and_say_why(text: str, kind: Denial) -> None:
    assert one(text, GATE) == (Sense.DENIAL, kind)


@pytest.mark.parametrize(
    "text", ["the weather is fine", "can you pass me the torch", "", "yes", "okay", "yes I have done it"]
)
def test_what_resembles_nothing_has_no_meaning(text: str) -> None:
    assert one(text, GATE) is None


_GATES = st.builds(
    GateAsked, st.sampled_from(["isolated", "clear"]), st.lists(st.sampled_from(DIGITS), min_size=2, max_size=4).map(tuple)
)
_BITS = st.sampled_from(
    [
        "isolated",
        "lock",
        "clear",
        "isolated lock",
        "not",
        "no",
        "isn't",
        "is it",
        "i think",
        "still on",
        "power",
        "power is",
        "42",
        "4",
        "2",
        "-",
        ",",
        ".",
        "?",
        "forty two",
        "point",
        "double",
        "oh",
        "niner",
        *DIGITS,
    ]
)


@given(_GATES, st.lists(_BITS, max_size=8), st.data())
@settings(max_examples=1500, deadline=None)
def test_only_the_exact_phrase_ever_opens(gate: GateAsked, bits: list[str], data: st.DataObject) -> None:
    """Any jumble, with the right phrase or parts of it put in: a gate only from the phrase alone."""
    phrase = f"{gate.word} lock {' '.join(gate.lock)}"
    at = data.draw(st.integers(0, len(bits)))
    pieces = [*bits[:at], *data.draw(st.sampled_from([[], [phrase], phrase.split()[:-1]])), *bits[at:]]
    text = " ".join(pieces)
    opened = any(m.sense is Sense.GATE for m in LANGUAGE.understand(text, Listening(gate=gate)))
    bare = [word for word in text.replace(",", " ").replace(".", " ").replace("-", " ").split() if word]
    lead, number = bare[:2], bare[2:]
    spelled = LANGUAGE.digits(number) if number else ()
    assert opened == (lead == [gate.word, "lock"] and spelled == gate.lock and "?" not in text)


@given(_GATES, st.sampled_from(sorted(LANGUAGE.vocabulary_of_phrases.negation)), st.integers(0, 6), st.booleans())
def test_no_text_with_a_negation_opens(gate: GateAsked, negation: str, at: int, written: bool) -> None:
    number = "".join(str(DIGITS.index(digit)) for digit in gate.lock) if written else " ".join(gate.lock)
    words = f"{gate.word} lock {number}".split()
    text = " ".join([*words[:at], negation, *words[at:]])
    found = LANGUAGE.understand(text, Listening(gate=gate))
    assert [(m.sense, m.text) for m in found] == [(Sense.DENIAL, Denial.NEGATION)]


@given(_GATES, st.lists(st.sampled_from(DIGITS), min_size=1, max_size=5).map(tuple), st.booleans())
def test_no_other_number_opens(gate: GateAsked, said: tuple[str, ...], written: bool) -> None:
    number = "".join(str(DIGITS.index(digit)) for digit in said) if written else " ".join(said)
    found = LANGUAGE.understand(f"{gate.word} lock {number}", Listening(gate=gate))
    assert (found[0].sense is Sense.GATE) == (said == gate.lock)


@pytest.mark.parametrize("bit", ["1", "1 ", "one ", "isolated lock ", "not ", "0.1", "-", "1/2 ", "a", "?", "point "])
def test_a_very_long_line_is_only_not_understood(bit: str) -> None:
    for listening in (GATE, READING, CHOICE, LOCK):
        for meaning in LANGUAGE.understand(bit * 5_000, listening):
            assert meaning.sense is Sense.DENIAL


@given(st.text(max_size=40))
def test_any_text_is_understood_without_an_error(text: str) -> None:
    for listening in (GATE, READING, CHOICE, LOCK):
        for meaning in LANGUAGE.understand(text, listening):
            assert meaning.sense is not Sense.GATE


@pytest.mark.parametrize(
    ("text", "meaning"),
    [
        ("Warm.", (Sense.PHRASE, "warm")),
        ("it's warm", (Sense.PHRASE, "warm")),
        ("okay, warm", (Sense.PHRASE, "warm")),
        ("LED on", (Sense.PHRASE, "LED on")),
        ("l e d on", (Sense.PHRASE, "LED on")),
        ("not running", (Sense.PHRASE, "not running")),
        ("it is not running", (Sense.PHRASE, "not running")),
        ("not warm", (Sense.DENIAL, Denial.NEGATION)),
        ("it isn't warm", (Sense.DENIAL, Denial.NEGATION)),
        ("is it warm", (Sense.DENIAL, Denial.QUESTION)),
        ("maybe warm", (Sense.DENIAL, Denial.UNSURE)),
        ("warm I think", (Sense.DENIAL, Denial.UNSURE)),
        ("how long?", (Sense.COMMAND, "how long")),
        ("next", (Sense.COMMAND, "next step")),
        ("what", (Sense.DENIAL, Denial.HALF)),
        ("don't go back", (Sense.DENIAL, Denial.NEGATION)),
        ("standby", (Sense.COMMAND, "stand by")),
    ],
)
def test_answers_and_commands(text: str, meaning: tuple[Sense, str]) -> None:
    assert one(text, CHOICE) == meaning


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("43.5", 43.5, None),
        ("it's 43.5°F", 43.5, "degF"),
        ("it reads twelve below", -12, None),
        ("5 degrees", 5, "degF"),
        ("five degrees celsius", 5, "degC"),
        ("fifty volts", 50, "volt"),
        ("um forty three point five", 43.5, None),
    ],
)
def test_readings(text: str, value: float, unit: str | None) -> None:
    found = LANGUAGE.understand(text, READING)
    assert (found[0].sense, found[0].value, found[0].unit) == (Sense.NUMBER, value, unit)


def test_the_plausible_range_orders_readings_and_hides_none() -> None:
    first = LANGUAGE.understand("oh eight", Listening(number=NumberAsked("ampere", 0, 2)))
    assert [m.value for m in first] == [0.8, 8]
    assert [m.value for m in LANGUAGE.understand("oh eight", Listening(number=NumberAsked("ampere", 3, 20)))] == [8, 0.8]
    assert LANGUAGE.understand("900", Listening(number=NumberAsked("ampere", 0, 2)))[0].value == 900


@pytest.mark.parametrize(
    ("text", "meaning"),
    [
        ("off scale", (Sense.STATE, "over range")),
        ("O.L.", (Sense.STATE, "over range")),
        ("OL", (Sense.STATE, "over range")),
        ("it keeps moving", (Sense.STATE, "unsteady")),
        ("it's jumping", (Sense.STATE, "unsteady")),
        ("not forty three", (Sense.DENIAL, Denial.NEGATION)),
        ("is it 43.5", (Sense.DENIAL, Denial.QUESTION)),
        ("43.5 I think", (Sense.DENIAL, Denial.UNSURE)),
        ("say again", (Sense.COMMAND, "say again")),
    ],
)
def test_at_a_reading(text: str, meaning: tuple[Sense, str]) -> None:
    assert one(text, READING) == meaning


@pytest.mark.parametrize(
    ("text", "digits"),
    [
        ("four two", "four two"),
        ("42", "four two"),
        ("lock 4 2", "four two"),
        ("niner oh double four", "nine zero four four"),
        ("my number is one two three", "one two three"),
    ],
)
def test_stating_the_number(text: str, digits: str) -> None:
    assert one(text, LOCK) == (Sense.DIGITS, digits)


@pytest.mark.parametrize("text", ["forty two", "four", "one two three four five", "4.2", "-42"])
def test_what_states_no_number(text: str) -> None:
    assert not any(m.sense is Sense.DIGITS for m in LANGUAGE.understand(text, LOCK))


def test_every_command_is_said_somehow_and_no_two_alike() -> None:
    assert set(LANGUAGE.commands) == {*ALWAYS, *WHEN_ASKED, *IN_OWN_WORDS}
    ways = list(itertools.chain(*LANGUAGE.commands.values(), *LANGUAGE.states.values()))
    assert len(ways) == len(set(ways))
    for name, said in LANGUAGE.commands.items():
        assert said[0] == name
        for way in said:
            assert one(way, Listening(commands=(name,))) == (Sense.COMMAND, name)


def test_only_what_is_in_force_is_heard() -> None:
    assert one("next step", Listening(commands=("go ahead",))) is None
    assert one("affirm", Listening()) is None
    assert one("affirm", Listening(commands=("affirm", "negative"))) == (Sense.COMMAND, "affirm")
    assert one("that is right", Listening(phrases=("affirm",), commands=())) == (Sense.PHRASE, "affirm")
    assert one("off scale", CHOICE) is None
    assert one("isolated lock four two", CHOICE) is None
    assert LANGUAGE.understand("next step", Listening(note=True)) == ()


@pytest.mark.parametrize(
    "listening", [GATE, CLEAR, READING, CHOICE, LOCK], ids=["gate", "clear", "reading", "choice", "lock"]
)
def test_forms_are_understood_and_decoys_never_accepted(listening: Listening) -> None:
    forms, decoys = LANGUAGE.forms(listening), LANGUAGE.decoys(listening)
    assert forms
    assert decoys
    assert not set(forms) & set(decoys)
    for spoken, meaning in forms.items():
        assert meaning in LANGUAGE.understand(spoken, listening)
        for written in LANGUAGE.written(spoken):
            assert meaning.sense in {m.sense for m in LANGUAGE.understand(written, listening)}, written
    for spoken, meaning in decoys.items():
        assert meaning.sense is Sense.DENIAL
        assert {m.sense for m in LANGUAGE.understand(spoken, listening)} <= {Sense.DENIAL}, spoken


def test_decoys_of_a_gate_hold_every_number_one_digit_away() -> None:
    decoys = LANGUAGE.decoys(GATE)
    for at, digit in itertools.product(range(2), DIGITS):
        other = list(GATE.gate.lock) if GATE.gate else []
        other[at] = digit
        if tuple(other) != ("four", "two"):
            assert decoys[f"isolated lock {' '.join(other)}"] == Meaning(
                Sense.DENIAL, Denial.NUMBER, spoken=f"isolated lock {' '.join(other)}"
            )
    for phrase in (
        "not isolated",
        "is it isolated",
        "still on",
        "isolated i think",
        "isolated lock",
        "isolated lock four four two",
    ):
        assert phrase in decoys
