"""The chart of a procedure drawn: SVG with its sheets one under another, and a page (HTML) that prints one sheet per page.

Rules of this file:

- It reads in black and white, light and dark; nothing is told by colour.
- Every box has a number. A way that no arrow shows is named by the number and the sheet of where it leads, and is a link.
- Every box has a title for screen readers: all that the step says."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from xml.sax.saxutils import escape, quoteattr

from handsfree.procedure import phrasing
from handsfree.procedure.chart import END, START, Chart, ChartNode, chart_of
from handsfree.procedure.layout import COLUMN, HEIGHT, MARGIN, WIDTH, ChartArrow, ChartBox, Layout, Spot, lay_out
from handsfree.procedure.model import Book

LINE, PAD, ROW = 14.0, 8.0, 14.0  # px
WAY, WAY_LINES = 24, 4  # letters a line of what leads along a way; lines of it
BOLD = 7.4  # px a letter of the bold small text
DOWN = "\N{DOWNWARDS ARROW}"
FINDS = frozenset({"finding", "handover", "end"})
GATES = frozenset({"isolate", "prove", "restore", "handover"})

_STYLE = """
  .sheet text { font: 11px 'DejaVu Sans', Arial, sans-serif; fill: #000 }
  .sheet .head { font-weight: bold } .sheet .big { font-size: 16px; font-weight: bold } .sheet .small { font-size: 10px }
  .paper, .box { fill: #fff } .box { stroke: #000; stroke-width: 1.2 } .box.hazard { stroke-width: 3.5 }
  .frame { fill: none; stroke: #000; stroke-width: 0.6 } .line { fill: none; stroke: #000; stroke-width: 1.2 }
  .thin { stroke: #000; stroke-width: 0.5 } .tip { fill: #000 }
  .ground { fill: url(#hatch); stroke: #000; stroke-width: 1.5; stroke-dasharray: 7 4 } .stripe { stroke: #000 }
  a text { text-decoration: underline }
  @media (prefers-color-scheme: dark) {
    .sheet text { fill: #fff } .paper, .box { fill: #000 } .box, .frame, .line, .thin, .ground, .stripe { stroke: #fff }
    .tip { fill: #fff }
  }
  @media print {
    .sheet text { fill: #000 } .paper, .box { fill: #fff } .box, .frame, .line, .thin, .ground, .stripe { stroke: #000 }
    .tip { fill: #000 }
  }
"""
_DEFS = (
    '<pattern id="hatch" width="9" height="9" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect class="paper" width="9" height="9"/>'
    '<line class="stripe" x1="0" y1="0" x2="0" y2="9" stroke-width="1" stroke-opacity="0.45"/>'
    '</pattern><marker id="tip" viewBox="0 0 10 10" refX="9" refY="5" markerWidth="7" markerHeight="7" orient="auto">'
    '<path class="tip" d="M0 0L10 5L0 10z"/></marker>'
)


@dataclass(frozen=True)
class _Way:
    """`lines`: what is said or holds for it; () for simply going on."""

    to: str
    lines: tuple[str, ...]


@dataclass(frozen=True)
class _Drawing:
    chart: Chart
    code: str
    nodes: Mapping[str, ChartNode]
    ways: Mapping[str, tuple[_Way, ...]]
    layout: Layout

    def tell(self, key: str, **values: object) -> str:
        return phrasing.say(self.code, key, **values)


def svg(book: Book) -> str:
    """All sheets, one under another."""
    drawing = _drawing(book)
    height = drawing.layout.sheets * HEIGHT
    rows = [_opening(height, drawing.chart.title, drawing.code), f"<style>{_STYLE}</style><defs>{_DEFS}</defs>"]
    for sheet in range(drawing.layout.sheets):
        rows += _sheet(drawing, sheet)
    return "\n".join([*rows, "</svg>"]) + "\n"


def html(book: Book) -> str:
    """A page with one picture per sheet: as wide as the window, one sheet per page in print."""
    drawing = _drawing(book)
    rows = [
        f'<!doctype html><html lang="{drawing.code}"><head><meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{escape(drawing.chart.title)}</title><style>{_STYLE}",
        "  :root { color-scheme: light dark } body { margin: 0 auto; max-width: 1100px }",
        "  svg { width: 100%; height: auto; display: block } .defs { position: absolute; width: 0; height: 0 }",
        "  @page { size: A4; margin: 6mm } @media print { svg { break-after: page; height: 284mm } }",
        f'</style></head><body><svg class="defs" aria-hidden="true"><defs>{_DEFS}</defs></svg>',
    ]
    for sheet in range(drawing.layout.sheets):
        title = f"{drawing.chart.title}, {drawing.tell('chart-sheet', n=sheet + 1, of=drawing.layout.sheets)}"
        rows += [_opening(HEIGHT, title, drawing.code, sheet * HEIGHT), *_sheet(drawing, sheet), "</svg>"]
    return "\n".join([*rows, "</body></html>"]) + "\n"


def _drawing(book: Book) -> _Drawing:
    chart = chart_of(book)
    nodes = {node.name: node for node in chart.nodes if node.name not in (START, END)}
    ways = {name: tuple(_ways(chart, node)) for name, node in nodes.items()}
    first = next(to for name, to, _ in chart.edges if name == START)
    shapes = [_shape(node, ways[name]) for name, node in nodes.items()]
    return _Drawing(chart, book.procedures[book.main].language, nodes, ways, lay_out(shapes, first))


def _ways(chart: Chart, node: ChartNode) -> Iterator[_Way]:
    for name, to, label in chart.edges:
        if name == node.name and node.kind != "end":
            lines = textwrap.wrap(label, WAY)
            cut = [*lines[: WAY_LINES - 1], _cut(" ".join(lines[WAY_LINES - 1 :]))] if len(lines) > WAY_LINES else lines
            yield _Way(to, tuple(cut))


def _cut(text: str) -> str:
    """The end of a long case tells it from the others."""
    return text if len(text) <= WAY else f"...{text[3 - WAY :]}"


def _shape(node: ChartNode, ways: tuple[_Way, ...]) -> ChartBox:
    y = PAD + LINE * len(node.lines) + PAD
    rows = []
    for way in ways:
        rows.append(y + ROW / 2)
        y += ROW * len(way.lines)
    height = y + (PAD / 2 if any(way.lines for way in ways) else 0)
    # a way that carries no words leaves from below the box; beside it, from its heading
    rows = [row if way.lines else PAD + LINE / 2 for way, row in zip(ways, rows, strict=True)]
    return ChartBox(node.name, height, tuple(way.to for way in ways), tuple(rows), node.kind in FINDS)


# ---- drawing ----------------------------------------------------------------------------------------------------------


def _opening(height: float, title: str, code: str, top: float = 0) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH:.0f}" height="{height:.0f}" '
        f'viewBox="0 {top:.0f} {WIDTH:.0f} {height:.0f}" role="img" lang="{code}"><title>{escape(title)}</title>'
    )


def _sheet(drawing: _Drawing, sheet: int) -> list[str]:
    """Spots are from the sheet's own corner; the sheets stand one under another."""
    layout = drawing.layout
    here = {name: spot for name, spot in layout.spots.items() if spot.sheet == sheet}
    rows = [f'<g class="sheet" transform="translate(0 {sheet * HEIGHT:.0f})">']
    rows.append(f'<rect class="paper" width="{WIDTH:.0f}" height="{HEIGHT:.0f}"/>')
    rows.append(f'<rect class="frame" x="8" y="8" width="{WIDTH - 16:.0f}" height="{HEIGHT - 16:.0f}"/>')
    rows.append(_text(drawing.chart.title, MARGIN, 34, "big"))
    count = drawing.tell("chart-sheet", n=sheet + 1, of=layout.sheets)
    rows.append(_text(count, WIDTH - MARGIN, 34, "", "end"))
    rows += _grounds(drawing, here)
    arrows = [arrow for arrow in layout.arrows if layout.spots[arrow.name].sheet == sheet]
    for arrow in arrows:
        path = "L".join(f"{x:.1f} {y:.1f}" for x, y in arrow.points)
        rows.append(f'<path class="line" d="M{path}" marker-end="url(#tip)"/>')
    for name, spot in here.items():
        rows += _box(drawing, drawing.nodes[name], spot, [arrow for arrow in arrows if arrow.name == name])
    return [*rows, "</g>"]


def _grounds(drawing: _Drawing, here: Mapping[str, Spot]) -> Iterator[str]:
    """One ground for boxes of a span that follow each other down a column."""
    for column in sorted({spot.column for spot in here.values()}):
        names = sorted((name for name, spot in here.items() if spot.column == column), key=lambda name: here[name].top)
        runs: list[list[str]] = []
        for before, name in pairwise(["", *names]):
            span = drawing.nodes[name].span
            if not span:
                continue
            together = bool(before) and drawing.nodes[before].span == span and not here[name].from_
            runs[-1].append(name) if together and runs and runs[-1][-1] == before else runs.append([name])
        for run in runs:
            first = here[run[0]]
            top, left = first.top - (20 if first.from_ else 14), first.left - 16
            bottom = here[run[-1]].bottom + 18  # room for where the last one leads
            yield (
                f'<rect class="ground" x="{left:.1f}" y="{top:.1f}" width="{COLUMN + 24:.1f}" height="{bottom - top:.1f}"/>'
            )
            yield _named_ground(drawing, run[0], first, any(arrow.to == run[0] for arrow in _falling(drawing)))


def _falling(drawing: _Drawing) -> list[ChartArrow]:
    return [arrow for arrow in drawing.layout.arrows if _straight(arrow) == DOWN]


def _named_ground(drawing: _Drawing, name: str, first: Spot, arrow: bool) -> str:
    """Above the first box: to the right of where it comes from, or to the left of the arrow that comes down on it."""
    named = drawing.chart.spans[drawing.nodes[name].span - 1]
    taken = len(_coming(drawing, name, first.from_)) * 6.3 + 12 if first.from_ else COLUMN / 2 + 6 if arrow else 0.0
    text = named.label if len(named.label) * BOLD <= COLUMN - taken else named.short
    wide = len(text) * BOLD
    x = first.right - wide if first.from_ else first.left
    return (
        f'<rect class="paper" x="{x:.1f}" y="{first.top - 13:.1f}" width="{wide:.1f}" height="12"/>'
        f'<text class="head small" x="{x + 2:.1f}" y="{first.top - 3.5:.1f}">{escape(text)}</text>'
    )


def _box(drawing: _Drawing, node: ChartNode, spot: Spot, arrows: list[ChartArrow]) -> Iterator[str]:
    yield f'<g id="step-{node.name}"><title>{escape(f"{spot.number}. {node.name}: {node.text}")}</title>'
    if spot.from_:
        yield _link(spot.from_, _coming(drawing, node.name, spot.from_), spot.left, spot.top - 5)
    radius = 16 if node.kind == "end" else 0
    style = "box hazard" if node.hazard else "box"
    yield (
        f'<rect class="{style}" x="{spot.left:.1f}" y="{spot.top:.1f}" width="{COLUMN:.1f}" height="{spot.height:.1f}" '
        f'rx="{radius}"/>'
    )
    if node.kind in GATES:  # gates have doubled sides
        for x in (spot.left + 4, spot.right - 4):
            yield f'<line class="thin" x1="{x:.1f}" y1="{spot.top:.1f}" x2="{x:.1f}" y2="{spot.bottom:.1f}"/>'
    y = spot.top + PAD
    for at, line in enumerate(node.lines):
        text = f"{spot.number}  {line}" if at == 0 else line
        strong = "head" if at == 0 or (node.hazard_at and at >= node.hazard_at) else ""
        called = bool(node.calls) and at == len(node.lines) - 1  # the last line of a call names what it does
        drawn = _text(text, spot.left + 10, y + LINE * 0.8, strong)
        yield f"<a href={quoteattr(f'{node.calls}.svg')}>{drawn}</a>" if called else drawn
        y += LINE
    yield from _way_rows(drawing, node, spot, y + PAD, arrows)
    yield "</g>"


def _way_rows(drawing: _Drawing, node: ChartNode, spot: Spot, y: float, arrows: list[ChartArrow]) -> Iterator[str]:
    shown = {arrow.way: arrow for arrow in arrows}
    for at, way in enumerate(drawing.ways[node.name]):
        arrow = shown.get(at)
        if way.lines:
            yield f'<line class="thin" x1="{spot.left:.1f}" y1="{y:.1f}" x2="{spot.right:.1f}" y2="{y:.1f}"/>'
            for line_at, line in enumerate(way.lines):
                yield _text(line, spot.left + 10, y + ROW * (line_at + 0.8), "small")
        goes = _straight(arrow) if arrow is not None else _elsewhere(drawing, way.to, spot.sheet)
        if way.lines and arrow is not None:
            yield _text(goes, spot.right - 8, y + ROW * 0.8, "", "end")
        elif way.lines:
            yield _link(way.to, goes, spot.right - 8, y + ROW * 0.8, "end")
        elif arrow is None:
            down = any(_straight(other) == DOWN for other in arrows)  # another way's arrow goes down the middle
            yield _link(way.to, goes, spot.left + COLUMN / (4 if down else 2), spot.bottom + 13, "middle")
        y += ROW * len(way.lines)


def _straight(arrow: ChartArrow) -> str:
    return DOWN if arrow.points[0][0] == arrow.points[-1][0] else "\N{RIGHTWARDS ARROW}"


def _elsewhere(drawing: _Drawing, to: str, sheet: int) -> str:
    spot = drawing.layout.spots.get(to)
    if spot is None:
        return drawing.tell("chart-end")
    key = "chart-goes" if spot.sheet == sheet else "chart-goes-far"
    return drawing.tell(key, number=spot.number, sheet=spot.sheet + 1)


def _coming(drawing: _Drawing, name: str, from_: str) -> str:
    spot, here = drawing.layout.spots[from_], drawing.layout.spots[name]
    key = "chart-comes" if spot.sheet == here.sheet else "chart-comes-far"
    return drawing.tell(key, number=spot.number, sheet=spot.sheet + 1)


def _link(to: str, text: str, x: float, y: float, anchor: str = "start") -> str:
    drawn = _text(text, x, y, "small", anchor)
    if anchor != "end":  # outside its box, where the ground is hatched
        wide = len(text) * 6.3 + 4
        left = x - (wide / 2 if anchor == "middle" else 2)
        drawn = f'<rect class="paper" x="{left:.1f}" y="{y - 10:.1f}" width="{wide:.1f}" height="12"/>{drawn}'
    return f'<a href="#step-{to}">{drawn}</a>' if to != END else drawn


def _text(text: str, x: float, y: float, style: str = "", anchor: str = "start") -> str:
    return f'<text class="{style}" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(text)}</text>'
