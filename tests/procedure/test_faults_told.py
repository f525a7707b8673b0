"""One fault, one line, where the writer made it: put one at a time into the ice maker's procedure, read as a writer reads.

Of forty such faults eight had told more than one line or a wrong place, three ended in a traceback, and one was none."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.procedure.check import check_path
from handsfree.procedure.remarks import Weight

GOOD = (Path(__file__).parent.parent / "trades" / "procedures" / "ice-filter.yaml").read_text(encoding="utf-8")


def told(old: str, new: str, folder: Path) -> list[tuple[int, str]]:
    assert old in GOOD
    path = folder / "ice-filter.yaml"
    path.write_text(GOOD.replace(old, new, 1), encoding="utf-8")
    (report,) = check_path(path)
    return [(one.line, one.why) for one in report.remarks if one.weight is Weight.ERROR]


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("unit: liter", "unit: litres per min", "The instrument `measuring jug` has the unit 'litres per min'"),
        ("plausible: [0, 10]", "plausible: [10, 0]", "The instrument `measuring jug` has 'plausible' from 10 to 0"),
        ("accuracy: 0.1 liter", "accuracy: ten percent", "The instrument `measuring jug` has the accuracy 'ten percent'"),
        ('filter-age == "newer"', 'filter-age == "new"', "`filter-age` has no answer 'new'; did you mean `newer`?"),
        ("at_least(flow-before", "at_least(flow-befor", "`flow-befor` is no reading or question"),
    ],
)  # fmt: skip
def test_one_line_at_the_field(old: str, new: str, says: str, tmp_path: Path) -> None:
    ((line, why),) = told(old, new, tmp_path)
    assert line == GOOD[: GOOD.index(old)].count("\n") + 1
    assert says in why


@pytest.mark.parametrize(
    ("old", "new"),
    [("plausible: [0, 10]", "plausible: 0-10"), ("accuracy: 0.1 liter", "accuracy: 0.1"), ("version: 1\n", "version: one\n"),
     ("title: Water filter of the ice maker\n", "")],
)  # fmt: skip
def test_a_fault_above_the_steps_is_not_told_again_at_the_steps(old: str, new: str, tmp_path: Path) -> None:
    assert len(told(old, new, tmp_path)) == 1


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [("{kind: water}", "{kind: watr}", "of the kind 'watr'"), ("{kind: mains}", "{kind: gax}", "of the kind 'gax'"),
     ("method: tap", "method: meter", "cannot prove water dead")],
)  # fmt: skip
def test_a_source_or_proof_of_another_kind_is_told(old: str, new: str, says: str, tmp_path: Path) -> None:
    assert any(says in why for _, why in told(old, new, tmp_path))


def test_a_unit_may_be_spelled_as_the_words_are(tmp_path: Path) -> None:
    assert told("unit: liter", "unit: litre", tmp_path) == []
