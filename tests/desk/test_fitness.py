"""What is sent is asked, as every verb asks it, whether what it ran may run still; and it goes all the same."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.desk import fitness
from handsfree.procedure.load import load_book
from handsfree.sending.commands import _unsafe
from handsfree.visit.sessions import Who, begin
from tests.procedure.test_safe import GOOD, written


def visited(place: Path, text: str) -> Path:
    session = begin(load_book(written(place, text)), place / "visits", Who(), "typed")
    session.journal.append(session.first)
    session.journal.close()
    return session.folder


def test_a_visit_of_what_may_run_has_none(tmp_path: Path) -> None:
    assert fitness.faults_of(visited(tmp_path, GOOD), {}) == ()


def test_each_visit_of_what_may_not_run_is_told_by_name(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    fit = visited(tmp_path, GOOD)
    bad = visited(tmp_path, GOOD.replace("below: 5", "below: 400"))
    assert _unsafe(tmp_path / "visits") == 1
    told = capsys.readouterr().out
    assert bad.name in told
    assert fit.name not in told
    assert "now known to be unsafe" in told


def test_the_same_procedures_are_judged_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folders = [visited(tmp_path, GOOD) for _ in range(3)]
    asked: list[object] = []
    real = fitness.safe.faults_of
    monkeypatch.setattr(fitness.safe, "faults_of", lambda book: asked.append(book) or real(book))
    judged: fitness.Fitness = {}
    for folder in folders:
        fitness.faults_of(folder, judged)
    assert len(asked) == 1
