"""The verbs, as the command line calls them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from handsfree.errors import Trouble
from handsfree.procedure import commands
from handsfree.procedure.load import load_book

DATA = Path(__file__).parent / "data"
WARM = str(DATA / "warm-cabinet.yaml")


def test_chart_to_file_and_to_standard_output(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    commands.chart(WARM, tmp_path / "flow.svg")
    assert (tmp_path / "flow.svg").read_text(encoding="utf-8").startswith("<svg ")
    capsys.readouterr()
    commands.chart(WARM, mermaid=True)
    assert "flowchart TD" in capsys.readouterr().out


def test_print_copy(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    commands.print_copy(WARM, tmp_path / "copy.pdf")
    assert (tmp_path / "copy.pdf").read_bytes().startswith(b"%PDF")
    commands.print_copy(WARM, tmp_path / "copy.md")
    capsys.readouterr()
    commands.print_copy(WARM)
    assert capsys.readouterr().out == (tmp_path / "copy.md").read_text(encoding="utf-8")


def test_a_place_that_cannot_be_written(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match="cannot be written"):
        commands.chart(WARM, tmp_path / "absent" / "flow.svg")


@pytest.mark.parametrize("name", ["copy.docx", "copy.svg", "copy.PNG"])
def test_a_copy_is_not_written_as_another_kind_of_file(name: str, tmp_path: Path) -> None:
    with pytest.raises(Trouble, match=r"A printed copy is written as \.pdf or \.md or \.txt, not as"):
        commands.print_copy(WARM, tmp_path / name)
    assert list(tmp_path.iterdir()) == []


def test_a_chart_is_not_written_as_another_kind_of_file(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match=r"A chart is written as \.svg or \.html, not as '\.png'"):
        commands.chart(WARM, tmp_path / "flow.png")
    with pytest.raises(Trouble, match=r"not as '\.svg'"):
        commands.chart(WARM, tmp_path / "flow.svg", mermaid=True)
    commands.chart(WARM, tmp_path / "flow", mermaid=True)  # a name without an ending promises nothing
    assert [path.name for path in tmp_path.iterdir()] == ["flow"]


def test_compare(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    new = (DATA / "ask-and-read.yaml").read_text(encoding="utf-8").replace("air > 5", "air > 6")
    (tmp_path / "ask-and-read.yaml").write_text(new, encoding="utf-8")
    old, new_book = (load_book(place / "ask-and-read.yaml") for place in (DATA, tmp_path))
    commands.compare(old, new_book, as_json=True)
    rows = capsys.readouterr().out.splitlines()
    assert rows[0] == "Other changes:"
    assert all(not change["safety"] for change in json.loads(rows[-1])["changes"])


def test_schema_and_list(capsys: pytest.CaptureFixture[str]) -> None:
    commands.schema()
    assert json.loads(capsys.readouterr().out)["title"] == "Procedure"
    commands.list_procedures(as_json=True)
    rows = capsys.readouterr().out.splitlines()
    names = [one["name"] for one in json.loads(rows[-1])["procedures"]]
    assert "condenser-cleaning" in names
    assert len(rows) == len(names) + 1
