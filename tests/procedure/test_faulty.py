"""Procedures made faulty by `tests.bench.faulty`, one of every kind of fault: none starts, each is named at its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.bench.faulty import FAULTS, Row, picked, wrong

PICKED = picked(len(FAULTS), seed=7)


def test_there_is_a_place_for_every_kind_of_fault() -> None:
    assert {row.name for row, _, _ in PICKED} == {row.name for row in FAULTS}


@pytest.mark.parametrize(("row", "path", "at"), PICKED, ids=[row.name.replace(" ", "-") for row, _, _ in PICKED])
def test_it_does_not_start_and_is_named_at_its_line(row: Row, path: Path, at: int, tmp_path: Path) -> None:
    assert wrong(row, path, at, tmp_path) == ""
