"""What is in force to be heard, from what is awaited. Nothing else of the grammar is listened for."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from handsfree.language.meaning import ALWAYS, GateAsked, Listening, NumberAsked
from handsfree.procedure import model
from handsfree.visit.state import Awaiting, Overlay, State

YES_NO = (*ALWAYS, "affirm", "negative")
#: Before the lock number is known there is no step to move on from.
BEFORE = ("say again", "stand by", "what can i say", "stop the visit", "faster", "slower", "louder", "softer")


def _phrases(state: State, step: Any) -> Listening:
    assert isinstance(step, model.Ask)
    return Listening(phrases=tuple(words for answer in step.answers for words in (answer.say, *answer.also)))


def _number(state: State, step: Any) -> Listening:
    assert isinstance(step, model.Read)
    return Listening(number=NumberAsked(step.unit, *step.plausible))


def _dead_number(state: State, step: Any) -> Listening:
    assert isinstance(step, model.Prove)
    return Listening(number=NumberAsked(step.unit, 0.0, 1000.0), proof=True)


def _gate(word: str) -> Callable[[State, Any], Listening]:
    return lambda state, step: Listening(gate=GateAsked(word, state.interlock.lock))


def _commands(*names: str) -> Callable[[State, Any], Listening]:
    return lambda state, step: Listening(commands=names)


def _switch(state: State, step: Any) -> Listening:
    answers = tuple(state.language.prompt(f"answer-{name}") for name in ("nothing-runs", "it-runs"))
    return Listening(phrases=answers, proof=True)


def _affirm(state: State, step: Any) -> Listening:
    """Yes or no to what was read back, or to whether the tester works: part of the proof on a step that proves dead."""
    return Listening(commands=YES_NO, proof=isinstance(step, model.Prove))


_ALWAYS = Listening()
BY_AWAITING: dict[Awaiting, Callable[[State, Any], Listening]] = {
    Awaiting.NOTHING: lambda state, step: _ALWAYS,
    Awaiting.LOCK_NUMBER: lambda state, step: Listening(digits=(2, 4), commands=BEFORE),
    Awaiting.LOCK_AFFIRM: _commands(*BEFORE, "affirm", "negative", "correction"),
    Awaiting.DONE: lambda state, step: _ALWAYS,
    Awaiting.UNDERSTOOD: _commands(*ALWAYS, "understood"),
    Awaiting.ANSWER: _phrases,
    Awaiting.READING: _number,
    Awaiting.READING_AFFIRM: _affirm,
    Awaiting.GATE: _gate("isolated"),
    Awaiting.TESTER_BEFORE: _affirm,
    Awaiting.SWITCH_TRIED: _switch,
    Awaiting.DEAD_READING: _dead_number,
    Awaiting.TESTER_AFTER: _affirm,
    Awaiting.RESTORE_CHECK: lambda state, step: _ALWAYS,
    Awaiting.RESTORE_GATE: _gate("clear"),
    Awaiting.RESTORE_POWER: lambda state, step: _ALWAYS,
    Awaiting.WAIT: lambda state, step: _ALWAYS,
    Awaiting.CUT_WAIT: _commands(*YES_NO),
}
BY_OVERLAY: dict[Overlay, Listening] = {
    Overlay.STAND_BY: Listening(commands=("go ahead",)),
    Overlay.NOTE: Listening(commands=(), note=True),
    Overlay.STOP_ONCE: Listening(commands=("affirm", "negative", "power is on")),
    Overlay.STOP_TWICE: Listening(commands=("affirm", "negative", "power is on")),
}


def listening(state: State) -> Listening:
    if state.closed:
        return Listening(commands=())
    if state.overlay is not Overlay.NONE:
        return BY_OVERLAY[state.overlay]
    return BY_AWAITING[state.awaiting](state, state.step)
