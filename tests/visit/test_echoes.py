"""A yes or a no with an answer behind it: both must say the same, and nothing of it counts where something is at stake."""

from __future__ import annotations

from dataclasses import replace

import pytest

from handsfree.journal.events import AnswerTaken, ReadingTaken, Utterance
from handsfree.language.base import load
from handsfree.language.meaning import Listening, Sense, Verdict
from handsfree.visit.state import Awaiting, Overlay
from tests.visit.scenes import Scene, book
from tests.visit.test_gates import OPENS, at_gate

ASKS = """
procedure: echo
title: Echo
steps:
  - id: wrong
    kind: ask
    say: What is wrong?
    answers: {freezing: {also: [too cold]}, warm: , iced up: {also: [ice]}}
  - id: else
    kind: ask
    say: Anything else?
    answers: {nothing else: {also: [that is it, that is all], stands_for: "no"}, noisy: , wet: }
  - {id: air, kind: read, say: How cold?, quantity: air, unit: degF, plausible: [-20, 130], decides: true}
  - {id: end, kind: end, outcome: done, say: Done.}
"""
FREEZING = Utterance(Verdict.PROPOSED, Sense.PHRASE, "freezing", spoken="freezing", sure=0.7, words="Mess.", engine="test")


def asked() -> Scene:
    scene = Scene(book(ASKS)).open()
    scene.tell(FREEZING)
    assert (scene.state.overlay, scene.said) == (Overlay.PROPOSAL, "Freezing?")
    return scene


def took(scene: Scene) -> list[str]:
    return [each.answer for each in scene.last if isinstance(each, AnswerTaken)]


@pytest.mark.parametrize(
    ("words", "answer"),
    [("Yes, freezing.", "freezing"), ("yeah freezing", "freezing"), ("Yes, too cold.", "freezing"),
     ("Yes, it's freezing.", "freezing"), ("That's right, freezing.", "freezing"), ("No, warm.", "warm"),
     ("No, it's warm.", "warm"), ("Nope. Ice.", "iced up")],
)  # fmt: skip
def test_a_read_back_is_answered_in_its_own_words_or_with_another(words: str, answer: str) -> None:
    scene = asked()
    scene.one(words)
    assert took(scene) == [answer]


@pytest.mark.parametrize(
    "words",
    ["no, freezing", "No, it is too cold.", "yes, warm", "no ice", "no, it is not warm", "no, not warm", "yes, not freezing",
     "yes, freezing?", "yes, freezing or warm"],
)  # fmt: skip
def test_what_contradicts_itself_or_denies_is_not_taken(words: str) -> None:
    scene = asked()
    scene.one(words)
    assert took(scene) == []
    assert scene.said


@pytest.mark.parametrize(
    ("words", "answers"),
    [("No, that's it.", ["nothing else"]), ("that's it", ["nothing else"]), ("no, that's all, thanks", ["nothing else"]),
     ("no, wet", []), ("no noisy", []), ("it's wet", ["wet"])],
)  # fmt: skip
def test_no_before_the_answer_that_it_stands_for(words: str, answers: list[str]) -> None:
    scene = Scene(book(ASKS)).open().words("warm")
    scene.one(words)
    assert took(scene) == answers


def test_a_reading_is_affirmed_with_its_own_number() -> None:
    scene = Scene(book(ASKS)).open().words("warm", "no", "41")
    assert scene.state.awaiting is Awaiting.READING_AFFIRM
    scene.one("yes, fourteen")
    assert scene.state.awaiting is Awaiting.READING_AFFIRM
    scene.one("yes, forty one degrees")
    assert [each.value for each in scene.last if isinstance(each, ReadingTaken)] == [41.0]


MAYS = "Freezing? You can say that is right, yes or no."


def test_that_is_right_is_offered_at_the_first_repeat() -> None:
    """Some voices' 'yes' is never heard."""
    scene = asked()
    scene.tell(replace(FREEZING, verdict=Verdict.ASKED_AGAIN, sense=Sense.COMMAND, text="yes", words="Best."))
    assert scene.said == MAYS
    scene.tell(FREEZING)
    assert scene.said == MAYS, "what was read back came again, and so did the question"
    scene = Scene(book(ASKS)).open().words("warm", "no", "41", "anything")
    assert "that is right" in scene.said


@pytest.mark.parametrize("words", ["yes, nothing runs", "no, nothing runs", "affirm, nothing runs"])
def test_nothing_of_it_counts_at_a_proof(words: str) -> None:
    scene = at_gate().words(OPENS, words)
    assert (scene.state.awaiting, scene.power) == (Awaiting.SWITCH_TRIED, "ISOLATING")
    listening = Listening(phrases=("nothing runs", "it runs"), also=("yes", "no"), proof=True, own_words=True)
    assert not any(one.sense is Sense.PHRASE for one in load("en").understand(words, listening))


SPANISH = Listening(phrases=("helado", "caliente"), also=("yes", "no", "affirm", "negative"), own_words=True)


@pytest.mark.parametrize(
    ("words", "answer"),
    [("Sí, helado.", "helado"), ("claro, helado", "helado"), ("No, caliente.", "caliente"), ("no caliente", ""),
     ("no está caliente", "")],
)  # fmt: skip
def test_in_spanish_too(words: str, answer: str) -> None:
    found = load("es").understand(words, SPANISH)
    assert [one.text for one in found if one.sense is not Sense.DENIAL] == ([answer] if answer else [])
    assert not [one for one in load("es").understand(words, replace(SPANISH, own_words=False)) if one.sense is Sense.PHRASE]


def test_what_was_read_back_in_other_words_is_said_so_again_and_recorded_as_the_answer() -> None:
    scene = Scene(book(ASKS)).open()
    scene.tell(replace(FREEZING, text="too cold", spoken="too cold"))
    assert scene.said == "Too cold?"
    scene.one("yes")
    assert (scene.said, took(scene)) == ("Too cold. Anything else?", ["freezing"])
    scene = Scene(book(ASKS)).open().words("too cold")
    assert scene.said == "Freezing. Anything else?", "here nobody has heard yet how it was understood"


NOT_WARM = Utterance(Verdict.ASKED_AGAIN, Sense.DENIAL, "negation", spoken="not warm", sure=0.5, reason="a denial was heard",
                     engine="test")  # fmt: skip


def test_no_before_what_was_not_surely_heard_takes_the_read_back_away() -> None:
    """'No, warm' and 'not warm' sound alike: neither is a yes to 'Freezing?'."""
    scene = asked()
    scene.tell(replace(NOT_WARM, words="No form."))
    assert (scene.said, scene.state.overlay) == ("Freezing, warm or iced up?", Overlay.NONE)
    scene = asked()
    scene.tell(replace(NOT_WARM, words="No, warm."))
    assert (scene.said, scene.state.overlay) == ("Warm?", Overlay.PROPOSAL)
    scene.one("yes")
    assert took(scene) == ["warm"]
    scene = asked()
    scene.tell(replace(NOT_WARM, words="Note warm."))
    assert (scene.said, scene.state.overlay) == (MAYS, Overlay.PROPOSAL)


def test_no_takes_no_call_for_help_away() -> None:
    scene = asked()
    scene.tell(replace(FREEZING, verdict=Verdict.ASKED_AGAIN, sense=Sense.COMMAND, text="fire", words="Fire."))
    assert scene.said == "Is there a fire?"
    scene.tell(replace(NOT_WARM, words="No form."))
    assert scene.state.overlay is Overlay.PROPOSAL
