"""What check says of facts, of yes and no, and of who cannot tell."""

from __future__ import annotations

import pytest

from handsfree.procedure import knowing
from handsfree.procedure.remarks import Weight
from tests.visit.scenes import book

GOOD = """
procedure: good
title: Good
steps:
  - id: floor
    kind: ask
    say: Is it dry?
    fact: floor
    keeps: 10 min
    unknown: grille
    answers: {dry: {stands_for: "yes", go: grille}, soaked: {stands_for: "no", go: grille, makes: {site: wet}}}
  - {id: grille, kind: instruct, say: Take the grille off., unless: {site: wet}, makes: {grille: 'off'}}
  - {id: again, kind: instruct, say: Take the grille off again., unless: {grille: 'off', floor: dry}}
  - {id: done, kind: end, outcome: done, say: Done.}
"""


def found(text: str) -> list[tuple[str, str, Weight]]:
    return [(one.step, one.why.split(" ")[-1], one.weight) for one in knowing.remarks(book(text), "good")]


def test_nothing_is_said_of_what_is_right() -> None:
    assert found(GOOD) == []


@pytest.mark.parametrize(("was", "is_", "step", "weight"), [
    ("unless: {site: wet}", "unless: {place: wet}", "grille", Weight.ADVICE),
    ('stands_for: "no"', 'stands_for: "yes"', "floor", Weight.ERROR),
    ("    unknown: grille\n", "", "floor", Weight.NOTE),
    ("    fact: floor\n", "", "floor", Weight.ADVICE),
])  # fmt: skip
def test_each_fault_is_found_at_its_step(was: str, is_: str, step: str, weight: Weight) -> None:
    assert was in GOOD
    assert (step, weight) in [(at, of) for at, _, of in found(GOOD.replace(was, is_))]
