"""What walks and random visits found, each as it was seen; by the real machine."""

from __future__ import annotations

from typing import Any

import pytest

from handsfree.journal.events import Opened, Resumed, Say, SetTimer, Stamped, TimerRang
from handsfree.language.meaning import Sense
from handsfree.visit.machine import advance, start
from tests.bench.letters import letter
from tests.bench.small_visits import CHARGE, ONE
from tests.bench.watchman import A
from tests.visit.scenes import ENGLISH, Scene, accepted, book


def at_the_try() -> Scene:
    """One plug, its phrase given, 'nothing runs' said; asked whether it is off again."""
    scene = Scene(book(ONE.text)).open()
    for text in ONE.good[:7]:
        scene.tell(letter(text))
    assert scene.power == "ISOLATING"
    return scene


def test_a_controller_that_starts_late_after_nothing_ran_is_live() -> None:
    scene = at_the_try()
    scene.tell(accepted(Sense.PHRASE, "it runs"))
    assert scene.step == "off"
    scene.tell(letter("affirm"))
    assert scene.power != "ISOLATED"


def test_whoever_comes_after_a_stop_does_not_take_off_the_lock_of_who_went() -> None:
    """The first person's lock is on; another states another number as if they were the first, and says all is clear."""
    scene = at_the_try()
    scene.tell(letter("affirm"))
    assert scene.power == "ISOLATED"
    for text in ("stop the visit", "affirm", "affirm"):
        scene.tell(letter(text))
    assert scene.state.closed
    scene.tell(Resumed("stopped"))
    assert "lock of the first person" in scene.said
    scene.tell(letter("number B"))
    assert ENGLISH.prompt("who-of-two", owner="the first person", choices="the first person or somebody new") == scene.said
    scene.tell(accepted(Sense.PHRASE, "somebody new"))
    for text in ("affirm", "affirm", "isolated B", "nothing runs", "affirm", "next step", "cool"):
        scene.tell(letter(text))
    assert scene.step == "back"
    for text in ("next step", "next step", "next step", "clear B"):
        scene.tell(letter(text))
    locks = {(lock.owner, lock.source) for lock in scene.state.interlock.locks}
    assert ("the first person", "mains") in locks
    assert "Put the plug in" not in " ".join(getattr(effect, "text", "") for effect in scene.last)


LIFT = """
procedure: lift
title: A lift
sources: {plug: {kind: mains}}
steps:
  - {id: off, kind: isolate, say: Isolate the plug., do: [Pull the plug.], sources: [plug]}
  - {id: dead, kind: prove, method: switch, source: plug, say: Try the switch.}
  - {id: lift, kind: instruct, hazards: [mains], people: 2, say: Lift the deck out.}
  - {id: back, kind: restore, say: Restore the plug., checks: [Tools out., Covers on.], power: Put the plug in.}
  - {id: done, kind: end, outcome: done, say: That was it.}
"""


def lifting() -> Scene:
    """Two people, both locks on, at the lift; then the visit is stopped."""
    scene = Scene(book(LIFT)).open()
    for text in ("isolated A", "nothing runs", "affirm", "number B", "affirm", "isolated B"):
        scene.tell(letter(text))
    assert "Lift the deck out." in scene.said
    for text in ("stop the visit", "affirm", "affirm"):
        scene.tell(letter(text))
    scene.tell(Resumed("stopped"))
    return scene


def test_who_comes_back_is_known_by_the_number_on_their_lock() -> None:
    scene = lifting()
    for text in ("number B", "affirm"):
        scene.tell(letter(text))
    assert [(one.name, one.here) for one in scene.state.interlock.people if one.here] == [("the second person", True)]


def test_the_lock_of_who_is_gone_lifts_nothing() -> None:
    """One of two came back; both locks are on record."""
    scene = lifting()
    for text in ("number B", "affirm", "affirm", "isolated B", "nothing runs", "affirm"):
        scene.tell(letter(text))
    assert len(scene.state.interlock.locks) == 2
    assert "Lift the deck out." not in scene.said
    assert "takes two" in scene.said


def test_the_same_number_makes_the_same_person_again() -> None:
    scene = at_the_try()
    scene.tell(letter("affirm"))
    scene.tell(Resumed("stopped"))
    for text in ("number A", "affirm", "affirm", "isolated A", "nothing runs", "affirm"):
        scene.tell(letter(text))
    assert scene.power == "ISOLATED"
    assert [person.number for person in scene.state.interlock.people] == [A]


@pytest.mark.parametrize(("first_locks", "said"), [(False, "No lock is on."), (True, "The other lock stays on.")])
def test_who_leaves_is_not_told_of_a_lock_that_nobody_put_on(first_locks: bool, said: str) -> None:
    scene = Scene(book(ONE.text)).open()
    for text in (*ONE.good[: 8 if first_locks else 5], "second person", "number B", "affirm"):
        scene.tell(letter(text))
    for text in ("isolated B", "i am leaving", "negative", "clear B") if first_locks else ("i am leaving", "clear A"):
        scene.tell(letter(text))
    assert f"has left. {said}" in scene.said
    assert bool(scene.state.interlock.locks) is first_locks


def test_a_charge_that_may_be_back_is_told_of_though_nobody_speaks() -> None:
    """It was measured, the last word fell a minute before it may be back: the timer rings then."""
    state, now = start(book(CHARGE.text), ENGLISH), 0.0
    rings = 0.0

    def tell(event: Any, after: float = 1.0) -> str:
        nonlocal state, now, rings
        now += after
        state, effects = advance(state, Stamped(0, "2026-03-02T08:00:00+00:00", now, event))
        rings = next((now + one.seconds for one in effects if isinstance(one, SetTimer) and one.timer == "break"), rings)
        return " ".join(one.text for one in effects if isinstance(one, Say))

    tell(Opened("v", "charge", "en", "", "", "", "t", "t"))
    for text in CHARGE.good[:11]:
        tell(letter(text))
    assert state.step is not None
    assert state.step.id == "touch"
    proved = now
    tell(letter("say again"), 29 * 60)
    assert rings - proved == pytest.approx(30 * 60 + 1, abs=0.1)
    said = tell(TimerRang("break"), rings - now)
    assert "may be charged again" in said
    assert "bare terminal" not in said
    assert state.interlock.hold("capacitor").power == "ISOLATING"
    assert state.interlock.hold("plug").power == "ISOLATED"
    assert rings == pytest.approx(proved + 29 * 60 + 30 * 60 + 1, abs=2.0)  # the silence over the plug is watched on
