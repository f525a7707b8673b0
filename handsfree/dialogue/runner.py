"""The runner: brings happenings to a machine and performs its effects. It has no opinions.

The rules of this file:

- Record, then act: a happening is on disk before `advance` sees it, its effects before any is performed.
- If the record cannot be written the dialogue stops, aloud. Nothing goes on unrecorded.
- Timers ring as happenings, in the order they are due.
- An effect of the machine's own (a recorder's `Save`) is performed by who made the runner, and recorded nowhere.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable
from typing import Any, Generic, TypeVar

from handsfree.dialogue.parts import Ear, Machine, Mouth, Record
from handsfree.errors import Trouble
from handsfree.journal.events import (
    HAPPENINGS,
    Closed,
    DropTimer,
    Happening,
    KeepNote,
    ListenFor,
    Say,
    SetTimer,
    SetVoice,
    Stamped,
    TimerRang,
    Tone,
)
from handsfree.sound.samples import Clock

S = TypeVar("S", bound=Any)
#: Sees every recorded event with the state after it: for the screen and the tests.
Watcher = Callable[[Stamped, S], None]


class Runner(Generic[S]):
    """One dialogue under way."""

    def __init__(
        self, machine: Machine[S], state: S, record: Record, ear: Ear, mouth: Mouth, clock: Clock,
        watch: Watcher[S] | None = None,
    ) -> None:  # fmt: skip
        self.state = state
        self._machine, self._record, self._ear, self._mouth, self._clock = machine, record, ear, mouth, clock
        self._watch = watch
        self._timers: dict[str, float] = {}
        self._todo: deque[Happening] = deque()

    def run(self, first: Happening) -> S:
        """Until it is closed. Trouble where the record cannot be written; EOFError where the ear has ended."""
        self._todo.append(first)
        while True:
            while self._todo:
                self._happen(self._todo.popleft())
            if self.state.closed:
                return self.state
            self._todo.extend(self._await())

    def close(self) -> None:
        self._ear.close()
        self._mouth.close()

    def happen(self, happening: Happening) -> None:
        """One happening from outside the ear (a signal, a disk that is filling)."""
        self._happen(happening)

    def _await(self) -> Iterable[Happening]:
        due = min(self._timers.values(), default=None)
        wait = None if due is None else max(0.0, due - self._clock.now())
        try:
            heard = self._ear.next(wait)
        except Trouble as trouble:  # the sound of an utterance could not be kept
            self._unrecorded(trouble)
            raise
        if heard is not None:
            return (heard,)
        now = self._clock.now()
        ringing = sorted((at, name) for name, at in self._timers.items() if at <= now + 1e-3)
        for _, name in ringing:
            del self._timers[name]
        return tuple(TimerRang(name) for _, name in ringing)

    def _happen(self, happening: Happening) -> None:
        try:
            written = self._record.append(happening)  # with it, a clock that moved or a key that signs
            for stamped in written:
                self._show(stamped)
                if isinstance(stamped.event, HAPPENINGS):
                    self._turn(stamped)
        except Trouble as trouble:
            self._unrecorded(trouble)
            raise

    def _turn(self, stamped: Stamped) -> None:
        self.state, effects = self._machine.advance(self.state, stamped)
        own = self._machine.own
        told = [effect for effect in effects if type(effect) not in own]
        for recorded in self._record.append(*told) if told else ():
            self._show(recorded)
        for effect in effects:
            if type(effect) in own:
                self._speak(own[type(effect)](self.state, effect))
            else:
                self._perform(effect)

    def _speak(self, texts: Iterable[str]) -> None:
        """What an effect of the machine's own has to say."""
        for text in texts:
            say = Say(self.state.said, text, "notice")
            for recorded in self._record.append(say):
                self._show(recorded)
            self._perform(say)

    def _unrecorded(self, trouble: Trouble) -> None:
        """The one thing said without a record: that there is none."""
        say = Say(self.state.said, self._machine.unrecorded(self.state), "notice", cuttable=False)
        self._mouth.say(say, 0, 0)

    def tell(self, sentence: str) -> None:
        """After the record is closed: what is said of it cannot stand in it."""
        self._mouth.say(Say(0, sentence, "notice", cuttable=False), self.state.rate, self.state.volume)

    def _perform(self, effect: Any) -> None:
        action = _ACTIONS.get(type(effect))
        if action is not None:
            action(self, effect)

    def _show(self, stamped: Stamped) -> None:
        if self._watch is not None:
            self._watch(stamped, self.state)

    def _say(self, effect: Say) -> None:
        self._todo.extend(self._mouth.say(effect, self.state.rate, self.state.volume))

    def _set_timer(self, effect: SetTimer) -> None:
        self._timers[effect.timer] = self._clock.now() + effect.seconds

    def _drop_timer(self, effect: DropTimer) -> None:
        self._timers.pop(effect.timer, None)


_ACTIONS: dict[type[Any], Callable[[Runner[Any], Any], None]] = {
    Say: Runner._say,
    Tone: lambda runner, effect: runner._mouth.tone(effect),
    ListenFor: lambda runner, effect: runner._ear.listen(effect),
    KeepNote: lambda runner, effect: runner._ear.keep_note(effect),
    SetTimer: Runner._set_timer,
    DropTimer: Runner._drop_timer,
    SetVoice: lambda runner, effect: None,  # the state carries it; the next prompt is spoken so
    Closed: lambda runner, effect: None,  # the loop sees it in the state
}
