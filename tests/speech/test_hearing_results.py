"""What README and the sound check say of hearing is what was measured."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.speech.expected import TABLE
from tests.bench.hearing_table import LEVELS, results, share, table

TOP = Path(__file__).resolve().parents[2]


def test_the_readme_has_the_table_of_the_results_file() -> None:
    assert table(results()) in (TOP / "README.md").read_text(encoding="utf-8")


def test_the_sound_check_expects_what_was_measured() -> None:
    found = results()
    for level, row in zip(reversed(LEVELS), TABLE, strict=True):
        counts = [share(found, *which, level, ("right",)) for which in (("people", "answer"), ("unlike", "choice"))]
        right, clips = (sum(count) for count in zip(*counts, strict=True))
        assert row.accepted == pytest.approx(right / clips, abs=0.005)
        assert row.snr == (40.0 if level == "clean" else float(level))


def test_every_row_of_the_results_adds_up() -> None:
    found = results()
    for row in (*found["people"], *found["unlike"]):
        names = ("right", "proposed_right", "proposed_wrong", "wrong", "asked_again", "silent")
        assert sum(row[name] for name in names) == row["clips"]
