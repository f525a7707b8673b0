"""What is left of a visit once the program itself has failed: nothing counts, nothing runs on, and everybody is told.

The machine is made to fail at every point of each small visit, and with everything that may be laid over a question. The
record alone says what was heard, and the state what a resume starts from."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from handsfree.isolation.people import left_on
from handsfree.journal import events as ev
from handsfree.visit import machine, steps
from handsfree.visit.state import Overlay, State
from tests.bench.letters import letter
from tests.bench.small_visits import BOOKS
from tests.visit import data
from tests.visit.scenes import ENGLISH, Scene, book, running

#: What a person may have begun when it happens: an overlay, a question about people, a miss, a voice in doubt.
BEGUN = ("", "stand by", "note", "stop the visit", "second person", "where am i", "nonsense")
KINDS: tuple[type[Any], ...] = (ev.FaultCaught, ev.Gate, ev.Closed, ev.Say)
MANY = "the error is long " * 100


@pytest.fixture(autouse=True)
def _no_oracle(monkeypatch: pytest.MonkeyPatch) -> None:
    """The oracle of `scenes` knows one source."""
    monkeypatch.setattr("tests.visit.scenes.Oracle.sees", lambda *_: None)


class Broken(RuntimeError):
    pass


@pytest.fixture
def breaks(monkeypatch: pytest.MonkeyPatch) -> None:
    """A part of the program that is asked at every moment: its handler fails."""

    def fails(flow: Any, event: Any) -> None:
        raise Broken(MANY)

    monkeypatch.setitem(machine.HANDLERS, ev.PromptEnded, fails)


def ways() -> Iterator[Scene]:
    """Each small visit, at each point of its way, with each thing begun."""
    for small in BOOKS.values():
        for far in range(len(small.good)):
            for begun in BEGUN:
                scene = Scene(book(small.text)).open("")
                for text in (*small.good[:far], *([begun] if begun else [])):
                    scene.tell(letter(text))
                if not scene.state.closed:
                    yield scene


@pytest.mark.usefixtures("breaks")
def test_wherever_it_fails_everything_is_live_is_told_and_is_over() -> None:
    seen: set[Any] = set()
    for scene in ways():
        was, rang = scene.state, running(entry.event for entry in scene.record)
        seen |= {was.overlay, was.awaiting, *(["two"] if len(was.interlock.sources) > 1 else []), *rang}
        seen |= {"pending"} if was.pending is not None else set()
        scene.breaks = True
        effects = scene.tell(ev.PromptEnded(was.said))
        of_kind = {kind: [one for one in effects if isinstance(one, kind)] for kind in KINDS}
        wrong = [
            *_wrong_record(was, of_kind), *_wrong_told(was, of_kind[ev.Say], effects), *_left(was, scene.state),
            *(f"{timer} runs on" for timer in running(entry.event for entry in scene.record)),
        ]  # fmt: skip
        assert not wrong, (scene.book.main, was.frames, was.asked, wrong)
    assert seen >= {"wait", "break", "quiet", "two", "pending", Overlay.STAND_BY, Overlay.NOTE, Overlay.STOP_ONCE}


def _wrong_record(was: State, of: dict[Any, list[Any]]) -> Iterator[str]:
    """One fault, at its place, with the beginning of its error; each source that was not live, by name where there are
    several; and the end."""
    step = was.frames[-1].step
    told = f"Broken: {MANY}"[:200]
    if of[ev.FaultCaught] != [ev.FaultCaught("PromptEnded", was.path, step, told)]:
        yield f"the fault: {of[ev.FaultCaught]}"
    holds = {name: str(hold.power) for name, hold in was.interlock.holds.items() if hold.power != "LIVE"}
    one = len(was.interlock.sources) == 1
    gates = {("" if one else name): (power, "LIVE", "fault") for name, power in holds.items()}
    if {gate.source: (gate.was, gate.now, gate.how) for gate in of[ev.Gate]} != gates or len(of[ev.Gate]) != len(gates):
        yield f"the sources: {of[ev.Gate]}"
    if [closed.outcome for closed in of[ev.Closed]] != ["stopped"]:
        yield f"the end: {of[ev.Closed]}"


def _wrong_told(was: State, said: list[ev.Say], effects: tuple[Any, ...]) -> Iterator[str]:
    """That it is live; each lock by its owner; that a lock may be on, where no known lock is on what was begun. None of it
    can be cut, and whoever looks away hears the tone."""
    begun = {name for name, hold in was.interlock.holds.items() if hold.power != "LIVE"}
    locks = left_on(was.interlock.locks)
    words = [ENGLISH.prompt("lock-left", owner=owner, source=source) for owner, source in locks]
    if begun:
        words.append(ENGLISH.prompt("ended-known" if begun <= {source for _, source in locks} else "ended-locked"))
    words.insert(0, ENGLISH.prompt("fault"))
    if [one.text for one in said] != words:
        yield f"said: {[one.text for one in said]}"
    if any(one.cuttable or one.role != "notice" for one in said):
        yield "it can be cut, or is no notice"
    if [one.number for one in said] != list(range(was.said, was.said + len(said))):
        yield "the prompts are not counted on"
    if ev.Tone("gate shut") not in effects:
        yield "no tone"


def _left(was: State, now: State) -> Iterator[str]:
    """What a resume starts from: no source, no question of before, the locks, the count, and why."""
    if any(hold.power != "LIVE" or hold.claimed for hold in now.interlock.holds.values()) or now.interlock.doubt:
        yield "a source is not live"
    if now.overlay is not Overlay.NONE or now.pending is not None:
        yield "something of a former question is left"
    if (now.outcome, now.not_before) != ("stopped", None) or MANY[:20] not in now.fault:
        yield "it does not stand as stopped by the fault"
    if now.interlock.locks != was.interlock.locks or now.frames != was.frames:
        yield "locks or place were lost"


@pytest.mark.usefixtures("breaks")
def test_prompts_are_counted_without_a_gap_through_a_fault_and_after_it() -> None:
    for scene in ways():
        scene.breaks = True
        scene.tell(ev.PromptEnded(0))
        scene.tell(ev.Resumed("stopped"))
        numbers = [entry.event.number for entry in scene.record if isinstance(entry.event, ev.Say)]
        assert numbers == list(range(len(numbers)))


def test_a_visit_that_was_to_be_continued_is_merely_stopped_once_it_failed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Else whoever asks when to come again is told a day that holds no more."""
    scene = Scene(book(data.DAYS)).open().words("next step")
    assert [one.outcome for one in scene.last if isinstance(one, ev.Closed)] == ["to be continued"]
    scene.breaks = True
    monkeypatch.setitem(machine.HANDLERS, ev.Resumed, _fails)
    scene.tell(ev.Resumed("return visit"), after=3600.0)
    assert (scene.state.outcome, scene.state.not_before) == ("stopped", None)


def _fails(*_: Any) -> Any:
    raise Broken


def test_a_visit_that_fails_before_its_first_step_names_no_step_and_begins_at_the_first_when_taken_up(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    real = machine.HANDLERS[ev.Opened]
    monkeypatch.setitem(machine.HANDLERS, ev.Opened, _fails)
    scene = Scene(book(data.WHOLE))
    scene.breaks = True
    scene.open("")
    assert [(one.path, one.step) for one in scene.last if isinstance(one, ev.FaultCaught)] == [((), "")]
    assert ENGLISH.prompt("fault") in scene.said
    monkeypatch.setitem(machine.HANDLERS, ev.Opened, real)
    scene.tell(ev.Resumed("stopped"))
    assert "Look at the cabinet." in scene.said
    scene.words("next step")
    assert scene.step == "shown"


# ---- which step is not tried again ----------------------------------------------------------------------------------


def fail(scene: Scene, times: int) -> Scene:
    """It fails so often where it stands, each time with a resume."""
    scene.breaks = True
    for _ in range(times):
        scene.tell(ev.PromptEnded(0))
        scene.tell(ev.Resumed("stopped"))
    return scene


@pytest.mark.usefixtures("breaks")
def test_a_step_that_is_asked_is_tried_once_more_and_then_skipped_aloud() -> None:
    once = fail(Scene(book(data.WHOLE)).open(), 1)
    assert (once.step, "Look at the cabinet." in once.said, "skip" in once.said) == ("look", True, False)
    twice = fail(Scene(book(data.WHOLE)).open(), 2)
    assert twice.step == "shown"
    assert ENGLISH.prompt("passed-over", text="Look at the cabinet.") in twice.said


@pytest.mark.usefixtures("breaks")
def test_a_fault_at_another_step_is_not_counted_against_this_one() -> None:
    scene = fail(Scene(book(data.WHOLE)).open(), 1).words("next step")
    fail(scene, 1)
    assert (scene.step, "skip" in scene.said) == ("shown", False)


@pytest.mark.parametrize(("kind", "at"), [
    ("caution", "warn"), ("isolate", "isolate"), ("prove", "proof"), ("restore", "restore"),
])  # fmt: skip
@pytest.mark.usefixtures("breaks")
def test_what_keeps_a_person_safe_is_never_skipped(kind: str, at: str) -> None:
    good = ("next step", "warm", "forty", "affirm", "isolated lock four two", "nothing runs", "understood", "next step")
    scene = Scene(book(data.WHOLE)).open()
    for line in (*good, "next step", "affirm", "next step"):
        if scene.step == at:
            break
        scene.words(line)
    assert scene.state.step is not None
    assert (scene.step, scene.state.step.kind) == (at, kind)
    fail(scene, 3)
    assert not [one for one in scene.record if isinstance(one.event, ev.Say) and "skip" in one.event.text]


#: A step of each kind that waits for an answer or goes on by itself, where it leads once it is skipped, and why.
SKIPPED = (
    ("{id: odd, kind: instruct, say: Odd.}", "after"),
    ("{id: odd, kind: instruct, say: Odd., go: far}", "far"),
    ("{id: odd, kind: evidence, what: photo, say: Odd.}", "after"),
    ("{id: odd, kind: ask, say: Odd, answers: {warm: , cold: far}}", "after"),
    ("{id: odd, kind: ask, say: Odd, answers: {warm: far, cold: done}}", "how"),  # no way: it stops before it each time
    ("{id: odd, kind: ask, say: Odd, answers: {warm: after, cold: done}, unknown: far}", "far"),
    ("{id: odd, kind: read, say: Odd., quantity: air temperature, unit: degF, plausible: [-20, 130]}", "after"),
    ("{id: odd, kind: read, say: Odd., quantity: air temperature, unit: degF, plausible: [-20, 130], unknown: far}", "far"),
    ('{id: odd, kind: decide, cases: [{when: how == "cold", go: after}], otherwise: far}', "far"),
    ("{id: odd, kind: finding, finding: it, evidence: [how], say: Odd.}", "after"),
    ("{id: odd, kind: call, procedure: other, say: Odd.}", "after"),
    ("{id: odd, kind: wait, lasts: 2 min, because: it must settle, say: Odd.}", "after"),
)


@pytest.mark.parametrize(("odd", "to"), SKIPPED)
def test_past_a_step_that_broke_the_visit_goes_where_a_person_who_cannot_tell_would(
    odd: str, to: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Only those ways were proved. It breaks as it is entered."""
    text = f"""
procedure: skipped
title: Skipped
steps:
  - {{id: how, kind: ask, say: How is it, answers: {{warm: , cold: }}}}
  - {odd}
  - {{id: after, kind: instruct, say: After.}}
  - {{id: far, kind: instruct, say: Far.}}
  - {{id: done, kind: end, outcome: done, say: Done.}}
"""
    other = "procedure: other\ntitle: Other\nsteps: [{id: there, kind: instruct, say: There.}]\n"
    scene = Scene(book(text, *([other] if "other" in odd else []))).open()
    step = scene.book.at("skipped", "odd")
    real = steps.KINDS[type(step)]
    enters = steps.StepKind(lambda flow, one: _fails() if one.id == "odd" else real.enters(flow, one))
    monkeypatch.setitem(steps.KINDS, type(step), enters)
    scene.breaks = True
    scene.words("warm")
    assert scene.state.closed
    scene.tell(ev.Resumed("stopped"))
    scene.words("warm")  # the turn that failed did not count
    assert scene.step == to
    if to == "how":
        assert scene.state.closed
        return
    said = next(one for one in scene.last if isinstance(one, ev.Say) and "skip" in one.text)
    assert said.text.endswith(ENGLISH.prompt("passed-over", text=step.say))
    assert (said.role, said.cuttable) == ("notice", False), "they are told in full what was not done"
