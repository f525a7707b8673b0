"""Ways that somebody tried to get at a hazard step with a source live, to a lock that is not theirs, or past a question of
isolation. Each is a visit through the real machine; none may work. Those marked found did, once."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import handsfree.visit
from handsfree.isolation.people import owners
from handsfree.journal.events import (
    Attached,
    ClockMoved,
    FaultMet,
    NoteKept,
    PromptEnded,
    Resumed,
    Say,
    SoundBack,
    SoundLost,
    StepEntered,
    TimerRang,
)
from handsfree.language.meaning import Sense, Verdict, gate_text
from handsfree.visit.state import Awaiting
from tests.isolation.test_finds import CHARGE, CLEARS, LIFT, OPENS, TESTED, TWO
from tests.visit.scenes import Scene, accepted, book

ALONE = LIFT.replace("people: 2, ", "")
TOUCH = "Slide the deck out."


@pytest.fixture(autouse=True)
def _no_oracle(monkeypatch: pytest.MonkeyPatch) -> None:
    """The oracle of `scenes` knows one source."""
    monkeypatch.setattr("tests.visit.scenes.Oracle.sees", lambda *_: None)


def at_work() -> Scene:
    scene = Scene(book(ALONE)).open().words(OPENS, "nothing runs", "understood")
    assert scene.step == "out"
    return scene


def told_since(scene: Scene, begun: int) -> str:
    return " ".join(entry.event.text for entry in scene.record[begun:] if isinstance(entry.event, Say))


def entered_since(scene: Scene, begun: int) -> set[str]:
    return {entry.event.step for entry in scene.record[begun:] if isinstance(entry.event, StepEntered)}


LIVE_AGAIN = {
    "a crash": Resumed("interrupted"),
    "a stop": Resumed("stopped"),
    "another person": Resumed("interrupted", technician="B. Alder (invented)"),
    "a crash within a turn": Resumed("interrupted", unrecorded=True),
    "the microphone": SoundLost("d", "microphone"),
    "the loudspeaker": SoundLost("d", "loudspeaker"),
    "a note": NoteKept("", "", "I think the power is on"),
    "the word": accepted(Sense.COMMAND, "power is on"),
}
#: What might speak the step again, go to it, or pass it.
THEN = (
    "say again", "go ahead", "next step", "where am i", "what can i say", "help", "full form", "say again", "short form",
    "say again", "go back", "correction", "next step", "affirm", "done", "yes", "understood", "what next", "why", "stand by",
    "go ahead", "note", "stop the visit", "negative", "second person", "negative", "how long", "say again",
)  # fmt: skip


@pytest.mark.parametrize("cause", LIVE_AGAIN)
def test_no_word_brings_the_step_back_once_it_is_live(cause: str) -> None:
    scene = at_work()
    begun = len(scene.record)
    scene.lock, scene.ran = "", None
    scene.tell(LIVE_AGAIN[cause])
    for word in THEN:
        scene.tell(accepted(Sense.COMMAND, word))
    for event in (TimerRang("wait"), TimerRang("quiet"), TimerRang("break"), PromptEnded(3), SoundBack("d", "microphone"),
                  Attached("out", "photo.jpg", "0" * 64), ClockMoved(-9000.0), NoteKept("", "", "torn")):  # fmt: skip
        scene.tell(event)
    assert TOUCH not in told_since(scene, begun)
    assert "out" not in entered_since(scene, begun)


@pytest.mark.parametrize("cause", LIVE_AGAIN)
def test_what_is_said_under_the_gate_opens_nothing_half(cause: str) -> None:
    """The phrase without the proof, the proof without the phrase, the phrase of the other gate, figures alone."""
    scene = at_work()
    begun = len(scene.record)
    scene.tell(LIVE_AGAIN[cause])
    halves = (
        accepted(Sense.PHRASE, "nothing runs"), accepted(Sense.COMMAND, "affirm"), accepted(Sense.NUMBER, "0", 0.0),
        accepted(Sense.GATE, gate_text("clear", ("four", "two"))), accepted(Sense.DIGITS, "four two"),
        accepted(Sense.PHRASE, "isolated, lock four two"), accepted(Sense.COMMAND, "isolated"),
    )  # fmt: skip
    for event in halves:
        scene.tell(event)
    assert "out" not in entered_since(scene, begun)
    assert TOUCH not in told_since(scene, begun)


@pytest.mark.parametrize("verdict", [Verdict.PROPOSED, Verdict.ASKED_AGAIN, Verdict.NOT_FOR_ME])
@pytest.mark.parametrize("event", [
    accepted(Sense.GATE, gate_text("isolated", ("four", "two"))), accepted(Sense.PHRASE, "nothing runs"),
    accepted(Sense.COMMAND, "affirm"),
], ids=["phrase", "try", "affirm"])  # fmt: skip
def test_what_was_not_surely_heard_proves_nothing_nor_does_affirming_it(event: object, verdict: Verdict) -> None:
    from dataclasses import replace

    for lines in ((), (OPENS,)):
        scene = Scene(book(ALONE)).open().words(*lines)
        before = scene.power
        scene.ran = None
        scene.tell(replace(event, verdict=verdict))  # type: ignore[type-var]  # an utterance
        if event.text != "affirm":  # type: ignore[attr-defined]  # at the try 'affirm' is no answer; at the gate neither
            scene.tell(accepted(Sense.COMMAND, "affirm"))
            scene.tell(accepted(Sense.COMMAND, "yes"))
        assert scene.power == before
        assert scene.step in ("off", "dead")


def doubtful() -> Scene:
    """Both sources isolated, at a step that the water feeds; the power is on, and it is asked which."""
    scene = Scene(book(TWO)).open().words("understood", OPENS, OPENS, "nothing runs", "nothing runs", "power is on")
    assert scene.state.awaiting is Awaiting.WHICH_SOURCE
    return scene


@pytest.mark.parametrize("word", ["go back", "correction", "next step", "second person", "i am leaving", "affirm"])
def test_which_source_is_on_is_answered_before_anybody_moves(word: str) -> None:
    """Found: 'go back' led away with the doubt, and every isolation after it was for nothing."""
    scene = doubtful()
    scene.tell(accepted(Sense.COMMAND, word))
    assert scene.state.awaiting is Awaiting.WHICH_SOURCE
    assert scene.state.shut


@pytest.mark.parametrize("way", ["stand by", "note", "stop the visit", "i smell gas"])
def test_no_overlay_settles_the_doubt(way: str) -> None:
    scene = doubtful()
    scene.tell(accepted(Sense.COMMAND, way))
    scene.tell(NoteKept("", "", "torn") if way == "note" else accepted(Sense.COMMAND, "go ahead"))
    scene.tell(accepted(Sense.COMMAND, "negative"))
    assert scene.state.awaiting is Awaiting.WHICH_SOURCE
    assert scene.state.shut
    scene.words("all of them")
    assert not scene.state.interlock.isolated


def test_a_fault_in_doubt_leaves_all_live_and_no_doubt() -> None:
    scene = doubtful()
    scene.breaks = True
    scene.tell(FaultMet("mouth", "it broke"))
    scene.tell(Resumed("stopped"))
    assert not scene.state.interlock.doubt
    assert {str(hold.power) for hold in scene.state.interlock.holds.values()} <= {"LIVE", "ISOLATING"}


def together() -> Scene:
    """Two people, both locks on, at the lift."""
    scene = Scene(book(LIFT)).open().words(OPENS, "nothing runs", "understood", "five six", "affirm")
    return scene.words("isolated lock five six")


def test_who_leaves_leaves_no_lock_behind() -> None:
    """Found: who left between their phrase and the other's went with their lock still on."""
    scene = together()
    scene.tell(Resumed("interrupted"))
    assert scene.state.awaiting is Awaiting.SEEN
    scene.words(OPENS)
    scene.tell(accepted(Sense.COMMAND, "i am leaving"))
    scene.tell(accepted(Sense.GATE, gate_text("clear", ("four", "two"))))
    here = {one.name for one in scene.state.interlock.people if one.here}
    assert {lock.owner for lock in scene.state.interlock.locks} <= here


def test_one_of_two_cannot_open_with_the_others_number_nor_twice_with_their_own() -> None:
    scene = together()
    scene.tell(Resumed("interrupted"))
    scene.words(OPENS, OPENS, OPENS)
    assert scene.step == "off"
    assert scene.power == "ISOLATING"


def test_the_lift_is_shut_while_one_of_two_has_no_lock_on() -> None:
    scene = at_work()
    begun = len(scene.record)
    scene.tell(accepted(Sense.COMMAND, "second person"))
    scene.words("five six", "affirm")
    for word in ("next step", "say again", "go ahead", "go back", "power is on"):
        scene.tell(accepted(Sense.COMMAND, word))
    assert TOUCH not in told_since(scene, begun)


def test_a_second_person_misheard_is_taken_back() -> None:
    """Found: once those words were heard there was no way on but a number."""
    scene = at_work()
    scene.words("second person", "negative")
    assert (scene.step, scene.state.awaiting) == ("out", Awaiting.DONE)
    assert scene.power == "ISOLATED"


def test_no_phrase_of_a_restore_is_taken_from_who_stands_there_with_another_number() -> None:
    scene = at_work().words("next step", "next step", "next step", "next step")
    assert scene.state.awaiting is Awaiting.RESTORE_GATE
    for number in (("five", "six"), ("four",), ("four", "two", "four"), ()):
        scene.tell(accepted(Sense.GATE, gate_text("clear", number)))
    scene.tell(accepted(Sense.GATE, gate_text("isolated", ("four", "two"))))
    assert scene.state.interlock.locks
    assert scene.words(CLEARS).state.awaiting is Awaiting.RESTORE_POWER


def test_a_phrase_heard_in_the_time_to_come_does_not_stretch_the_break() -> None:
    """Found: an utterance whose end lay ahead of the clock kept the silence from counting."""
    from dataclasses import replace

    scene = Scene(book(ALONE)).open()
    scene.tell(replace(accepted(Sense.GATE, gate_text("isolated", ("four", "two"))), ended=1.0e9))
    scene.words("nothing runs", "understood")
    scene.tell(TimerRang("break"), after=31 * 60.0)
    assert scene.power != "ISOLATED"


def test_what_is_advised_of_the_mains_asks_more_than_the_water() -> None:
    """Found: with the water alone isolated the fault model was told that the power is off."""
    from handsfree.visit.advice import all_dead
    from handsfree.visit.questions import flow_of

    water = """  - {id: off-first, kind: isolate, say: Water., do: [Close it.], sources: [tap]}
  - {id: dead-first, kind: prove, method: tap, source: tap, say: Open it.}
  - {id: look, kind: instruct, say: Look.}
  - {id: off-plug"""
    text = TWO.replace("  - {id: off-plug", water)
    scene = Scene(book(text)).open().words("understood", OPENS, "nothing runs")
    assert scene.step == "look"
    assert scene.state.interlock.isolated
    assert not all_dead(flow_of(scene.state))


def test_a_measurement_of_one_source_proves_no_other() -> None:
    scene = Scene(book(CHARGE)).open().words("understood", OPENS, "next step", "affirm", "zero", "affirm", "affirm")
    assert str(scene.state.interlock.hold("capacitors").power) == "ISOLATED"
    assert str(scene.state.interlock.hold("plug").power) == "ISOLATING"
    scene.words(*TESTED[:-1], "negative")  # the tester is bad at the end
    assert str(scene.state.interlock.hold("plug").power) != "ISOLATED"


# ---- who may set what ------------------------------------------------------------------------------------------------

VISIT = sorted(Path(handsfree.visit.__file__).parent.glob("*.py"))


def calls(path: Path) -> Iterator[ast.Call]:
    yield from (node for node in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(node, ast.Call))


def called(node: ast.expr) -> str:
    return node.id if isinstance(node, ast.Name) else node.attr if isinstance(node, ast.Attribute) else ""


@pytest.mark.parametrize("path", VISIT, ids=lambda path: path.stem)
def test_no_module_of_the_visit_makes_or_changes_a_state_of_a_source(path: Path) -> None:
    """`Hold` is made by the core alone; what is put in the place of the interlock is what the core gave: by name, or through
    `Flow.lock_to`. A record of other rules is rebuilt with its locks and with nobody here, all LIVE."""
    for call in calls(path):
        assert called(call.func) != "Hold"
        for given in call.keywords:
            if called(call.func) == "replace":
                assert given.arg not in ("holds", "claimed", "proofs", "power", "seen", "doubt", "given"), ast.unparse(call)
            if given.arg == "interlock" and called(call.func) in ("change", "replace", "State"):
                made = called(given.value.func) if isinstance(given.value, ast.Call) else path.stem
                assert made in CORE or path.stem in ("flow", "rebuilt"), ast.unparse(call)


#: What may be put in the place of an interlock.
CORE = {
    "saw", "absent_anew", "awaits", "join", "in_doubt", "spoke", "nobody", "turn_all", "Interlock",
}  # fmt: skip


def test_one_place_makes_isolated_and_one_place_asks_it_to() -> None:
    top = Path(handsfree.visit.__file__).parents[1]
    made = [path for path in sorted(top.rglob("*.py")) for call in calls(path) if called(call.func) == "replace"
            and any(given.arg == "power" and "ISOLATED" in ast.unparse(given.value) for given in call.keywords)]  # fmt: skip
    assert [path.relative_to(top).as_posix() for path in made] == ["isolation/rules.py"]
    asked = [path for path in VISIT for call in calls(path) if called(call.func) == "prove"]
    assert [path.stem for path in asked] == ["proving"]


def test_no_proof_is_read_back_to_be_affirmed() -> None:
    """Found by random books: 'nothing runs', not surely heard, was read back, and 'affirm' proved the works dead."""
    from dataclasses import replace

    from handsfree.visit.state import Overlay

    scene = Scene(book(ALONE)).open().words(OPENS)
    scene.ran = None
    for words in ("nothing runs", "nothing is running", "no nothing runs here"):
        unsure = replace(accepted(Sense.PHRASE, "nothing runs"), verdict=Verdict.ASKED_AGAIN, words=words, engine="x")
        scene.tell(unsure)
        assert scene.state.overlay is Overlay.NONE
        scene.tell(accepted(Sense.COMMAND, "affirm"))
        assert scene.state.awaiting is Awaiting.SWITCH_TRIED


@pytest.mark.parametrize("word", ["go back", "correction"])
def test_who_has_joined_puts_their_lock_on_before_anybody_moves(word: str) -> None:
    """Found by the walk: 'go back' left the second person here without a lock, and what was proved then was ISOLATED."""
    scene = Scene(book(ALONE.replace("  - {id: out,", "  - {id: sweep, kind: instruct, say: Sweep.}\n  - {id: out,")))
    scene.open().words(OPENS, "nothing runs", "understood", "next step")
    assert scene.state.trail
    scene.words("second person", "five six", "affirm")
    assert scene.state.awaiting is Awaiting.JOIN_GATE
    scene.tell(accepted(Sense.COMMAND, word))
    assert scene.state.awaiting is Awaiting.JOIN_GATE
    scene.words("isolated lock five six")
    assert scene.step == "out"


PAIR = """
procedure: pair
title: Two sources
sources: {plug: {kind: mains}, tap: {kind: water}}
steps:
  - {id: off, kind: isolate, say: Power first., do: [Pull the plug.], sources: [plug]}
  - {id: shut, kind: isolate, say: Water next., do: [Close the tap.], sources: [tap]}
  - {id: dead, kind: prove, method: switch, source: plug, say: Try the switch.}
  - {id: dry, kind: prove, method: tap, source: tap, say: Open the drain.}
  - {id: touch, kind: instruct, hazards: [mains, water], say: Touch the bare pump.}
  - {id: back, kind: restore, say: Back., checks: [Tools out., Covers on.], power: Put all back., sources: [plug, tap]}
  - {id: done, kind: end, outcome: done, say: Done.}
"""


def test_power_is_on_lets_nobody_work_who_has_joined_without_a_lock() -> None:
    """Found by the walk of two sources and two people: the second person had stated a number and not locked yet, 'power is
    on' for the plug led on to the proof of the water, and that was ISOLATED with one lock on it for two people."""
    scene = Scene(book(PAIR)).open().words("isolated lock four two", "isolated lock four two", "nothing runs")
    assert scene.step == "dry"
    scene.words("second person", "five one", "affirm", "power is on", "plug")
    assert scene.state.awaiting is Awaiting.JOIN_GATE
    scene.words("nothing runs", "affirm")
    assert str(scene.state.interlock.hold("tap").power) == "ISOLATING"
    scene.words("isolated lock five one")
    assert owners(scene.state.interlock.locks, "tap") == ("the first person", "the second person")
    scene.words("nothing runs", "affirm")
    assert str(scene.state.interlock.hold("tap").power) == "ISOLATED"
