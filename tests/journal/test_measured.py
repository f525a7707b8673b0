"""A reading that was taken again under another name, set since, or judged by a proof is no open point any more."""

from __future__ import annotations

from typing import Any

import pytest

from handsfree.journal import events as ev
from handsfree.journal.declared import declared_in
from handsfree.journal.events import Stamped
from handsfree.journal.findings import findings
from handsfree.journal.gathering import gathered
from handsfree.journal.measured import measured
from handsfree.journal.tongue import say_in

COLD = """
procedure: cold
steps:
- {id: knob, kind: read, quantity: setting of the knob, unit: degF, fact: knob, expected: [39, 46]}
- {id: turn, kind: instruct, say: Turn the knob., makes: {knob: 43 degF}}
- {id: inside, kind: read, quantity: temperature inside, instrument: thermometer, series: [food]}
- {id: product, kind: read, quantity: temperature of the product, instrument: probe, series: [food]}
"""
PROOF = """
procedure: proof
steps:
- {id: again, kind: read, quantity: "temperature inside, again", instrument: thermometer, series: [proof, food]}
"""
COPIES = (("cold", COLD), ("proof", PROOF))
PATH = ("cold",)
NEXT = ev.Utterance("accepted", "command", "next step")
CLOSED = ev.Closed("fixed")
FOUND = ev.FindingMade(PATH, "found", "too-cold", "The setting is too cold.")
PROVED = ev.FindingMade(("cold", "proof"), "proved", "cold-again", "Proved.", (("again", "42 degF"),), "proved")
TURNED = (
    ev.StepEntered(PATH, "turn", "instruct", "LIVE"), ev.Say(1, "Turn the knob.", "step", step="turn"), NEXT,
    ev.StepEntered(PATH, "inside", "read", "LIVE"),
)  # fmt: skip


def _opened(copies: tuple[tuple[str, str], ...] = COPIES) -> ev.Opened:
    return ev.Opened("v", "cold", "en", "", "", "", "0.1", "typed", copies=copies)


def _read(step: str, quantity: str, value: float, expected: Any = None, path: tuple[str, ...] = PATH) -> ev.ReadingTaken:
    return ev.ReadingTaken(path, step, quantity, value, "degF", value, "degF", expected=expected)


KNOB = _read("knob", "setting of the knob", 34.0, (39.0, 46.0))
INSIDE = _read("inside", "temperature inside", 32.0, (36.0, 46.0))


def _again(value: float, unit: str = "degF") -> ev.ReadingTaken:
    return ev.ReadingTaken(("cold", "proof"), "again", "temperature inside, again", value, unit, value, unit)


def _record(*happened: Any) -> list[Stamped]:
    return [Stamped(n, "2026-02-11T09:30:00+01:00", float(n), event) for n, event in enumerate(happened)]


def _out(*happened: Any) -> list[str]:
    return [f.sentence for f in findings(_record(*happened)) if f.rule == "closed out of range"]


def test_what_was_set_and_read_again_under_another_name_is_after_the_work() -> None:
    """Found by voice: a cabinet that was proved cold had two open points, and was told as closed out of range."""
    visit = _record(_opened(), KNOB, FOUND, *TURNED, INSIDE, _again(37.0), _again(42.0), CLOSED)
    got = gathered(visit)
    assert {name: one.value for name, one in got.before.items()} == {"setting of the knob": 34.0, "temperature inside": 32.0}
    assert {name: one.value or one.state for name, one in got.after.items()} == {
        "setting of the knob": "set to 43 °F", "temperature inside": 42.0,
    }  # fmt: skip
    assert _out(*(entry.event for entry in visit)) == []


def test_what_is_still_out_of_range_is_still_told() -> None:
    begun = (_opened(), KNOB, FOUND, *TURNED, INSIDE)
    assert _out(*begun, CLOSED) == ["Closed as fixed, though temperature inside was last 32 °F; 36 to 46 is expected."]
    assert len(_out(*begun, _again(33.0), CLOSED)) == 1
    assert len(_out(*begun, _again(42.0), _read("knob", "setting of the knob", 30.0, (39.0, 46.0)), CLOSED)) == 1
    assert len(_out(*begun, _again(7.0, "degC"), CLOSED)) == 1  # in another unit they are not compared
    product = _read("product", "temperature of the product", 50.0, (32.0, 41.0))
    assert len(_out(*begun, product, _again(42.0), CLOSED)) == 1  # the same series, by another instrument


def test_a_proof_judges_what_it_rests_on() -> None:
    """A cabinet for frozen food, set to 0 °F: what is right for drinks is not what it was proved against."""
    begun = (_opened(), FOUND, *TURNED, INSIDE, _again(1.0))
    assert len(_out(*begun, CLOSED)) == 1
    assert _out(*begun, PROVED, CLOSED) == []


@pytest.mark.parametrize(
    "copies", [(), (("cold", "no: procedure"),), (("cold", "makes:\nsteps: [{id: turn, makes: [x]}]"),)]
)
def test_a_record_whose_copies_declare_nothing_is_judged_by_the_names_of_its_readings(copies: Any) -> None:
    got = gathered(_record(_opened(copies), KNOB, FOUND, *TURNED, INSIDE, _again(42.0), CLOSED))
    assert got.after == {}
    assert list(got.before) == ["setting of the knob", "temperature inside", "temperature inside, again"]
    assert len(_out(_opened(copies), KNOB, FOUND, *TURNED, INSIDE, _again(42.0), CLOSED)) == 1


def test_a_reading_that_a_correction_took_back_says_nothing() -> None:
    gone = _record(_opened(), INSIDE, ev.Corrected(PATH, "inside"), _read("inside", "temperature inside", 40.0))
    assert list(measured(gone)) == [3]


def test_an_alias_does_not_make_a_record_slow() -> None:
    """Each of many steps may name one long list in three letters."""
    long = ", ".join(f"s{n}" for n in range(5000))
    steps = "".join(f"- {{id: i{n}, quantity: q{n}, series: *a}}\n" for n in range(5000))
    (declared,) = declared_in([("p", f"a: &a [{long}]\nsteps:\n{steps}")]).values()
    assert sum(len(read.series) for read in declared.reads) <= 20_000
    measured(_record(_opened((("p", f"a: &a [{long}]\nsteps:\n{steps}"),)), INSIDE))


def test_what_was_set_is_told_in_spanish() -> None:
    assert say_in("es")("set to 43 °F") == "puesto a 43 °F"
