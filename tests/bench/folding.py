"""Which states of a visit are taken for one, so that a small visit has finitely many, and why nothing is lost by it.

A fold is sound where two states that differ only in what is left out answer every happening alike, but for words that no
rule of the watchman is about. `walk` tries that too: of states that were taken for one it keeps some apart and compares
what becomes of them (`twins`).

- Clocks. A state is moved to time zero. What time does is a happening of its own: a silence longer than the break, a day,
  what was proved longer ago than it may stay so (`aged`), the end of a wait. Each may come in every state, so whatever the
  clocks of the state had been, what they would bring is walked.
- The way back. `go back` and `correction` lead to a place on the trail, which holds none but steps of which 'go back'
  crosses nothing. The trail is left out; both are walked to each such step of the book, as if it had been passed and
  answered, and to none: more than the program can do, never less.
- What was answered, where no step of the book decides on it, hands it over or reports it: only `correction` looks for it.
- What is read under some questions only, under the others: what was proposed, a reading or a number not yet affirmed, who
  comes, which check or point is asked.
- How it is said and how often: form, rate, volume, askings again, refusals at a gate, what was spoken before. Once refused,
  'correction' is of the number; at each gate it is walked as if there had been a refusal, and as if there had been none.
- Whose number is whose: two numbers change places, so that the first who is here has the first (`renamed`). The machine
  only ever compares them; what may be said is as rich in one as in the other.
- Which complaint was just kept: only 'forget that' looks for it. It takes a complaint away, as 'no' to its offer does.
- A source of which nothing was begun is the same as one not named.
- Which steps broke: walked with none of them, and, where asked for, with all of them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from handsfree.isolation.rules import LIVE
from handsfree.procedure import model
from handsfree.visit.state import Awaiting, Frame, Overlay, Result, State
from tests.bench.watchman import Watch

WAIT = 120.0  # s, what is left of every wait in a state at time zero
LONG_AGO = -1.0e6  # s: whatever was proved then may have come back
_PENDING = (Awaiting.READING_AFFIRM, Awaiting.DEAD_AFFIRM)
_COMES = (Awaiting.WHO, Awaiting.LOCK_NUMBER, Awaiting.LOCK_AFFIRM)  # at a gate nobody asks who joins any more
_RESTATES = (Awaiting.GATE, Awaiting.JOIN_GATE)
_PROVES = (Awaiting.TESTER_BEFORE, Awaiting.DEAD_READING, Awaiting.DEAD_AFFIRM, Awaiting.TESTER_AFTER)
_DECIDES = (model.Decide, model.Finding, model.Handover)
Key = tuple[Any, ...]


def reads_values(book: Any) -> bool:
    """Some step acts on, or tells, what was answered."""
    return any(isinstance(step, _DECIDES) for one in book.procedures.values() for step in one.steps)


def key(state: State, values: bool) -> Key:
    """What decides the future. `values`: `reads_values` of the book."""
    lock = state.interlock
    return (
        state.frames, state.awaiting, state.overlay, state.outcome, state.not_before is not None, waits(state),
        state.return_to, frozenset(state.covering.items()), frozenset(state.remembered.items()) if values else None,
        frozenset(state.facts), state.warned, state.proposed if state.overlay is Overlay.PROPOSAL else None,
        state.beneath if state.overlay is Overlay.PROPOSAL else None, tuple(means for means, _ in state.besides),
        _complaints(state),
        state.pending if state.awaiting in _PENDING else None,
        state.coming, state.lock_offered if {state.awaiting, state.coming} & {Awaiting.WHO, Awaiting.LOCK_AFFIRM} else (),
        (state.joining, state.another) if {state.awaiting, state.coming} & set(_COMES) else (), state.technician,
        state.voice_doubted, state.halted,
        state.check if state.awaiting is Awaiting.RESTORE_CHECK else 0,
        state.point if state.awaiting in _PROVES else 0,
        frozenset(item for item in lock.holds.items() if item[1] != LIVE), lock.people, lock.locks, lock.speaker, lock.given,
        lock.late, lock.absent, lock.doubt,
    )  # fmt: skip


def _complaints(state: State) -> Key:
    """What is wrong, as it was answered: it is not kept a second time. Empty where a book asks for none."""
    main = state.book.main
    asks = _ASKS.get(state.book.procedures[main].title)
    if asks is None:
        steps = state.book.procedures[main].steps
        asks = _ASKS[state.book.procedures[main].title] = tuple(
            step.id for step in steps if isinstance(step, model.Ask) and step.gist
        )
    given = ((step, state.remembered.get(((main,), step))) for step in asks)
    return tuple((step, result.text) for step, result in given if result is not None)


_ASKS: dict[str, tuple[str, ...]] = {}  # by the title of a book, of which each has its own


def waits(state: State) -> bool:
    return state.wait_ends - state.now > 0.5


def still(state: State) -> State:
    """The same at time zero, counters at three at most, nothing broken."""
    lock = state.interlock
    held = replace(
        lock, failures=min(lock.failures, 3), last_heard=0.0, since=dict.fromkeys(lock.since, 0.0),
        proved_at=dict.fromkeys(lock.proved_at, 0.0),
    )  # fmt: skip
    return replace(
        state, interlock=held, trail=(), tries=min(state.tries, 3), said=0, now=0.0, began=0.0, heard_out=0.0, ended=0,
        unanswered=None, wall="", wait_ends=WAIT if waits(state) else 0.0, broken=frozenset(), fault="", failed_at=(),
        not_before=None if state.not_before is None else WAIT,
    )  # fmt: skip


def aged(state: State) -> State:
    """The same, with all that was proved proved so long ago that it may have come back; somebody spoke just now."""
    lock = state.interlock
    return replace(state, interlock=replace(lock, proved_at=dict.fromkeys(lock.proved_at, LONG_AGO)))


def ways_back(state: State) -> Iterator[State]:
    """The states that this one stands for when somebody goes back."""
    refused = replace(state, trail=(), interlock=replace(state.interlock, failures=1))
    if state.awaiting in _RESTATES:
        state = replace(state, interlock=replace(state.interlock, failures=0))
    yield replace(state, trail=())
    for name, procedure in state.book.procedures.items():
        for step in procedure.steps:
            if not isinstance(step, model.GATES) and state.path in ((name,), ()):
                answered = {**state.remembered, ((name,), step.id): Result("")}
                yield replace(state, trail=((Frame(name, step.id),),), remembered=answered)
    if state.awaiting in _RESTATES:
        yield refused


def number_first(state: State) -> tuple[str, ...]:
    """The number that comes first in the state, () where none does."""
    numbers = (*(one.number for one in state.interlock.people), state.lock_offered)
    return next((number for number in numbers if number), ())


Swap = dict[tuple[str, ...], tuple[str, ...]]


def renamed(state: State, swap: Swap) -> State:
    """The same with these numbers in each other's place."""
    lock, now = state.interlock, state.listening
    people = tuple(replace(one, number=swap.get(one.number, one.number)) for one in lock.people)
    return replace(
        state, interlock=replace(lock, people=people), lock_offered=swap.get(state.lock_offered, state.lock_offered),
        listening=None if now is None else replace(now, lock=swap.get(now.lock, now.lock)),
    )  # fmt: skip


def watched_as(watch: Watch, swap: Swap) -> Watch:
    """The watchman's account with the same exchange."""

    def each(pairs: frozenset[tuple[str, tuple[str, ...]]]) -> frozenset[tuple[str, tuple[str, ...]]]:
        return frozenset((name, swap.get(number, number)) for name, number in pairs)

    return replace(
        watch, people=frozenset(swap.get(one, one) for one in watch.people), offered=swap.get(watch.offered, watch.offered),
        gave=each(watch.gave), locks=each(watch.locks), owners=each(watch.owners), names=each(watch.names),
    )  # fmt: skip
