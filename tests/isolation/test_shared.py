"""Isolation that procedures share: what one made safe stays safe in the next that is called, and is restored once."""

from __future__ import annotations

import pytest

from handsfree.journal.events import Gate, LockChanged, Say, StepEntered
from handsfree.procedure import proofs
from handsfree.visit.state import Awaiting
from tests.isolation.test_finds import CLEARS, OPENS, powers
from tests.visit.scenes import Scene, book

VISIT = """
procedure: chained
title: Two jobs
steps:
  - {id: first, kind: call, procedure: brush-it, say: First the fins.}
  - {id: second, kind: call, procedure: fit-it, say: Then the fan.}
  - {id: over, kind: call, procedure: make-live, say: Now the supply.}
  - {id: done, kind: end, outcome: done, say: Done.}
"""
SAFE = """
procedure: make-safe
title: Safe
steps:
  - {id: off, kind: isolate, say: Power off., do: [Pull the plug.], sources: [plug]}
  - {id: dead, kind: prove, method: switch, say: Try the switch.}
  - {id: safe, kind: end, outcome: made safe, say: Safe.}
"""
LIVE = """
procedure: make-live
title: Live
steps:
  - {id: back, kind: restore, sources: [plug], say: Back., checks: [Tools out.], power: Put it in.}
  - {id: live, kind: end, outcome: done, say: Live.}
"""


def job(name: str, work: str) -> str:
    return f"""
procedure: {name}
title: A job
steps:
  - {{id: safe, kind: call, procedure: make-safe, say: Safe first.}}
  - {{id: work, kind: instruct, hazards: [moving fan], say: {work}}}
  - {{id: end, kind: end, outcome: done, say: Done.}}
"""


BOOK = (VISIT, SAFE, LIVE, job("brush-it", "Brush the fins."), job("fit-it", "Fit the fan."))


@pytest.fixture(autouse=True)
def _no_oracle(monkeypatch: pytest.MonkeyPatch) -> None:
    """The oracle of `scenes` knows one procedure."""
    monkeypatch.setattr("tests.visit.scenes.Oracle.sees", lambda *_: None)


def at_first() -> Scene:
    scene = Scene(book(*BOOK)).open().words(OPENS, "nothing runs")
    assert (scene.state.path, scene.step) == (("chained", "brush-it"), "work")
    return scene


def test_it_is_proved_over_all_its_calls_and_the_restore_alone_may_not_run() -> None:
    assert proofs.prove(book(*BOOK)) == ()
    assert proofs.prove(book(SAFE)) == (), "who ends it as made safe knows that it is locked"
    assert {fault.kind for fault in proofs.prove(book(LIVE))} >= {"restore without isolation"}


def test_two_jobs_are_isolated_once_and_restored_once() -> None:
    scene = at_first().words("next step")
    assert (scene.state.path, scene.step) == (("chained", "fit-it"), "work")
    assert "Power off" not in scene.said
    assert powers(scene) == {"plug": "ISOLATED"}
    scene.words("next step", "next step", "next step", CLEARS, "next step")
    assert scene.state.outcome == "done"
    gates = [(e.event.now, e.event.how) for e in scene.record if isinstance(e.event, Gate) and e.event.was != e.event.now]
    assert [now for now, _ in gates] == ["ISOLATING", "ISOLATED", "RESTORING", "LIVE"]
    assert [e.event.on for e in scene.record if isinstance(e.event, LockChanged)] == [True, False]


def test_cleared_in_the_second_job_it_is_made_again_by_the_procedure_that_made_it() -> None:
    scene = at_first().words("next step", "power is on")
    assert scene.state.path == ("chained", "fit-it", "make-safe")
    assert scene.state.awaiting in (Awaiting.SEEN, Awaiting.GATE)
    begun = len(scene.record)
    scene.words(OPENS, "nothing runs")
    assert (scene.state.path, scene.step) == (("chained", "fit-it"), "work")
    told = " ".join(e.event.text for e in scene.record[begun:] if isinstance(e.event, Say))
    assert "Brush the fins" not in told
    assert [e.event.step for e in scene.record[begun:] if isinstance(e.event, StepEntered)] == ["dead", "work"]


def test_the_second_job_is_shut_where_the_first_ended_with_the_supply_back() -> None:
    early = "{id: early, kind: call, procedure: make-live, say: The supply.}"
    text = VISIT.replace("  - {id: second", f"  - {early}\n  - {{id: second")
    assert proofs.prove(book(text, *BOOK[1:])) == ()
    scene = Scene(book(text, *BOOK[1:])).open().words(OPENS, "nothing runs", "next step", "next step", "next step", CLEARS)
    scene.words("next step")
    assert scene.state.path == ("chained", "fit-it", "make-safe")
    assert powers(scene)["plug"] == "ISOLATING"
    assert "Fit the fan" not in scene.said
