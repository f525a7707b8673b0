"""The state of a visit whose happenings were answered under other rules: from what is on record, not from `advance`.

What was recorded stays as it was: where the visit stood, what it was answered. Isolation is never rebuilt: every source is
LIVE, and the locks that were on are named, so that all is isolated anew.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from handsfree.isolation.people import Lock
from handsfree.journal import events as ev
from handsfree.journal.events import Stamped
from handsfree.visit.state import Frame, Frames, Result, State

Key = tuple[tuple[str, ...], str]


def rebuilt(state: State, entries: Iterable[Stamped]) -> State:
    """`state`: before anything happened. What stands in a record that its book has no more is passed over."""
    remembered: dict[Key, Result] = {}
    frames: Frames = ()
    outcome, not_before, now, wall, began = "", None, 0.0, "", None
    technician, locked = "", False
    for entry in entries:
        event = entry.event
        now, wall = max(now, entry.mono), entry.wall
        began = entry.mono if began is None else began
        match event:
            case ev.Opened():
                technician = event.technician
            case ev.Gate() if event.how == "phrase":
                locked = event.now == "ISOLATING"
            case ev.StepEntered():
                frames = _at(state, frames, event.path, event.step) or frames
            case ev.AnswerTaken():
                remembered[event.path, event.step] = Result(event.answer)
            case ev.ReadingTaken():
                remembered[event.path, event.step] = _reading(event)
            case ev.EvidenceTaken():
                remembered[event.path, event.step] = Result(event.what)
            case ev.Corrected():
                remembered.pop((event.path, event.step), None)
            case ev.Closed():
                outcome, not_before = event.outcome, event.not_before
            case ev.Resumed():
                outcome, not_before = "", None
    owner = technician or state.language.prompt("first-person")
    locks = frozenset(Lock(name, owner) for name in state.book.energy.sources) if locked else frozenset()
    return replace(
        state, interlock=replace(state.interlock, locks=locks), technician=technician, frames=frames, remembered=remembered,
        outcome=outcome, not_before=not_before, now=now, wall=wall, began=began or 0.0, wait_ends=not_before or 0.0,
    )  # fmt: skip


def _at(state: State, before: Frames, path: tuple[str, ...], step: str) -> Frames:
    """The stack with this step on top. The call steps below it are those the visit stood at when it went in."""
    under = before[: len(path) - 1]
    if tuple(frame.procedure for frame in under) != path[:-1]:
        return ()
    known = all(name in state.book.procedures for name in path)
    if not known or step not in {one.id for one in state.book.procedures[path[-1]].steps}:
        return ()
    return (*under, Frame(path[-1], step))


def _reading(event: ev.ReadingTaken) -> Result:
    text = event.state or f"{event.value:g} {event.unit}".strip()
    return Result(text, event.value, event.unit, event.state)
