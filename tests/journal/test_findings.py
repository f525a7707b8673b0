"""Each thing a supervisor looks for: found where it is, and not where it is not."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest

from handsfree.journal import events as ev
from handsfree.journal.account import account, limits_from, spans
from handsfree.journal.events import Stamped
from handsfree.journal.findings import GRAVE, LEVELS, NOTE, RANKS, FindingLimits, findings
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


def _rules(*timed: tuple[float, Any], limits: FindingLimits | None = None) -> list[str]:
    return [finding.rule for finding in findings(_record(*timed), limits)]


PHRASE = ev.Gate("ISOLATING", "ISOLATING", "phrase", "", "off")


@pytest.mark.parametrize(("took", "found"), [(4.0, ["gate too fast"]), (11.0, []), (10.0, [])])
def test_a_gate_confirmed_faster_than_its_work(took: float, found: list[str]) -> None:
    assert _rules((0.0, _step("off", "isolate")), (took, PHRASE)) == found


def _isolation(name: str, begin: float, first: int, did: float) -> list[tuple[float, Any]]:
    """Three sentences read for 20 s, then the phrase `did` seconds after the last word."""
    path = _step(name, "isolate")
    texts = ("Switch it off.", "Pull the plug.", "Say isolated, lock, and your number.")
    said = [(begin, ev.Say(first + n, text, "question" if n == 2 else "step", step=name)) for n, text in enumerate(texts)]
    ended = [(begin + t, ev.PromptEnded(first + n)) for n, t in enumerate((7.0, 13.0, 20.0))]
    spoke = ev.Utterance("accepted", "gate", "isolated", started=begin + 20.0 + did, ended=begin + 22.0 + did)
    gate = ev.Gate("ISOLATING", "ISOLATING", "phrase", "", name)
    return [(begin, path), *said, *ended, (begin + 22.5 + did, spoke), (begin + 22.5 + did, gate)]


@pytest.mark.parametrize(("did", "found"), [(7.0, 5), (9.9, 5), (10.0, 0), (12.0, 0)])
def test_five_isolations_are_judged_from_the_last_word_of_their_instructions(did: float, found: int) -> None:
    timed = [one for n in range(5) for one in _isolation(f"off-{n}", 100.0 * n, 3 * n, did)]
    assert _rules(*timed) == ["gate too fast"] * found


def test_instructions_asked_for_again_do_not_hurry_whoever_asked() -> None:
    begun = _isolation("off", 0.0, 0, 40.0)
    again = [(50.0, ev.Say(9, "Pull the plug.", "step", step="off")), (55.0, ev.PromptEnded(9))]
    assert _rules(*begun[:-2], *again, *begun[-2:]) == []


def test_a_phrase_over_the_instructions_is_too_fast() -> None:
    begun = _isolation("off", 0.0, 0, 40.0)
    (finding,) = findings(_record(*begun[:5], *begun[-2:]))
    assert "while its instructions were still read" in finding.sentence


def test_a_lock_left_on_and_a_hazard_without_its_proof() -> None:
    gone = ((0.0, ISOLATED), (5.0, ev.Closed("done")))
    assert _rules(*gone) == ["lock left on"]
    assert _rules((0.0, ISOLATED), (1.0, ev.HandedOver(PATH, "x", "a licensed hand")), (5.0, ev.Closed("done"))) == []
    assert _rules((0.0, ISOLATED), (1.0, ev.Gate("RESTORING", "LIVE", "restore", "")), (5.0, ev.Closed("done"))) == []


def _proved(source: str) -> ev.Gate:
    return ev.Gate("ISOLATING", "ISOLATED", "proof", "", source=source)


@pytest.mark.parametrize(
    ("needs", "gates", "live"),
    [
        (("",), (), "the supply"),
        (("",), (_proved(""),), ""),
        (("",), (_proved(""), ev.Gate("ISOLATED", "LIVE", "power is on", "")), "the supply"),
        (("plug", "water"), (_proved("plug"),), "water"),
        (("plug",), (_proved("plug"), ev.Gate("ISOLATED", "RESTORING", "restore", "", source="water")), ""),
        (("plug", "water"), (_proved("plug"), _proved("water")), ""),
        (("plug", "water"), (), "plug and water"),
        ((), (), ""),
    ],
)
def test_a_hazard_met_while_what_feeds_it_is_not_proved_dead(
    needs: tuple[str, ...], gates: tuple[ev.Gate, ...], live: str
) -> None:
    """Source by source: another that is given back, or never was isolated, is no matter."""
    limits = FindingLimits(needs={("p", "fan"): needs})
    timed = [(0.0, gate) for gate in gates]
    found = [f for f in findings(_record(*timed, (1.0, _step("fan"))), limits) if f.rule == "hazard without its proof"]
    said = f"Fan can hurt, and was begun while {live} was not proved dead."
    assert [f.sentence for f in found] == ([said] if live else [])


def test_a_lock_that_stays_on_is_told_by_its_owner() -> None:
    on, off = (ev.LockChanged("A. Brandner", "plug", state) for state in (True, False))
    (one,) = findings(_record((0.0, on), (5.0, ev.Closed("fixed"))))
    assert one.rule == "lock left on"
    assert one.sentence == "The visit ended as fixed with the lock of A. Brandner still on plug."
    assert _rules((0.0, on), (1.0, off), (5.0, ev.Closed("fixed"))) == []


def test_a_call_for_help_comes_before_a_lock_left_on() -> None:
    """Found by voice: 'I am hurt' was in the record, and nobody at the desk was told."""
    timed = ((0.0, ISOLATED), (1.0, ev.Alarm("i am hurt", "I am hurt.", "ISOLATED")), (5.0, ev.Closed("done")))
    found = findings(_record(*timed))
    assert [(f.rule, f.level) for f in found] == [("called for help", GRAVE), ("lock left on", GRAVE)]
    assert "i am hurt" in found[0].sentence


def test_another_voice_at_a_gate() -> None:
    for voice, found in (("other", ["another voice at a gate"]), ("same", []), ("", []), ("doubtful", [])):
        assert _rules((0.0, ev.Utterance("accepted", "gate", "isolated", voice=voice))) == found
    doubt = ev.Utterance("accepted", "gate", "isolated", voice="doubtful")
    assert _rules((0.0, doubt), (4.0, doubt)) == ["another voice at a gate"]
    assert _rules((0.0, doubt), (4.0, ev.Utterance("accepted", "gate", "isolated", voice="same"))) == []


def test_the_gravest_comes_first_and_every_rule_has_its_rank() -> None:
    timed = ((0.0, _step("a")), *[(1.0, AGAIN)] * 3, (2.0, _step("off", "isolate")), (3.0, PHRASE), (4.0, ISOLATED))
    found = findings(_record(*timed, (5.0, ev.Closed("done"))))
    assert [f.rule for f in found] == ["lock left on", "gate too fast", "asked again often"]
    assert [f.level for f in found] == [GRAVE, GRAVE, NOTE]
    assert set(RANKS.values()) == set(LEVELS)


def test_the_time_a_gate_takes_is_the_procedures() -> None:
    timed = ((0.0, _step("off", "isolate")), (30.0, PHRASE))
    assert _rules(*timed, limits=FindingLimits({("p", "off"): 60.0})) == ["gate too fast"]
    assert _rules(*timed, limits=FindingLimits({("p", "off"): 20.0})) == []


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


def _taken(value: float, accuracy: str = "") -> ev.ReadingTaken:
    return ev.ReadingTaken(PATH, "air", "air", value, "degC", value, "degC", "", (-30.0, 60.0), (1.0, 5.0), accuracy)


@pytest.mark.parametrize(
    ("value", "found"),
    [(3.0, []), (1.0, []), (5.0, []), (5.1, ["closed out of range"]), (80.0, ["reading not plausible"])],
)
@pytest.mark.parametrize("outcome", ["fixed", "done", "no fault found"])
def test_a_visit_that_ended_well_though_a_reading_had_not(value: float, found: list[str], outcome: str) -> None:
    assert _rules((0.0, _taken(value)), (9.0, ev.Closed(outcome))) == found


def test_what_the_complaint_explains_is_no_finding() -> None:
    """Too warm when somebody came because it is too warm, and in range in the end; or not mended, and said so."""
    assert _rules((0.0, _taken(14.0)), (500.0, _taken(3.0)), (501.0, ev.Closed("fixed"))) == []
    restored = ev.Gate("RESTORING", "LIVE", "restore", "")
    assert _rules((0.0, _taken(14.0)), (300.0, restored), (501.0, ev.Closed("fixed"))) == []
    assert _rules((0.0, restored), (300.0, _taken(14.0)), (501.0, ev.Closed("fixed"))) == ["closed out of range"]
    for outcome in ("not fixed", "handed over", "to be continued", "stopped"):
        assert _rules((0.0, _taken(14.0)), (9.0, ev.Closed(outcome))) == []
    again = _rules((0.0, _taken(14.0)), (9.0, ev.Closed("fixed")), (10.0, ev.Resumed("stopped")))
    assert "closed out of range" not in again


@pytest.mark.parametrize(
    ("value", "accuracy", "found"),
    [(5.4, "0.5 degC", True), (5.6, "0.5 degC", False), (5.4, "", False), (5.05, "1 %", True), (3.0, "5 degC", False),
     (5.4, "± 0.5 K", True), (5.4, "good", False)],
)
def test_a_diagnosis_on_a_borderline_reading(value: float, accuracy: str, found: bool) -> None:
    made = ev.FindingMade(PATH, "end", "dirty-condenser", "The condenser was dirty.", (("air", f"{value} degC"),))
    assert ("borderline accused" in _rules((0.0, _taken(value, accuracy)), (1.0, made))) == found


def test_a_diagnosis_that_somebody_went_back_behind_accuses_nobody() -> None:
    made = ev.FindingMade(PATH, "end", "dirty-condenser", "The condenser was dirty.", (("air", "5.4 degC"),))
    begun = ((0.0, _step("air", "read")), (0.0, _taken(5.4, "0.5 degC")), (1.0, made), (1.0, _step("b")))
    assert "borderline accused" in _rules(*begun)
    assert "borderline accused" not in _rules(*begun, (2.0, ev.Corrected(PATH, "air")), (2.0, _step("air", "read")))


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


@pytest.mark.parametrize(
    ("timers", "wanted"),
    [
        (((0.0, ev.SetTimer("wait", 1200.0, 2400.0)),), " of 40 min"),
        (((0.0, ev.SetTimer("wait", 600.0, 1200.0)), (600.0, ev.SetTimer("wait", 600.0, 1200.0))), " of 20 min"),
        (((0.0, ev.SetTimer("wait", 600.0)),), " of 10 min"),
        (((0.0, ev.SetTimer("wait", 1200.0)),), ""),
        (((0.0, ev.SetTimer("wait", 1200.0)), (700.0, ev.SetTimer("wait", 1700.0))), " of 40 min"),
    ],
    ids=["before its half", "after it", "old and short", "old, perhaps its half", "old, set again"],
)
def test_a_wait_that_is_cut_short_is_told_with_its_own_length(timers: Any, wanted: str) -> None:
    """A wait of 40 minutes that was cut after 12 was told as one of 20: its timer rings at half time first."""
    cut = ((720.0, HEARD), (720.0, ev.Utterance("accepted", "command", "affirm")), (720.0, _step("b")))
    (made,) = findings(_record((0.0, _step("rest", "wait")), *timers, *cut))
    assert made.sentence == f"The wait{wanted} at rest was cut short after 12 min."


def test_a_wait_over_night_that_is_cut_short_after_the_visit_was_resumed() -> None:
    """Minutes later; or the temperature "of the morning" is none, and nobody hears of it."""
    parted = ((0.0, HEARD), (0.0, _step("night", "wait")), (0.0, ev.Closed("to be continued")))
    early = (*parted, (3600.0, ev.Resumed("to be continued")), (3600.0, ev.SetTimer("wait", 54000.0)), (3660.0, HEARD))
    made = [f for f in findings(_record(*early, (3660.0, _step("b")))) if f.rule == "wait cut short"]
    assert [finding.sentence for finding in made] == ["The wait of 16 h at night was cut short after 1 h 1 min."]
    late = (*parted, (60000.0, ev.Resumed("to be continued")), (60000.0, _step("b")))
    assert "wait cut short" not in _rules(*late)


ASKED_FIRST = (ev.Say(9, "Your own lock or tag number, digit by digit?", "question", step="unplug"), HEARD)


def test_a_wait_that_was_kept_is_not_cut_by_the_lock_number_that_the_next_step_asks_for() -> None:
    """Found by voice: 24 hours were kept in full, and told as cut short after 24 h 5 min."""
    begun = ((0.0, HEARD), (0.0, _step("night", "wait")))
    parted = (*begun, (0.0, ev.Closed("to be continued", 86400.0)), (0.0, ev.DropTimer("wait")))
    back = (*parted, (86500.0, ev.Resumed("to be continued")), (86500.0, ev.DropTimer("wait")))
    asked = tuple((86600.0, event) for event in ASKED_FIRST)
    assert "wait cut short" not in _rules(*back, *asked, (86600.0, _step("unplug", "isolate")))
    old = (*parted, (86500.0, ev.Resumed("to be continued")), *asked)  # no timer dropped: by its time
    assert "wait cut short" not in _rules(*old, (86600.0, _step("unplug", "isolate")))
    rung = (*begun, (0.0, ev.SetTimer("wait", 60.0)), (60.0, ev.TimerRang("wait")), (60.0, ev.DropTimer("wait")))
    assert "wait cut short" not in _rules(*rung, *((90.0, one) for one in ASKED_FIRST), (90.0, _step("unplug", "isolate")))
    cut = (*begun, (0.0, ev.SetTimer("wait", 60.0)), (20.0, HEARD), (20.0, ev.DropTimer("wait")))
    assert "wait cut short" in _rules(*cut, *((90.0, one) for one in ASKED_FIRST), (90.0, _step("unplug", "isolate")))
    early = (*parted, (3600.0, ev.Resumed("to be continued")), (3600.0, ev.SetTimer("wait", 82800.0)), (3660.0, HEARD),
             (3660.0, ev.DropTimer("wait")))  # fmt: skip
    assert "wait cut short" in _rules(*early, *((3700.0, one) for one in ASKED_FIRST), (3700.0, _step("unplug", "isolate")))


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
    assert "wait cut short" in {finding.rule for finding in told.findings}
    limits = limits_from(MACHINE, told.opened)
    assert limits.least_seconds == {("summit-check", "unplug"): 10.0}
    assert told.departure is None


def test_spans_follow_each_other_without_a_gap(told: Any) -> None:
    found = spans(told.entries)
    assert [span.state for span in found] == ["LIVE", "ISOLATING", "ISOLATED", "RESTORING", "LIVE"]
    assert all(a.end == b.begin for a, b in pairwise(found))
    assert found[-1].end == told.entries[-1].mono


def test_sources_are_told_one_by_one_and_a_lock_taken_off_for_another() -> None:
    """Gates that name their source, and locks with owners, as later records have them."""

    plug, gas = (
        [ev.Gate(was, now, how, "", source=name)
         for was, now, how in (("LIVE", "ISOLATING", "phrase"), ("ISOLATING", "ISOLATED", "proof"))]
        for name in ("cabinet plug", "gas")
    )
    back = ev.Gate("RESTORING", "LIVE", "restore", "", source="cabinet plug")
    off = ev.LockChanged("A. Brandner", "gas", False, "without its owner")
    timed = [(float(n), event) for n, event in enumerate([*plug, *gas, back, off, ev.Closed("done")])]
    found = {f.rule: f.sentence for f in findings(_record(*timed))}
    assert "gas still isolated" in found["lock left on"]
    assert "cabinet plug" not in found["lock left on"]
    assert found["lock removed for another"] == "The lock of A. Brandner was taken off gas without its owner."
    told = spans(_record(*timed))
    assert {s.source for s in told} == {"cabinet plug", "gas"}
    assert [s.state for s in told if s.source == "gas"] == ["LIVE", "ISOLATING", "ISOLATED"]
    assert [s.state for s in told if s.source == "cabinet plug"] == ["LIVE", "ISOLATING", "ISOLATED", "LIVE"]


def test_every_isolation_that_ships_says_the_least_time_its_work_takes() -> None:
    """Boxing, locking and tagging a plug, or discharging a capacitor through its resistor, takes ten seconds at least
    (common practice, no source); looking that one's own lock is still there, three."""
    import yaml

    from handsfree.resources import shipped_folder

    said = {}
    for path in sorted(shipped_folder("procedures").glob("*.yaml")):
        for step in yaml.safe_load(path.read_text(encoding="utf-8"))["steps"]:
            if step["kind"] == "isolate":
                said[f"{path.name} {step['id']}"] = step.get("least_seconds")
    assert len(said) > 20
    assert {name: least for name, least in said.items() if least != 10} == {"defrost.yaml unplug-return": 3}
