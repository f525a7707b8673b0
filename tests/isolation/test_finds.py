"""What a safety officer saw, and what a lock-out specialist read: each as a visit, through the real machine. Every one of
these went the other way before sources, locks and proofs were what they are."""

from __future__ import annotations

from dataclasses import replace

import pytest

from handsfree.errors import Trouble
from handsfree.journal.events import Gate, LockChanged, NoteKept, Resumed, Say, StepPassed, Utterance
from handsfree.language.meaning import Sense, Verdict, gate_text
from handsfree.procedure import proofs
from handsfree.procedure.safe import must_run
from handsfree.visit.state import Awaiting
from tests.visit.scenes import ENGLISH, Scene, accepted, book

TWO = """
procedure: two-sources
title: Two sources
sources: {plug: {kind: mains}, tap: {kind: water}}
steps:
  - {id: wet, kind: caution, level: warning, hazards: [water], say: Water shoots out.}
  - {id: off-plug, kind: isolate, say: Power first., do: [Pull the plug.], sources: [plug]}
  - {id: off-tap, kind: isolate, say: Water next., do: [Close the tap.], sources: [tap]}
  - {id: dead-plug, kind: prove, method: switch, source: plug, say: Try the switch.}
  - {id: dead-tap, kind: prove, method: tap, source: tap, say: Open the drain.}
  - {id: pipes, kind: instruct, hazards: [water], say: Undo the pipe.}
  - {id: touch, kind: instruct, hazards: [mains], say: Touch the bare terminals.}
  - {id: back, kind: restore, say: Back., checks: [Tools out., Covers on.], power: Put all back., sources: [plug, tap]}
  - {id: done, kind: end, outcome: done, say: Done.}
"""
CHARGE = """
procedure: charge
title: A charge
steps:
  - {id: warn, kind: caution, level: danger, hazards: [stored charge], say: It keeps its charge.}
  - {id: off, kind: isolate, say: Power off., do: [Pull the plug.], sources: [plug]}
  - {id: relief, kind: isolate, say: Open the box., do: [Discharge it.], sources: [capacitors]}
  - {id: gone, kind: prove, method: charge-meter, source: capacitors, say: Across it.}
  - {id: dead, kind: prove, method: meter, source: plug, say: At the terminals.}
  - {id: hold, kind: instruct, hazards: [stored charge, mains], say: Hold the capacitor by its terminals.}
  - {id: back, kind: restore, say: Back., checks: [Tools out., Covers on.], power: Put it in., sources: [plug, capacitors]}
  - {id: done, kind: end, outcome: done, say: Done.}
"""
LIFT = """
procedure: lift
title: A lift
steps:
  - {id: off, kind: isolate, say: Power off., do: [Pull the plug.], sources: [plug]}
  - {id: dead, kind: prove, method: switch, say: Try the switch.}
  - {id: heavy, kind: caution, level: warning, hazards: [heavy load], say: It is heavy.}
  - {id: out, kind: instruct, hazards: [heavy load, mains], people: 2, say: Slide the deck out.}
  - {id: back, kind: restore, say: Back., checks: [Tools out., Covers on.], power: Put it in.}
  - {id: done, kind: end, outcome: done, say: Done.}
"""
OPENS, CLEARS = "isolated lock four two", "clear lock four two"
TESTED = ("affirm", "zero", "affirm", "zero", "affirm", "zero", "affirm", "affirm")


def both() -> Scene:
    scene = Scene(book(TWO)).open().words("understood", OPENS, OPENS, "nothing runs", "nothing runs")
    assert scene.step == "pipes"
    return scene


def powers(scene: Scene) -> dict[str, str]:
    return {name: str(scene.state.interlock.hold(name).power) for name in scene.book.energy.sources}


@pytest.fixture(autouse=True)
def _no_oracle(monkeypatch: pytest.MonkeyPatch) -> None:
    """The oracle of `scenes` knows one source."""
    monkeypatch.setattr("tests.visit.scenes.Oracle.sees", lambda *_: None)


# ---- 1: what check calls an error, no visit starts ------------------------------------------------------------------


@pytest.mark.parametrize("limit", ["below: 400", "below: 500", "below: 6", "unit: bar", "unit: degF", "points: [one]"])
def test_a_proof_that_proves_nothing_starts_no_visit(limit: str) -> None:
    with pytest.raises(Trouble, match="not safe to run"):
        must_run(book(CHARGE.replace("method: meter,", f"method: meter, {limit},")))


@pytest.mark.parametrize("said", ["two hundred thirty", "five", "thirty"])
def test_no_reading_of_a_live_part_is_dead_whatever_the_step_says(said: str) -> None:
    text = CHARGE.replace("method: meter,", "method: meter, below: 400,")
    scene = Scene(book(text)).open().words("understood", OPENS, "next step", "affirm", "zero", "affirm", "affirm", "affirm")
    assert scene.step == "dead"
    scene.words(said)
    assert powers(scene)["plug"] != "ISOLATED"
    assert ENGLISH.prompt("not-dead") in scene.said


def test_an_answer_called_power_is_on_clears_all_the_same() -> None:
    which = "  - {id: which, kind: ask, hazards: [mains], say: How., answers: [power is on, it is off]}\n"
    text = LIFT.replace("  - {id: heavy", f"{which}  - {{id: heavy")
    scene = Scene(book(text)).open().words(OPENS, "nothing runs")
    assert scene.step == "which"
    scene.tell(accepted(Sense.PHRASE, "power is on"))
    assert powers(scene)["plug"] == "ISOLATING"
    assert "Isolation is cleared" in scene.said


# ---- 2: each source has its own state -------------------------------------------------------------------------------


def test_clearing_one_source_leaves_the_other_and_shuts_what_needs_it() -> None:
    scene = both().words("power is on")
    assert scene.state.awaiting is Awaiting.WHICH_SOURCE
    assert ENGLISH.prompt("hands-out") in scene.said
    scene.words("plug")
    assert powers(scene) == {"plug": "LIVE", "tap": "ISOLATED"}
    assert "Isolation is cleared" in scene.said
    scene.words("next step")  # from the pipe, which the water alone feeds, to the bare terminals
    assert scene.step == "off-plug"
    assert "Touch the bare terminals" not in scene.said
    assert scene.words(OPENS, "nothing runs").step == "touch"


def test_while_it_is_in_doubt_which_is_on_every_step_is_shut() -> None:
    scene = both().words("power is on")
    assert scene.state.shut
    scene.tell(accepted(Sense.COMMAND, "next step"))
    assert scene.step == "pipes"
    assert scene.state.awaiting is Awaiting.WHICH_SOURCE
    scene.words("all of them")
    assert set(powers(scene).values()) <= {"LIVE", "ISOLATING"}


def test_isolating_the_water_opens_nothing_that_the_mains_feeds() -> None:
    text = TWO.replace("sources: [plug, tap]}", "sources: [tap]}")
    text = "\n".join(line for line in text.split("\n") if "-plug" not in line)
    kinds = {fault.kind for fault in proofs.prove(book(text))}
    assert "hazard while live" in kinds
    scene = Scene(book(text)).open().words("understood", OPENS, "nothing runs", "next step")
    assert scene.state.outcome == "stopped"
    assert not any("bare terminals" in e.event.text for e in scene.record if isinstance(e.event, Say))


def test_a_stored_charge_needs_its_caution_its_relief_and_its_measurement() -> None:
    assert proofs.prove(book(CHARGE)) == ()
    for gone in ("warn", "relief", "gone"):
        text = "\n".join(line for line in CHARGE.split("\n") if f"id: {gone}," not in line)
        if gone == "relief":
            text = text.replace("source: capacitors,", "source: capacitors,")
        assert proofs.prove(book(text)), gone


def test_a_charge_that_may_have_come_back_is_measured_again() -> None:
    scene = Scene(book(CHARGE)).open().words("understood", OPENS, "next step", "affirm", "zero", "affirm", "affirm", *TESTED)
    assert scene.step == "hold"
    for _ in range(4):  # half an hour and more, never silent for long
        scene.words("say again", after=500.0)
    assert powers(scene)["capacitors"] != "ISOLATED"
    assert powers(scene)["plug"] == "ISOLATED"
    assert scene.step == "relief"


def test_a_charge_that_came_back_beside_other_work_is_told_where_it_is_needed() -> None:
    more = "{id: more, kind: instruct, hazards: [stored charge], say: Hold it again.}"
    text = CHARGE.replace("  - {id: back", f"  - {{id: tidy, kind: instruct, say: Tidy up.}}\n  - {more}\n  - {{id: back")
    scene = Scene(book(text)).open().words("understood", OPENS, "next step", "affirm", "zero", "affirm", "affirm")
    scene.words(*TESTED, "next step")
    for _ in range(4):
        scene.words("say again", after=500.0)
        assert scene.said == "Tidy up."
    assert powers(scene)["capacitors"] == "LIVE"
    scene.words("next step")
    assert scene.step == "relief"
    assert "Hold it again" not in scene.said
    scene.words("next step", "affirm", "zero", "affirm", "affirm")
    assert scene.step == "more"


def test_power_on_the_plug_takes_the_charge_behind_it_along() -> None:
    scene = Scene(book(CHARGE)).open().words("understood", OPENS, "next step", "affirm", "zero", "affirm", "affirm", *TESTED)
    scene.words("power is on")
    assert "ISOLATED" not in powers(scene).values()
    assert scene.step == "off"


# ---- 3: the proof of the graph and the machine agree ----------------------------------------------------------------


def test_isolate_isolate_prove_prove_works() -> None:
    assert proofs.prove(book(TWO)) == ()
    assert powers(both()) == {"plug": "ISOLATED", "tap": "ISOLATED"}


def test_a_try_and_then_a_meter_is_no_circle() -> None:
    text = LIFT.replace("  - {id: heavy", "  - {id: meter, kind: prove, method: meter, say: Measure.}\n  - {id: heavy")
    assert proofs.prove(book(text)) == ()
    scene = Scene(book(text)).open().words(OPENS, "nothing runs", *TESTED)
    assert (scene.step, powers(scene)) == ("heavy", {"plug": "ISOLATED"})


def test_a_second_proof_that_finds_it_live_takes_all_back() -> None:
    text = LIFT.replace("  - {id: heavy", "  - {id: meter, kind: prove, method: meter, say: Measure.}\n  - {id: heavy")
    scene = Scene(book(text)).open().words(OPENS, "nothing runs", "affirm", "two hundred")
    assert powers(scene)["plug"] != "ISOLATED"
    assert scene.step == "off"


def test_after_a_break_both_are_isolated_and_proved_before_the_work_is_named_again() -> None:
    scene = both().words("next step")
    assert scene.step == "touch"
    scene.words("say again", after=31 * 60.0)
    assert "bare terminals" not in scene.said
    scene.words(OPENS, OPENS, "nothing runs")
    assert scene.step in ("dead-tap", "touch")


# ---- 4: people ------------------------------------------------------------------------------------------------------


def lifted() -> Scene:
    scene = Scene(book(LIFT)).open().words(OPENS, "nothing runs", "understood")
    assert "This step takes two people." in scene.said
    assert "Slide the deck out" not in scene.said
    return scene


def test_a_lift_asks_for_the_second_lock_and_each_takes_off_their_own() -> None:
    scene = lifted().words("five six", "affirm")
    assert scene.state.awaiting is Awaiting.JOIN_GATE
    scene.words(OPENS)
    assert scene.state.awaiting is Awaiting.JOIN_GATE, "nobody's number works for another's lock"
    scene.words("isolated lock five six")
    assert scene.step == "out"
    assert "Slide the deck out" in scene.said
    scene.words("next step", "next step", "next step", "next step")
    scene.tell(accepted(Sense.GATE, gate_text("clear", ("five", "six"))))
    assert scene.state.awaiting is Awaiting.RESTORE_GATE
    scene.words(CLEARS)
    assert scene.state.awaiting is Awaiting.RESTORE_GATE, "the other's lock is still on"
    scene.words(CLEARS)
    assert scene.state.awaiting is Awaiting.RESTORE_GATE
    scene.words("clear lock five six")
    assert scene.state.awaiting is Awaiting.RESTORE_POWER
    changed = [(e.event.owner, e.event.on) for e in scene.record if isinstance(e.event, LockChanged)]
    first, second = ENGLISH.prompt("first-person"), ENGLISH.prompt("second-person")
    assert changed == [(first, True), (second, True), (first, False), (second, False)]


def test_a_number_that_is_on_another_lock_is_refused() -> None:
    assert ENGLISH.prompt("lock-taken") in lifted().words("four two").said


def test_a_transfer_in_order_keeps_it_isolated() -> None:
    scene = lifted().words("five six", "affirm", "isolated lock five six", "i am leaving", CLEARS)
    assert "The first person has left." in scene.said
    assert powers(scene) == {"plug": "ISOLATED"}
    assert {lock.owner for lock in scene.state.interlock.locks} == {"the second person"}


def test_alone_nobody_leaves_an_isolation() -> None:
    scene = Scene(book(LIFT)).open().words(OPENS, "nothing runs", "i am leaving")
    assert ENGLISH.prompt("leave-alone") in scene.said
    assert scene.state.interlock.locks


def taken_over(why: str) -> Scene:
    scene = Scene(book(LIFT.replace("people: 2, ", ""))).open().words(OPENS, "nothing runs", "understood", "next step")
    assert scene.step == "back"
    if why == "stopped":
        scene.words("stop the visit", "affirm", "affirm")
        assert "The lock of the first person is still on: plug." in scene.said
    scene.lock = "five six"
    scene.tell(Resumed(why, technician="B. Alder (invented)"))
    assert "The lock of the first person is still on: plug." in scene.said
    assert "four two" not in scene.said
    return scene


@pytest.mark.parametrize("why", ["stopped", "interrupted"])
def test_who_takes_over_cannot_take_off_the_lock_of_who_is_gone(why: str) -> None:
    scene = taken_over(why).words("next step", "next step", "next step")
    assert scene.state.awaiting is Awaiting.OWNER_GONE
    for phrase in ("clear lock five six", "clear lock four two", "next step"):
        scene.words(phrase)
        assert scene.state.awaiting is Awaiting.OWNER_GONE
    scene.words("affirm", "affirm", "negative")
    assert ENGLISH.prompt("absent-stays", owner="the first person") in scene.said
    assert scene.state.interlock.locks
    scene.words("affirm", "affirm", "affirm")
    assert scene.state.interlock.locks  # the employer directs it, or it stays on
    scene.words("affirm")
    assert ENGLISH.prompt("absent-off", owner="the first person") in scene.said
    assert not scene.state.interlock.locks
    off = [e.event for e in scene.record if isinstance(e.event, LockChanged) and not e.event.on]
    assert [one.how for one in off] == ["without its owner"]
    assert scene.words("clear lock five six").state.awaiting is Awaiting.RESTORE_POWER


def test_an_owner_who_comes_after_all_says_so_and_takes_off_their_own_lock() -> None:
    """Found by hand: where the owner was asked for, nobody could say that they had come; one could lie, or stop."""
    scene = taken_over("stopped").words("next step", "next step", "next step", "negative")
    assert "say: second person" in scene.said
    scene.words("second person", "four two", "affirm", "next step", "next step", "next step", "clear lock four two")
    off = [e.event for e in scene.record if isinstance(e.event, LockChanged) and not e.event.on]
    assert [(one.owner, one.how) for one in off] == [("the first person", "phrase")]


def one_left_without_a_word() -> Scene:
    """Both locks are on, the first one's comes off, the second person is gone."""
    scene = lifted().words("five six", "affirm", "isolated lock five six")
    scene.words("next step", "next step", "next step", "next step", CLEARS)
    assert scene.state.awaiting is Awaiting.RESTORE_GATE
    return scene


def test_who_left_without_a_word_holds_nobody_up_and_the_record_says_how_the_lock_came_off() -> None:
    scene = one_left_without_a_word().words("next step")
    second = ENGLISH.prompt("second-person")
    assert ENGLISH.prompt("clear-gone", owner=second) in scene.said
    scene.words("negative")
    assert scene.state.awaiting is Awaiting.OWNER_GONE
    scene.words("affirm", "affirm", "affirm")
    assert {lock.owner for lock in scene.state.interlock.locks} == {second}, "each step is affirmed, or the lock stays on"
    scene.words("affirm")
    assert scene.state.awaiting is Awaiting.RESTORE_POWER
    off = [e.event for e in scene.record if isinstance(e.event, LockChanged) and not e.event.on]
    assert [(one.owner, one.how) for one in off] == [
        (ENGLISH.prompt("first-person"), "phrase"), (second, "without its owner"),
    ]  # fmt: skip
    assert [person.here for person in scene.state.interlock.people] == [True, False]


def test_who_is_here_after_all_takes_off_their_own_lock() -> None:
    scene = one_left_without_a_word().words("negative", "affirm", "negative")
    assert ENGLISH.prompt("absent-clears", owner=ENGLISH.prompt("second-person")) in scene.said
    assert scene.state.awaiting is Awaiting.RESTORE_GATE
    scene.words("negative", "affirm", "affirm", "affirm")
    assert scene.state.interlock.locks, "the steps begin anew"
    assert scene.words("negative", "clear lock five six").state.awaiting is Awaiting.RESTORE_POWER


def test_a_negative_that_was_not_surely_heard_asks_for_nobody() -> None:
    scene = one_left_without_a_word()
    doubted = Utterance(Verdict.ASKED_AGAIN, Sense.COMMAND, "negative", sure=0.05)
    scene.tell(doubted)
    assert scene.state.awaiting is Awaiting.RESTORE_GATE


def test_alone_nobody_says_of_themselves_that_they_are_gone() -> None:
    scene = Scene(book(LIFT.replace("people: 2, ", ""))).open().words(OPENS, "nothing runs", "understood", "next step")
    scene.words("next step", "next step", "next step", "negative")
    assert scene.state.awaiting is Awaiting.RESTORE_GATE
    assert ENGLISH.prompt("clear-gone", owner=ENGLISH.prompt("first-person")) not in scene.said
    assert scene.state.interlock.locks


def test_after_a_crash_another_is_heard_with_a_number_of_their_own() -> None:
    scene = Scene(book(LIFT.replace("people: 2, ", ""))).open().words(OPENS, "nothing runs", "understood")
    scene.lock = "five six"
    scene.tell(Resumed("interrupted", technician="B. Alder (invented)"), after=60.0)
    scene.words(OPENS)
    assert scene.step == "off"
    assert scene.words("isolated lock five six", "nothing runs").step == "out"
    assert {lock.owner for lock in scene.state.interlock.locks} == {"the first person", "B. Alder (invented)"}


# ---- 5: 'power is on' at every moment ---------------------------------------------------------------------------------


@pytest.mark.parametrize("over", ["stand by", "stop the visit"])
def test_power_is_on_acts_under_whatever_is_laid_over(over: str) -> None:
    scene = Scene(book(LIFT)).open().words(OPENS, "nothing runs", over, "power is on")
    assert "LIVE" in [one.now for one in scene.last if isinstance(one, Gate)]
    assert (scene.step, powers(scene)["plug"]) == ("off", "ISOLATING")
    assert "Isolation is cleared" in scene.said
    assert "Pull the plug." in scene.said, "what to do now"
    assert "It is heavy." not in scene.said
    scene = Scene(book(CHARGE)).open().words("understood", OPENS, "next step", "affirm", "zero", "affirm", "affirm", *TESTED)
    scene.words(over, "power is on")
    assert "ISOLATED" not in powers(scene).values()
    assert scene.step == "off"
    assert "Hold the capacitor" not in scene.said


@pytest.mark.parametrize("note", ["power is on", "Careful, the power is on.", "the supply is on again"])
def test_power_is_on_in_a_note_acts(note: str) -> None:
    scene = Scene(book(LIFT)).open().words(OPENS, "nothing runs", "note")
    scene.tell(NoteKept("", "", note))
    assert powers(scene)["plug"] != "ISOLATED"
    assert "Isolation is cleared" in scene.said


def test_what_to_do_now_follows_also_where_nothing_was_isolated() -> None:
    scene = Scene(book(TWO)).open().words("power is on")
    assert "Not isolated." in scene.said
    assert "Water shoots out." in scene.said


# ---- 7: as a specialist reads it --------------------------------------------------------------------------------------


def test_a_try_proves_nothing_where_nothing_ran_before() -> None:
    scene = Scene(book(LIFT))
    scene.ran = False
    scene.open().words(OPENS)
    instead = ENGLISH.prompt("measure-instead-meter")  # it says where: that plug is locked away
    assert ENGLISH.prompt("try-tells-nothing", instead=instead) in scene.said
    assert scene.state.awaiting is Awaiting.TESTER_BEFORE
    scene.words(*TESTED)
    assert powers(scene)["plug"] == "ISOLATED"


def test_a_try_counts_once_its_switch_is_off_again() -> None:
    scene = Scene(book(LIFT)).open()
    scene.words(OPENS)
    scene.ran = None
    scene.words("nothing runs")
    assert scene.state.awaiting is Awaiting.OFF_AGAIN
    assert powers(scene)["plug"] == "ISOLATING"
    scene.words("next step")
    assert powers(scene)["plug"] == "ISOLATING"
    assert powers(scene.words("affirm"))["plug"] == "ISOLATED"


def test_one_reading_does_not_stand_for_three() -> None:
    text = LIFT.replace("method: switch, say: Try the switch.", "method: meter, say: Measure.")
    scene = Scene(book(text)).open().words(OPENS, "affirm")
    for point in ("Line to neutral", "Line to frame", "Neutral to frame"):
        assert point in scene.said
        assert powers(scene)["plug"] == "ISOLATING"
        scene.words("zero", "affirm")
    assert scene.state.awaiting is Awaiting.TESTER_AFTER
    assert powers(scene.words("affirm"))["plug"] == "ISOLATED"


def test_people_are_told_before_the_power_goes_and_before_it_comes() -> None:
    scene = Scene(book(LIFT)).open()
    told = " ".join(e.event.text for e in scene.record if isinstance(e.event, Say))
    assert "Tell everybody here that the power goes off." in told
    scene = Scene(book(LIFT.replace("people: 2, ", ""))).open()
    scene.words(OPENS, "nothing runs", "understood", "next step", "next step", "next step")
    assert scene.said == "Check: switched off, all hands clear. Tell everybody here that the power comes back."


def test_the_number_is_in_nothing_that_people_read() -> None:
    """Not the read-back either, which asked once whether it was heard (`tests.journal.test_number_nowhere` for all else)."""
    from handsfree.journal.rows import rows

    scene = Scene(book(LIFT.replace("people: 2, ", ""))).open("seven three nine")
    opens = replace(accepted(Sense.GATE, gate_text("isolated", ("seven", "three", "nine"))), words="isolated lock 739")
    scene.words("isolated lock seven three one")
    scene.tell(opens)
    scene.words("nothing runs")
    told = [f"{row.text} {row.aside}" for row in rows(scene.record)]
    shown = [text for text in told if "seven three" in text.casefold() or "739" in text]
    assert shown == []
    assert not any("seven" in entry.event.why for entry in scene.record if isinstance(entry.event, Gate))


AGAIN = """
  - {id: off-2, kind: isolate, say: Once more., do: [Pull the plug.], sources: [plug]}
  - {id: dead-2, kind: prove, method: switch, say: Try it.}
  - {id: between, kind: caution, level: warning, hazards: [heavy load], say: Careful.}
"""


def test_what_is_isolated_and_proved_is_not_asked_for_twice() -> None:
    text = LIFT.replace("people: 2, ", "").replace("  - {id: out,", f"{AGAIN[1:]}  - {{id: out,")
    scene = Scene(book(text)).open().words(OPENS, "nothing runs", "understood")
    assert (scene.step, powers(scene)) == ("between", {"plug": "ISOLATED"})
    passed = [e.event for e in scene.record if isinstance(e.event, StepPassed)]
    assert [(one.step, one.because) for one in passed] == [("off-2", (("plug", "ISOLATED"),))]
    scene.words("understood", "power is on")
    assert scene.step == "off-2"
