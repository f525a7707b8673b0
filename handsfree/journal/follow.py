"""Does the record follow from the machine? The visit's own `advance` is run over the happenings, and its effects are
compared with those that were recorded.

The machine is passed in as two functions, so that the journal knows nothing about visits:

    start(opened) -> state            the state before anything happened, from the procedures in the record
    advance(state, stamped) -> (state, effects)
"""

from __future__ import annotations

import json
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from handsfree.journal.canonical import canonical
from handsfree.journal.events import (
    EFFECTS,
    HAPPENINGS,
    Attached,
    ClockMoved,
    EndOpen,
    Opened,
    Resumed,
    Say,
    Sealed,
    Stamped,
    TailDropped,
    from_data,
    to_data,
)
from handsfree.journal.private import without_figures
from handsfree.journal.rows import row_of

Start = Callable[[Opened], Any]
Advance = Callable[[Any, Stamped], tuple[Any, tuple[Any, ...]]]


@dataclass(frozen=True)
class ReplayMachine:
    """`rules`: the number of its rules, `hazards`: the digest of its hazard files and of its fault model; a record written
    under others is shown as it was and not compared."""

    start: Start
    advance: Advance
    rules: int = 0
    hazards: str = ""


@dataclass(frozen=True)
class Departure:
    """The first place where the record does not follow. `n`: the event."""

    n: int
    at: float
    sentence: str


class TooMuch(Exception):
    """The comparison took more than it may. `n`: the event at which it stopped."""

    def __init__(self, n: int) -> None:
        super().__init__(n)
        self.n = n


#: Seconds of one core that a record may take to compare: a visit of 223 events took 0.016 s.
BUDGET = 10.0


@dataclass(frozen=True)
class Followed:
    """An event with the state after it (None before the visit was opened, or after a departure)."""

    entry: Stamped
    state: Any
    departure: Departure | None = None


def as_recorded(event: Any) -> Any:
    """The event as it comes back from a record."""
    return from_data(type(event).__name__, json.loads(canonical(to_data(event))))


def follow(entries: Iterable[Stamped], machine: ReplayMachine) -> Iterator[Followed]:
    """Every event in order; after a departure, without a state."""
    walker = _Walker(machine)
    for entry in entries:
        departure = None
        if not walker.departed:
            departure = walker.take(entry)
            walker.departed = departure is not None
        yield Followed(entry, None if walker.departed else walker.state, departure)


def earlier(opened: Opened, machine: ReplayMachine | None) -> bool:
    """The record was made by a program with other rules: its answers are not those of today."""
    return machine is not None and (opened.rules, opened.hazards) != (machine.rules, machine.hazards)


def departure(entries: Iterable[Stamped], machine: ReplayMachine, budget: float = BUDGET) -> Departure | None:
    """The first one; None if the record follows. TooMuch if it takes more than `budget` seconds of a core: a record is
    written by others, and could ask for any amount of work."""
    until = time.thread_time() + budget
    for step in follow(entries, machine):
        if step.departure is not None:
            return step.departure
        if time.thread_time() > until:
            raise TooMuch(step.entry.n)
    return None


#: What may come into a record after a crash although nobody takes the visit up: no machine runs.
_UNHEARD = (Attached, ClockMoved)


class _Walker:
    def __init__(self, machine: ReplayMachine) -> None:
        self.machine = machine
        self.state: Any = None
        self.expected: deque[Any] = deque()
        self.departed = False
        self._torn = False  # the record was opened again after a crash, and the visit was not taken up yet
        self._last: Stamped | None = None

    def take(self, entry: Stamped) -> Departure | None:
        event, last = entry.event, self._last
        self._last = entry
        if isinstance(event, EFFECTS):
            return self._effect(entry)
        paired = last is not None and isinstance(last.event, HAPPENINGS)
        together = paired and last is not None and (last.mono, last.wall) == (entry.mono, entry.wall)
        if isinstance(event, Resumed | EndOpen | TailDropped):
            self.expected.clear()  # a crash may have come before they were recorded
            self._torn = not isinstance(event, Resumed)
        if self.expected and isinstance(event, (*HAPPENINGS, Sealed)) and not together:
            return Departure(entry.n, entry.mono, f"the program would write {_told(self.expected[0])} here")
        if self._torn and isinstance(event, HAPPENINGS) and not isinstance(event, _UNHEARD):
            return Departure(entry.n, entry.mono, "after a crash the visit goes on here, and was not taken up again")
        if isinstance(event, HAPPENINGS):
            return self._happening(entry)
        return None

    def _happening(self, entry: Stamped) -> Departure | None:
        try:
            if self.state is None:
                if not isinstance(entry.event, Opened):
                    return Departure(entry.n, entry.mono, "the visit was not opened")
                self.state = self.machine.start(entry.event)
            self.state, effects = self.machine.advance(self.state, entry)
        except Exception as error:  # whatever a forged record makes the machine stumble over is a departure, not a crash
            return Departure(entry.n, entry.mono, f"the machine cannot take it ({type(error).__name__}: {error})")
        if not self._torn:  # what is attached meanwhile is told to nobody
            self.expected.extend(as_recorded(effect) for effect in effects)
        return None

    def _effect(self, entry: Stamped) -> Departure | None:
        if not self.expected:
            return Departure(entry.n, entry.mono, f"nothing called for: {_told(entry.event)}")
        wanted = self.expected.popleft()
        if wanted != entry.event:
            return Departure(entry.n, entry.mono, _differing(wanted, entry.event))
        return None


def _differing(wanted: Any, there: Any) -> str:
    """What should stand there and what does, as the story tells it; by the fields that differ where it tells both alike."""
    one, other = _told(wanted), _told(there)
    if one == other:
        one, other = _fields(wanted, there), _fields(there, wanted)
    return f"the program would write {one}; the record has {other}"


def _told(event: Any) -> str:
    """For a person, as the story tells it. Some events are in no story."""
    if isinstance(event, Say):
        event = replace(event, text=without_figures(event.text))
    row = row_of(Stamped(0, "", 0.0, event))
    if row is None or not row.text:
        return _fields(event)
    return f"'{row.text[:160]}'" + (f" (step {step})" if (step := getattr(event, "step", "")) else "")


def _fields(event: Any, beside: Any = None) -> str:
    """For a person who looks for the fault: only what differs from `beside`. The number on a lock is left out."""
    if isinstance(event, Say):
        event = replace(event, text=without_figures(event.text))
    known = to_data(beside) if type(beside) is type(event) else {}
    shown = {name: value for name, value in to_data(event).items() if value not in ("", None, [], ())}
    new = {name: _new(value, known.get(name)) for name, value in shown.items() if name not in known or value != known[name]}
    text = ", ".join(f"{name} {value}" for name, value in new.items())
    return f"{type(event).__name__} ({text[:160]})"


def _new(value: Any, known: Any) -> Any:
    """Of a list what the other has not, if that is anything."""
    if not isinstance(value, list) or not isinstance(known, list):
        return value
    return [one for one in value if one not in known] or value
