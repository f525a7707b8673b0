"""Small procedures, every utterance, every order: the whole graph of states is walked, not sampled.

States are told apart without their clocks and counters, which the alphabet does not move; so the walk ends. Every edge is
judged by the oracle's rules, and the walk must really reach what it should (hazards, ISOLATED, the end), or it proves
nothing.
"""

from __future__ import annotations

from collections import deque
from dataclasses import replace
from typing import Any

import pytest

from handsfree.journal.events import Gate, Opened, Resumed, SoundLost, Stamped, StepEntered, TimerRang, Utterance
from handsfree.language.meaning import ALWAYS, WHEN_ASKED, Denial, Sense, Verdict, gate_text
from handsfree.visit.machine import advance, start
from handsfree.visit.phrases import PEOPLE
from handsfree.visit.state import State
from tests.visit import data
from tests.visit.scenes import ENGLISH, accepted, book

LOCK = ("four", "two")
ALPHABET: list[Any] = [  # one person; two of them are walked in tests/isolation
    *(accepted(Sense.COMMAND, name) for name in (*ALWAYS, *WHEN_ASKED) if name not in PEOPLE),
    *(accepted(Sense.PHRASE, text) for text in ("cool", "warm", "iced over", "nothing runs", "it runs")),
    accepted(Sense.DIGITS, " ".join(LOCK)),
    accepted(Sense.NUMBER, "2", 2.0, None), accepted(Sense.NUMBER, "208", 208.0, None),
    accepted(Sense.STATE, "over range"),
    *(accepted(Sense.GATE, gate_text(word, lock)) for word in ("isolated", "clear") for lock in (LOCK, ("four", "three"))),
    Utterance(Verdict.ASKED_AGAIN, Sense.GATE, gate_text("isolated", LOCK)),
    Utterance(Verdict.NOT_FOR_ME, Sense.GATE, gate_text("isolated", LOCK)),
    Utterance(Verdict.ASKED_AGAIN, Sense.DENIAL, Denial.NEGATION),
    TimerRang("wait"), TimerRang("break"), SoundLost("d", "microphone"), Resumed("interrupted"),
]


def bare(state: State) -> Any:
    """What decides the future, without clocks and counters."""
    return (
        state.frames, state.awaiting, state.overlay, tuple(sorted(state.interlock.holds.items(), key=str)),
        min(state.interlock.failures, 1), state.trail[-2:], tuple(sorted(state.covering.items())), state.return_to,
        state.pending, state.check, state.point, state.closed, state.interlock.people, state.interlock.locks,
        state.interlock.given, state.interlock.speaker, state.interlock.absent, state.interlock.doubt, state.joining,
        state.lock_offered, state.voice_doubted,
    )


def still(state: State) -> State:
    """The same state at time zero, so that the walk is finite."""
    return replace(state, now=0.0, began=0.0, said=0, tries=0, rate=0, volume=0, trail=state.trail[-2:],
                   interlock=replace(state.interlock, last_heard=0.0, since={}, proved_at={},
                                     failures=min(state.interlock.failures, 1)),
                   wait_ends=0.4 if state.wait_ends else 0.0)


@pytest.mark.parametrize(("text", "reaches"), [
    (data.WHOLE, {"reach", "touch", "done"}), (data.METER, {"touch", "done"}), (data.BAD, set()),
])
def test_every_state_of_a_small_procedure(text: str, reaches: set[str]) -> None:
    the_book = book(text)
    begun = start(the_book, ENGLISH)
    for n, event in enumerate((Opened("v", the_book.main, "en", "", "", "", "t", "t"),)):
        begun, _ = advance(begun, Stamped(n, "2026-03-02T08:00:00+00:00", 0.0, event))
    begun = still(begun)
    seen, todo, entered, isolated = {bare(begun)}, deque([begun]), set(), 0
    while todo:
        state = todo.popleft()
        for event in ALPHABET:
            after, effects = advance(state, Stamped(9, "2026-03-02T08:00:00+00:00", 0.0, event))
            power, given = str(state.interlock.power), state.interlock.held
            for effect in effects:
                if isinstance(effect, Gate):
                    isolated += effect.now == "ISOLATED"
                    assert effect.now != "ISOLATED" or (power == "ISOLATING" and given and effect.how == "proof")
                    opens = isinstance(event, Utterance) and event.verdict == Verdict.ACCEPTED and (
                        event.text == gate_text("isolated" if effect.was == "ISOLATING" else "clear", LOCK))
                    assert effect.how != "phrase" or opens
                    power = effect.now
                    given = effect.how == "phrase"
                if isinstance(effect, StepEntered):
                    step = the_book.at(effect.path[-1], effect.step)
                    assert not step.behind_gate or power == "ISOLATED"
                    entered.add(effect.step)
            after = still(after)
            key = bare(after)
            if key not in seen:
                seen.add(key)
                todo.append(after)
    assert reaches <= entered
    assert bool(isolated) == ("reach" in reaches or "touch" in reaches)
    assert len(seen) > 10  # the walk really went somewhere
