"""Loading a fault model, and refusing what is not one."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import pytest

from handsfree.errors import Trouble
from handsfree.trade.faultmodel import load, parse, shipped

SMALL = """
isolate_minutes: 4
restore_minutes: 5
wrong_minutes: 25
slip: 0.02
complaints: [warm, dead]
faults:
  fan: {says: the fan has failed, weight: 3, complaints: {warm: 1}}
  fuse: {says: the fuse is blown, weight: 1, complaints: {dead: 3, warm: 1}}
checks:
  lamp: {asks: "Is it lit?", minutes: 1, needs: power, usual: {lit: 1, dark: 0}, under: {fuse: {dark: 1}}}
  spin: {asks: "Does it spin?", minutes: 5, needs: isolation, usual: {free: 1, stiff: 0}, under: {fan: {stiff: 9, free: 1}}}
"""


def test_the_small_model_by_hand() -> None:
    model = parse(SMALL)
    assert [fault.prior for fault in model.faults] == [0.75, 0.25]
    # 98 % of the stated share and 2 % spread over both answers.
    assert model.find("spin").column("stiff") == pytest.approx((0.98 * 0.9 + 0.01, 0.01))
    assert model.find("complaint").column("warm") == pytest.approx((0.99, 0.98 * 0.25 + 0.01))


def test_the_shipped_model_is_whole() -> None:
    model = shipped()
    assert sum(fault.prior for fault in model.faults) == pytest.approx(1.0)
    for check in (model.complaint, *model.checks.values()):
        assert len(check.rows) == len(model.faults)
        for row in check.rows:
            assert sum(row) == pytest.approx(1.0)
            assert min(row) > 0


def test_every_shipped_question_can_be_read_aloud() -> None:
    model = shipped()
    for check in model.checks.values():
        for sentence in check.asks.split(". "):
            assert len(sentence.split()) <= 20, check.id
    for fault in model.faults:
        assert len(fault.says.split()) <= 12


def test_every_shipped_fault_can_be_told_from_every_other() -> None:
    """For each two faults some check's answers differ by half or more, or no visit could tell them apart."""
    model = shipped()
    for i in range(len(model.faults)):
        for j in range(i):
            apart = max(
                sum(abs(a - b) for a, b in zip(check.rows[i], check.rows[j], strict=True)) / 2
                for check in model.checks.values()
            )
            assert apart > 0.5, (model.faults[i].id, model.faults[j].id)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("weight: 3", "weight: 0", "above zero"),
        ("weight: 3", "weight: many", "number"),
        ("needs: power", "needs: luck", "power, isolation or either"),
        ("restore_minutes: 5", "restore_minutes: -5", "not be negative"),
        ("minutes: 5, needs", "minutes: -5, needs", "minutes above zero"),
        ("under: {fuse:", "under: {fuze:", "'fuze'"),
        ("{dark: 1}", "{dim: 1}", "'dim'"),
        ("slip: 0.02", "slip: 0.0", "slip"),
        ("{lit: 1, dark: 0}", "{on: 1, off: 0}", "in quotes"),
        ("{stiff: 9, free: 1}", "{stiff: 0, free: 0}", "above zero"),
        ("{stiff: 9, free: 1}", "{stiff: -9, free: 10}", "negative"),
        ("says: the fan has failed, ", "", "'says'"),
        ("complaints: [warm, dead]", "complaints: warm", "list"),
        ("wrong_minutes: 25", "", "wrong_minutes"),
        ("faults:", "faults: [", "line"),
    ],
)
def test_mistakes_are_named(old: str, new: str, says: str) -> None:
    assert old in SMALL
    with pytest.raises(Trouble, match=says):
        parse(SMALL.replace(old, new, 1))


def test_an_alias_bomb_is_refused() -> None:
    bomb = "a: &a [x, x]\n" + "".join(f"b{i}: &b{i} [*{'a' if i == 0 else f'b{i - 1}'}, *a]\n" for i in range(30))
    with pytest.raises(Trouble, match="alias"):
        parse(bomb)


def test_files(tmp_path: Path) -> None:
    good = tmp_path / "mine.yaml"
    good.write_text(SMALL, encoding="utf-8")
    assert load(good) == parse(SMALL)
    with pytest.raises(Trouble, match="cannot be read"):
        load(tmp_path / "none.yaml")
    (tmp_path / "sound.yaml").write_bytes(b"\xff\xfe\x00RIFF")
    with pytest.raises(Trouble):
        load(tmp_path / "sound.yaml")
    (tmp_path / "big.yaml").write_text("# " + "x" * 1_000_001, encoding="utf-8")
    with pytest.raises(Trouble, match="megabyte"):
        load(tmp_path / "big.yaml")


def test_the_shipped_file_is_package_data() -> None:
    assert resources.files("handsfree.trade").joinpath("faults.yaml").is_file()


@pytest.mark.parametrize("bad", [("nosuch", "lit"), ("display", "purple")])
def test_unknown_checks_and_answers(bad: tuple[str, str]) -> None:
    with pytest.raises(Trouble):
        shipped().find(bad[0]).column(bad[1])
