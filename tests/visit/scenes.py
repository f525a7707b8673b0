"""Short ways to run the machine in tests: a book from text, happenings from words, invariants that must hold after each."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from handsfree.dialogue.hearing import typed, utterance_of
from handsfree.dialogue.listening import listening_of
from handsfree.journal.events import (
    HAPPENINGS,
    DropTimer,
    FaultCaught,
    Gate,
    ListenFor,
    Opened,
    Say,
    SetTimer,
    Stamped,
    StepEntered,
    TimerRang,
    Utterance,
)
from handsfree.language import base
from handsfree.language.meaning import Sense, Verdict, gate_text
from handsfree.procedure import load
from handsfree.procedure.model import Book
from handsfree.visit.machine import advance, start
from handsfree.visit.state import Awaiting, State

ENGLISH = base.load("en")


def book(text: str, *others: str) -> Book:
    return load.book_of(*(load.parse_procedure(each, f"test-{n}.yaml") for n, each in enumerate((text, *others))))


def accepted(sense: Sense, text: str, value: float | None = None, unit: str | None = None) -> Utterance:
    return Utterance(Verdict.ACCEPTED, sense, text, value, unit, spoken=text, sure=1.0, words=text)


def running(effects: Iterable[Any]) -> set[str]:
    """The timers that were set, and neither dropped nor rang."""
    timers: set[str] = set()
    for one in effects:
        if isinstance(one, SetTimer):
            timers.add(one.timer)
        elif isinstance(one, DropTimer | TimerRang):
            timers.discard(one.timer)
    return timers


@dataclass
class Oracle:
    """An independent account of what may be: it follows the record, never the machine's own state.

    `given`: the right phrase was accepted since isolation last began. ISOLATED is right only after that and a proof."""

    lock: tuple[str, ...] = ()
    offered: tuple[str, ...] = ()
    power: str = "LIVE"
    given: bool = False
    entered: list[str] = field(default_factory=list)

    def hears(self, event: Any) -> None:
        if isinstance(event, Utterance) and event.verdict == Verdict.ACCEPTED:
            if event.sense == Sense.DIGITS:
                self.offered = tuple(event.text.split())
            if self.lock and event.sense == Sense.GATE and event.text == gate_text("isolated", self.lock):
                self.given = self.given or self.power == "ISOLATING"

    def sees(self, effect: Any, the_book: Book) -> None:
        if isinstance(effect, Gate):
            assert effect.was == self.power, "the record's states follow each other"
            if effect.now == "ISOLATED":
                assert self.power == "ISOLATING", "isolated from nowhere"
                assert self.given, "isolated without the phrase"
                assert effect.how == "proof", "isolated without the proof"
            if effect.now != "ISOLATING" or effect.how == "isolation begun":
                self.given = False
            self.power = effect.now
        if isinstance(effect, StepEntered):
            assert effect.isolation == self.power
            step = the_book.at(effect.path[-1], effect.step)
            self.entered.append(effect.step)
            assert not step.behind_gate or self.power == "ISOLATED", f"{effect.step} entered while {self.power}"
        if isinstance(effect, Say):
            for procedure in the_book.procedures.values():
                for step in procedure.steps:
                    if step.behind_gate and step.say in effect.text:
                        assert self.power == "ISOLATED", f"{step.id} spoken while {self.power}"


class Scene:
    """One visit in memory. `tell` takes happenings, `words` typed lines."""

    def __init__(self, the_book: Book) -> None:
        self.book = the_book
        self.state: State = start(the_book, ENGLISH)
        self.record: list[Stamped] = []
        self.oracle = Oracle()
        self.now = 0.0
        self.lock = ""
        self.ran: bool | None = True
        self.last: tuple[Any, ...] = ()
        self.breaks = False  # the machine is made to fail

    def _stamp(self, event: Any) -> Stamped:
        stamped = Stamped(len(self.record), "2026-03-02T08:00:00+00:00", self.now, event)
        self.record.append(stamped)
        return stamped

    def tell(self, event: Any, after: float = 1.0) -> tuple[Any, ...]:
        self.now += after
        stamped = self._stamp(event)
        self.oracle.hears(event)
        before = self.state
        self.state, effects = advance(self.state, stamped)
        if self.state.interlock.lock and not before.interlock.lock:
            self.oracle.lock = self.oracle.offered
        for effect in effects:
            assert self.breaks or not isinstance(effect, FaultCaught), effect
            self._stamp(effect)
            self.oracle.sees(effect, self.book)
        self.last = effects
        return effects

    def open(self, lock: str = "four two") -> Scene:
        """`lock`: what is said where the number is asked for, that is, at the first isolation."""
        self.lock = lock
        self.tell(Opened("v", self.book.main, "en", "", "", "", "t", "typed"))
        self._usual()
        return self

    def _usual(self) -> None:
        """What most tests take for granted: the number where it is asked for, that something ran before an isolation that is
        tried, that its switch is off again after the try."""
        if self.lock and self.state.awaiting is Awaiting.LOCK_NUMBER and not self.state.joining and not self.state.overlay:
            self.one(self.lock)
            self.one("affirm")
        if self.ran is not None and self.state.awaiting is Awaiting.SEEN and not self.state.overlay:
            self.one("affirm" if self.ran else "negative")
        if self.ran is not None and self.state.awaiting is Awaiting.OFF_AGAIN and not self.state.overlay:
            self.one("affirm")

    def one(self, line: str, after: float = 1.0) -> None:
        listening = listening_of(self.state.listening or ListenFor())
        self.tell(utterance_of(typed(ENGLISH, line, listening, self.now), typed=True), after)

    def words(self, *lines: str, after: float = 1.0) -> Scene:
        for line in lines:
            self._usual()
            self.one(line, after)
            asked = self.last
            self._usual()
            self.last = asked if self.last is asked else (*asked, *self.last)
        return self

    def again(self) -> State:
        """The state worked out anew from the record: what a resume or a replay does."""
        state = start(self.book, ENGLISH)
        for entry in self.record:
            if isinstance(entry.event, HAPPENINGS):
                state, _ = advance(state, entry)
        return state

    @property
    def said(self) -> str:
        return " ".join(effect.text for effect in self.last if isinstance(effect, Say))

    @property
    def step(self) -> str:
        return self.state.frames[-1].step if self.state.frames else ""

    @property
    def power(self) -> str:
        return str(self.state.interlock.power)
