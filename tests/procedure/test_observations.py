"""What a procedure tells the fault model is checked against the model's own names."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.procedure import check, observations
from handsfree.procedure.remarks import Weight
from handsfree.trade import faultmodel

TEXT = """
procedure: dark
title: Dark
complaint: {complaint}
steps:
  - id: display
    kind: ask
    say: Is the display lit?
    answers: {{lit up: {{tells: {tells}}}, blank: {{}}}}
  - id: shown
    kind: read
    say: Give the temperature that the cabinet shows, in degrees Celsius.
    quantity: shown temperature
    unit: degC
    plausible: [-20, 50]
  - id: compared
    kind: decide
    say: The temperature decides.
    cases: [{{when: shown > 9, go: ended, tells: {case}}}]
    otherwise: ended
    otherwise_tells: {otherwise}
  - {{id: ended, kind: end, outcome: done, say: It is done.}}
"""
RIGHT = {"complaint": "dead", "tells": "display=lit", "case": "setting=too_warm", "otherwise": "setting=normal"}


def found(tmp_path: Path, known: observations.Observations | None = None, **changes: str) -> list[str]:
    file = tmp_path / "dark.yaml"
    file.write_text(TEXT.format(**{**RIGHT, **changes}), encoding="utf-8")
    remarks = check.check_file(file, [tmp_path], known).remarks
    return [remark.shown for remark in remarks if remark.group == "tells" and remark.weight is Weight.ERROR]


def test_what_the_model_has_passes(tmp_path: Path) -> None:
    assert found(tmp_path) == []


@pytest.mark.parametrize(
    ("field", "given", "sentence"),
    [
        ("complaint", "ded", "The fault model has no complaint 'ded'"),
        ("tells", "displays=lit", "the model has no check 'displays'"),
        ("tells", "complaint=dead", "the model has no check 'complaint'"),
        ("tells", "display=bright", "the check 'display' has no answer 'bright'; it has lit, dark."),
        ("case", "setting=hot", "on 'shown > 9', but the check 'setting' has no answer 'hot'"),
        ("otherwise", "set=normal", "on 'otherwise', but the model has no check 'set'"),
    ],
)
def test_what_it_has_not_is_an_error(tmp_path: Path, field: str, given: str, sentence: str) -> None:
    (shown,) = found(tmp_path, **{field: given})
    assert sentence in shown
    assert shown.startswith(f"{tmp_path.name}/dark.yaml line ")


def test_another_model_may_be_passed_in(tmp_path: Path) -> None:
    assert len(found(tmp_path, {"complaint": ("dead",), "display": ("lit", "dark")})) == 2


def test_the_usual_names_are_those_of_the_model_that_ships() -> None:
    model = faultmodel.shipped()
    known = observations.usual_observations()
    assert known[observations.COMPLAINT] == model.complaint.answers
    assert set(known) == {*model.checks, observations.COMPLAINT}


def test_a_check_stands_in_one_case_only(tmp_path: Path) -> None:
    file = tmp_path / "dark.yaml"
    one = "{when: shown > 9, check: supply, go: ended}"
    text = TEXT.format(**RIGHT).replace("cases: [", f"cases: [{one}, {one.replace('9', '5')}, ")
    file.write_text(text, encoding="utf-8")
    remarks = check.check_file(file, [tmp_path]).remarks
    (said,) = [one.shown for one in remarks if one.group == "tells" and one.weight is Weight.ERROR]
    assert "two cases of the check 'supply'" in said
