"""The printed copy: a box at each gate, a line for each reading, every way on."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from handsfree.procedure.load import load_book, load_procedure, procedure_files
from handsfree.procedure.model import Book
from handsfree.procedure.printed import lines_of, markdown, pdf
from handsfree.resources import folder

DATA = Path(__file__).parent / "data"


@pytest.fixture(scope="module")
def book() -> Book:
    return load_book(DATA / "warm-cabinet.yaml", [])


def test_markdown(book: Book) -> None:
    text = markdown(book)
    steps = dict(re.findall(r"### Step ([\d.]+)\n\n(.*?)(?=\n\n\n|\Z)", text, re.DOTALL))
    assert len(steps) == sum(len(one.steps) for one in book.procedures.values())
    assert book.digests["warm-cabinet"] in text
    gate = steps["1.7"]
    assert [row for row in gate.splitlines() if row.startswith("- [ ] ")][:2] == [
        "- [ ] Set the power switch behind the kick plate to off.", "- [ ] Pull the plug.",
    ]  # fmt: skip
    assert "Number on my lock: ______" in gate
    assert steps["1.8"].count("- [ ]") == 5
    assert "Only while isolated" in steps["1.9"]
    assert "cabinet air: ______________ °F" in steps["1.4"]
    assert "- If over range: go to step 1.16." in steps["1.4"]
    assert "If [1.4] \\> 41 and [1.2] = 'lit': go to step 1.6." in steps["1.5"]
    assert "**CAUTION**" in steps["1.6"]
    assert "Do all of part 2" in steps["1.3"]
    assert "go back to the step that called it" in steps["2.4"]
    assert "Tell them the answers of steps 1.2, 1.4." in steps["1.18"]


def test_what_belongs_to_a_step_is_indented_under_it(book: Book) -> None:
    from handsfree.procedure.printed import _PDF

    styles = {line.text.split()[0]: line.style for line in lines_of(book)}
    assert (styles["Expected:"], styles["Instrument:"]) == ("detail", "detail")
    assert _PDF["detail"][2] == _PDF["say"][2] == _PDF["plain"][2]


ENGLISH = [path for path in procedure_files(folder("procedures")) if load_procedure(path).language == "en"]


@pytest.mark.parametrize("path", ENGLISH, ids=lambda path: path.stem)
def test_every_gate_has_a_box_and_every_number_a_step(path: Path) -> None:
    book = load_book(path)
    lines = list(lines_of(book))
    known = {line.text.split()[-1] for line in lines if line.style == "step"}
    for line in lines:
        if line.style == "go":
            assert set(re.findall(r"step (\d+\.\d+)", line.text)) <= known
    kinds = [step.kind for one in book.procedures.values() for step in one.steps]
    text = markdown(book)
    assert text.count("- [ ] Isolated and locked.") == kinds.count("isolate")
    assert text.count("- [ ] Clear.") == kinds.count("restore")
    assert len([line for line in lines if line.style == "signal"]) == kinds.count("caution")


def test_pdf(book: Book, tmp_path: Path) -> None:
    data = pdf(book)
    assert data.startswith(b"%PDF-")
    assert data == pdf(book)
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed")
    (tmp_path / "copy.pdf").write_bytes(data)
    text = subprocess.run(
        ["pdftotext", "-layout", tmp_path / "copy.pdf", "-"], capture_output=True, check=True, text=True
    ).stdout
    for line in lines_of(book):
        assert " ".join(line.text.split())[:40] in " ".join(text.split())
