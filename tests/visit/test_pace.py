"""How much is said: what was taken, how an answer is worded, waits, in the three forms."""

from __future__ import annotations

import pytest

from handsfree.journal.events import Opened, Resumed, Say, SetTimer, TimerRang, Tone
from handsfree.visit.state import Awaiting
from tests.visit import data
from tests.visit.scenes import Scene, book

OPENS = "isolated lock four two"
WAITS = """
procedure: waits
title: Waits
steps:
  - {id: rest, kind: wait, lasts: 5 min, because: it rests, say: It rests.}
  - {id: settle, kind: wait, lasts: 40 min, because: it settles, say: Keep the door closed.}
  - id: again
    kind: ask
    say: Is it cold?
    answers: {cold: done, warm: settle}
  - {id: done, kind: end, outcome: done, say: That was it.}
"""


def said(scene: Scene) -> list[str]:
    return [effect.text for effect in scene.last if isinstance(effect, Say)]


def everything(scene: Scene) -> str:
    return " ".join(entry.event.text for entry in scene.record if isinstance(entry.event, Say))


def whole(form: str) -> Scene:
    """A whole visit of the test's procedure, in this form."""
    scene = Scene(book(data.WHOLE))
    scene.lock = "four two"
    scene.tell(Opened("v", "whole", "en", "", "", "", "t", "typed", form=form))
    scene.words("next step", "warm", "43.5", OPENS, "nothing runs", "understood", "next step", "next step", "affirm")
    return scene.words("next step", *["next step"] * 3, "clear lock four two", "next step")


@pytest.mark.parametrize(("form", "affirm", "next_step", "understood"), [
    ("usual", 1, 0, 1), ("short", 0, 0, 0), ("full", 4, 4, 1),
])  # fmt: skip
def test_how_an_answer_is_worded_is_said_until_it_was_worded_so_once(
    form: str, affirm: int, next_step: int, understood: int
) -> None:
    """In the usual form the number on the lock is the first that asks for 'affirm'; 'next step' was said before its cue."""
    scene = whole(form)
    told = everything(scene)
    assert scene.state.outcome == "done"
    assert told.count("Affirm or negative?") == affirm
    assert told.count("Say next step when it is so.") == next_step
    assert told.count("Say understood.") == understood


@pytest.mark.parametrize("form", ["usual", "short"])
def test_a_miss_and_say_again_tell_how_an_answer_is_worded_in_every_form(form: str) -> None:
    scene = Scene(book(data.METER))
    scene.lock = "four two"
    scene.tell(Opened("v", "meter", "en", "", "", "", "t", "typed", form=form))
    scene.words(OPENS)
    assert scene.state.awaiting is Awaiting.TESTER_BEFORE
    assert "Affirm or negative?" not in said(scene)[-1]
    assert said(scene.words("next step")) == ["Affirm or negative?"]
    assert "Affirm or negative?" in scene.words("say again").said


def test_another_person_is_told_anew() -> None:
    scene = Scene(book(data.METER)).open().words(OPENS, "affirm")
    assert "affirm" in scene.state.learned
    scene.tell(Resumed("interrupted", technician="another"))
    assert not scene.state.learned


def test_gates_and_proofs_are_said_whole_in_every_form() -> None:
    for form in ("usual", "short", "full"):
        told = everything(whole(form))
        for words in ("Tell everybody here that the power goes off.", "Switch off at the plug. Pull the plug.",
                      "say: isolated, lock, and your number.", "Now prove it dead. Try the switch.",
                      "Nothing runs, or it runs?", "Turn it off again.", "Isolated.", "Warning. The fins are sharp.",
                      "Tools out.", "Covers on.", "Tell everybody here that the power comes back.",
                      "say: clear, lock, and your number.", "Put the plug in.", "It is live."):  # fmt: skip
            assert words in told, (form, words)


def test_a_reading_taken_is_said_without_the_unit_that_was_asked_for() -> None:
    scene = Scene(book(data.WHOLE)).open().words("next step", "warm")
    assert scene.words("43").said.startswith("Forty three. ")
    scene = Scene(book(data.WHOLE)).open().words("next step", "warm")
    told = scene.words("six degrees Celsius").said
    assert told.startswith("Six degrees Celsius. That is forty two point eight degrees Fahrenheit.")


def test_the_service_call_opens_with_its_question_and_another_with_its_title() -> None:
    assert everything(Scene(book(data.WHOLE)).open()).startswith("Visit opened. Whole visit. Look at the cabinet.")
    call = data.WHOLE.replace("procedure: whole", "procedure: service-call")
    assert everything(Scene(book(call)).open()).startswith("Visit opened. Look at the cabinet.")


def test_waits_are_quiet() -> None:
    """A short one tells its end, a long one half time as well, and one that comes again only how long it is."""
    scene = Scene(book(WAITS)).open()
    assert said(scene) == ["Visit opened. Waits. It rests. 5 minutes. I will tell you at the end."]
    assert SetTimer("wait", 300.0, 300.0) in scene.last
    scene.tell(TimerRang("wait"), after=300.0)
    assert said(scene) == ["Time is up. Keep the door closed. 40 minutes."]
    assert SetTimer("wait", 1200.0, 2400.0) in scene.last
    scene.tell(TimerRang("wait"), after=1200.0)
    assert said(scene) == ["Half time: 20 minutes left."]
    assert SetTimer("wait", 1200.0, 2400.0) in scene.last
    assert "20 minutes left of this wait" in scene.words("how long").said
    scene.tell(TimerRang("wait"), after=1199.0)
    assert said(scene) == ["Time is up. Is it cold?"]
    assert said(scene.words("warm")) == ["Warm. Another 40 minutes."]
    assert SetTimer("wait", 2400.0, 2400.0) in scene.last
    scene.tell(TimerRang("wait"), after=2400.0)
    assert said(scene) == ["Is it cold?"]
    assert Tone("waiting") in scene.last


def test_an_interrupted_long_wait_still_tells_half_time() -> None:
    scene = Scene(book(WAITS)).open()
    scene.tell(TimerRang("wait"), after=300.0)
    scene.tell(Resumed("interrupted"), after=600.0)
    assert SetTimer("wait", 600.0, 2400.0) in scene.last
