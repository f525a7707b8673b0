"""The state of a visit that was recorded under other rules: made from the record, not by `advance`.

What was recorded stays: where the visit stood, and the answers. Isolation is never rebuilt: every source is LIVE, and the
locks that were on are named, each with its owner and number. So everything is isolated again, and nobody else's number takes
a lock off.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from handsfree.isolation.people import Lock, Locks, People, Person
from handsfree.journal import events as ev
from handsfree.journal.events import Stamped
from handsfree.language.meaning import WAYS_OUT, Sense, Verdict
from handsfree.visit.speaking import not_taken
from handsfree.visit.state import Frame, FrameStack, Result, State

ResultKey = tuple[tuple[str, ...], str]


def rebuilt(state: State, entries: Iterable[Stamped]) -> State:
    """`state`: before anything happened. Steps in the record that its book no longer has are skipped."""
    remembered: dict[ResultKey, Result] = {}
    frames: FrameStack = ()
    outcome, not_before, now, wall, began = "", None, 0.0, "", None
    on = _Locks()
    for entry in entries:
        event = entry.event
        now, wall = max(now, entry.mono), entry.wall
        began = entry.mono if began is None else began
        match event:
            case ev.Opened():
                state = replace(state, technician=event.technician, technicians=event.technicians, emergency=event.emergency,
                                questions=event.questions)  # fmt: skip
            case ev.DeskAnswered():
                state = replace(state, questions=tuple(one for one in state.questions if one[0] != event.key))
            case ev.AlsoSaid():
                kept = (event.means, event.words)
                others = tuple(one for one in state.besides if one != kept)
                state = replace(state, besides=(*others, kept) if event.now == "noted" else others)
            case ev.Utterance() if event.sense == Sense.GATE and event.verdict == Verdict.ACCEPTED:
                on.said = tuple(event.text.partition(", lock ")[2].split())
            case ev.Gate() if event.how == "phrase":
                on.whole = event.now == "ISOLATING"
                on.first = on.said if on.whole else on.first
            case ev.LockChanged():
                on.changed(event)
            case ev.StepEntered():
                frames = _at(state, frames, event.path, event.step) or frames
            case ev.AnswerTaken():
                remembered[event.path, event.step] = _answer(event.answer)
                state = _answered(state, (event.path, event.step))
            case ev.ReadingTaken():
                remembered[event.path, event.step] = _reading(event)
                state = _answered(state, (event.path, event.step))
            case ev.EvidenceTaken():
                remembered[event.path, event.step] = Result(event.what) if event.taken else not_taken(state.language)
            case ev.Corrected():
                remembered.pop((event.path, event.step), None)
            case ev.Closed():
                outcome, not_before = event.outcome, event.not_before
            case ev.Resumed():
                outcome, not_before = "", None
    locks, people = on.found(state.technician or state.language.prompt("first-person"), tuple(state.book.energy.sources))
    interlock = replace(state.interlock, locks=locks, people=people)
    return replace(
        state, interlock=interlock, frames=frames, remembered=remembered,
        outcome=outcome, not_before=not_before, now=now, wall=wall, began=began or 0.0, wait_ends=not_before or 0.0,
    )  # fmt: skip


@dataclass
class _Locks:
    """What a record says about locks. `said`: the number of the last gate phrase; `numbers`: by owner. For a record that
    names no owners, `whole` says that everything was locked, with the number `first`."""

    said: tuple[str, ...] = ()
    whole: bool = False
    first: tuple[str, ...] = ()
    named: bool = False
    locks: set[Lock] = field(default_factory=set)
    numbers: dict[str, tuple[str, ...]] = field(default_factory=dict)

    def changed(self, event: ev.LockChanged) -> None:
        self.named = True
        lock = Lock(event.source, event.owner)
        if event.on:
            self.locks.add(lock)
            self.numbers[event.owner] = self.said
        else:
            self.locks.discard(lock)

    def found(self, owner: str, sources: tuple[str, ...]) -> tuple[Locks, People]:
        """The locks that are on, and whose they are; nobody is here yet."""
        if not self.named and self.whole:
            self.locks = {Lock(name, owner) for name in sources}
            self.numbers = {owner: self.first}
        owners = {lock.owner for lock in self.locks}
        people = tuple(Person(name, number, here=False) for name, number in self.numbers.items() if name in owners)
        return frozenset(self.locks), people


def _answered(state: State, where: ResultKey) -> State:
    """The last answer whose step there still is: 'what did I say' reads of it."""
    path, step = where
    return replace(state, answered=where) if _has(state, path, step) else state


def _has(state: State, path: tuple[str, ...], step: str) -> bool:
    """The book has all these procedures, and the last one this step."""
    book = state.book.procedures
    return all(name in book for name in path) and step in {one.id for one in book[path[-1]].steps}


def _at(state: State, before: FrameStack, path: tuple[str, ...], step: str) -> FrameStack:
    """The stack with this step on top. Below it are the call steps at which the visit stood when it went in."""
    under = before[: len(path) - 1]
    if tuple(frame.procedure for frame in under) != path[:-1]:
        return ()
    return (*under, Frame(path[-1], step)) if _has(state, path, step) else ()


def _answer(text: str) -> Result:
    return Result(text, state=text if text in WAYS_OUT else "")


def _reading(event: ev.ReadingTaken) -> Result:
    text = event.state or f"{event.value:g} {event.unit}".strip()
    return Result(text, event.value, event.unit, event.state)
