"""What the runner is joined to: a machine, an ear that brings happenings, a mouth that performs what is spoken, a record.

Each has more than one maker (keyboard, files, devices); the runner knows only these shapes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Generic, Protocol, TypeVar

from handsfree.journal.events import Happening, KeepNote, ListenFor, Say, Stamped, Tone


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
        """Speak, or begin to; what came of it at once (a prompt that ended)."""
        ...

    def tone(self, tone: Tone) -> None: ...

    def close(self) -> None: ...


class Record(Protocol):
    """`handsfree.journal.writer.Journal` is one. Events are on disk when `append` returns."""

    def append(self, *events: Any) -> tuple[Stamped, ...]: ...

    def close(self) -> None: ...


S = TypeVar("S", bound=Any)


@dataclass(frozen=True)
class Machine(Generic[S]):
    """What the runner runs. `unrecorded`: the one sentence said without a record, that there is none. `own`: effects that
    are performed and not recorded; each may say something, which is."""

    advance: Callable[[S, Stamped], tuple[S, tuple[Any, ...]]]
    unrecorded: Callable[[S], str]
    own: Mapping[type[Any], Callable[[S, Any], Iterable[str]]] = field(default_factory=dict)
