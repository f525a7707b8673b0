"""Effects of a conversation: how much is said, an alarm, what is known and so not asked. `journal.events` lists them too."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class SetForm:
    """How much is said from now on: full, usual or short."""

    form: str


@dataclass(frozen=True)
class Alarm:
    """A word of hurt, fire, shock or gas. `kind`: the phrase's name; `words`: as said; `isolation`: as it stood."""

    kind: str
    words: str
    isolation: str
    step: str = ""


@dataclass(frozen=True)
class FactUsed:
    """A question was not asked because its answer is known: `fact` by its name, `value` as a reader should see it, `age`
    in seconds."""

    path: tuple[str, ...]
    step: str
    fact: str
    value: str
    age: float


@dataclass(frozen=True)
class StepPassed:
    """A step was not needed, `because` of these facts."""

    path: tuple[str, ...]
    step: str
    because: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class AlsoSaid:
    """A complaint besides the one that is looked at. `means`: the answer it is, '' for none; `words`: as said, without
    the number on a lock; `now`: what becomes of it: 'noted', 'next' (it is looked at), 'left' (nobody wanted that), 'told'
    (said again; no way to it)."""

    means: str
    words: str
    now: str = "noted"
    step: str = ""


@dataclass(frozen=True)
class SetVoice:
    """`rate` and `volume`: steps above or below the usual, -3 to 3."""

    rate: int
    volume: int


@dataclass(frozen=True)
class DeskAsked:
    """A supervisor's question, asked at close-out. `key`: the finding it is about; `by`: who asks."""

    key: str
    by: str
    text: str


@dataclass(frozen=True)
class DeskAnswered:
    """The last note was the answer to the desk's question about that finding."""

    key: str
