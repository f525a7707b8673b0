"""The runner: brings happenings to a machine and performs its effects. It has no opinions.

The rules of this file:

- Record, then act: a happening is on disk before `advance` sees it, its effects before any is performed.
- An exception in a part is a happening too, `FaultMet`: the machine decides what it means, and ends with a sentence.
- If the record cannot be written, the program says so and the dialogue stops. Nothing goes on unrecorded.
- Timers ring as happenings, in the order they are due.
- An effect of the machine's own (a recorder's `Save`) is performed by the maker of the runner, and not recorded.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, nullcontext, suppress
from typing import Any, Generic, TypeVar

from handsfree.dialogue.parts import Ear, Machine, Mouth, Record
from handsfree.dialogue.question import Dialogue, OwnEffect
from handsfree.errors import Trouble, Unkept
from handsfree.journal.events import (
    HAPPENINGS,
    Closed,
    DropTimer,
    Effect,
    Event,
    FaultMet,
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

S = TypeVar("S", bound=Dialogue)
#: Sees every recorded event with the state after it: for the screen and the tests.
Watcher = Callable[[Stamped, S], None]


class _PartFailed(Exception):
    """`part`: of FaultMet."""

    def __init__(self, part: str, error: Exception) -> None:
        super().__init__(part)
        self.part, self.error = part, error
        words = str(error.sentence if isinstance(error, Trouble) else error)
        self.what = " ".join((words if isinstance(error, Trouble) else f"{type(error).__name__}: {words}").split())


@contextmanager
def _part(name: str, *let_through: type[Exception]) -> Iterator[None]:
    """An exception in it is this part's failure, except for what is let through."""
    try:
        yield
    except _PartFailed:
        raise
    except Exception as error:
        if isinstance(error, let_through):
            raise
        raise _PartFailed(name, error) from error


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
        self._blind: _PartFailed | None = None
        self._failing = False  # a part has failed: what can still be said is said, and nothing more can go wrong

    def run(self, first: Happening) -> S:
        """Until it is closed. Trouble if a part or the record failed; EOFError if the ear has ended."""
        self._todo.append(first)
        with self._telling():
            while True:
                while self._todo:
                    self._happen(self._todo.popleft())
                if self.state.closed:
                    return self.state
                self._todo.extend(self._await())

    def close(self) -> None:
        """Trouble if a part could not be closed; the other one is closed all the same."""
        try:
            with self._telling(), _part("ear"):
                self._ear.close()
        finally:
            with self._telling(), _part("mouth"):
                self._mouth.close()

    def happen(self, happening: Happening) -> None:
        """One happening from outside the ear (a signal, a disk that is filling up)."""
        with self._telling():
            self._happen(happening)

    @contextmanager
    def _telling(self) -> Iterator[None]:
        """Tells the machine of a part's exception; then Trouble."""
        try:
            yield
        except _PartFailed as failed:
            self._failing = True
            self._todo.clear()
            self._timers.clear()
            met = FaultMet(failed.part, failed.what)
            if failed.part == "record":  # what it took of the last turn is not known: nothing more is written to it
                self._unrecorded(met)
            elif not self.state.closed:
                self._tell_fault(met)
            kind = Unkept if failed.part == "record" else Trouble
            raise kind(f"The program has a fault in its {failed.part}: {failed.what.rstrip('.')}.") from failed.error

    def _tell_fault(self, met: FaultMet) -> None:
        try:
            self._happen(met)
        except _PartFailed:
            self._unrecorded(met)
        except Trouble:
            pass  # the record is gone as well, and that has been said

    def _await(self) -> Iterable[Happening]:
        due = min(self._timers.values(), default=None)
        wait = None if due is None else max(0.0, due - self._now())
        try:
            with _part("ear", EOFError, Unkept):
                heard = self._ear.next(wait)
        except Unkept as trouble:  # the sound of an utterance could not be kept
            self._unrecorded(FaultMet("record", trouble.sentence))
            raise
        if heard is not None:
            return (heard,)
        now = self._now()
        ringing = sorted((at, name) for name, at in self._timers.items() if at <= now + 1e-3)
        for _, name in ringing:
            del self._timers[name]
        return tuple(TimerRang(name) for _, name in ringing)

    def _now(self) -> float:
        with _part("clock"):
            return self._clock.now()

    def _append(self, *events: Event) -> tuple[Stamped, ...]:
        with _part("record", Unkept):
            return self._record.append(*events)

    def _happen(self, happening: Happening) -> None:
        try:
            written = self._append(happening)  # with it, a clock that moved or a key that signs
            for stamped in written:
                self._show(stamped)
                if isinstance(stamped.event, HAPPENINGS):
                    self._turn(stamped)
            blind, self._blind = self._blind, None
            if blind is not None and not self._failing:
                raise blind
        except Trouble as trouble:
            self._unrecorded(FaultMet("record", trouble.sentence))
            raise

    def _turn(self, stamped: Stamped) -> None:
        with _part("program"):
            self.state, effects = self._machine.advance(self.state, stamped)
        told = [effect for effect in effects if not isinstance(effect, OwnEffect)]
        for recorded in self._append(*told) if told else ():
            self._show(recorded)
        for effect in effects:
            if isinstance(effect, OwnEffect):
                self._speak(self._machine.own[type(effect)](self.state, effect))
            else:
                self._perform(effect)

    def _speak(self, texts: Iterable[str]) -> None:
        """What an effect of the machine's own has to say."""
        for text in texts:
            say = Say(self.state.said, text, "notice")
            for recorded in self._append(say):
                self._show(recorded)
            self._perform(say)

    def _unrecorded(self, met: FaultMet) -> None:
        """The one thing said without a record: that there is none. The machine learns it too, so that nothing counts as
        safe."""
        say = Say(self.state.said, self._machine.unrecorded(self.state), "notice", cuttable=False)
        with suppress(Exception):
            self._mouth.say(say, 0, 0)
        with suppress(Exception):
            self.state, _ = self._machine.advance(self.state, Stamped(0, "", 0.0, met))

    def tell(self, sentence: str) -> None:
        """For after the record is closed: the record cannot contain what is said about it."""
        with self._telling(), _part("mouth"):
            self._mouth.say(Say(0, sentence, "notice", cuttable=False), self.state.rate, self.state.volume)

    def _perform(self, effect: Effect) -> None:
        action = _ACTIONS.get(type(effect))
        if action is not None:
            with suppress(_PartFailed) if self._failing else nullcontext():
                action(self, effect)

    def _show(self, stamped: Stamped) -> None:
        if self._watch is not None:
            try:
                with _part("watcher"):
                    self._watch(stamped, self.state)
            except _PartFailed as failed:  # told once the turn is over: a happening and what it led to stay together
                self._blind = failed

    def _say(self, effect: Say) -> None:
        with _part("mouth"):
            self._todo.extend(self._mouth.say(effect, self.state.rate, self.state.volume))

    def _tone(self, effect: Tone) -> None:
        with _part("mouth"):
            self._mouth.tone(effect)

    def _listen(self, effect: ListenFor) -> None:
        with _part("ear"):
            self._ear.listen(effect)

    def _keep_note(self, effect: KeepNote) -> None:
        with _part("ear"):
            self._ear.keep_note(effect)

    def _set_timer(self, effect: SetTimer) -> None:
        self._timers[effect.timer] = self._now() + effect.seconds

    def _drop_timer(self, effect: DropTimer) -> None:
        self._timers.pop(effect.timer, None)


_ACTIONS: dict[type[Any], Callable[[Runner[Any], Any], None]] = {
    Say: Runner._say,
    Tone: Runner._tone,
    ListenFor: Runner._listen,
    KeepNote: Runner._keep_note,
    SetTimer: Runner._set_timer,
    DropTimer: Runner._drop_timer,
    SetVoice: lambda runner, effect: None,  # the state carries it; the next prompt is spoken so
    Closed: lambda runner, effect: None,  # the loop sees it in the state
}
