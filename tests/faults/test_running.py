"""A fault at every effect and at every kind of happening of a running visit, by the real runner, on a real record.

Whatever breaks: the isolation is cleared, one sentence says so aloud, the record has it and holds, the visit ends with a
sentence and status 2, and it is taken up again."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import pytest

from handsfree.dialogue.runner import Runner
from handsfree.errors import Trouble
from handsfree.journal import events as ev
from handsfree.journal.follow import departure
from handsfree.journal.verify import verify
from handsfree.procedure import load
from handsfree.visit import machine, sessions
from handsfree.visit.state import State
from tests.journal import visited
from tests.journal.made import TestClock, read_list

SENTENCE = "I have a fault. Treat it as live."


class Broken(RuntimeError):
    pass


class _Breaks:
    """A part that works until the nth call of one of its methods."""

    def __init__(self, part: Any, method: str, at: int, error: Exception) -> None:
        self._part, self._method, self._left, self._error = part, method, at, error

    def __getattr__(self, name: str) -> Any:
        real = getattr(self._part, name)
        if name != self._method:
            return real

        def broken(*args: Any, **kwargs: Any) -> Any:
            self._left -= 1
            if self._left == 0:
                raise self._error
            return real(*args, **kwargs)

        return broken


def strides(part: str) -> range:
    """Few calls are tried one by one; of many, some."""
    return range(2, 160, 11) if part in ("clock", "watcher", "record") else range(2, 60, 3)


def _run(
    session: sessions.Session, clock: TestClock, said: list[str], part: str, method: str, at: int, error: Exception
) -> State:
    parts: dict[str, Any] = {
        "record": session.journal, "ear": visited._Ear(visited.LINES, session, clock),
        "mouth": visited._Mouth(clock, said), "clock": visited.Now(session, clock),
    }  # fmt: skip
    if part in parts:
        parts[part] = _Breaks(parts[part], method, at, error)
    seen = [0]

    def watch(entry: ev.Stamped, state: State) -> None:
        seen[0] += 1
        if part == "watcher" and seen[0] == at:
            raise error

    def runner(s: sessions.Session) -> Runner[State]:
        return Runner(machine.MACHINE, s.state, parts["record"], parts["ear"], parts["mouth"], parts["clock"], watch)

    return sessions.run(session, runner)


def _begun(folder: Path) -> tuple[sessions.Session, TestClock]:
    clock = TestClock()
    book = load.load_book(str(visited.PROCEDURE))
    return sessions.begin(book, folder, sessions.Who(), "typed", clock=clock), clock


@pytest.mark.parametrize(
    ("part", "method"),
    [("ear", "next"), ("ear", "listen"), ("mouth", "say"), ("mouth", "tone"), ("clock", "now"), ("watcher", ""),
     ("record", "append")],
)  # fmt: skip
@pytest.mark.parametrize("error", [Broken("it broke"), Trouble("The device is gone; plug it in.")], ids=["bug", "trouble"])
def test_whatever_part_breaks_the_visit_is_live_says_so_and_goes_on_later(
    part: str, method: str, error: Exception, fast: Path, counted: Callable[[str, int, int], None]
) -> None:
    tried, isolated, missed = 0, 0, []
    for at in strides(part):
        said: list[str] = []
        session, clock = _begun(fast / str(at))
        try:
            _run(session, clock, said, part, method, at, error)
        except Trouble as trouble:
            entries = read_list(session.folder)
            if any(isinstance(one.event, ev.Closed) and one.event.outcome == "done" for one in entries):
                break  # it broke after the end
            gates = [one.event for one in entries if isinstance(one.event, ev.Gate)]
            isolated += any((gate.was, gate.how) == ("ISOLATED", "fault") for gate in gates)
            missed += [f"{at}: {why}" for why in _wrong(session, entries, trouble, said, part) if why]
        else:
            break  # the visit has fewer calls of it
        tried += 1
    counted(f"visits whose {part} {method} broke ({type(error).__name__})", tried, len(missed))
    assert not missed, missed[:3]
    assert tried > 3
    assert isolated or part == "record", "no visit was isolated when it broke"


def test_a_fault_before_the_first_word_keeps_nobody_from_taking_the_visit_up(fast: Path) -> None:
    session, clock = _begun(fast)
    with pytest.raises(Trouble):
        _run(session, clock, [], "ear", "next", 5, Trouble("The device is gone; plug it in."))

    def breaks(_: sessions.Session) -> Runner[State]:
        raise Broken("it broke")

    kept = sessions.resume(session.folder)  # as threads that a fault leaves open would keep it
    with pytest.raises(Broken):
        sessions.run(kept, breaks)
    visited.resume(session.folder, [visited.LOCK, "affirm"], at=9000.0)
    assert not verify(session.folder).problem


def _wrong(
    session: sessions.Session, entries: list[ev.Stamped], trouble: Trouble, said: list[str], part: str
) -> Iterable[str]:
    spoken = " ".join(said)
    if part == "record":
        yield "" if session.state.language.prompt("unrecorded") in spoken else "not told that nothing is recorded"
    else:
        yield "" if SENTENCE in spoken else "the fault is not said"
        yield "" if any(isinstance(one.event, ev.FaultMet) for one in entries) else "it is not in the record"
        gates = [one.event.now for one in entries if isinstance(one.event, ev.Gate)]
        yield "" if not gates or gates[-1] == "LIVE" else f"the record ends {gates[-1]}"
    yield "" if trouble.status == 2 and "\n" not in trouble.sentence else "no sentence with status 2"
    again = visited.resume(session.folder, [visited.LOCK, "affirm"], at=9000.0)
    yield "" if str(again.interlock.power) not in ("ISOLATED", "RESTORING") else "it is taken up as isolated"
    after = read_list(session.folder)
    yield "" if departure(after, visited.MACHINE) is None else "the record does not follow"
    yield verify(session.folder).problem


@pytest.mark.parametrize("kind", [kind for kind in machine.HANDLERS if kind not in (ev.FaultMet, ev.Resumed)])
def test_a_machine_that_fails_at_any_happening_leaves_a_live_visit_that_goes_on(
    kind: type[Any], monkeypatch: pytest.MonkeyPatch, counted: Callable[[str, int, int], None]
) -> None:
    """In memory, from behind the proof of dead: the handler raises in the middle of its turn."""
    from tests.journal.made import event_of
    from tests.visit import data
    from tests.visit.scenes import Scene, book

    scene = Scene(book(data.METER))
    scene.breaks = True
    real = machine.HANDLERS[kind]

    def fails(flow: Any, event: Any) -> None:
        real(flow, event)
        if flow.now < 100.0:
            return
        raise Broken(f"in {kind.__name__}")

    if kind is not ev.Opened:
        scene.open().words("isolated lock four two", "affirm", "zero", "affirm", "affirm")
        assert scene.power == "ISOLATED"
    monkeypatch.setitem(machine.HANDLERS, kind, fails)
    opened = ev.Opened("v", scene.book.main, "en", "", "", "", "t", "typed")
    happening = opened if kind is ev.Opened else _one_of(event_of(kind))
    effects = scene.tell(happening, after=100.0)
    caught = [effect for effect in effects if isinstance(effect, ev.FaultCaught)]
    assert [one.during for one in caught] == [kind.__name__]
    assert SENTENCE in scene.said
    assert scene.power == "LIVE"
    assert scene.state.outcome == "stopped"
    assert scene.again() == scene.state  # a replay fails in the same way, and comes to the same state
    monkeypatch.setitem(machine.HANDLERS, kind, real)
    scene.tell(ev.Resumed("stopped"))
    assert scene.power == "LIVE"
    assert not scene.state.closed
    scene.words("four two", "affirm")
    assert scene.state.frames
    counted("kinds of happening at which the machine was made to fail", 1, 0)


def _one_of(strategy: Any) -> Any:
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        made = strategy.example()
    if isinstance(made, ev.Utterance):
        return ev.Utterance("accepted", "command", "next step", spoken="next step", words="next step", sure=1.0)
    return made


LONG = """
procedure: long
title: A wait that no clock can hold
steps:
  - {id: isolate, kind: isolate, say: Isolate., do: [Pull the plug.], sources: [mains]}
  - {id: proof, kind: prove, method: switch, say: Try the switch.}
  - {id: touch, kind: instruct, hazards: [mains], say: Touch the terminal.}
  - {id: rest, kind: wait, lasts: 4000000 d, because: it must settle, say: Let it settle.}
  - {id: later, kind: instruct, say: Look at it.}
  - {id: again, kind: instruct, hazards: [mains], say: Touch it again.}
  - {id: restore, kind: restore, say: Power comes back., checks: [Tools out., Covers on.], power: Plug it in.}
  - {id: done, kind: end, outcome: done, say: Done.}
"""


def test_a_step_that_breaks_when_it_is_entered_is_passed_over_aloud_at_the_resume() -> None:
    from tests.visit.scenes import Scene, book

    scene = Scene(book(LONG)).open().words("isolated lock four two", "nothing runs")
    scene.breaks = True
    scene.words("next step")
    assert SENTENCE in scene.said
    assert (scene.power, scene.state.outcome) == ("LIVE", "stopped")
    scene.tell(ev.Resumed("stopped"))
    scene.words("four two", "affirm")
    assert not scene.state.closed
    scene.words("isolated lock four two", "nothing runs")  # the visit stood behind the gate
    assert scene.step == "touch"
    scene.words("next step")
    assert scene.step == "later"
    assert "Let it settle." in " ".join(
        entry.event.text for entry in scene.record if isinstance(entry.event, ev.Say) and "skip" in entry.event.text
    )
    assert scene.again() == scene.state


def test_a_caution_that_breaks_is_never_passed_over(monkeypatch: pytest.MonkeyPatch) -> None:
    from handsfree.procedure import model
    from handsfree.visit import steps
    from tests.visit import data
    from tests.visit.scenes import Scene, book

    def fails(flow: Any, step: Any) -> Any:
        raise Broken

    monkeypatch.setitem(steps.KINDS, model.Caution, steps.StepKind(fails))
    scene = Scene(book(data.WHOLE)).open()
    scene.breaks = True
    scene.words("next step", "warm", "forty", "affirm", "isolated lock four two", "nothing runs")
    for _ in range(3):
        assert scene.state.closed
        assert scene.power == "LIVE"
        scene.tell(ev.Resumed("stopped"))
        scene.words("isolated lock four two", "nothing runs")
    entered = [entry.event.step for entry in scene.record if isinstance(entry.event, ev.StepEntered)]
    assert "reach" not in entered  # the fan behind the caution that was never read
