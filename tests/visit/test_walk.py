"""The walk of `tests.bench.walk` in its small form; and its watchman is shown machines that are wrong, and must see it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from handsfree.journal.events import Resumed, Utterance
from handsfree.language.meaning import gate_text
from handsfree.visit import gates, machine, phrases
from tests.bench.letters import few
from tests.bench.small_visits import BOOKS, METER, ONE
from tests.bench.walk import Walked, walk

MOST = 500


def small(first: bool = False) -> Walked:
    return walk(METER, MOST, letters=few(METER), first=first)


def test_no_state_of_a_small_visit_breaks_a_rule() -> None:
    walked = small()
    assert walked.found == []
    assert walked.isolated
    assert {"off", "dead", "touch", "rest", "back"} <= walked.entered
    assert walked.replayed


def test_a_visit_with_a_try_for_its_proof() -> None:
    walked = walk(ONE, MOST, letters=few(ONE))
    assert walked.found == []
    assert walked.isolated
    assert {"touch", "again"} <= walked.entered


@pytest.mark.parametrize("name", ["two", "charge"])
def test_two_sources_two_people_and_a_stored_charge(name: str) -> None:
    """Along the whole of a good way, everything that may happen at each of its places."""
    walked = walk(BOOKS[name], 60, letters=few(BOOKS[name]))
    assert walked.found == []
    assert walked.isolated
    assert {"touch", "back", "done"} <= walked.entered


def test_what_takes_two_people_waits_for_two_though_nothing_is_locked() -> None:
    walked = walk(BOOKS["lift"], 60, letters=few(BOOKS["lift"]))
    assert walked.found == []
    assert {"lift", "rest", "down", "done"} <= walked.entered


def _any_number(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever's number opens the gate."""
    real = gates.hear_phrase

    def hears(interlock: Any, *rest: Any) -> Any:
        return real(interlock, *(
            replace(one, text=gate_text("isolated", interlock.lock)) if isinstance(one, Utterance) and "isolated" in one.text
            else one for one in rest
        ))  # fmt: skip

    monkeypatch.setattr(gates, "hear_phrase", hears)


def _no_break(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(machine, "overstayed", lambda *_: False)


def _deaf_to_power(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(phrases, "power_is_on", lambda flow: flow.say("Noted.", "notice"))


def _mute_at_power(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(phrases, "power_is_on", lambda flow: None)


def _resumed_as_it_was(monkeypatch: pytest.MonkeyPatch) -> None:
    real = machine.HANDLERS[Resumed]

    def resumes(flow: Any, event: Any) -> None:
        was = flow.state
        real(flow, event)
        if was.interlock.isolated and was.frames:
            flow.change(interlock=was.interlock, frames=was.frames, awaiting=was.awaiting, overlay=was.overlay)

    monkeypatch.setitem(machine.HANDLERS, Resumed, resumes)


@pytest.mark.parametrize(
    ("breaks", "rule"),
    [(_any_number, "2"), (_no_break, "1"), (_deaf_to_power, "1"), (_mute_at_power, "6"), (_resumed_as_it_was, "1")],
)
def test_the_watchman_sees_a_machine_that_is_wrong(monkeypatch: pytest.MonkeyPatch, breaks: Any, rule: str) -> None:
    breaks(monkeypatch)
    assert rule in {why[0] for why, _ in small(first=True).found}
