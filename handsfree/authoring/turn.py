"""The state of a recording, and one turn of it while it is worked out.

Rules of this file:

- The state is frozen; a turn starts from one and goes through plain functions, and then the state is taken out.
- `at` names the current question. What is in force, what is said and what an answer does all follow from it.
- `undo` is the state before the last answer: one step back, not more.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, ClassVar

from handsfree.authoring.draft import Doubt, Draft, DraftStep
from handsfree.authoring.words import RecorderWords
from handsfree.dialogue.question import Consequence, OwnEffect, Question, Turn
from handsfree.language.meaning import Listening


@dataclass(frozen=True)
class Save(OwnEffect):
    """Write the procedure as it is now, and the sounds of its steps beside it."""

    draft: Draft


@dataclass(frozen=True)
class CheckIt(OwnEffect):
    """Check the procedure as written and say what was found."""


@dataclass(frozen=True)
class Reply:
    """An answer to the recorder: one of `phrase` (a way in force), `command` (a phrase that always works), `value` with its
    `unit`, or `text` with the sound it is in."""

    phrase: str = ""
    command: str = ""
    value: float | None = None
    unit: str | None = None
    text: str = ""
    clip: str = ""
    doubts: tuple[Doubt, ...] = ()


@dataclass(frozen=True)
class RecorderState:
    """`step`: the one in work, None between steps. `done`: slots of it that are answered. `partial`: an answer in several
    parts, so far. `chosen`: the highest uid given out. `purpose`: what a command is about. `procedures`: names that may be
    called. `nearly`: what was last heard, not surely. `pending`: the question that free words were given to, and these
    words, while `doubts`, those of their words that are still to be settled, are asked about. `spelled`: words that were
    spelled, aloud or by the keyboard."""

    words: RecorderWords
    draft: Draft
    procedures: tuple[str, ...] = ()
    at: str = ""
    step: DraftStep | None = None
    done: frozenset[str] = frozenset()
    partial: Mapping[str, Any] = field(default_factory=dict)
    chosen: int = 0
    purpose: str = ""
    doubts: tuple[Doubt, ...] = ()
    pending: tuple[str, Reply] | None = None
    spelled: tuple[str, ...] = ()
    said: int = 0
    tries: int = 0
    nearly: tuple[str, float | None] = ("", None)
    listening: Listening | None = None
    undo: RecorderState | None = None
    outcome: str = ""
    rate: int = 0
    volume: int = 0

    waiting: ClassVar[bool] = False  # there are no waits in a recording

    @property
    def asked(self) -> str:
        return self.at

    @property
    def closed(self) -> bool:
        return bool(self.outcome)


class RecorderTurn(Turn[RecorderState]):
    @property
    def words(self) -> RecorderWords:
        return self.state.words

    @property
    def place(self) -> str:
        return self.state.step.id if self.state.step is not None else ""

    def sentence(self, key: str, **values: object) -> str:
        return self.words.prompt(key, **values)

    def prompt(self, key: str, role: str = "answer", *, cuttable: bool = True, **values: object) -> None:
        super().prompt(key, role, cuttable=cuttable, **values)

    @property
    def step(self) -> DraftStep:
        assert self.state.step is not None
        return self.state.step

    @property
    def number(self) -> int:
        """Of the step in work, from 1."""
        steps, uid = self.state.draft.steps, self.step.uid
        return next((at for at, one in enumerate(steps, 1) if one.uid == uid), len(steps) + 1)

    def facets(self, **facets: Any) -> None:
        self.change(step=self.step.having(**facets))

    def unsure(self, field: str, doubts: tuple[Doubt, ...]) -> None:
        """Mark words of a field of the step as not settled."""
        marked = tuple(replace(doubt, field=field) for doubt in doubts)
        self.change(step=replace(self.step, doubts=(*self.step.doubts, *marked)))

    def save(self) -> None:
        self.emit(Save(self.state.draft))

    def ask(self, at: str) -> None:
        """Go to a question; it is asked when the turn ends."""
        self.change(at=at, tries=0)

    def spoken(self, number: float) -> str:
        return self.words.language.say_number(number)


RecorderRow = Question[RecorderTurn, Reply]


def row(
    ask: Callable[[RecorderTurn], str], hears: Callable[[RecorderTurn], Listening],
    take: Callable[[RecorderTurn, Reply], bool], rule: str = ""
) -> RecorderRow:
    """A question of the recorder, asked in one sentence. `rule`: of the grammar, if its choices are the answers."""

    def mays(turn: RecorderTurn) -> tuple[str, ...]:
        tags: Sequence[str] = tuple(dict.fromkeys(tag for _, tag in turn.words.pairs(rule))) if rule else ()
        return tuple(turn.words.name_of(rule, tag) for tag in tags)

    return Question(lambda turn: turn.say(ask(turn), "question"), hears, take, ask, mays, Consequence.ANSWER)
