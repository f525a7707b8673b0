"""The cabinet's page in a visit: asked at any moment, it answers, and nothing else moves."""

from __future__ import annotations

import pytest

from handsfree.dialogue.hearing import typed, utterance_of
from handsfree.dialogue.listening import listening_of
from handsfree.journal.events import ListenFor, Opened, Say, Stamped
from handsfree.language import base
from handsfree.procedure import cabinet, load
from handsfree.procedure.asides import at_cabinet
from handsfree.resources import shipped_folder
from handsfree.visit.machine import advance, start
from handsfree.visit.sessions import recorded_book
from handsfree.visit.state import State

ENGLISH = base.load("en")
PAGE = cabinet.load_page(shipped_folder("procedures") / "cabinets" / "firnkasten-40.yaml")
LOOK = """procedure: look
title: Look
steps:
  - {id: fan, kind: ask, say: "Does the fan turn?", answers: {turning: end, stopped: end}}
  - {id: end, kind: end, say: "Done.", outcome: done}
"""


def say(state: State, words: str) -> tuple[State, list[str]]:
    heard = utterance_of(typed(ENGLISH, words, listening_of(state.listening or ListenFor()), 1.0), typed=True)
    after, effects = advance(state, Stamped(0, "2026-03-02T08:00:00+00:00", 1.0, heard))
    return after, [effect.text for effect in effects if isinstance(effect, Say)]


def opened(page: bool) -> State:
    book = load.book_of(load.parse_procedure(LOOK, "look.yaml"))
    book = at_cabinet(book, PAGE.page, ENGLISH) if page else book
    first = Opened("v", "look", "en", "", "", "", "t", "typed")
    return advance(start(book, ENGLISH), Stamped(0, "2026-03-02T08:00:00+00:00", 0.0, first))[0]


def at_the_question(page: bool) -> State:
    state = opened(page)
    for words in ("four two", "affirm"):
        if state.frames:
            break
        state, _ = say(state, words)
    return state


def test_what_the_page_knows_is_answered_and_the_question_stays() -> None:
    state = at_the_question(page=True)
    after, said = say(state, "Where is the relay?")
    assert said == ["The relay: in the control box, at the left, behind the lower grille."]
    assert (after.frames, after.awaiting, after.remembered) == (state.frames, state.awaiting, state.remembered)
    assert say(after, "what colour goes to terminal two")[1] == ["Terminal two: black, from the relay to the compressor."]
    assert say(after, "how do I show the setting")[1] == ["Press the lower key once."]


def test_without_a_page_it_is_no_question() -> None:
    state = at_the_question(page=False)
    assert all("control box" not in text for text in say(state, "where is the relay")[1])


def test_the_record_carries_the_page_as_it_was_read() -> None:
    opened_event = Opened(
        "v", "look", "en", "", "", "", "t", "typed", copies=(("look", LOOK),), page=PAGE.page.cabinet, page_copy=PAGE.text,
        page_sha256=PAGE.digest,
    )  # fmt: skip
    assert "where is the relay" in recorded_book(opened_event).asides


@pytest.mark.parametrize(
    ("words", "starts"),
    [
        ("hey, where's that relay again?", "The relay: in the control box"),
        ("and where do I find the sensor", "The sensor: in a clip"),
        ("which color wire is on terminal 2", "Terminal two: black"),
        ("how do I display the setting?", "Press the lower key once."),
        ("how much does the deck weigh", "The deck: 18 kilograms"),
        ("what gas is in it", "230 volts"),
        ("what's the number of the gasket", "gasket: TW 40 50"),
    ],
)
def test_it_may_be_asked_in_ones_own_words(words: str, starts: str) -> None:
    state = at_the_question(page=True)
    after, said = say(state, words)
    assert said
    assert said[0].casefold().startswith(starts.casefold())
    assert (after.frames, after.awaiting, after.tries) == (state.frames, state.awaiting, state.tries)


@pytest.mark.parametrize("words", ["where is the kettle", "the relay is loud", "where is it", "which, deck or relay"])
def test_what_asks_nothing_of_the_page_gets_none_of_it(words: str) -> None:
    assert all("box" not in text and "kilograms" not in text for text in say(at_the_question(page=True), words)[1])


@pytest.mark.parametrize("words", ["where is the condenser fan", "where is the fuse in the control box"])
def test_who_names_two_parts_is_told_of_none(words: str) -> None:
    """A part that the page cannot place is not answered with another whose name is in it."""
    assert all(
        "The condenser:" not in text and "The control box:" not in text for text in say(at_the_question(page=True), words)[1]
    )
