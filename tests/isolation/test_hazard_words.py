"""The one gate for the words of a hazard step: whoever asks a turn to say them, they go out while the step may be reached,
or not at all."""

from __future__ import annotations

from dataclasses import replace

import pytest

from handsfree.isolation.interlock import in_doubt
from handsfree.isolation.rules import SourceEvent
from handsfree.journal.events import Say
from handsfree.visit.flow import Flow
from handsfree.visit.questions import flow_of
from handsfree.visit.state import Form
from tests.isolation.test_finds import LIFT, OPENS
from tests.visit.scenes import ENGLISH, Scene, book

WORDS, SHORT = "Slide the deck out.", "Deck out."
ALONE = LIFT.replace("people: 2, say: Slide the deck out.", f"say: {WORDS}, short: {SHORT}")


@pytest.fixture(autouse=True)
def _no_oracle(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tests.visit.scenes.Oracle.sees", lambda *_: None)


def at_work() -> Flow:
    scene = Scene(book(ALONE)).open().words(OPENS, "nothing runs", "understood")
    assert scene.step == "out"
    return flow_of(scene.state)


def said(flow: Flow) -> list[Say]:
    flow.flush()
    return [effect for effect in flow.effects if isinstance(effect, Say)]


@pytest.mark.parametrize("text", [WORDS, SHORT, f"Once more. {WORDS} Say next step."])
def test_they_are_said_while_every_source_is_isolated(text: str) -> None:
    flow = at_work()
    flow.say(text, "step", sound="take-1.flac" if text == WORDS else "")
    assert [(one.text, one.role, one.cuttable) for one in said(flow)] == [(text, "step", True)]
    assert said(flow)[0].sound == ("take-1.flac" if text == WORDS else "")


@pytest.mark.parametrize("text", [WORDS, SHORT, f"Once more. {WORDS} Say next step."])
@pytest.mark.parametrize("why", ["live", "doubt"])
def test_else_how_it_stands_is_said_in_their_place_and_nobodys_recording(text: str, why: str) -> None:
    flow = at_work()
    if why == "live":
        flow.turn_lock(SourceEvent.BREAK, "")
    else:
        flow.change(interlock=in_doubt(flow.state.interlock))
    power = flow.state.interlock.power
    flow.say(text, "step", sound="take-1.flac")
    assert [(one.text, one.role, one.cuttable, one.sound) for one in said(flow)] == [
        (ENGLISH.prompt(f"isolation-{power}"), "refusal", False, "")
    ]


def test_other_words_are_said_whatever_stands() -> None:
    flow = at_work()
    flow.turn_lock(SourceEvent.BREAK, "")
    flow.say("Hands out of the cabinet.", "notice", cuttable=False)
    assert [(one.text, one.role, one.cuttable) for one in said(flow)] == [("Hands out of the cabinet.", "notice", False)]


def test_before_the_first_step_there_is_nothing_to_keep_back() -> None:
    flow = flow_of(replace(at_work().state, frames=()))
    flow.say(WORDS, "notice")
    assert [one.text for one in said(flow)] == [WORDS]


@pytest.mark.parametrize(("form", "again", "words"), [
    (Form.USUAL, False, WORDS), (Form.FULL, False, WORDS), (Form.SHORT, False, SHORT), (Form.SHORT, True, WORDS),
])  # fmt: skip
def test_a_step_is_said_in_full_but_in_the_short_form(form: Form, again: bool, words: str) -> None:
    flow = at_work()
    flow.change(form=form)
    flow.again = again
    assert flow.step_words(flow.state.step) == words  # type: ignore[arg-type]  # a step is there


def test_where_no_source_was_turned_every_one_is() -> None:
    flow = at_work()
    flow.turn_lock(SourceEvent.POWER_IS_ON, "told", ())
    assert flow.state.interlock.isolated
    flow.turn_lock(SourceEvent.POWER_IS_ON, "told")
    assert not flow.state.interlock.isolated
