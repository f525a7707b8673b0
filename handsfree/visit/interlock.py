"""The interlock: isolation as a state of the visit, and the only code that can set it.

The rules of this file, which hold whatever a procedure, an utterance or another module does:

1. The state is one of LIVE, ISOLATING, ISOLATED, RESTORING. A visit starts LIVE, and so does every resume.
2. ISOLATED is reached from ISOLATING alone, in `prove` alone, and only after the gate phrase was accepted in the same
   ISOLATING (`phrase_given`).
3. The gate phrase is an utterance that was *accepted* as the gate's meaning, whose digits are this person's own lock
   number. `hear_phrase` is the one place that looks. There is no flag, setting or command that stands for it.
4. Whatever is not in the table below leaves the state LIVE. Clearing is never refused.
5. A silence longer than the procedure allows clears it, counted on the visit's clock, not by a timer that may fail.

The order of isolation follows 29 CFR 1910.147 (d), that of restoring (e): the one who applied the lock takes it off.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

from handsfree.journal.events import Utterance
from handsfree.language.meaning import Sense, Verdict, gate_text


class Power(StrEnum):
    LIVE = "LIVE"
    ISOLATING = "ISOLATING"
    ISOLATED = "ISOLATED"
    RESTORING = "RESTORING"


class Turn(StrEnum):
    """What can happen to the state. The first two open, and only with what rules 2 and 3 ask; the others never do."""

    ISOLATION_BEGUN = "isolation begun"
    PROVED_DEAD = "proved dead"
    RESTORE_BEGUN = "restore begun"
    RESTORED = "restored"
    FOUND_LIVE = "found live"
    LEFT = "isolation left"
    POWER_IS_ON = "power is on"
    BREAK = "break"
    RESUMED = "resume"
    HANDED_OVER = "handover"
    CLOSED = "visit closed"
    FAULT = "fault"


TABLE: dict[tuple[Power, Turn], Power] = {
    (Power.LIVE, Turn.ISOLATION_BEGUN): Power.ISOLATING,
    (Power.ISOLATING, Turn.ISOLATION_BEGUN): Power.ISOLATING,
    (Power.ISOLATED, Turn.ISOLATION_BEGUN): Power.ISOLATING,
    (Power.RESTORING, Turn.ISOLATION_BEGUN): Power.ISOLATING,
    (Power.ISOLATING, Turn.PROVED_DEAD): Power.ISOLATED,
    (Power.LIVE, Turn.RESTORE_BEGUN): Power.RESTORING,
    (Power.ISOLATING, Turn.RESTORE_BEGUN): Power.RESTORING,
    (Power.ISOLATED, Turn.RESTORE_BEGUN): Power.RESTORING,
    (Power.RESTORING, Turn.RESTORE_BEGUN): Power.RESTORING,
}


@dataclass(frozen=True)
class Interlock:
    """`lock`: the person's own number as digit words, () before it is stated. `phrase_given`: the gate phrase was accepted
    in this state. `failures`: tries at the present gate that did not open it. `last_heard`: when the person last spoke to
    the program, `since`: when this state began; both in seconds on the visit's clock."""

    power: Power = Power.LIVE
    lock: tuple[str, ...] = ()
    phrase_given: bool = False
    failures: int = 0
    last_heard: float = 0.0
    since: float = 0.0

    @property
    def isolated(self) -> bool:
        return self.power is Power.ISOLATED


#: The gate phrase by the state that waits for it.
GATE_WORDS: dict[Power, str] = {Power.ISOLATING: "isolated", Power.RESTORING: "clear"}


def turn(interlock: Interlock, what: Turn, now: float) -> Interlock:
    """The state after `what`; anything not in the table is LIVE (rule 4). PROVED_DEAD goes through `prove`."""
    if what is Turn.PROVED_DEAD:
        return prove(interlock, now)
    power = TABLE.get((interlock.power, what), Power.LIVE)
    return replace(interlock, power=power, phrase_given=False, failures=0, since=now)


def hear_phrase(interlock: Interlock, utterance: Utterance) -> Interlock:
    """The interlock with the phrase given, if this utterance is it (rule 3); else with one more failure."""
    word = GATE_WORDS.get(interlock.power)
    given = (
        word is not None
        and len(interlock.lock) >= 2
        and utterance.verdict == Verdict.ACCEPTED
        and utterance.sense == Sense.GATE
        and utterance.text == gate_text(word, interlock.lock)
    )
    if given:
        return replace(interlock, phrase_given=True, failures=0, last_heard=utterance.ended)
    return replace(interlock, failures=interlock.failures + 1)


def prove(interlock: Interlock, now: float) -> Interlock:
    """ISOLATED, if the phrase was given in this ISOLATING (rule 2); else LIVE."""
    proved = interlock.power is Power.ISOLATING and interlock.phrase_given
    power = TABLE[(Power.ISOLATING, Turn.PROVED_DEAD)] if proved else Power.LIVE
    return replace(interlock, power=power, phrase_given=False, failures=0, since=now, last_heard=now)


def overstayed(interlock: Interlock, now: float, break_seconds: float) -> bool:
    """The person has been silent under isolation for longer than the procedure allows (rule 5)."""
    held = interlock.power is Power.ISOLATED or interlock.phrase_given
    return held and now - interlock.last_heard > break_seconds


def spoke(interlock: Interlock, now: float) -> Interlock:
    return replace(interlock, last_heard=now)
