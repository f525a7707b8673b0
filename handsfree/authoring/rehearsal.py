"""Rehearses a procedure: synthetic voices speak every path, the real recogniser hears it, and the real machine follows.

Rules of this file:

- A path plans what is said; what happens depends on what the recogniser hears. There is only one help: what was not
  understood in MOST_TRIES is then typed, so that the rest of the path is rehearsed too; the report says so.
- A phrase that is taken for another ends its path: that is the worst that can happen, and it is reported as such.
- Time passes by the sound of both sides and by the waits; the work itself is added from the steps' own minutes.
- The same words in the same voice under the same listening are heard once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from handsfree.authoring import paths
from handsfree.authoring.paths import RETURN, WAIT, Path
from handsfree.dialogue.hearing import HearsAndWrites, typed, utterance_of
from handsfree.dialogue.listening import listening_of
from handsfree.dialogue.parts import Mouth
from handsfree.dialogue.runner import Runner
from handsfree.errors import Trouble
from handsfree.journal.events import Happening, KeepNote, ListenFor, Opened, Resumed, Stamped, StepEntered
from handsfree.language import base
from handsfree.language.meaning import Heard, Listening, Verdict
from handsfree.procedure.model import Book
from handsfree.visit.machine import MACHINE, start
from handsfree.visit.state import Awaiting, State

if TYPE_CHECKING:
    from handsfree.sound.samples import Samples, VirtualClock

#: Words and try (0, 1, 2) to sound; a later try is spoken slower.
Speaker = Callable[[str, int], "Samples"]
MouthOf = Callable[["VirtualClock"], Mouth]
MOST_TRIES = 3
THINKS = 0.6  # seconds between the end of a prompt and the first word


@dataclass(frozen=True)
class Slip:
    """One phrase that was not accepted at once. `taken`: '' if it was asked again, else what it was taken for. `given_up`:
    it was typed after MOST_TRIES."""

    step: str
    awaiting: str
    said: str
    words: str
    reason: str
    taken: str = ""
    given_up: bool = False


@dataclass(frozen=True)
class Rehearsed:
    """One path in one voice. `seconds`: of sound, thinking and waits; `minutes`: of work, as the steps state it."""

    number: int
    path: Path
    voice: str
    finished: bool
    seconds: float
    minutes: float
    sayings: int
    slips: tuple[Slip, ...] = ()

    @property
    def asked_again(self) -> tuple[Slip, ...]:
        return tuple(slip for slip in self.slips if not slip.taken)

    @property
    def mistaken(self) -> tuple[Slip, ...]:
        return tuple(slip for slip in self.slips if slip.taken)


@dataclass
class Bench:
    """What all walks share. `heard`: verdicts so far."""

    book: Book
    recogniser: HearsAndWrites
    speakers: Mapping[str, Speaker]
    mouth_of: MouthOf
    heard: dict[tuple[str, str, int, Listening], Heard] = field(default_factory=dict)

    def hear(self, words: str, voice: str, again: int, listening: Listening) -> tuple[Heard, float]:
        """The verdict, and how many seconds the phrase takes."""
        from handsfree.sound.samples import RATE

        sound = self.speakers[voice](words, again)
        key = (words, voice, again, listening)
        if key not in self.heard:
            import numpy as np

            quiet = np.zeros(RATE // 4, dtype=np.float32)
            self.heard[key] = self.recogniser.hear(np.concatenate([quiet, sound, quiet]), listening)
        return self.heard[key], len(sound) / RATE


class Mistaken(EOFError):
    """A phrase was taken for another: the walk ends here, as if there were nothing more to say."""


class _Ear:
    """Says what the path has next, and hears it."""

    def __init__(self, bench: Bench, voice: str, path: Path, clock: VirtualClock, now: Callable[[], State]) -> None:
        self._bench, self._voice, self._path, self._clock = bench, voice, path, clock
        self._listening = Listening(commands=())
        self._now, self.at, self.tries, self.slips = now, 0, 0, list[Slip]()
        self.sayings = 0

    @property
    def state(self) -> State:
        return self._now()

    def listen(self, what: ListenFor) -> None:
        self._listening = listening_of(what)

    def keep_note(self, note: KeepNote) -> None:
        """No path has notes."""

    def close(self) -> None: ...

    def next(self, timeout: float | None) -> Happening | None:
        waiting = self.state.awaiting is Awaiting.WAIT
        while self.at < len(self._path.says) and self._path.says[self.at] == WAIT and not waiting:
            self.at += 1
        if self.at >= len(self._path.says):
            raise EOFError
        if self._path.says[self.at] == WAIT:
            if timeout is None:
                raise EOFError
            self._clock.wait(timeout)
            return None
        return self._say(self._path.says[self.at])

    def _say(self, says: str) -> Happening:
        language = self.state.language
        planned = typed(language, says, self._listening, self._clock.now())
        spoken = language.speakable(says)
        heard, seconds = self._bench.hear(spoken, self._voice, self.tries, self._listening)
        self._clock.wait(THINKS + seconds)
        self.sayings += 1
        now = self._clock.now()
        heard = replace(heard, started=now - seconds, ended=now)
        if heard.verdict == Verdict.ACCEPTED:
            if _meant(heard) != _meant(planned):
                self.slips.append(self._slip(says, heard, taken=heard.meaning.text if heard.meaning else "?"))
                raise Mistaken
            self.at, self.tries = self.at + 1, 0
            return utterance_of(heard)
        self.tries += 1
        given_up = self.tries >= MOST_TRIES
        self.slips.append(self._slip(says, heard, given_up=given_up))
        if given_up:
            self.at, self.tries = self.at + 1, 0
            return utterance_of(planned, typed=True)
        return utterance_of(heard)

    def _slip(self, says: str, heard: Heard, taken: str = "", given_up: bool = False) -> Slip:
        step = self.state.frames[-1].step if self.state.frames else ""
        reason = heard.reason or str(heard.verdict)
        return Slip(step, str(self.state.awaiting), says, heard.words, reason, taken, given_up)


def _meant(heard: Heard) -> tuple[Any, ...]:
    meaning = heard.meaning
    return () if meaning is None else (meaning.sense, meaning.text, meaning.value)


class _Notebook:
    """A record that is not kept."""

    def __init__(self, clock: VirtualClock) -> None:
        self._clock, self._count = clock, 0

    def append(self, *events: Any) -> tuple[Stamped, ...]:
        first = self._count
        self._count += len(events)
        now = self._clock.now()
        return tuple(Stamped(first + at, paths.WALL, now, event) for at, event in enumerate(events))

    def close(self) -> None: ...


def walk(bench: Bench, number: int, path: Path, voice: str) -> Rehearsed:
    """One path in one voice, by the runner of a real visit."""
    from handsfree.sound.samples import VirtualClock

    clock = VirtualClock()
    book = bench.book
    language = base.load(book.procedures[book.main].language)
    state = start(book, language)
    ear = _Ear(bench, voice, path, clock, lambda: runner.state)
    minutes = 0.0

    def watch(entry: Stamped, after: State) -> None:
        nonlocal minutes
        if isinstance(entry.event, StepEntered):
            minutes += book.at(entry.event.path[-1], entry.event.step).minutes or 0.0

    runner = Runner(MACHINE, state, _Notebook(clock), ear, bench.mouth_of(clock), clock, watch)
    first: Happening = Opened("rehearsal", book.main, language.code, "", "", "", "", "rehearsal")
    finished, spent = True, 0.0
    try:
        runner.run(first)
        while ear.at < len(path.says) and path.says[ear.at] == RETURN:
            ear.at += 1
            away = max(0.0, (runner.state.not_before or 0.0) - clock.now())
            clock.wait(away)
            spent += away
            runner.run(Resumed("return visit"))
    except (Mistaken, Trouble) as fault:  # the runner tells what an ear raises as a fault of the ear
        if not isinstance(fault, Mistaken) and not isinstance(fault.__cause__, Mistaken):
            raise
        finished = False
    except EOFError:
        finished = runner.state.closed
    finished = finished and runner.state.closed
    return Rehearsed(number, path, voice, finished, clock.now() - spent, minutes, ear.sayings, tuple(ear.slips))


def rehearse(bench: Bench, found: Sequence[Path]) -> Iterator[Rehearsed]:
    """Every path, in every voice."""
    for number, path in enumerate(found, 1):
        for voice in bench.speakers:
            yield walk(bench, number, path, voice)
