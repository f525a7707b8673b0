"""A whole visit through the real machine, language and procedure, from typed lines, on a clock that runs by itself: what the
views of a record are tested on. Each line gets a clip (a tone in the place of a voice)."""

from __future__ import annotations

import dataclasses
from collections import deque
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from handsfree.dialogue.hearing import typed, utterance_of
from handsfree.dialogue.listening import listening_of
from handsfree.dialogue.runner import Runner
from handsfree.journal.events import KeepNote, ListenFor, NoteKept, PromptEnded, Say, Tone, Utterance
from handsfree.journal.follow import ReplayMachine
from handsfree.journal.keys import DeviceKey
from handsfree.language import base
from handsfree.language.meaning import Listening
from handsfree.visit import sessions
from handsfree.visit.advice import advice_digest
from handsfree.visit.machine import MACHINE as VISIT
from handsfree.visit.machine import RULES, advance, start
from handsfree.visit.state import State
from tests.journal.made import TestClock, clip

LOCK = "seven three nine"
#: What the technician says; a number is so many seconds of silence.
LINES: tuple[str | float, ...] = (
    "understood",
    60.0,
    "next step",
    "warm",
    "fifty eight",
    LOCK,
    "affirm",
    "affirm",
    "not isolated",
    20.0,
    "isolated lock seven three one",
    f"isolated lock {LOCK}",
    "nothing runs",
    "affirm",
    "understood",
    "say again",
    400.0,
    "next step",
    5.0,
    "next step",
    5.0,
    "next step",
    5.0,
    "next step",
    5.0,
    "next step",
    f"clear lock {LOCK}",
    10.0,
    "next step",
    200.0,
    200.0,
    "forty four",
    "affirm",
    "next step",
    "next step",
)

#: A procedure of the tests' own, so that the shipped ones may change.
PROCEDURE = Path(__file__).parent / "data" / "summit-check.yaml"

MACHINE = ReplayMachine(
    lambda opened: start(sessions.recorded_book(opened), base.load(opened.language)), advance, RULES, advice_digest()
)


class _Ear:
    def __init__(self, lines: Iterable[str | float], session: sessions.Session, clock: TestClock) -> None:
        self._lines, self._session, self._clock = deque(lines), session, clock
        self._listening = Listening(commands=())
        self._spoken = 0

    def listen(self, what: ListenFor) -> None:
        self._listening = listening_of(what)

    def keep_note(self, note: KeepNote) -> None: ...

    def close(self) -> None: ...

    def next(self, timeout: float | None) -> Any:
        if not self._lines:
            raise EOFError
        line = self._lines.popleft()
        if isinstance(line, float):
            pause = line if timeout is None else min(line, timeout)
            self._clock.at += pause
            if line - pause > 0.01:
                self._lines.appendleft(line - pause)
            return None
        self._clock.at += 2.0
        now = self._session.journal.now()
        if self._listening.note:
            return NoteKept("", "", line, 2.0)
        name, digest = self._session.journal.keep_sound(clip(self._spoken, 0.6))
        self._spoken += 1
        heard = utterance_of(typed(self._session.state.language, line, self._listening, now), typed=True)
        assert isinstance(heard, Utterance)
        return dataclasses.replace(heard, clip=name, clip_sha256=digest, started=now - 0.6, ended=now)


class _Mouth:
    def __init__(self, clock: TestClock, said: list[str] | None) -> None:
        self._clock, self._said = clock, said

    def say(self, say: Say, rate: int, volume: int) -> tuple[PromptEnded, ...]:
        self._clock.at += len(say.text) / 18
        if self._said is not None:
            self._said.append(say.text)
        return (PromptEnded(say.number),)

    def tone(self, tone: Tone) -> None: ...

    def close(self) -> None: ...


def visit(
    visits: Path,
    lines: Iterable[str | float] = LINES,
    *,
    key: DeviceKey | None = None,
    procedure: str = str(PROCEDURE),
    watch: Any = None,
    at: float = 1000.0,
) -> Path:
    """The folder of a visit that was run; stopped on the record where the lines end before it does."""
    clock = TestClock(at=at)
    book = sessions.provable(procedure)
    who = sessions.Who("A. Brandner (invented)", "Hochgrat summit platform (invented)", "HK-4")
    session = sessions.begin(book, visits, who, "typed", clock=clock, key=key)
    run(session, lines, clock, watch)
    return session.folder


def resume(folder: Path, lines: Iterable[str | float], *, at: float, key: DeviceKey | None = None) -> State:
    clock = TestClock(at=at)
    return run(sessions.resume(folder, clock=clock, key=key), lines, clock)


@dataclasses.dataclass(frozen=True)
class Now:
    """The clock of a visit whose waits take no time."""

    session: sessions.Session
    clock: TestClock

    def now(self) -> float:
        return self.session.journal.now()

    def wait(self, seconds: float) -> None:
        self.clock.at += seconds


def run(
    session: sessions.Session,
    lines: Iterable[str | float],
    clock: TestClock,
    watch: Any = None,
    said: list[str] | None = None,
) -> State:
    ear, mouth, now = _Ear(lines, session, clock), _Mouth(clock, said), Now(session, clock)
    return sessions.run(session, lambda s: Runner(VISIT, s.state, s.journal, ear, mouth, now, watch))
