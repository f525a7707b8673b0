"""What people are told, and what proves an instrument, is of the kind of energy: a tap has no power that goes off."""

from __future__ import annotations

import pytest

from handsfree.journal.events import Say
from handsfree.procedure.pocket import card_lines
from handsfree.procedure.printed import lines_of
from handsfree.visit.state import Awaiting
from tests.visit.scenes import ENGLISH, Scene, book

BOOK = """
procedure: kinds
title: Change a filter
version: 1
sources: {SOURCES}
steps:
  - {id: off, kind: isolate, say: Your hands go into it., do: [Shut it. Lock it.], sources: [NAMES]}
  - {id: dead, kind: prove, method: METHOD, source: cock, say: Measure behind it.}
  - {id: work, kind: instruct, hazards: [HAZARD], say: Change the filter.}
  - {id: on, kind: restore, say: All back., checks: [Covers on.], power: Open it.}
  - {id: end, kind: end, outcome: done, say: Good.}
"""
GAUGE = "Prove the gauge on a known pressure."
CASES = {
    "water": ("tap", "the water goes off", "all controls off", "the water comes back", GAUGE),
    "gas": ("gas-gauge", "the gas goes off", "all controls off", "the gas comes back", GAUGE),
    "pressure": ("gauge", "the pressure goes off", "all controls off", "the pressure comes back", GAUGE),
    "hot water": ("thermometer", "the hot water goes off", "all controls off", "the hot water comes back",
                  "Prove the thermometer on a known temperature."),
    "mains": ("meter", "the power goes off", "switched off", "the power comes back",
              "Prove the tester on a known live source."),
}  # fmt: skip


def of(kind: str, also: str = "") -> str:
    text = BOOK.replace("METHOD", CASES[kind][0]).replace("HAZARD", kind)
    names = "cock, cord" if also else "cock"
    return text.replace("SOURCES", f"cock: {{kind: {kind}}}{also}").replace("NAMES", names)


def told(scene: Scene) -> str:
    return " ".join(one.event.text for one in scene.record if isinstance(one.event, Say))


@pytest.mark.parametrize("kind", CASES)
def test_people_are_told_what_goes_off_and_what_proves_the_instrument(kind: str) -> None:
    method, goes_off, _, _, tester = CASES[kind]
    scene = Scene(book(of(kind)))
    scene.ran = False  # so that a try proves nothing, and a gauge measures instead
    scene.open().words("isolated lock four two")
    if method == "tap":
        scene.words("nothing runs")
    assert f"Tell everybody here that {goes_off}." in told(scene)
    assert tester in told(scene)
    assert ("power" in told(scene), "live source" in told(scene)) == (kind == "mains", kind == "mains")


@pytest.mark.parametrize("kind", CASES)
def test_and_what_comes_back(kind: str) -> None:
    scene = Scene(book(of(kind))).open().words("isolated lock four two")
    while scene.state.step.kind == "prove":
        awaited = {Awaiting.SWITCH_TRIED: "nothing runs", Awaiting.DEAD_READING: "zero"}
        scene.words(awaited.get(scene.state.awaiting, "affirm"))
    scene.words("next step", "next step")
    *_, off, back, _ = CASES[kind]
    assert scene.said == f"Check: {off}, all hands clear. Tell everybody here that {back}."


def test_two_kinds_are_both_named_and_a_kind_without_words_by_its_name(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tests.visit.scenes.Oracle.sees", lambda *_: None)  # it knows one source
    scene = Scene(book(of("gas", ", cord: {kind: mains}"))).open()
    assert "Tell everybody here that the gas goes off and the power goes off." in told(scene)
    assert ENGLISH.prompt("off-other", kind="vacuum") == "vacuum is made safe"


@pytest.mark.parametrize("kind", CASES)
def test_paper_and_card_prove_the_same_instrument(kind: str) -> None:
    tester = CASES[kind][4]
    paper = " ".join(line.text for line in lines_of(book(of(kind))))
    card = " ".join(line.text for line in card_lines(book(of(kind))))
    assert tester in paper
    assert f"Before and after each measurement: {tester}" in card
