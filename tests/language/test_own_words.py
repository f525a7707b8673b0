"""People's own words: taken where nothing is at stake and every word is accounted for, and nowhere else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest

from handsfree.language.base import Language, load
from handsfree.language.meaning import (
    ALIKE,
    ALWAYS,
    IN_OWN_WORDS,
    WHEN_ASKED,
    Denial,
    GateAsked,
    Listening,
    Meaning,
    NumberAsked,
    Sense,
)
from handsfree.language.own_words import OwnPieces, OwnWords, Words

ENGLISH, SPANISH = load("en"), load("es")
YES_NO = Listening(phrases=("dry", "damp"), also=("yes", "no", "cannot tell", "not fitted", "skip it"), own_words=True)
WORK = Listening(also=("done",), own_words=True)
NUMBER = Listening(number=NumberAsked("degF", -40, 150), own_words=True)


def meant(words: str, listening: Listening, language: Language = ENGLISH) -> str:
    """What is acted on; '' where nothing is."""
    found = language.understand(words, listening)
    return found[0].text if found and found[0].sense is not Sense.DENIAL else ""


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        ("Yeah, it is.", "yes"), ("um, yeah", "yes"), ("okay so, they are", "yes"), ("yes, yes, that's right", "yes"),
        ("no, it's not", "no"), ("nope", "no"), ("well, no, they don't", "no"), ("well, it's dry", "dry"),
        ("sorry, I really can't tell", "cannot tell"), ("alright, damp then", "damp"), ("hang on", "stand by"),
        ("Can you repeat that?", "say again"),
    ],
)  # fmt: skip
def test_a_yes_no_question_takes_people_s_words(words: str, wanted: str) -> None:
    assert meant(words, YES_NO) == wanted
    assert meant(words, replace(YES_NO, own_words=False)) in ("", wanted)


@pytest.mark.parametrize(
    "words",
    ["alright, carry on", "right then, that's done", "yeah, done", "got it, next", "I've done that", "okay, go on then"],
)
def test_work_takes_what_moves_on(words: str) -> None:
    assert meant(words, WORK) in ("done", "next step", "go ahead")


@pytest.mark.parametrize(
    "words",
    ["yeah, no", "yes or no", "it is not clear", "is it", "no problem", "well, not really dry", "dry or damp", "yes and no",
     "yeah, he told me", "dry, I think", "it was"],
)  # fmt: skip
def test_a_word_too_many_or_two_things_at_once_mean_nothing(words: str) -> None:
    assert meant(words, YES_NO) == ""


@pytest.mark.parametrize(
    "words",
    ["it is fine", "they are all right", "it is okay", "it does look good", "it is not right", "they're not good",
     "yes it is fine"],
)  # fmt: skip
def test_a_word_that_judges_is_no_yes_and_no_no(words: str) -> None:
    """'Is the seal torn?' 'It is fine.'"""
    assert meant(words, YES_NO) == ""


@pytest.mark.parametrize(
    ("words", "answers"),
    [("right, left", ("left", "right")), ("left, right", ("left", "right")), ("all right", ("all", "some")),
     ("good, bad", ("good", "bad")), ("yes, no", ("yes", "no")), ("yeah, no", ("yes", "no")), ("sure, no", ("no", "some"))],
)  # fmt: skip
def test_an_answer_in_force_is_never_what_stands_beside_another(words: str, answers: tuple[str, ...]) -> None:
    assert meant(words, Listening(phrases=answers, own_words=True)) == ""


@pytest.mark.parametrize(
    "words",
    ["not done yet", "nearly done", "all done?", "okay, is it done", "he is all done", "when you are ready",
     "don't carry on"],
)
def test_work_is_not_moved_on_by_what_denies_or_asks(words: str) -> None:
    assert meant(words, WORK) == ""


def test_a_reading_may_have_words_around_it_but_no_others() -> None:
    assert ENGLISH.understand("alright, it's forty three then", NUMBER)[0].value == 43
    assert meant("not forty three", NUMBER) == meant("so nearly forty three", NUMBER) == ""


@pytest.mark.parametrize(
    ("words", "language"),
    [("forty and", ENGLISH), ("and forty three", ENGLISH), ("and a half", ENGLISH), ("cuarenta y", SPANISH),
     ("y tres", SPANISH)],
)  # fmt: skip
def test_half_of_a_reading_is_none(words: str, language: object) -> None:
    """'Cuarenta y', a breath, 'tres'."""
    assert meant(words, NUMBER, language) == ""


def test_nothing_of_it_counts_at_a_gate_or_a_proof() -> None:
    """`own_words` set by mistake there changes nothing: neither what is listed, nor what any of these words mean."""
    guarded = (
        Listening(gate=GateAsked("isolated", ("four", "two"))),
        Listening(phrases=("nothing runs", "something runs"), proof=True),
        Listening(also=("affirm", "negative"), proof=True),
        Listening(number=NumberAsked("volt", 0, 1000), proof=True),
    )
    ways = [" ".join(way) for _, way in ENGLISH.own_words.every()]
    said = [*ways, *(f"um {way}" for way in ways), "affirm affirm", "okay so nothing runs", "right isolated lock four two"]
    for listening in guarded:
        wrongly = replace(listening, own_words=True)
        assert ENGLISH.forms(wrongly) == ENGLISH.forms(listening)
        assert ENGLISH.decoys(wrongly) == ENGLISH.decoys(listening)
        for words in said:
            assert ENGLISH.understand(words, wrongly) == ENGLISH.understand(words, listening), words


def test_nothing_more_is_listed_for_a_recogniser() -> None:
    """Answers are heard as well as before: own words only take away denials that they would contradict."""
    for listening in (YES_NO, WORK, NUMBER):
        without = replace(listening, own_words=False)
        assert ENGLISH.forms(listening) == ENGLISH.forms(without)
        gone = set(ENGLISH.decoys(without)) - set(ENGLISH.decoys(listening))
        assert set(ENGLISH.decoys(listening)) <= set(ENGLISH.decoys(without))
        assert all(meant(words, listening) for words in gone)


def test_every_way_belongs_to_a_command_and_to_no_other() -> None:
    """A way that means two commands would be whichever comes first; a listed way of another command, too."""
    for language in (ENGLISH, SPANISH):
        own: dict[tuple[str, ...], str] = {}
        listed = {tuple(way.split()): name for name, ways in language.commands.items() for way in ways}
        for name, way in language.own_words.every():
            if name in (*ALWAYS, *WHEN_ASKED, *IN_OWN_WORDS):
                assert own.setdefault(way, name) == name, way
                alike = next((each for each in ALIKE if name in each), (name,))
                assert listed.get(way, name) in alike, way


def test_what_is_left_over_is_still_a_denial() -> None:
    assert ENGLISH.understand("well, it is not dry", YES_NO)[0].text == Denial.NEGATION


@pytest.mark.parametrize(
    ("words", "listening", "wanted"),
    [("sí, claro", YES_NO, "yes"), ("pues no", YES_NO, "no"), ("bueno, ya está hecho", WORK, "done"),
     ("no está bien", YES_NO, ""), ("sí, lo está, muy bien", YES_NO, ""), ("bien, lo está", YES_NO, "yes"),
     ("ni idea", YES_NO, "cannot tell"), ("sí y no", YES_NO, ""), ("aún no está hecho", WORK, ""),
     ("¿Dónde estaba?", WORK, "where am i"), ("¿Qué he dicho?", WORK, "what did i say"),
     ("¿qué ha oído?", YES_NO, "what did i say"), ("qué has dicho", YES_NO, "say again")],
)  # fmt: skip
def test_in_another_language(words: str, listening: Listening, wanted: str) -> None:
    assert meant(words, listening, SPANISH) == wanted


def test_what_people_say_is_gathered_once_for_all_look_alikes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Gathered for each of nine hundred, it took the recogniser seven seconds at every new question of a real visit."""
    several = replace(YES_NO, commands=tuple(sorted(ENGLISH.own_words.ways)), asides=("where is the drain",))
    gathered, reading = [], OwnWords.reading

    def counted(own: OwnWords, listening: Listening, in_force: Mapping[Words, Meaning]) -> OwnPieces:
        gathered.append(listening)
        return reading(own, listening, in_force)

    monkeypatch.setattr(OwnWords, "reading", counted)
    assert len(ENGLISH._decoys.all(several)) > 10 * len(several.commands)
    assert gathered == [several]
    gathered.clear()
    for words in ("not dry", "is it dry", "whatever"):
        ENGLISH.understand(words, several)
    assert len(gathered) <= 2, "once for the sentences, and once for their denials"
