"""Older files in today's spelling: nothing but the spelling changes."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.procedure import load
from handsfree.procedure.commands import migrate
from handsfree.resources import folder

FILES = load.procedure_files(folder("procedures"))
OLD = """\
procedure: pump
title: Pump
steps:
  - id: look-first   # a remark
    kind: ask
    say: Is it wet or dry?
    answers:
      wet: {}
      dry: {go: pump-over}  # why
  - {id: pump-flow, kind: read, say: Give it., quantity: flow, unit: percent, plausible: [0, 100]}
  - {id: air-flow, kind: read, say: Give it., quantity: flow, unit: percent, plausible: [0, 100]}
  - id: judge   # pump_flow is the maker's own word
    kind: decide
    say: It decides.
    cases:
      - when: pump_flow - air_flow > 3 and look_first == "wet"
        go: pump-over
      - {when: pump_flow > 90, go: pump-over}
    otherwise: pump-over
  - {id: pump-over, kind: end, outcome: done, say: Over.}
"""


def test_names_and_empty_answers(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "pump.yaml"
    path.write_text(OLD, encoding="utf-8")
    migrate(path, write=False)
    assert path.read_text(encoding="utf-8") == OLD
    assert "3 lines would change" in capsys.readouterr().out
    migrate(path)
    new = path.read_text(encoding="utf-8")
    assert new == OLD.replace("      wet: {}", "      wet:").replace(
        'pump_flow - air_flow > 3 and look_first == "wet"', 'pump-flow - air-flow > 3 and look-first == "wet"'
    ).replace("when: pump_flow > 90", "when: pump-flow > 90")
    migrate(path)
    assert "as it should be" in capsys.readouterr().out


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_copies_of_what_ships(path: Path, tmp_path: Path) -> None:
    copy = tmp_path / path.name
    text = path.read_text(encoding="utf-8")
    copy.write_text(text, encoding="utf-8")
    migrate(copy)
    again = copy.read_text(encoding="utf-8")
    assert [row.split("#")[1:] for row in again.splitlines()] == [row.split("#")[1:] for row in text.splitlines()]
    assert not any("when:" in row and f"{step.id.replace('-', '_')} " in row
                   for row in again.splitlines() for step in load.load_procedure(copy).steps if "-" in step.id)  # fmt: skip
