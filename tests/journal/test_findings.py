"""Each thing a supervisor looks for: found where it is, and not where it is not."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest

from handsfree.journal import events as ev
from handsfree.journal.account import account, limits_from, spans
from handsfree.journal.events import Stamped
from handsfree.journal.findings import Limits, findings
from tests.journal.made import LOCK
from tests.journal.visited import LINES, MACHINE, visit

PATH = ("p",)
HEARD = ev.Utterance("accepted", "command", "next step")
AGAIN = ev.Utterance("asked again", "number")


def _step(name: str, kind: str = "instruct", isolation: str = "LIVE") -> ev.StepEntered:
    return ev.StepEntered(PATH, name, kind, isolation)


def _record(*timed: tuple[float, Any]) -> list[Stamped]:
    whole = [*timed, (timed[-1][0], ev.Sealed(len(timed), "0" * 64))]
    return [Stamped(n, "2026-02-11T09:30:00+01:00", at, event) for n, (at, event) in enumerate(whole)]


def _rules(*timed: tuple[float, Any], limits: Limits | None = None) -> list[str]:
    return [finding.rule for finding in findings(_record(*timed), limits)]


PHRASE = ev.Gate("ISOLATING", "ISOLATING", "phrase", "", "off")


@pytest.mark.parametrize(("took", "found"), [(4.0, ["gate too fast"]), (11.0, []), (10.0, [])])
def test_a_gate_confirmed_faster_than_its_work(took: float, found: list[str]) -> None:
    assert _rules((0.0, _step("off", "isolate")), (took, PHRASE)) == found


def test_the_time_a_gate_takes_is_the_procedures() -> None:
    timed = ((0.0, _step("off", "isolate")), (30.0, PHRASE))
    assert _rules(*timed, limits=Limits({("p", "off"): 60.0})) == ["gate too fast"]
    assert _rules(*timed, limits=Limits({("p", "off"): 20.0})) == []


BACK = ev.Utterance("accepted", "command", "go back")


def test_a_step_left_by_going_back_and_never_done() -> None:
    skipped = (
        (0.0, _step("a")),
        (1.0, HEARD),
        (1.0, _step("b")),
        (2.0, BACK),
        (2.0, _step("a")),
        (3.0, HEARD),
        (3.0, _step("c")),
    )
    assert _rules(*skipped) == ["step skipped"]
    assert _rules(*skipped[:-1], (3.0, _step("b")), (4.0, HEARD), (4.0, _step("c"))) == []
    refused = ev.Utterance("asked again", "command", "go back")
    assert _rules((0.0, _step("b")), (1.0, refused), (1.0, _step("a"))) == []


@pytest.mark.parametrize(("times", "found"), [(2, []), (3, ["asked again often"]), (7, ["asked again often"])])
def test_many_askings_again_in_one_step(times: int, found: list[str]) -> None:
    asked = [(float(n), AGAIN) for n in range(times)]
    assert _rules((0.0, _step("a")), *asked, (9.0, _step("b"))) == found
    halves = (times // 2, times - times // 2)
    split = [*asked[: times // 2], (8.0, _step("b")), *[(9.0, AGAIN)] * (times - times // 2)]
    assert _rules((0.0, _step("a")), *split) == ["asked again often"] * sum(part >= 3 for part in halves)


@pytest.mark.parametrize(
    ("value", "found"), [(3.0, []), (1.0, []), (5.0, []), (5.1, ["reading out of range"]), (80.0, ["reading out of range"])]
)
def test_a_reading_out_of_range_that_was_accepted(value: float, found: list[str]) -> None:
    taken = ev.ReadingTaken(PATH, "air", "air", value, "degC", value, "degC", "", (-30.0, 60.0), (1.0, 5.0))
    assert _rules((0.0, taken)) == found


ISOLATED = ev.Gate("ISOLATING", "ISOLATED", "proof", "", "dead")


def test_a_long_silence_under_isolation() -> None:
    assert _rules((0.0, ISOLATED), (700.0, HEARD)) == ["silence under isolation"]
    assert _rules((0.0, ISOLATED), (500.0, HEARD), (1000.0, HEARD)) == []
    assert _rules((0.0, HEARD), (700.0, HEARD)) == []
    noise = ev.Utterance("not for me")
    assert _rules((0.0, ISOLATED), (350.0, noise), (700.0, HEARD)) == ["silence under isolation"]
    assert _rules((0.0, PHRASE), (700.0, ev.Gate("ISOLATING", "LIVE", "break", ""))) == ["silence under isolation"]


def test_a_wait_cut_short() -> None:
    begun = ((0.0, _step("rest", "wait")), (0.0, ev.SetTimer("wait", 60.0)))
    assert _rules(*begun, (20.0, HEARD), (21.0, ev.Utterance("accepted", "command", "affirm")), (21.0, _step("b"))) == [
        "wait cut short"
    ]
    assert _rules(*begun, (20.0, HEARD), (60.0, ev.TimerRang("wait")), (60.0, _step("b"))) == []


def test_a_clock_that_moved_and_a_record_without_a_seal() -> None:
    assert _rules((0.0, ev.ClockMoved(-3600.0))) == ["clock moved"]
    assert [f.rule for f in findings(_record((0.0, HEARD))[:-1])] == ["no seal"]
    assert findings([]) == ()


def test_a_hasty_visit_through_the_machine(tmp_path: Any) -> None:
    """The gate phrase at once, the wait cut, a step gone back from."""
    lines = [line for line in LINES if not isinstance(line, float)]
    at = lines.index("not isolated")
    hasty = [*lines[:at], f"isolated lock {' '.join(LOCK)}", *lines[at + 3 :]]
    rest = hasty.index("clear lock seven three nine") + 2
    folder = visit(tmp_path, [*hasty[:rest], "next step", "affirm", *hasty[rest:]])
    told = account(folder, MACHINE)
    assert {"wait cut short", "reading out of range"} <= {finding.rule for finding in told.findings}
    limits = limits_from(MACHINE, told.opened)
    assert limits.least_seconds == {("summit-check", "unplug"): 10.0}
    assert told.departure is None


def test_spans_follow_each_other_without_a_gap(told: Any) -> None:
    found = spans(told.entries)
    assert [span.state for span in found] == ["LIVE", "ISOLATING", "ISOLATED", "RESTORING", "LIVE"]
    assert all(a.end == b.begin for a, b in pairwise(found))
    assert found[-1].end == told.entries[-1].mono
