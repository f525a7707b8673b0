"""Charts: everything is on them, nothing overlaps, spans and hazards are marked without colour."""

from __future__ import annotations

import itertools
import re
import shutil
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pytest

from handsfree.procedure.chart import END, START, chart_of, mermaid, svg
from handsfree.procedure.layout import Box, by_graphviz, by_layers
from handsfree.procedure.load import book_of, load_book, parse, procedure_files
from handsfree.procedure.model import Book
from handsfree.resources import folder

DATA = Path(__file__).parent / "data"
SVG = "{http://www.w3.org/2000/svg}"
WAYS = [False, pytest.param(True, marks=pytest.mark.skipif(shutil.which("dot") is None, reason="Graphviz is not installed"))]


@pytest.fixture(scope="module")
def book() -> Book:
    return load_book(DATA / "warm-cabinet.yaml", [])


@pytest.mark.parametrize("graphviz", WAYS)
def test_every_step_answer_and_hazard_is_on_the_picture(book: Book, graphviz: bool) -> None:
    root = ElementTree.fromstring(svg(book, graphviz))
    texts = [element.text or "" for element in root.iter(f"{SVG}text")]
    for step in book.procedures["warm-cabinet"].steps:
        assert sum(text.startswith(f"{step.id} [") for text in texts) == 1
    for said in ("dark", "lit", "running", "silent", "over range", "unsteady", "otherwise"):
        assert texts.count(said) == 1
    assert "HAZARD: moving fan, sharp fins" in texts
    assert "ISOLATED 1" in texts
    thick = [element for element in root.iter() if "hazard" in element.get("class", "").split()]
    assert len(thick) == 3  # the caution, the isolation, the work
    grounds = [element for element in root.iter(f"{SVG}rect") if element.get("class") == "ground"]
    assert grounds
    assert "fill: url(#hatch)" in svg(book, graphviz)


@pytest.mark.parametrize("graphviz", WAYS)
def test_it_is_black_and_white(book: Book, graphviz: bool) -> None:
    colours = set(re.findall(r"#[0-9a-fA-F]{3,6}\b", svg(book, graphviz)))
    assert colours <= {"#000", "#fff"}


def test_the_span_holds_what_is_met_isolated(book: Book) -> None:
    chart = chart_of(book)
    assert [node.name for node in chart.nodes if node.span] == ["dead", "brush", "back-on"]
    assert [span.label for span in chart.spans] == ["ISOLATED 1 by unplug"]
    assert (START, "greet", "") in chart.edges
    assert ("fixed", END, "") in chart.edges


@pytest.mark.parametrize("layout", [by_layers, pytest.param(by_graphviz, marks=WAYS[1].marks)])  # type: ignore[union-attr]
@pytest.mark.parametrize("path", procedure_files(folder("procedures"))[:8], ids=lambda path: path.stem)
def test_boxes_never_overlap(path: Path, layout: object) -> None:
    from handsfree.procedure.chart import _size

    chart = chart_of(load_book(path))
    sizes = {node.name: _size(node) for node in chart.nodes}
    picture = layout(sizes, chart.edges, {node.name: node.span for node in chart.nodes})  # type: ignore[operator]
    assert picture is not None
    assert set(picture.boxes) == set(sizes)
    assert len(picture.arrows) == len(chart.edges)
    for one, other in itertools.combinations(picture.boxes.values(), 2):
        assert not _overlap(one, other)
    for name, box in picture.boxes.items():
        span = next(node.span for node in chart.nodes if node.name == name)
        if span:
            assert any(at == span and _inside(box, ground) for at, ground in picture.grounds)


def _overlap(a: Box, b: Box) -> bool:
    return a.left < b.left + b.width and b.left < a.left + a.width and a.top < b.top + b.height and b.top < a.top + a.height


def _inside(a: Box, b: Box) -> bool:
    return (
        b.left <= a.left and a.left + a.width <= b.left + b.width and b.top <= a.top and a.top + a.height <= b.top + b.height
    )


def test_without_graphviz_it_still_draws(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    assert svg(book) == svg(book, graphviz=False)


def test_mermaid(book: Book) -> None:
    text = mermaid(book)
    assert text.startswith("---\ntitle: ")
    assert "flowchart TD" in text
    assert 'subgraph span1["ISOLATED 1 by unplug"]' in text
    names = set(re.findall(r"^ +(n\d+)[\[{(>]", text, re.MULTILINE))
    assert len(names) == len(book.procedures["warm-cabinet"].steps) + 2
    for a, b in re.findall(r"^  (n\d+) -->(?:\|.*?\|)? (n\d+)$", text, re.MULTILINE):
        assert {a, b} <= names
    assert text.count("-->") == len(chart_of(book).edges)
    assert not re.search(r'"[^"\n]*[<>](?!br/>|/?br)[^"\n]*"', text.replace("<br/>", ""))


OVER_RANGE_ELSEWHERE = """\
procedure: meter
title: A meter
steps:
  - {id: volts, kind: read, say: Give volts., quantity: supply, unit: volt, plausible: [0, 300], over_range: far}
  - {id: done, kind: end, say: "Done.", outcome: done}
  - {id: far, kind: end, say: "Too high.", outcome: not fixed}
"""


def test_the_ordinary_way_of_a_reading_carries_no_label() -> None:
    chart = chart_of(book_of(parse(OVER_RANGE_ELSEWHERE)))
    assert [(to, label) for a, to, label in chart.edges if a == "volts"] == [("done", ""), ("far", "over range")]
