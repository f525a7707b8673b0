"""What no walk tried: each of these went the other way on the real machine."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from typing import Any

import pytest

from handsfree.journal.events import FaultMet, Resumed, SetTimer, SoundBack, SoundLost, TimerRang, Utterance
from handsfree.language.meaning import Sense, Verdict, gate_text
from handsfree.visit import questions
from handsfree.visit.state import Awaiting
from tests.isolation.test_finds import CHARGE, CLEARS, LIFT, OPENS, TESTED, TWO, lifted, powers
from tests.visit.scenes import ENGLISH, Scene, accepted, book

ALONE = LIFT.replace("people: 2, ", "")


@pytest.fixture(autouse=True)
def _no_oracle(monkeypatch: pytest.MonkeyPatch) -> None:
    """The oracle of `scenes` knows one source."""
    monkeypatch.setattr("tests.visit.scenes.Oracle.sees", lambda *_: None)


# ---- a silence ------------------------------------------------------------------------------------------------------

OUTER = """
procedure: outer
title: Outer
break_minutes: 5
steps:
  - {id: off, kind: isolate, say: Power off., do: [Pull the plug.], sources: [plug]}
  - {id: dead, kind: prove, method: switch, say: Try the switch.}
  - {id: do, kind: call, procedure: inner, say: Inner.}
  - {id: back, kind: restore, say: Back., checks: [Tools out.], power: Put it in.}
  - {id: done, kind: end, outcome: done, say: Done.}
"""
INNER = """
procedure: inner
title: Inner
break_minutes: 240
steps:
  - {id: touch, kind: instruct, hazards: [mains], say: Touch the bare terminals.}
  - {id: over, kind: end, outcome: done, say: Over.}
"""


def test_a_called_procedure_allows_no_longer_silence_than_its_caller() -> None:
    """The proof took the shortest break of all; the machine that of the procedure that ran: three hours, still ISOLATED."""
    scene = Scene(book(OUTER, INNER)).open().words(OPENS, "nothing runs")
    assert (scene.step, powers(scene)["plug"]) == ("touch", "ISOLATED")
    rings = [one.seconds for one in scene.last if isinstance(one, SetTimer) and one.timer == "break"]
    assert rings
    assert max(rings) <= 5 * 60 + 1
    scene.words("say again", after=5 * 60 + 2)
    assert powers(scene)["plug"] != "ISOLATED"
    assert "Isolation is cleared" in scene.said


def test_the_silence_is_watched_on_where_the_timer_was_set_for_a_shorter_one() -> None:
    """The called procedure allows five minutes; its wait ends, and nobody speaks in the caller, which allows thirty."""
    inner = INNER.replace("240", "5").replace("kind: instruct,", "kind: wait, lasts: 4 min, because: It settles.,")
    touch = "  - {id: bare, kind: instruct, hazards: [mains], say: Touch it again.}\n  - {id: back"
    scene = Scene(book(OUTER.replace("_minutes: 5", "_minutes: 30").replace("  - {id: back", touch), inner))
    scene.open().words(OPENS, "nothing runs")
    scene.tell(TimerRang("wait"), 240.0)
    assert scene.step == "bare"
    scene.tell(TimerRang("break"), 62.0)
    assert powers(scene)["plug"] == "ISOLATED"
    ahead = [one.seconds for one in scene.last if isinstance(one, SetTimer) and one.timer == "break"]
    assert ahead == [pytest.approx(30 * 60 - 302 + 1, abs=2)]
    scene.tell(TimerRang("break"), ahead[0])
    assert "Isolation is cleared" in scene.said


# ---- what fills a charge again ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cause", "at"),
    [
        *product(
            ("power is on", "a crash", "a stop", "a break", "the microphone"),
            ("relief", "gone", "gone, to affirm", "dead", "hold"),
        ),
        ("found live", "dead"),
    ],
)
def test_nobody_is_sent_to_a_charge_while_what_fills_it_may_be_on(cause: str, at: str) -> None:
    """At the proof of the capacitor everything was cleared. 'Open the box. Discharge it.' was said with the plug in, for
    ever: the visit went to the isolation of what was lacking, and never asked what that isolation lacked."""
    ways = {"relief": (), "gone": ("next step", "affirm"), "gone, to affirm": ("next step", "affirm", "zero")}
    ways["dead"] = (*ways["gone, to affirm"], "affirm", "affirm")
    ways["hold"] = (*ways["dead"], *TESTED)
    scene = Scene(book(CHARGE)).open().words("understood", OPENS, *ways[at])
    assert scene.step == at.partition(",")[0]
    if cause == "found live":
        scene.words("affirm", "two hundred")
    happening: dict[str, Any] = {"a crash": Resumed("interrupted"), "a stop": Resumed("stopped"),
                                 "the microphone": SoundLost("d", "microphone")}  # fmt: skip
    if cause in happening:
        scene.tell(happening[cause])
    else:
        scene.words(*{"power is on": ("power is on",), "a break": (), "found live": ()}[cause])
        scene.words(*(("say again",) if cause == "a break" else ()), after=31 * 60)
    assert "Discharge it" not in scene.said
    assert "Hold the capacitor" not in scene.said
    assert scene.step == "off"
    if cause == "the microphone":
        scene.tell(SoundBack("d", "microphone"))
        scene.words("go ahead")
    scene.words(OPENS)
    assert (scene.step, powers(scene)["plug"]) == ("relief", "ISOLATING")
    scene.words("next step", "affirm", "zero", "affirm", "affirm", *TESTED)
    assert scene.step == "hold"


# ---- which source is on ---------------------------------------------------------------------------------------------

THREE = TWO.replace("tap: {kind: water}}", "tap: {kind: water}, box: {kind: charge, behind: [plug]}}").replace(
    "  - {id: pipes",
    "  - {id: mind, kind: caution, level: danger, hazards: [stored charge], say: It keeps its charge.}\n"
    "  - {id: relief, kind: isolate, say: Relieve it., do: [Bridge it.], sources: [box]}\n"
    "  - {id: gone, kind: prove, method: charge-meter, source: box, say: Across it.}\n"
    "  - {id: hold, kind: instruct, hazards: [stored charge, water], say: Hold the capacitor.}\n"
    "  - {id: pipes",
).replace("sources: [plug, tap]}", "sources: [plug, tap, box]}")  # fmt: skip


def test_which_source_is_on_is_asked_until_it_is_answered_though_a_charge_may_be_back_meanwhile() -> None:
    scene = Scene(book(THREE)).open().words("understood", OPENS, OPENS, "nothing runs", "nothing runs", "understood")
    scene.words("next step", "affirm", "zero", "affirm", "affirm")
    assert scene.step == "hold"
    for _ in range(3):
        scene.words("say again", after=590)
    scene.words("power is on")
    scene.words("say again", after=400)
    assert powers(scene)["box"] != "ISOLATED"
    assert scene.state.awaiting is Awaiting.WHICH_SOURCE
    assert "Which is on" in scene.said
    scene.words("tap")
    assert not scene.state.interlock.doubt
    assert (powers(scene)["plug"], powers(scene)["tap"]) == ("ISOLATED", "LIVE")
    scene.words("next step", "affirm", "zero", "affirm", "affirm", OPENS, "nothing runs")
    assert scene.step == "hold"


def test_what_is_being_restored_may_be_the_one_that_is_on() -> None:
    """Its power was just put on: 'tap, or all of them' were offered, and the water had to be isolated anew."""
    text = TWO.replace("sources: [plug, tap]}", "sources: [plug]}\n  - {id: open, kind: restore, say: Water., "
                       "checks: [Tight.], power: Open it., sources: [tap]}")  # fmt: skip
    scene = Scene(book(text)).open().words("understood", OPENS, OPENS, "nothing runs", "nothing runs")
    scene.words(*("next step",) * 5, CLEARS, "stand by", "power is on")
    assert "Which is on: plug, tap or all of them?" in scene.said
    scene.words("plug")
    assert powers(scene) == {"plug": "RESTORING", "tap": "ISOLATED"}
    assert scene.step == "back"


# ---- a step that broke ----------------------------------------------------------------------------------------------


def test_past_a_question_that_broke_it_goes_only_where_who_cannot_tell_goes() -> None:
    """It went to the step that stands next in the file: to the fins, past their caution. Nobody is answered for."""
    text = """
procedure: fins
title: Fins
steps:
  - {id: how, kind: ask, say: How is it, answers: {warm: mind, cold: mind}}
  - {id: fins, kind: instruct, hazards: [sharp fins], say: Bend the fins., go: done}
  - {id: mind, kind: caution, level: danger, hazards: [sharp fins], protects: fins, say: They cut., go: fins}
  - {id: done, kind: end, outcome: done, say: Done.}
"""
    for more, to in (("", "how"), (", unknown: done", "")):
        scene = Scene(book(text.replace("cold: mind}", f"cold: mind}}{more}"))).open()
        scene.breaks = True
        for _ in range(2):
            scene.tell(FaultMet("mouth", "it broke"))
            scene.tell(Resumed("stopped"))
        assert "Bend the fins" not in scene.said
        assert scene.step == to or scene.state.closed


# ---- who is here ----------------------------------------------------------------------------------------------------


def test_a_third_person_is_not_called_what_another_was_called() -> None:
    """The first one left; another came, and the record called both the first person."""
    scene = lifted().words("five six", "affirm", "isolated lock five six", "i am leaving", CLEARS)
    assert "The third person: state the number" in scene.said
    scene.words("seven eight", "affirm", "isolated lock seven eight")
    assert {lock.owner for lock in scene.state.interlock.locks} == {"the second person", "the third person"}


def test_who_left_and_comes_back_is_who_they_were() -> None:
    scene = lifted().words("five six", "affirm", "isolated lock five six", "i am leaving", CLEARS)
    scene.words("four two", "affirm", OPENS)
    assert {lock.owner for lock in scene.state.interlock.locks} == {"the first person", "the second person"}


def test_a_right_phrase_that_may_not_let_anybody_go_is_not_called_unheard() -> None:
    """The only lock that was on would have come off: 'I am not sure I heard it', 'Come nearer', for ever."""
    scene = Scene(book(ALONE)).open().words("second person", "five six", "affirm", OPENS, "i am leaving", CLEARS)
    assert ENGLISH.prompt("leave-first", owner="the first person") in scene.said
    assert ENGLISH.prompt("gate-again") not in scene.said
    assert {lock.owner for lock in scene.state.interlock.locks} == {"the first person"}
    assert scene.step == "off"
    assert scene.words(OPENS, "isolated lock five six").step == "dead"


# ---- what is doubted ------------------------------------------------------------------------------------------------


def _gates() -> dict[Awaiting, Scene]:
    """A visit at each of the four gates."""
    join = lifted().words("five six", "affirm")
    leave = lifted().words("five six", "affirm", "isolated lock five six", "i am leaving")
    clear = lifted().words("five six", "affirm", "isolated lock five six", *("next step",) * 4, CLEARS)
    return {scene.state.awaiting: scene for scene in (Scene(book(LIFT)).open(), join, leave, clear)}


@pytest.mark.parametrize("awaiting", [Awaiting.GATE, Awaiting.JOIN_GATE, Awaiting.LEAVE_GATE, Awaiting.RESTORE_GATE])
@pytest.mark.parametrize("verdict", [Verdict.ASKED_AGAIN, Verdict.PROPOSED])
def test_what_is_doubted_reaches_no_row_and_is_refused(
    awaiting: Awaiting, verdict: Verdict, monkeypatch: pytest.MonkeyPatch
) -> None:
    scene = _gates()[awaiting]
    row = questions.QUESTIONS[awaiting]

    def takes(flow: Any, utterance: Utterance) -> bool:
        assert utterance.verdict == Verdict.ACCEPTED
        return row.takes(flow, utterance)

    monkeypatch.setitem(questions.QUESTIONS, awaiting, replace(row, takes=takes))
    word = "clear" if awaiting in (Awaiting.RESTORE_GATE, Awaiting.LEAVE_GATE) else "isolated"
    number = scene.state.interlock.lock
    before = scene.state.interlock
    for sense, text in (
        (Sense.COMMAND, "negative"), (Sense.COMMAND, "next step"), (Sense.GATE, gate_text(word, number)),
        (Sense.DENIAL, "not"), (Sense.DIGITS, "four two"),
    ):  # fmt: skip
        failures = scene.state.interlock.failures
        scene.tell(replace(accepted(sense, text), verdict=verdict))
        assert scene.state.awaiting is awaiting
        assert scene.state.interlock.failures == failures + 1
        assert scene.said
    assert replace(scene.state.interlock, failures=0, last_heard=0.0) == replace(before, failures=0, last_heard=0.0)


# ---- in one breath --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("line", ["stop the power is on", "wait, the power is on", "hey power is back on over here"])
def test_power_is_on_among_other_words_is_asked_about_while_somebody_relies_on_it(line: str) -> None:
    """'Say done when it is done' was the answer."""
    scene = Scene(book(ALONE)).open().words(OPENS, "nothing runs", "understood", line)
    assert ENGLISH.prompt("power-doubt") in scene.said
    assert scene.words("power is on").step == "off"
