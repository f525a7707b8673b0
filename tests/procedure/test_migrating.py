"""Older files in today's format: what they do stays."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.procedure import load, migrating
from handsfree.procedure.commands import migrate
from handsfree.resources import shipped_folder

FILES = load.procedure_files(shipped_folder("procedures"))
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


SAYS_LESS = """\
procedure: pump
title: Pump
steps:
  - id: flow-in
    kind: read
    say: Give the flow in.
    quantity: insulation
    unit: megaohm   # of the pipe
    plausible: [0, 100]
    expected: [20, 60]
    accuracy: 2 %
    instrument: tester
  - id: flow-out
    kind: read
    say: Give the flow out.
    quantity: insulation
    unit: megaohm
    plausible: [0, 100]
    accuracy: 2 %
    instrument: tester
  - id: insulation-state
    kind: decide
    say: The flow is judged.
    cases: [{when: insulation_state(flow_in) == "pass", go: over}]
    otherwise: over
  - id: which-way
    kind: decide
    say: Less comes out than goes in.
    cases: [{when: flow-out < flow-in, go: over}]
    otherwise: over
  - {id: over, kind: end, outcome: done, say: Over.}
"""


def test_what_readings_share_stands_once_and_what_nobody_hears_goes(tmp_path: Path) -> None:
    """The remark stays; a function keeps its name beside a step of the same name; a sentence that explains stays."""
    path = tmp_path / "pump.yaml"
    path.write_text(SAYS_LESS, encoding="utf-8")
    migrate(path)
    new = path.read_text(encoding="utf-8")
    assert "instruments:\n  tester: {unit: megaohm, plausible: [0, 100], accuracy: 2 %}\nsteps:\n" in new
    assert (new.count("megaohm"), new.count("accuracy")) == (1, 1)
    assert "say: The flow is judged." not in new
    assert all(kept in new for kept in ("expected: [20, 60]", "# of the pipe", "say: Less comes out than goes in."))
    assert 'insulation_state(flow-in) == "pass"' in new
    assert load.load_procedure(path).step("insulation-state").say == "Insulation state."
    migrate(path)
    assert path.read_text(encoding="utf-8") == new


def test_a_decision_needs_no_sentence_but_one_that_is_read_out_does() -> None:
    text = SAYS_LESS.replace('insulation_state(flow_in) == "pass"', "flow-in > 1")
    silent = load.parse_procedure(text.replace("    say: The flow is judged.\n", ""))
    assert silent.step("insulation-state").say == "Insulation state."
    with pytest.raises(load.FileProblems, match="lacks 'say'"):
        load.parse_procedure(text.replace("say: The flow is judged.", "aloud: true"))


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_what_ships_is_in_todays_format(path: Path) -> None:
    assert migrating.migrate_file(path, write=False) == 0
