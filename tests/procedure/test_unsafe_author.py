"""What a writer could write though it is unsafe: each of these passed `check`, and the real machine read out what it must
not. None may start."""

from __future__ import annotations

import pytest

from handsfree.procedure.safe import faults_of
from tests.visit.scenes import Scene, book

HEAD = "procedure: lamp\ntitle: Lamp\n"
OFF = "{id: off, kind: isolate, say: Power off., do: [Pull the plug.], sources: [plug]}"
DEAD = "{id: dead, kind: prove, method: switch, source: plug, say: Try the switch.}"
METER = "{id: dead, kind: prove, method: meter, source: plug, say: Measure.}"
TOUCH = "{id: touch, kind: instruct, hazards: [mains], say: Touch the bare terminals.}"
BACK = "{id: back, kind: restore, say: It comes back., checks: [Tools out., Covers on.], power: Put it in., sources: [plug]}"
END = "{id: done, kind: end, outcome: done, say: Done.}"
WARN = "{id: warn, kind: caution, level: danger, hazards: [stored charge], say: It keeps its charge.}"
WET = "{id: wet, kind: caution, level: danger, hazards: [water], say: Water shoots out.}"
RELIEF = "{id: relief, kind: isolate, say: Relieve it., do: [Bridge it.], sources: [box]}"
GONE = "{id: gone, kind: prove, method: charge-meter, source: box, say: Across it.}"
HOLD = "{id: hold, kind: instruct, hazards: [stored charge], say: Hold the capacitor.}"
SHUT = "{id: shut, kind: isolate, say: Water off., do: [Close the tap.], sources: [tap]}"
DRY = "{id: dry, kind: prove, method: tap, source: tap, say: Open the drain.}"
MAINS, TAP = "plug: {kind: mains}", "tap: {kind: water}"
GOOD = (OFF, DEAD, TOUCH, BACK, END)


def written(*steps: str, sources: str = MAINS) -> str:
    return f"{HEAD}sources: {{{sources}}}\nsteps:\n" + "".join(f"  - {step}\n" for step in steps)


def with_(step: str, *changes: tuple[str, str]) -> str:
    for old, new in changes:
        assert old in step
        step = step.replace(old, new)
    return step


def why(*steps: str, sources: str = MAINS, called: str = "") -> str:
    whole = book(written(*steps, sources=sources), *([called] if called else []))
    return " ".join(fault.shown for fault in faults_of(whole))


def test_the_ones_they_are_made_from_may_run() -> None:
    assert why(*GOOD) == ""
    assert why(OFF, METER, TOUCH, BACK, END) == ""
    assert why(WARN, OFF, DEAD, RELIEF, GONE, HOLD, BACK.replace("[plug]", "[plug, box]"), END,
               sources=f"{MAINS}, box: {{kind: charge, behind: [plug]}}") == ""  # fmt: skip
    assert why(*TWO, sources=f"{MAINS}, {TAP}") == ""


TWO = (WET, OFF, SHUT, DEAD, DRY, with_(TOUCH, ("[mains]", "[mains, water]")), with_(BACK, ("[plug]", "[plug, tap]")), END)


@pytest.mark.parametrize(
    "steps",
    [
        (WARN, OFF, DEAD, RELIEF, GONE, HOLD, with_(BACK, ("[plug]", "[plug, box]")), END),
        (WARN, RELIEF, GONE, OFF, DEAD, HOLD, with_(BACK, ("[plug]", "[plug, box]")), END),
    ],
)
@pytest.mark.parametrize("behind", ["[]", "[tap]"])
def test_a_charge_is_behind_what_fills_it_whatever_the_procedure_says(steps: tuple[str, ...], behind: str) -> None:
    """Power was put back on and off, and the capacitor was still said to be empty."""
    sources = f"{MAINS}, {TAP}, box: {{kind: charge, behind: {behind}}}"
    assert "'box' can be refilled by mains" in why(WET, SHUT, DRY, *steps, sources=sources)


def test_a_charge_is_behind_the_one_that_fills_it_of_several() -> None:
    off2 = with_(OFF, ("id: off", "id: off2"), ("[plug]", "[pump]"))
    second = off2, with_(DEAD, ("id: dead", "id: dead2"), (": plug", ": pump"))
    sources = f"{MAINS}, pump: {{kind: mains}}, box: {{kind: charge, behind: [plug]}}"
    back = with_(BACK, ("[plug]", "[plug, pump, box]"))
    assert why(WARN, OFF, DEAD, *second, RELIEF, GONE, HOLD, back, END, sources=sources) == ""


def test_no_name_of_a_source_stands_for_one_that_is_not_there() -> None:
    """'?water' was the core's own name for a water supply that nobody isolates: naming the mains so opened the pipe."""
    text = written(WET, with_(OFF, ("[plug]", "['?water']")), with_(DEAD, (": plug", ": '?water'")),
                   with_(TOUCH, ("[mains]", "[water]")), with_(BACK, ("[plug]", "['?water']")), END,
                   sources="'?water': {kind: mains}")  # fmt: skip
    assert "without isolation" in " ".join(fault.shown for fault in faults_of(book(text)))
    scene = Scene(book(text)).open().words("understood", "isolated lock four two", "nothing runs")
    assert "Touch the bare terminals" not in scene.said


@pytest.mark.parametrize("name", ["all of them", "All of them", "stop", "affirm", "the power is on", "Tap"])
def test_a_source_is_not_called_like_another_or_like_what_is_said_to_the_program(name: str) -> None:
    """'All of them' cleared the one source of that name; the water stayed isolated."""
    steps = [step.replace("[plug", f"[{name}").replace("source: plug", f"source: {name}") for step in TWO]
    assert "source '" in why(*steps, sources=f"{name}: {{kind: mains}}, {TAP}")


def test_the_same_point_measured_three_times_is_one() -> None:
    same = with_(METER, ("source", "points: [the frame, The frame, the frame], source"))
    assert "too few points" in why(OFF, same, TOUCH, BACK, END)
    three = "points: [red to black, red to frame, black to frame], source"
    assert why(OFF, with_(METER, ("source", three)), TOUCH, BACK, END) == ""


@pytest.mark.parametrize("more", ["hazards: [mains]", "hazards: [stored charge]"])
def test_no_work_on_what_is_fed_is_asked_for_while_it_comes_back(more: str) -> None:
    """No gate stands before a restore or a hand-over: it was read out while live."""
    assert "while it is live" in why(OFF, DEAD, TOUCH, WARN, with_(BACK, ("kind: restore", f"kind: restore, {more}")), END)
    handover = f"{{id: hand, kind: handover, {more}, to: an electrician, summary: [how], say: Hold the bare wire for them.}}"
    how = "{id: how, kind: ask, say: How does it look, answers: [scorched, spotless]}"
    assert "while it is live" in why(how, OFF, DEAD, TOUCH, BACK, WARN, handover, END)


def test_one_answer_is_not_taken_for_two_sources_that_ran() -> None:
    """'Is anything lit or running?' The fan ran; whether water came out of the tap nobody had looked."""
    both = with_(OFF, ("[Pull the plug.]", "[Pull the plug., Close the tap.]"), ("[plug]", "[plug, tap]"))
    rest = (DEAD, DRY, with_(TOUCH, ("[mains]", "[mains, water]")), with_(BACK, ("[plug]", "[plug, tap]")), END)
    assert "each in an isolation of its own" in why(WET, both, *rest, sources=f"{MAINS}, {TAP}")
    assert why(WET, both, METER, *rest[1:], sources=f"{MAINS}, {TAP}") == ""


INNER = "procedure: inner\ntitle: Inner\nsteps:\n  - {0}\n  - {1}\n  - {{id: over, kind: end, outcome: done, say: Over.}}\n"
ASKED = "{id: how, kind: ask, say: How is it, answers: {warm: {go: do, makes: {seen: sure}}, cold: do}}"
CALL = "{id: do, kind: call, procedure: inner, unless: {seen: sure}, say: Mind this.}"


def test_a_call_that_may_be_skipped_warns_of_nothing() -> None:
    called = INNER.format("{id: mind, kind: caution, level: danger, hazards: [sharp fins], say: Sharp.}",
                          "{id: feel, kind: instruct, hazards: [sharp fins], say: Feel them.}")  # fmt: skip
    bend = "{id: bend, kind: instruct, hazards: [sharp fins], say: Bend the fins.}"
    assert "without a caution that names it" in why(ASKED, CALL, bend, END, called=called)
    assert why(ASKED, CALL.replace("unless: {seen: sure}, ", ""), bend, END, called=called) == ""


def test_a_call_that_may_be_skipped_isolates_nothing() -> None:
    """The visit stopped itself: "This step needs isolation, and the procedure has none"."""
    called = INNER.format(OFF, DEAD)
    assert "without isolation" in why(ASKED, CALL, TOUCH, BACK, END, called=called)
    assert why(ASKED, CALL.replace("unless: {seen: sure}, ", ""), TOUCH, BACK, END, called=called) == ""


def test_a_wait_off_site_that_may_be_skipped_clears_nothing() -> None:
    night = "{id: night, kind: wait, lasts: 24 h, because: It thaws., unless: {seen: sure}, say: Leave it.}"
    how = ASKED.replace("go: do", "go: off").replace("cold: do", "cold: off")
    assert "isolation still on" in why(how, OFF, DEAD, night, END)
