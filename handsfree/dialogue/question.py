"""A question, and one turn of a dialogue while it is worked out.

The rules of this file:

- One row has everything about a kind of question: what it says, what is in force, what a heard answer does, the question
  in its shortest form, what may be said to it, and what depends on it.
- A turn starts from a frozen state and goes through plain functions; then state and effects are taken out. From outside it
  is pure. It carries the table of questions, so that a row may lead to any other row.
- Nothing here knows a procedure, a visit or a recording.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Generic, Protocol, TypeVar

from handsfree.journal.events import Effect, Say, Tone
from handsfree.language.meaning import Listening
from handsfree.language.tokens import capital


class Consequence(StrEnum):
    """What depends on the answer, and so how easily a word counts."""

    NOTHING = "nothing"  # going on: 'done', 'ready', 'got it' move on
    ANSWER = "answer"  # an answer or a reading: yes-like words count as 'affirm' where it is read back
    GUARDED = "guarded"  # a gate, a proof, a caution: its own words and no others


class OwnEffect:
    """An effect that the machine's maker performs, and that is not recorded."""


class Dialogue(Protocol):
    """What the core asks of a state. `asked`: the name of the question in the table. `said`: prompts so far. `rate`,
    `volume`: steps from the usual. `waiting`: nobody is expected to speak."""

    @property
    def asked(self) -> str: ...
    @property
    def said(self) -> int: ...
    @property
    def rate(self) -> int: ...
    @property
    def volume(self) -> int: ...
    @property
    def closed(self) -> bool: ...
    @property
    def waiting(self) -> bool: ...


S = TypeVar("S", bound=Dialogue)  # a frozen data class
T = TypeVar("T")
A = TypeVar("A")


@dataclass(frozen=True)
class Question(Generic[T, A]):
    """One row. `T`: the turn, `A`: what an answer is.

    `says`: the question as it is put. `hears`: what is in force. `takes`: what a heard answer does; False for one that is
    no answer to it, and then the program says `asks`, the question in its shortest form ('Dry or soaked?'), once, and the
    second time what may be said. `mays`: up to three things one may say, the likeliest first."""

    says: Callable[[T], None]
    hears: Callable[[T], Listening]
    takes: Callable[[T, A], bool]
    asks: Callable[[T], str]
    mays: Callable[[T], tuple[str, ...]] = lambda turn: ()
    stake: Consequence = Consequence.NOTHING


def changed(state: S, **changes: Any) -> S:
    """A state with these fields changed. `dataclasses.replace` does the same, but sets each of some fifty fields and took a
    quarter of a turn."""
    after: S = object.__new__(type(state))
    vars(after).update(vars(state))
    if not changes.keys() <= vars(after).keys():
        raise TypeError(f"no such field of {type(state).__name__}: {sorted(changes.keys() - vars(after).keys())}")
    vars(after).update(changes)
    return after


class Turn(Generic[S]):
    """The state so far and the effects so far. A dialogue of its own kind says where its sentences are (`sentence`) and to
    what step a prompt belongs (`place`)."""

    def __init__(self, state: S, questions: Mapping[Any, Question[Any, Any]]) -> None:
        self.state: S = state
        self.questions = questions
        self.effects: list[Effect | OwnEffect] = []
        self._heard = ""

    @property
    def question(self) -> Question[Any, Any]:
        """The row of what is asked now."""
        return self.questions[self.state.asked]

    @property
    def place(self) -> str:
        return ""

    def sentence(self, key: str, **values: object) -> str:
        raise NotImplementedError

    def change(self, **changes: Any) -> None:
        self.state = changed(self.state, **changes)

    def emit(self, *effects: Effect | OwnEffect) -> None:
        self.effects.extend(effects)

    def tone(self, name: str) -> None:
        self.emit(Tone(name))

    def say(self, text: str, role: str, *, cuttable: bool = True, sound: str = "") -> None:
        front, self._heard = self._heard, ""
        if front and (sound or role == "refusal"):  # a recording says its own words alone, and so does a refusal
            self._say(front, "readback", True, "")
            front = ""
        self._say(text, role, cuttable, sound, front)

    def _say(self, text: str, role: str, cuttable: bool, sound: str, front: str = "") -> None:
        text = capital(text)
        whole = f"{front} {text}" if front else text
        self.emit(Say(self.state.said, whole, role, cuttable, self.place, sound, len(front)))
        self.change(said=self.state.said + 1)

    def heard(self, text: str) -> None:
        """What was accepted, said before the next sentence of this turn, or alone if there is none."""
        self._heard = f"{self._heard} {capital(text)}".strip()

    def flush(self) -> None:
        """The turn is over."""
        if self._heard:
            text, self._heard = self._heard, ""
            self._say(text, "readback", True, "")

    def prompt(self, key: str, role: str, *, cuttable: bool = True, **values: object) -> None:
        self.say(self.sentence(key, **values), role, cuttable=cuttable)
