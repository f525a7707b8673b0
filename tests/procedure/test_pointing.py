"""What check finds stands at its field, once, and in a form that an editor shows."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from handsfree.cli import app
from handsfree.procedure.check import check_file

TEXT = """\
procedure: pump
title: Pump
steps:
  - id: look
    kind: ask
    say: Look at the pump. Is it running or stopped?
    answers:
      stopped: {go: over}
      ripped: {go: over}

  - id: belt
    kind: instruct
    minutes: 2
    say: The belt is tightened by the spring.

  - {id: over, kind: end, outcome: done, say: Over.}
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    file = tmp_path / "pump.yaml"
    file.write_text(TEXT, encoding="utf-8")
    return file


def test_a_remark_stands_where_its_words_stand(path: Path) -> None:
    rows = TEXT.splitlines()
    found = {remark.group: rows[remark.line - 1].strip() for remark in check_file(path).remarks if remark.step}
    assert found["sound"] == "ripped: {go: over}"
    assert found["wording"] == "say: The belt is tightened by the spring."


def test_a_step_that_only_leads_to_itself_is_one_fault(path: Path) -> None:
    path.write_text(TEXT.replace("minutes: 2", "go: belt").replace("stopped: {go: over}", "stopped: {go: belt}"))
    graph = [remark for remark in check_file(path).remarks if remark.group == "graph"]
    assert [remark.step for remark in graph] == ["belt"]


def test_sarif(path: Path, tmp_path: Path) -> None:
    """The names by section of the standard: 3.13 log, 3.14 run, 3.18 tool, 3.27 result, 3.28 location, 3.30 region."""
    out = tmp_path / "found.sarif"
    with pytest.raises(SystemExit) as left:
        app(["check", str(path), "--sarif", str(out)])
    assert left.value.code == 1
    log = json.loads(out.read_text(encoding="utf-8"))
    assert log["version"] == "2.1.0"
    (run,) = log["runs"]
    assert run["tool"]["driver"]["name"] == "handsfree"
    rules = [rule["id"] for rule in run["tool"]["driver"]["rules"]]
    report = check_file(path)
    assert len(run["results"]) == len(report.remarks) > 1
    for result, remark in zip(run["results"], report.remarks, strict=True):
        assert rules[result["ruleIndex"]] == result["ruleId"] == remark.group
        assert result["level"] in ("error", "warning", "note")
        assert remark.why in result["message"]["text"]
        (location,) = result["locations"]
        assert location["physicalLocation"]["artifactLocation"]["uri"] == path.resolve().as_uri()
        assert location["physicalLocation"]["region"] == {"startLine": remark.line}
