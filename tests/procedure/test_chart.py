"""Charts: everything is on them, nothing overlaps, spans and hazards are marked without colour."""

from __future__ import annotations

import itertools
import re
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pytest

from handsfree.procedure.chart import END, START, chart_of, mermaid_text
from handsfree.procedure.chart_drawing import _Drawing, _drawing, _sheet, html, svg
from handsfree.procedure.layout import HEIGHT, MARGIN, WIDTH, Spot
from handsfree.procedure.load import book_of, load_book, parse_procedure, procedure_files
from handsfree.procedure.model import Book
from handsfree.resources import shipped_folder

DATA = Path(__file__).parent / "data"
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def book() -> Book:
    return load_book(DATA / "warm-cabinet.yaml", [])


def test_every_step_answer_and_hazard_is_on_the_picture(book: Book) -> None:
    root = ElementTree.fromstring(svg(book))
    texts = [element.text or "" for element in root.iter(f"{SVG}text")]
    for step in book.procedures["warm-cabinet"].steps:
        assert sum(bool(re.match(rf"\d+  {step.id} \[", text)) for text in texts) == 1
    for said in ("dark", "lit", "running", "silent", "over range", "unsteady", "otherwise"):
        assert sum(said in text.split(", ") for text in texts) == 1
    assert "HAZARD: moving fan, sharp fins" in texts
    assert any(text.startswith("ISOLATED 1") for text in texts)
    thick = [element for element in root.iter() if "hazard" in element.get("class", "").split()]
    assert len(thick) == 3  # the caution, the isolation, the work
    assert [element for element in root.iter(f"{SVG}rect") if element.get("class") == "ground"]
    assert "fill: url(#hatch)" in svg(book)


def test_a_reader_of_the_screen_is_told_all_that_a_step_says(book: Book) -> None:
    titles = [element.text or "" for element in ElementTree.fromstring(svg(book)).iter(f"{SVG}title")]
    for step in book.procedures["warm-cabinet"].steps:
        assert any(title.endswith(f"{step.id}: {step.say}") for title in titles)


def test_it_is_black_and_white(book: Book) -> None:
    colours = set(re.findall(r"#[0-9a-fA-F]{3,6}\b", svg(book)))
    assert colours <= {"#000", "#fff"}


def test_a_page_has_a_picture_a_sheet_and_prints_them_apart() -> None:
    book = load_book("too-warm")
    page = html(book)
    sheets = len(re.findall(r"sheet \d+ of \d+</title>", page))
    assert sheets > 1
    assert page.count('role="img"') == sheets
    assert "break-after: page" in page


def test_the_span_holds_what_is_met_isolated(book: Book) -> None:
    chart = chart_of(book)
    assert [node.name for node in chart.nodes if node.span] == ["dead", "brush", "back-on"]
    assert [span.label for span in chart.spans] == ["ISOLATED 1 by unplug"]
    assert (START, "greet", "") in chart.edges
    assert ("fixed", END, "") in chart.edges


@pytest.fixture(params=procedure_files(shipped_folder("procedures")), ids=lambda path: path.stem, scope="module")
def drawn(request: pytest.FixtureRequest) -> _Drawing:
    return _drawing(load_book(request.param))


def test_boxes_stand_on_their_sheet_and_never_overlap(drawn: _Drawing) -> None:
    spots = drawn.layout.spots
    assert set(spots) == {node.name for node in drawn.chart.nodes} - {START, END}
    assert sorted(spot.number for spot in spots.values()) == list(range(1, len(spots) + 1))
    for spot in spots.values():
        assert spot.left >= MARGIN
        assert spot.right <= WIDTH - MARGIN
        assert spot.bottom <= HEIGHT - MARGIN
    for one, other in itertools.combinations(spots.values(), 2):
        assert one.sheet != other.sheet or not _overlap(one, other)


def _overlap(a: Spot, b: Spot) -> bool:
    return a.left < b.right and b.left < a.right and a.top < b.bottom and b.top < a.bottom


def test_no_arrow_crosses_a_box_or_another_arrow(drawn: _Drawing) -> None:
    spots = drawn.layout.spots
    by_sheet = itertools.groupby(
        sorted(drawn.layout.arrows, key=lambda arrow: spots[arrow.name].sheet), key=lambda arrow: spots[arrow.name].sheet
    )
    for sheet, arrows in by_sheet:
        parts = [(at, part) for at, arrow in enumerate(arrows) for part in itertools.pairwise(arrow.points)]
        for (one, a), (other, b) in itertools.combinations(parts, 2):
            assert one == other or not _cross(a, b), (a, b)
        for _, ((x1, y1), (x2, y2)) in parts:
            for spot in spots.values():
                inside_x = min(x1, x2) < spot.right - 0.5 and max(x1, x2) > spot.left + 0.5
                inside_y = min(y1, y2) < spot.bottom - 0.5 and max(y1, y2) > spot.top + 0.5
                assert spot.sheet != sheet or not (inside_x and inside_y)


Part = tuple[tuple[float, float], tuple[float, float]]


def _cross(a: Part, b: Part) -> bool:
    """Lines along the axes that share a point."""
    (ax1, ay1), (ax2, ay2) = a
    (bx1, by1), (bx2, by2) = b
    apart_x = max(ax1, ax2) < min(bx1, bx2) or max(bx1, bx2) < min(ax1, ax2)
    apart_y = max(ay1, ay2) < min(by1, by2) or max(by1, by2) < min(ay1, ay2)
    return not apart_x and not apart_y


def test_every_way_is_shown_by_an_arrow_or_named_by_its_number(drawn: _Drawing) -> None:
    """Counted on the picture itself: each way has one arrow or one link."""
    root = ElementTree.fromstring("\n".join(row for row in _rows(drawn)))
    links = [element for element in root.iter("a") if (element.get("href") or "").startswith("#step-")]
    coming = sum(bool(spot.from_) for spot in drawn.layout.spots.values())
    to_end = sum(way.to == END for ways in drawn.ways.values() for way in ways)
    ways = sum(len(some) for some in drawn.ways.values())
    assert len(drawn.layout.arrows) + len(links) - coming + to_end == ways


def _rows(drawn: _Drawing) -> list[str]:
    return ["<svg>", *(row for sheet in range(drawn.layout.sheets) for row in _sheet(drawn, sheet)), "</svg>"]


def test_mermaid(book: Book) -> None:
    text = mermaid_text(book)
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
    chart = chart_of(book_of(parse_procedure(OVER_RANGE_ELSEWHERE)))
    assert [(to, label) for a, to, label in chart.edges if a == "volts"] == [("done", ""), ("far", "over range")]
