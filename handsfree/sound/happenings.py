"""The one queue in which everything that happens around the sound is told, and all that may be told in it."""

from __future__ import annotations

import queue
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeAlias

from handsfree.journal.events import Happening
from handsfree.language.meaning import Heard, Listening, Verdict

if TYPE_CHECKING:
    from handsfree.sound.echo import Judgement
    from handsfree.sound.samples import Samples

FULL = 200  # with so many happenings waiting, sound that was not for the program is no longer told


@dataclass(frozen=True)
class HeardPiece:
    """One utterance, judged. `heard` is None where what was asked for is a note: the sound itself is the answer.
    `samples`: without the echo; times are on the visit's clock and in `heard`."""

    heard: Heard | None
    samples: Samples = field(repr=False, compare=False)
    started: float
    ended: float
    listening: Listening
    judgement: Judgement | None = None


@dataclass(frozen=True)
class TypedLine:
    """What was typed beside the microphone. `now`: seconds on the dialogue's clock."""

    words: str
    now: float


class Ended:
    """The sound is over and will not come back."""


@dataclass(frozen=True)
class ThreadFailed:
    """An error ended one of the two threads: the program is deaf."""

    error: Exception


SoundHappening: TypeAlias = Happening | HeardPiece | TypedLine | Ended | ThreadFailed


class Happenings:
    """`tell` never waits; `next` gives None after `timeout` seconds."""

    def __init__(self) -> None:
        self._line: queue.SimpleQueue[SoundHappening] = queue.SimpleQueue()

    def tell(self, happening: SoundHappening) -> None:
        heard = happening.heard if isinstance(happening, HeardPiece) else None
        if heard is not None and heard.verdict == Verdict.NOT_FOR_ME and self._line.qsize() > FULL:
            return  # nobody is fetching, and this is not for the program
        self._line.put(happening)

    def next(self, timeout: float | None) -> SoundHappening | None:
        try:
            return self._line.get(timeout=timeout)
        except queue.Empty:
            return None
