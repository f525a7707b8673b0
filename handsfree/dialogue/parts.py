"""What the runner connects: a machine, an ear that brings happenings, a mouth that speaks, a record.

Each has several implementations (keyboard, files, devices); the runner knows only these interfaces.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Generic, Protocol, TypeVar

from handsfree.dialogue.question import Dialogue, OwnEffect
from handsfree.journal.events import Effect, Event, Happening, KeepNote, ListenFor, Say, Stamped, Tone


class Ear(Protocol):
    def listen(self, what: ListenFor) -> None:
        """What is in force from now on."""
        ...

    def keep_note(self, note: KeepNote) -> None:
        """The next utterance is a note."""
        ...

    def next(self, timeout: float | None) -> Happening | None:
        """The next happening, or None when `timeout` seconds (of the visit's clock) passed without one.
        EOFError when nothing can come any more."""
        ...

    def close(self) -> None: ...


class Mouth(Protocol):
    def say(self, say: Say, rate: int, volume: int) -> Sequence[Happening]:
        """Speak, or begin to; returns what already came of it (a prompt that ended)."""
        ...

    def tone(self, tone: Tone) -> None: ...

    def close(self) -> None: ...


class Record(Protocol):
    """`handsfree.journal.writer.Journal` is one. Events are on disk when `append` returns."""

    def append(self, *events: Event) -> tuple[Stamped, ...]: ...

    def close(self) -> None: ...


S = TypeVar("S", bound=Dialogue)


@dataclass(frozen=True)
class Machine(Generic[S]):
    """What the runner runs. `unrecorded`: the one sentence that is said without a record: that there is none. `own`:
    effects that are performed but not recorded; each may say something, and that is recorded."""

    advance: Callable[[S, Stamped], tuple[S, tuple[Effect | OwnEffect, ...]]]
    unrecorded: Callable[[S], str]
    own: Mapping[type[OwnEffect], Callable[[S, Any], Iterable[str]]] = field(default_factory=dict)
