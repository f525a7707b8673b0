"""A visit followed closely: what must hold after every happening, whatever is tested."""

from __future__ import annotations

from typing import Any

from handsfree.journal.events import Gate, LockChanged, Opened, Say, Tone
from handsfree.journal.private import OWN_NUMBER
from handsfree.language.meaning import ALWAYS, EMERGENCY
from handsfree.sound.prompts import tone_samples
from handsfree.visit.questions import listening
from handsfree.visit.state import Awaiting
from tests.visit.scenes import Oracle, Scene, book

#: A plug that is tried, an arm that is looked at: a plain source with no try, and a wait after both.
JOB = """
procedure: job
title: A job
sources: {plug: {kind: mains}, arm: {kind: gravity}}
steps:
  - {id: look-first, kind: instruct, say: Look at it.}
  - {id: warm, kind: read, say: How warm., quantity: air temperature, unit: degC, plausible: [-20, 60]}
  - {id: off-plug, kind: isolate, say: Power first., do: [Switch off., Pull the plug.], sources: [plug]}
  - {id: dead-plug, kind: prove, method: switch, source: plug, say: Try the switch.}
  - {id: off-arm, kind: isolate, say: Now the arm., do: [Let it down., Block it.], sources: [arm]}
  - {id: dead-arm, kind: prove, method: rests, source: arm, say: See that it rests.}
  - {id: rest, kind: wait, lasts: 2 min, because: it must settle, say: Let it settle.}
  - {id: work-now, kind: instruct, hazards: [mains, gravity], say: Undo the joint.}
  - {id: back, kind: restore, say: Back., short: All back., checks: [Tools out., Covers on.], power: Put all back.}
  - {id: done, kind: end, outcome: done, say: Done.}
"""
A, B, C, D = "four two", "five one", "seven eight", "six three"
#: What may be said, from the first step to where each is asked.
TO_NUMBER = ("next step", "twenty one")
TO_SEEN = (*TO_NUMBER, A, "affirm")
TO_GATE = (*TO_SEEN, "affirm")
TO_ARM = (*TO_GATE, f"isolated lock {A}", "nothing runs", "affirm")
TO_WAIT = (*TO_ARM, f"isolated lock {A}", "affirm")
TO_JOIN = (*TO_WAIT, "second person", B, "affirm")
TWO_WAIT = (*TO_JOIN, f"isolated lock {B}")
TO_LEAVE = (*TWO_WAIT, "i am leaving")
TO_WORK = (*TO_WAIT, "next step", "affirm")
TO_CHECK = (*TO_WORK, "next step")
TO_CLEAR = (*TO_CHECK, "next step", "next step", "next step")
TO_POWER = (*TO_CLEAR, f"clear lock {A}")
TWO_WORK = (*TWO_WAIT, "next step", "affirm")
TWO_CLEAR = (*TWO_WORK, *["next step"] * 4)
TWO_AT_GATE = ("second person", A, "affirm", B, "affirm", *TO_NUMBER, "affirm")

ROLES = {"step", "caution", "answer", "refusal", "question", "readback", "help", "notice", OWN_NUMBER}
#: How locks go on and off, as the reader of the record knows them.
LOCKS = {"phrase", "without its owner"}
#: What says nothing about the work and moves nothing. It is heard wherever somebody is asked who they are.
IDLE = {
    "say again", "stand by", "what can i say", "stop the visit", "power is on", "faster", "slower", "louder", "softer",
    "help", "stop", "short form", "usual form", "full form", *EMERGENCY,
}  # fmt: skip
_COMES = (Awaiting.WHO, Awaiting.LOCK_NUMBER, Awaiting.LOCK_AFFIRM)


class _Blind(Oracle):
    """That of `scenes` knows one person and one source."""

    def hears(self, *_: Any) -> None: ...
    def sees(self, *_: Any) -> None: ...


class Followed(Scene):
    """Nothing is answered by itself here: each line stands in the test."""

    def __init__(self, text: str = JOB, technician: str = "", technicians: tuple[str, ...] = ()) -> None:
        super().__init__(book(text))
        self.recorded = {"", *(step.own_sound for step in self.book.procedures[self.book.main].steps)}
        self.oracle, self.ran = _Blind(), None
        self.tell(Opened("v", self.book.main, "en", technician, "", "", "t", "typed", technicians=technicians))

    def tell(self, event: Any, after: float = 1.0) -> tuple[Any, ...]:
        effects = super().tell(event, after)
        for effect in effects:
            if isinstance(effect, Say):
                assert effect.role in ROLES, effect
                assert effect.sound in self.recorded, effect
            if isinstance(effect, Tone):
                assert len(tone_samples(effect.name)), effect
            if isinstance(effect, LockChanged):
                assert effect.how in LOCKS, effect
            if isinstance(effect, Gate):
                assert effect.was != effect.now or effect.why, effect
        self._nothing_pending()
        return effects

    def _nothing_pending(self) -> None:
        """What is known of somebody who is about to join lives while it is asked, and no longer."""
        state = self.state
        asked = state.awaiting if state.coming is Awaiting.NOTHING else state.coming
        assert state.coming is Awaiting.NOTHING or state.awaiting is Awaiting.WHICH_SOURCE
        assert not state.joining or asked in (*_COMES, Awaiting.JOIN_GATE)
        assert not state.another or asked in _COMES
        assert not state.lock_offered or asked in (Awaiting.WHO, Awaiting.LOCK_AFFIRM)
        assert state.pending is None or state.awaiting in (Awaiting.READING_AFFIRM, Awaiting.DEAD_AFFIRM)

    def takes(self, *lines: str) -> Followed:
        """Each of these is an answer, so the question is not put once more as if it were none."""
        for line in lines:
            self.one(line)
            assert self.state.tries == 0, f"{line}: taken for no answer: {self.said}"
        return self

    def ignores(self, line: Any) -> str:
        """This is no answer: the same is asked again, aloud, and nothing else has changed. What is said then."""
        was, locks = self.state, self.state.interlock
        self.one(line) if isinstance(line, str) else self.tell(line)
        now = self.state
        assert (now.frames, now.awaiting, now.tries) == (was.frames, was.awaiting, was.tries + 1)
        assert (now.interlock.holds, now.interlock.locks, now.interlock.people) == (locks.holds, locks.locks, locks.people)
        assert self.said
        return self.said

    @property
    def told(self) -> list[str]:
        return [effect.text for effect in self.last if isinstance(effect, Say)]

    @property
    def roles(self) -> list[tuple[str, bool]]:
        return [(effect.role, effect.cuttable) for effect in self.last if isinstance(effect, Say)]

    @property
    def tones(self) -> list[str]:
        return [effect.name for effect in self.last if isinstance(effect, Tone)]

    @property
    def named(self) -> set[str]:
        """The commands in force that move something, or answer."""
        return set(listening(self.state).named) - IDLE

    @property
    def here(self) -> list[str]:
        return [one.name for one in self.state.interlock.people if one.here]

    @property
    def owners(self) -> set[str]:
        return {lock.owner for lock in self.state.interlock.locks}


#: All that moves, where everything that always works does.
MOVES = set(ALWAYS) - IDLE
