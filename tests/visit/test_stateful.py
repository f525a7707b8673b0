"""The interlock under everything: random procedures (proved and not), random utterances, crashes, resumes, silences.

The oracle in `scenes` follows the record alone and fails the moment a step behind the gate is entered or spoken while it
should not be, or the state is called ISOLATED without the phrase and the proof. The machine has no part in judging itself.
"""

from __future__ import annotations

from typing import Any

import hypothesis.strategies as st
from hypothesis import HealthCheck, note, settings
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from handsfree.journal.events import Opened, Resumed, SoundBack, SoundDropped, SoundLost, TimerRang, Utterance
from handsfree.language.meaning import ALWAYS, WHEN_ASKED, Denial, Sense, Verdict, gate_text
from handsfree.procedure import load
from handsfree.procedure.model import (
    Answer,
    Ask,
    Call,
    Case,
    Caution,
    Decide,
    End,
    Evidence,
    Finding,
    Handover,
    Instruct,
    Isolate,
    Procedure,
    Prove,
    Read,
    Restore,
    Wait,
)
from tests.visit.scenes import Scene, accepted

LOCKS = [("four", "two"), ("four", "three"), ("two", "four"), ("four", "two", "two")]


@st.composite
def steps(draw: st.DrawFn, ids: list[str], at: int, calls: list[str]) -> Any:
    """One step of any kind, going anywhere."""
    to = st.sampled_from(ids)
    go = draw(st.none() | to)
    common: dict[str, Any] = {"id": ids[at], "say": f"This is {ids[at]}.", "go": go}
    hazards = draw(st.sampled_from([(), (), ("mains",), ("moving fan",), ("sharp fins",)]))
    kind = draw(st.sampled_from(
        ["instruct", "instruct", "caution", "ask", "read", "isolate", "isolate", "prove", "prove", "restore", "wait",
         "evidence", "decide", "call", "finding", "handover", "end"]
    ))
    match kind:
        case "instruct":
            return Instruct(kind="instruct", hazards=hazards, needs_isolation=draw(st.booleans()) and not hazards, **common)
        case "caution":
            return Caution(kind="caution", level="danger", hazards=hazards, **common)
        case "ask":
            answers = (Answer(say="cool", go=draw(st.none() | to)), Answer(say="warm", go=draw(to)))
            return Ask(kind="ask", answers=answers, hazards=hazards, **common)
        case "read":
            return Read(kind="read", quantity="a", unit="volt", plausible=(0, 300), decides=draw(st.booleans()),
                        hazards=hazards, over_range=draw(st.none() | to), **common)
        case "isolate":
            return Isolate(kind="isolate", do=("Pull it.",), sources=("mains",), **common)
        case "prove":
            return Prove(kind="prove", method=draw(st.sampled_from(["switch", "meter"])), **common)
        case "restore":
            return Restore(kind="restore", checks=("Tools.", "Covers."), power="On.", **common)
        case "wait":
            return Wait(kind="wait", lasts=draw(st.sampled_from(["5 s", "2 min", "50 min", "1 d"])), because="x", **common)
        case "evidence":
            return Evidence(kind="evidence", hazards=hazards, **common)
        case "decide":
            case = Case(when=draw(st.sampled_from(["1 > 0", "1 < 0"])), go=draw(to))
            return Decide(kind="decide", cases=(case,), otherwise=draw(to), **common)
        case "call" if calls:
            return Call(kind="call", procedure=draw(st.sampled_from(calls)), hazards=hazards, **common)
        case "finding":
            return Finding(kind="finding", finding="f", evidence=(ids[at],), hazards=hazards, **common)
        case "handover":
            return Handover(kind="handover", to="someone", summary=(ids[at],), **common)
    common["go"] = None
    return End(kind="end", outcome="done", **common)


@st.composite
def procedures(draw: st.DrawFn, name: str, calls: list[str]) -> Procedure:
    ids = [f"{name[0]}{n}" for n in range(draw(st.integers(2, 9)))]
    made = tuple(draw(steps(ids, at, calls)) for at in range(len(ids)))
    return Procedure(procedure=name, title=name, break_minutes=draw(st.sampled_from([1.0, 30.0])), steps=made)


@st.composite
def sensible(draw: st.DrawFn) -> Procedure:
    """Isolation, proof, a few hazards with jumps among them, restore: the shape real procedures have, so that random
    walks really get behind the gate."""
    hazards = [f"h{n}" for n in range(draw(st.integers(1, 4)))]
    inside = tuple(
        Instruct(kind="instruct", id=name, say=f"This is {name}.", hazards=("mains",)) for name in hazards
    )
    asks = Ask(kind="ask", id="which", say="Which?", hazards=("mains",), answers=(
        Answer(say="cool", go=draw(st.sampled_from([*hazards, "restore", "start", "isolate"]))),
        Answer(say="warm", go=draw(st.sampled_from([*hazards, "restore"]))),
    ))
    return Procedure(procedure="main", title="main", steps=(
        Instruct(kind="instruct", id="start", say="This is start."),
        Isolate(kind="isolate", id="isolate", say="Isolate.", do=("Pull.",), sources=("mains",)),
        Prove(kind="prove", id="prove", say="Try.", method=draw(st.sampled_from(["switch", "meter"]))),
        *inside, asks,
        Restore(kind="restore", id="restore", say="Back.", checks=("Tools.", "Covers."), power="On."),
        Instruct(kind="instruct", id="after", say="This is after.", hazards=draw(st.sampled_from([(), ("mains",)])),
                 go=draw(st.sampled_from([None, "start", "h0", "prove"]))),
        End(kind="end", id="end", say="End.", outcome="done"),
    ))


class Visits(RuleBasedStateMachine):
    @initialize(one=procedures("main", ["sub"]) | sensible(), sub=procedures("sub", []), lock=st.sampled_from(LOCKS))
    def begin(self, one: Procedure, sub: Procedure, lock: tuple[str, ...]) -> None:
        self.scene = Scene(load.book_of(one, sub))
        self.scene.tell(Opened("v", "main", "en", "", "", "", "t", "typed"))
        self.lock = lock
        self.scene.tell(accepted(Sense.DIGITS, " ".join(lock)))
        self.scene.tell(accepted(Sense.COMMAND, "affirm"))

    def running(self) -> bool:
        return not self.scene.state.closed

    @rule(name=st.sampled_from([*ALWAYS, *WHEN_ASKED]), wait=st.sampled_from([1.0, 1.0, 1.0, 65.0, 1900.0]))
    def command(self, name: str, wait: float) -> None:
        self.scene.tell(accepted(Sense.COMMAND, name), wait)

    @rule()
    def on(self) -> None:
        self.scene.tell(accepted(Sense.COMMAND, "next step"))

    @rule(text=st.sampled_from(["cool", "warm", "nothing runs", "it runs"]))
    def phrase(self, text: str) -> None:
        self.scene.tell(accepted(Sense.PHRASE, text))

    @rule(value=st.sampled_from([0.0, 12.0, 208.0, 1e6]), unit=st.sampled_from([None, "volt", "degC"]))
    def number(self, value: float, unit: str | None) -> None:
        self.scene.tell(accepted(Sense.NUMBER, f"{value:g}", value, unit))

    @rule(state=st.sampled_from(["over range", "unsteady"]))
    def meter_state(self, state: str) -> None:
        self.scene.tell(accepted(Sense.STATE, state))

    @rule(word=st.sampled_from(["isolated", "clear"]), lock=st.sampled_from(LOCKS), verdict=st.sampled_from(list(Verdict)))
    def any_gate_phrase(self, word: str, lock: tuple[str, ...], verdict: Verdict) -> None:
        self.scene.tell(Utterance(verdict, Sense.GATE, gate_text(word, lock), sure=1.0))

    @rule(word=st.sampled_from(["isolated", "clear"]))
    def own_gate_phrase(self, word: str) -> None:
        self.scene.tell(accepted(Sense.GATE, gate_text(word, self.lock)))

    @rule()
    def proof(self) -> None:
        """What a person at a proof would say, one after the other."""
        for said in (accepted(Sense.PHRASE, "nothing runs"), accepted(Sense.COMMAND, "affirm"),
                     accepted(Sense.NUMBER, "0", 0.0, "volt"), accepted(Sense.COMMAND, "affirm")):
            self.scene.tell(said)

    @rule(kind=st.sampled_from(list(Denial)))
    def denial(self, kind: Denial) -> None:
        self.scene.tell(Utterance(Verdict.ASKED_AGAIN, Sense.DENIAL, kind))

    @rule(timer=st.sampled_from(["wait", "break", "quiet", "other"]), after=st.sampled_from([1.0, 61.0, 3601.0, 90000.0]))
    def timer(self, timer: str, after: float) -> None:
        self.scene.tell(TimerRang(timer), after)

    @rule(what=st.sampled_from([SoundLost("d", "microphone"), SoundBack("d", "microphone"), SoundDropped(9, True)]))
    def sound(self, what: Any) -> None:
        self.scene.tell(what)

    @rule(after=st.sampled_from([1.0, 600.0, 100000.0]))
    def crash_and_resume(self, after: float) -> None:
        """The process dies; what is on disk is all there is."""
        again = self.scene.again()
        assert again == self.scene.state
        self.scene.state = again
        self.scene.tell(Resumed("interrupted"), after)
        assert self.scene.power != "ISOLATED"

    @rule()
    def lock_again(self) -> None:
        """After a day away the number is asked for again; the oracle takes what was affirmed."""
        if not self.scene.state.interlock.lock:
            self.scene.oracle.lock = ()
            self.scene.tell(accepted(Sense.DIGITS, " ".join(self.lock)))
            self.scene.tell(accepted(Sense.COMMAND, "affirm"))

    @precondition(lambda self: self.scene.state.closed)
    @rule()
    def nothing_moves_a_closed_visit(self) -> None:
        assert self.scene.tell(accepted(Sense.COMMAND, "next step")) == ()

    @invariant()
    def agrees(self) -> None:
        assert self.scene.power == self.scene.oracle.power

    def teardown(self) -> None:
        if hasattr(self, "scene"):
            note(f"entered {self.scene.oracle.entered}")


TestVisits = Visits.TestCase
TestVisits.settings = settings(
    max_examples=150, stateful_step_count=40, deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much],
)
