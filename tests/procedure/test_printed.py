"""The printed copy: a box at each gate, a line for each reading, every way in words, tables that say what functions say."""

from __future__ import annotations

import ast
import math
import random
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from handsfree.procedure import evaluation
from handsfree.procedure.copying import ARROW, BOX, HARD
from handsfree.procedure.expressions import name_of, parse_expression
from handsfree.procedure.load import load_book, load_procedure, procedure_files
from handsfree.procedure.model import Book, Decide, Prove, Read
from handsfree.procedure.paper import card, pdf
from handsfree.procedure.printed import lines_of, markdown
from handsfree.procedure.worked_out import Table, table_of
from handsfree.resources import shipped_folder

DATA = Path(__file__).parent / "data"


@pytest.fixture(scope="module")
def book() -> Book:
    return load_book(DATA / "warm-cabinet.yaml", [])


@pytest.fixture(scope="module")
def steps(book: Book) -> dict[int, str]:
    parts = re.split(r"^### Step (\d+)$", markdown(book), flags=re.M)
    return {int(number): text for number, text in zip(parts[1::2], parts[2::2], strict=True)}


def _numbered(book: Book) -> dict[tuple[str, str], int]:
    parts = dict.fromkeys((book.main, *book.procedures))
    places = [(name, step.id) for name in parts for step in book.procedures[name].steps]
    return {place: number for number, place in enumerate(places, start=1)}


def test_a_step_says_what_there_is_to_do_and_where_it_leads(book: Book, steps: dict[int, str]) -> None:
    at = {step: number for (part, step), number in _numbered(book).items() if part == book.main}
    main = {step.id: step for step in book.procedures[book.main].steps}
    assert len(steps) == sum(len(one.steps) for one in book.procedures.values())
    assert book.digests["warm-cabinet"] in markdown(book)
    gate = next(number for name, number in at.items() if main[name].kind == "isolate")
    boxes = [row for row in steps[gate].splitlines() if row.startswith("- [ ] ")]
    assert boxes[:2] == ["- [ ] Set the power switch behind the kick plate to off.", "- [ ] Pull the plug."]
    assert "My lock's number: ______  Name: ____" in steps[gate]
    reading = next(number for name, number in at.items() if main[name].kind == "read")
    assert "______________ °F" in steps[reading]
    for name, number in at.items():
        if main[name].behind_gate:
            assert "Only while isolated and proved dead." in steps[number]
    assert "**CAUTION**" in markdown(book)
    assert "Do all of part 2, steps" in markdown(book)
    assert "Go back." in markdown(book)


BOOKS = [path for path in procedure_files(shipped_folder("procedures")) if load_procedure(path).language == "en"]


@pytest.mark.parametrize("path", BOOKS, ids=lambda path: path.stem)
def test_every_gate_has_a_box_and_every_way_a_step(path: Path) -> None:
    book = load_book(path)
    lines = list(lines_of(book))
    known = {line.number for line in lines if line.style == "step"}
    everything = [step for one in book.procedures.values() for step in one.steps]
    assert known == set(range(1, len(everything) + 1))
    for line in lines:
        assert {int(found) for found in re.findall(rf"{ARROW}{HARD}(\d+)", line.text)} <= known
    text, kinds = markdown(book), [step.kind for step in everything]
    locked = sum(step.kind == "isolate" and bool(book.energy.with_lock(step.sources)) for step in everything)
    assert text.count("Isolated and locked.") == locked
    assert text.count("- [ ] Clear.") == kinds.count("restore")
    assert sum(line.style == "signal" for line in lines) == kinds.count("caution")


@pytest.mark.parametrize("path", BOOKS, ids=lambda path: path.stem)
def test_no_word_of_the_program_is_an_instruction(path: Path) -> None:
    """No expression, no id, no name of a function; what a procedure says in quotes stands as it was written."""
    book = load_book(path)
    said = " ".join(line.text for line in lines_of(book) if line.style not in ("small", "title"))
    assert not re.search(r"[=!<>]=|\w\(\w|\brows\b|\btaken\b|[a-z]_[a-z]", said), re.findall(r".{20}[a-z]_[a-z].{20}", said)
    own = " ".join(step.say for one in book.procedures.values() for step in one.steps)
    own += " ".join(one.title for one in book.procedures.values())
    for one in book.procedures.values():
        for step in one.steps:
            if "-" in step.id and step.id not in own and step.kind in ("read", "ask", "decide", "call"):
                assert not re.search(rf"(?<![\w-]){step.id}(?![\w-])", said), step.id
            if isinstance(step, Decide):
                nodes = [node for case in step.cases for node in ast.walk(parse_expression(case.when))]
                quoted = {node.value for node in nodes if isinstance(node, ast.Constant) and isinstance(node.value, str)}
                assert all(f'"{text}"' in said for text in quoted - {"proof", "food"})


def test_a_proof_is_by_its_own_method(book: Book) -> None:
    """One that is looked at is not tried; a try that can prove nothing is measured instead."""
    text = markdown(book)
    proofs = [step for one in book.procedures.values() for step in one.steps if isinstance(step, Prove)]
    tries = sum(step.method == "switch" for step in proofs)
    assert text.count("Nothing was seen running before: measure instead.") == tries


def _calls(name: str) -> list[tuple[str, str]]:
    book = load_book(name)
    found = {}
    for one in book.procedures.values():
        for step in one.steps:
            for case in step.cases if isinstance(step, Decide) else ():
                for node in ast.walk(parse_expression(case.when)):
                    if isinstance(node, ast.Call) and table_of(one, node).by not in ("hand",):
                        found[one.procedure, ast.unparse(node)] = None
    return list(found)


CALLS = [(part, call) for part, call in _calls("dead-or-trips") if not call.startswith("celsius(")]


@pytest.mark.parametrize(("part", "call"), CALLS)
def test_a_table_says_what_the_function_says(part: str, call: str) -> None:
    """At random readings; but within 1 % of an edge, where it is rounded."""
    procedure = load_book("dead-or-trips").procedures[part]
    node, dice = parse_expression(call), random.Random(3)
    assert isinstance(node, ast.Call)
    table, tried = table_of(procedure, node), 0
    ranges = {name_of(step.id): step.plausible for step in procedure.steps if isinstance(step, Read)}
    for _ in range(300):
        values = {axis.name: dice.uniform(*_worth(ranges[axis.name])) for axis in table.axes}
        if table.by == "two":
            values[table.axes[-1].name] = dice.choice([value for value, _ in table.rows if value is not None])
        said = _looked_up(table, values)
        if said is not None and table.by != "numbers":
            assert said == _word(evaluation.value_of(node, dict(values))), values
            tried += 1
    assert tried > 50 or table.by in ("numbers", "cases")


def _worth(plausible: tuple[float, float]) -> tuple[float, float]:
    low, high = plausible
    return (low, min(high, 400.0)) if high > 1000 else (low, high)


def _word(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.2g}" if isinstance(value, float) else str(value or "")


def _looked_up(table: Table, values: dict[str, float]) -> str | None:
    """None within 1 % of an edge."""
    if not table.axes:
        return None
    first, last = table.axes[0].name, table.axes[-1].name
    x = values[first]
    if table.by == "difference":
        x -= values[last]
    elif table.by == "ratio":
        x /= values[last] or 1.0
    cells = next((cells for value, cells in table.rows if value is None or value == values[last]), ())
    if any(math.isfinite(edge) and abs(x - edge) <= 0.011 * abs(edge) for cell in cells for edge in cell[:2]):
        return None
    return next((text for low, high, text in cells if low < x <= high), "")


def test_too_warm_with_all_it_calls_fits_ten_pages(tmp_path: Path) -> None:
    if shutil.which("pdfinfo") is None:
        pytest.skip("pdfinfo is not installed")
    book = load_book("too-warm")
    data = pdf(book)
    (tmp_path / "copy.pdf").write_bytes(data)
    (tmp_path / "card.pdf").write_bytes(card(book))
    told = subprocess.run(["pdfinfo", tmp_path / "copy.pdf"], capture_output=True, text=True, check=True).stdout
    pages = int(re.findall(r"Pages:\s+(\d+)", told)[0])
    assert pages <= 10
    told = subprocess.run(["pdfinfo", tmp_path / "card.pdf"], capture_output=True, text=True, check=True).stdout
    assert "Pages:           1\n" in told
    words = ["pdftotext", "-layout", tmp_path / "copy.pdf", "-"]
    text = subprocess.run(words, capture_output=True, text=True, check=True).stdout
    sheets = text.split("\f")
    for title, page in re.findall(r"Part \d+: ([^:]+): steps \d+ to \d+, p\. (\d+)", text):
        assert re.search(rf"Part \d+: {title}\s", sheets[int(page) - 1]), "the contents name the page of each part"
    for number, page in re.findall(r" (\d+) \(p\. (\d+)\)", text)[:200]:
        assert re.search(rf"(^|\s){number}\s", sheets[int(page) - 1]), "a way names the page of its step"


def test_pdf(book: Book, tmp_path: Path) -> None:
    data = pdf(book)
    assert data.startswith(b"%PDF-")
    assert data == pdf(book)
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed")
    (tmp_path / "copy.pdf").write_bytes(data)
    text = subprocess.run(["pdftotext", tmp_path / "copy.pdf", "-"], capture_output=True, check=True, text=True).stdout
    found = set(re.findall(r"[A-Za-z]{3,}", text))
    for line in lines_of(book):
        if line.style not in ("gate", "step", "small"):
            assert set(re.findall(r"[A-Za-z]{3,}", line.text.replace(BOX, " "))) <= found, line
