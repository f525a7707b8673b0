"""One turn of the visit while it is being worked out: the state so far and the effects so far."""

from __future__ import annotations

from itertools import takewhile

from handsfree.dialogue.question import Turn
from handsfree.isolation.interlock import Interlock, turn, turn_all
from handsfree.isolation.rules import SourceEvent
from handsfree.journal.events import Gate, LockChanged
from handsfree.language.tokens import capital
from handsfree.procedure.model import Step
from handsfree.visit.state import Form, State

#: How the lock of an absent owner came off.
WITHOUT = "without its owner"
#: Words that show that a person knows how to word an answer here -> the cue that is no longer needed.
LEARNED = {
    "affirm": "affirm", "negative": "affirm", "next step": "next", "go ahead": "next", "understood": "understood",
    "done": "taken",
}  # fmt: skip


class Flow(Turn[State]):
    """`again`: somebody asked to hear it again, so it is said in full. `affirmed`: what was heard had been read back
    before."""

    again = False
    affirmed = False

    @property
    def now(self) -> float:
        return self.state.now

    @property
    def place(self) -> str:
        return self.state.frames[-1].step if self.state.frames else ""

    @property
    def may_cut(self) -> bool:
        """These words of this step were heard to their end before, so they may be interrupted."""
        return self.state.asking in self.state.spoken

    def sentence(self, key: str, **values: object) -> str:
        return self.state.language.prompt(key, **values)

    def say(self, text: str, role: str, *, cuttable: bool = True, sound: str = "") -> None:
        """A turn speaks only through this function, so that the words of a hazard step have one gate: whoever asks for
        them, they are spoken only while the interlock says ISOLATED."""
        if self._hazard_words(text):
            text, role, cuttable, sound = self.sentence(f"isolation-{self.state.interlock.power}"), "refusal", False, ""
        super().say(text, role, cuttable=cuttable, sound=sound)

    def _hazard_words(self, text: str) -> bool:
        step = self.state.step
        if step is None or not self.state.shut:
            return False
        return step.say in text or bool(step.short and step.short in text)

    def step_words(self, step: Step) -> str:
        """What a plain step says: its sentence; in the short form, its name."""
        if not self.brief:
            return step.say
        return step.short or capital(f"{step.id.replace('-', ' ')}.")

    @property
    def brief(self) -> bool:
        """The short form is on, and nobody asked to hear it again."""
        return self.state.form is Form.SHORT and not self.again

    def cue(self, name: str) -> str:
        """How to word the answer ('Affirm or negative?'), with a space before it. Said until the person has worded one so;
        always in the full form and to whoever asks again; never in the short form."""
        form = self.state.form
        left_out = form is Form.SHORT or (form is Form.USUAL and name in self.state.learned)
        return "" if left_out and not self.again else f" {self.sentence(f'cue-{name}')}"

    def lock_to(self, interlock: Interlock, how: str, why: str, at: tuple[str, ...] = ()) -> None:
        """Take the interlock that the core returned. Record each source that changed, each lock that went on or came off,
        and a failed attempt at the sources `at`."""
        was = self.state.interlock
        self.change(interlock=interlock)
        several = len(interlock.sources) > 1
        failed = interlock.failures > was.failures
        for name in interlock.sources:
            before, after = was.hold(name), interlock.hold(name)
            phrase = before.claimed != after.claimed or (how == "phrase" and name in at and was.given != interlock.given)
            if before.power is not after.power or phrase or (failed and name in at):
                self.emit(Gate(before.power, after.power, how, why, self.place, name if several else ""))
        for lock in sorted(was.locks ^ interlock.locks, key=lambda lock: (lock.source, lock.owner)):
            self.emit(LockChanged(lock.owner, lock.source, lock in interlock.locks, how))

    def tells(self, what: str | None) -> None:
        """What the step's result means to the fault model; it replaces the result from an earlier pass."""
        assert self.state.step is not None
        here = (self.state.path, self.state.step.id)
        told = dict(self.state.tellings)
        told.pop(here, None)  # it stands where it is told last
        self.change(tellings={**told, here: what or ""})

    def untell(self, since: tuple[tuple[str, ...], str]) -> None:
        """Take back what this step and later ones told."""
        before = takewhile(lambda told: told[0] != since, self.state.tellings.items())
        self.change(tellings=dict(before))

    def turn_lock(self, what: SourceEvent, why: str, names: tuple[str, ...] | None = None) -> None:
        """`names`: of the sources; all where it is None."""
        here = self.state.interlock
        self.lock_to(turn_all(here, what, self.now) if names is None else turn(here, names, what, self.now), what, why)
