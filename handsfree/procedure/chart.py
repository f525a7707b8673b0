"""The flow of a procedure as a picture (SVG) and as Mermaid text. Readable in black and white.

Rules of this file:

- What a step is, is written on it; shapes and line weights only help. Nothing is told by colour.
- Steps that are met under isolation stand on hatched ground, labelled. Steps that name a hazard have a thick edge and say
  so in words.
- A call is one box; the called procedure has a chart of its own.
- Where the boxes stand comes from Graphviz when it is there, else from `layout.py`; the drawing is the same.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any
from xml.sax.saxutils import escape

from handsfree.language.quantities import symbol
from handsfree.procedure import phrasing
from handsfree.procedure.compare import states
from handsfree.procedure.graph import ways
from handsfree.procedure.layout import Arrow, Box, Picture, by_graphviz, by_layers
from handsfree.procedure.model import Book, Call, Caution, Isolate, Prove, Read, Restore, Step, Wait
from handsfree.procedure.proofs import State

WIDTH = 30  # letters a line
LINES = 4  # of what a step says
LINE, PAD = 15, 9  # px
START, END = "(start)", "(end)"


@dataclass(frozen=True)
class Node:
    """`lines`: the first is its heading. `span`: number of the isolation it stands in, 0 for none."""

    name: str
    kind: str
    lines: tuple[str, ...]
    hazard: bool
    span: int
    hazard_at: int = 0  # the line that begins to name them, 0 for none


@dataclass(frozen=True)
class Span:
    """What stands on the ground of an isolation, and the same with the step that isolates."""

    short: str
    label: str


@dataclass(frozen=True)
class Chart:
    title: str
    nodes: tuple[Node, ...]
    edges: tuple[tuple[str, str, str], ...]  # from, to, label
    spans: tuple[Span, ...]  # 1, 2, ...


def chart_of(book: Book) -> Chart:
    """Of the book's main procedure."""
    procedure = book.procedures[book.main]
    code = procedure.language
    met = {step: held for (name, step), held in states(book).items() if name == book.main}
    ids = [step.id for step in procedure.steps]
    edges: list[tuple[str, str, str]] = [(START, ids[0], "")]
    for step in procedure.steps:
        merged: dict[str, list[str]] = {}
        for way in ways(procedure, step):
            merged.setdefault(way.to or END, []).append(phrasing.way(code, step, way.name))
        for to, names in merged.items():
            plain = "" in names or len(merged) == 1  # the ordinary way carries no label, whatever else leads along it
            edges.append((step.id, to, "" if plain else ", ".join(names)))
    spans, labels = _spans(procedure.steps, met, edges, code)
    nodes = (
        Node(START, "start", (procedure.title,), False, 0),
        *(
            _node_of(step, code, spans.get(step.id, 0)) for step in procedure.steps
        ),
        Node(END, "finish", (phrasing.say(code, "chart-end"),), False, 0),
    )
    named = {"title": procedure.title, "procedure": procedure.procedure, "version": procedure.version}
    return Chart(phrasing.say(code, "chart-title", **named), nodes, tuple(edges), labels)


def _node_of(step: Step, code: str, span: int) -> Node:
    lines, hazards = tuple(_lines(step, code)), tuple(_hazard_lines(step, code))
    return Node(step.id, step.kind, (*lines, *hazards), bool(hazards), span, len(lines) if hazards else 0)


def _spans(
    steps: Sequence[Step], met: dict[str, frozenset[State]], edges: list[tuple[str, str, str]], code: str
) -> tuple[dict[str, int], tuple[Span, ...]]:
    """Steps that are only ever met isolated (or about to be proved), joined to spans along the edges."""
    import networkx as nx

    inside = [step.id for step in steps if met.get(step.id) and State.LIVE not in met[step.id]]
    graph = nx.Graph()
    graph.add_nodes_from(inside)
    graph.add_edges_from((a, b) for a, b, _ in edges if a in graph and b in graph)
    groups = sorted(
        (sorted(group, key=inside.index) for group in nx.connected_components(graph)), key=lambda g: inside.index(g[0])
    )
    spans = {name: at for at, group in enumerate(groups, start=1) for name in group}
    kinds = {step.id: step for step in steps}
    labels = []
    for at, group in enumerate(groups, start=1):
        by = [a for a, b, _ in edges if b in group and a in kinds and isinstance(kinds[a], Isolate)]
        short = phrasing.say(code, "chart-span", n=at)
        labels.append(Span(short, phrasing.say(code, "chart-span-by", n=at, step=by[0]) if by else short))
    return spans, tuple(labels)


Tell = Callable[..., str]
_EXTRA: dict[type[Any], Callable[[Any, Tell], str]] = {
    Isolate: lambda step, tell: tell("chart-isolates", sources=", ".join(step.sources)),
    Prove: lambda step, tell: (
        tell("chart-proved-below", method=tell("method-meter"), below=f"{step.below:g}", unit=symbol(step.unit).strip())
        if step.method == "meter" else tell("chart-proved", method=tell("method-switch"))
    ),
    Read: lambda step, tell: tell(
        "chart-reads", low=f"{step.plausible[0]:g}", high=f"{step.plausible[1]:g}", unit=symbol(step.unit).strip()
    ).strip(),
    Wait: lambda step, tell: tell("chart-leaves" if step.leaves_site else "chart-waits", lasts=step.lasts),
    Call: lambda step, tell: tell("chart-calls", procedure=step.procedure),
    Restore: lambda step, tell: tell("chart-restores"),
}  # fmt: skip


def _lines(step: Step, code: str) -> Iterator[str]:
    tell = partial(phrasing.say, code)
    kind = tell(f"level-{step.level}").upper() if isinstance(step, Caution) else tell(f"kind-{step.kind}")
    yield f"{step.id} [{kind}]"
    wrapped = textwrap.wrap(step.say, WIDTH)
    yield from wrapped[: LINES - 1]
    if len(wrapped) >= LINES:
        yield wrapped[LINES - 1] if len(wrapped) == LINES else wrapped[LINES - 1][: WIDTH - 3] + "..."
    extra = _EXTRA.get(type(step))
    if extra is not None:
        yield from textwrap.wrap(extra(step, tell), WIDTH)


def _hazard_lines(step: Step, code: str) -> list[str]:
    named = ", ".join(phrasing.value(code, "hazard", hazard.value) for hazard in step.hazards)
    return textwrap.wrap(phrasing.say(code, "chart-hazard", hazards=named), WIDTH) if named else []


# ---- Mermaid --------------------------------------------------------------------------------------------------------

_MERMAID = {
    "ask": ("{{", "}}"), "decide": ("{", "}"), "read": ("[/", "/]"), "isolate": ("[[", "]]"), "prove": ("[[", "]]"),
    "restore": ("[[", "]]"), "end": ("([", "])"), "start": ("([", "])"), "finish": ("((", "))"), "call": ("[[", "]]"),
    "wait": (">", "]"),
}  # fmt: skip


def mermaid(book: Book) -> str:
    """Flow chart text; the spans are subgraphs."""
    chart = chart_of(book)
    names = {node.name: f"n{at}" for at, node in enumerate(chart.nodes)}
    rows = ["---", f"title: {chart.title}", "---", "flowchart TD"]
    for at, label in enumerate(("", *(span.label for span in chart.spans))):
        if at:
            rows.append(f'  subgraph span{at}["{_quoted(label)}"]')
        rows += [_mermaid_node(node, names) for node in chart.nodes if node.span == at]
        if at:
            rows.append("  end")
    for a, b, label in chart.edges:
        middle = f'-->|"{_quoted(label)}"|' if label else "-->"
        rows.append(f"  {names[a]} {middle} {names[b]}")
    rows.append("  classDef hazard stroke-width:4px;")
    hazards = [names[node.name] for node in chart.nodes if node.hazard]
    if hazards:
        rows.append(f"  class {','.join(hazards)} hazard;")
    for at in range(1, len(chart.spans) + 1):
        rows.append(f"  style span{at} stroke-dasharray:6 4,fill:#eeeeee;")
    return "\n".join(rows) + "\n"


def _mermaid_node(node: Node, names: dict[str, str]) -> str:
    before, after = _MERMAID.get(node.kind, ("[", "]"))
    return f'    {names[node.name]}{before}"{"<br/>".join(_quoted(line) for line in node.lines)}"{after}'


def _quoted(text: str) -> str:
    return text.replace("&", "&amp;").replace('"', "&quot;").replace("<", "&lt;").replace(">", "&gt;")


# ---- SVG ------------------------------------------------------------------------------------------------------------

_STYLE = """
  text { font: 12px 'DejaVu Sans', Arial, sans-serif; fill: #000 }
  .head { font-weight: bold } .big { font-size: 16px; font-weight: bold } .label { font-size: 11px }
  .span { font-weight: bold; letter-spacing: 1px }
  .box { fill: #fff; stroke: #000; stroke-width: 1.2 } .hazard { stroke-width: 4 } .gate { stroke-width: 1.2 }
  .ground { fill: url(#hatch); stroke: #000; stroke-width: 1.5; stroke-dasharray: 7 4 }
  .way { fill: none; stroke: #000; stroke-width: 1.2 } .plate { fill: #fff; stroke: none }
"""
_DEFS = (
    '<pattern id="hatch" width="9" height="9" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
    '<rect width="9" height="9" fill="#fff"/>'
    '<line x1="0" y1="0" x2="0" y2="9" stroke="#000" stroke-width="1" stroke-opacity="0.45"/>'
    '</pattern><marker id="tip" viewBox="0 0 10 10" refX="9" refY="5" markerWidth="8" markerHeight="8" orient="auto">'
    '<path d="M0 0L10 5L0 10z"/></marker>'
)


def svg(book: Book, graphviz: bool | None = None) -> str:
    """`graphviz`: True or False to insist, None for Graphviz when it is there."""
    chart = chart_of(book)
    sizes = {node.name: _size(node) for node in chart.nodes}
    spans = {node.name: node.span for node in chart.nodes}
    picture = by_graphviz(sizes, chart.edges, spans) if graphviz is not False else None
    if picture is None:
        picture = by_layers(sizes, chart.edges, spans)
    return "\n".join(_drawn(chart, picture)) + "\n"


def _size(node: Node) -> tuple[float, float]:
    longest = max(len(line) for line in node.lines)
    slack = 44 if node.kind in ("ask", "decide") else 2 * PAD
    return max(70.0, longest * 7.4 + slack), len(node.lines) * LINE + 2 * PAD


def _drawn(chart: Chart, picture: Picture) -> Iterator[str]:
    top = 40
    width, height = picture.width + 20, picture.height + top + 20
    yield (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.0f}" height="{height:.0f}" '
        f'viewBox="-10 -{top} {width:.0f} {height:.0f}" role="img">'
    )
    yield f"<title>{escape(chart.title)}</title><style>{_STYLE}</style><defs>{_DEFS}</defs>"
    yield f'<rect x="-10" y="-{top}" width="{width:.0f}" height="{height:.0f}" fill="#fff"/>'
    yield f'<text class="big" x="0" y="-18">{escape(chart.title)}</text>'
    for _, ground in picture.grounds:
        yield f'<rect class="ground" {_area(ground)}/>'
    for arrow in picture.arrows:
        yield f'<path class="way" d="{_path(arrow)}" marker-end="url(#tip)"/>'
    for node in chart.nodes:
        yield from _node(node, picture.boxes[node.name])
    for span, ground in picture.grounds:
        yield from _plate(chart.spans[span - 1].short, ground.left + 6, ground.top + 15, "span", 8.6)
    for arrow in picture.arrows:
        if arrow.label:
            yield from _plate(_cut(arrow.label), arrow.label_at[0], arrow.label_at[1], "label", 6.4, middle=True)
    yield "</svg>"


def _area(box: Box) -> str:
    return f'x="{box.left:.1f}" y="{box.top:.1f}" width="{box.width:.1f}" height="{box.height:.1f}"'


def _cut(text: str) -> str:
    """The ends of a long case tell it from the others."""
    return text if len(text) <= 34 else f"{text[:14]}...{text[-17:]}"


def _plate(text: str, x: float, y: float, style: str, letter: float, middle: bool = False) -> Iterator[str]:
    """Text on a white plate, so that hatching and lines do not run through it."""
    width = len(text) * letter + 4
    left = x - width / 2 if middle else x - 2
    yield f'<rect class="plate" x="{left:.1f}" y="{y - 11:.1f}" width="{width:.1f}" height="14"/>'
    yield f'<text class="{style}" x="{left + 2:.1f}" y="{y:.1f}">{escape(text)}</text>'


def _path(arrow: Arrow) -> str:
    (x, y), rest = arrow.points[0], arrow.points[1:]
    if arrow.curved:
        return f"M{x:.1f} {y:.1f}C" + " ".join(f"{px:.1f} {py:.1f}" for px, py in rest)
    return f"M{x:.1f} {y:.1f}" + "".join(f"L{px:.1f} {py:.1f}" for px, py in rest)


def _node(node: Node, box: Box) -> Iterator[str]:
    style = "box hazard" if node.hazard else "box"
    left, top, right, bottom = box.left, box.top, box.left + box.width, box.top + box.height
    middle = (top + bottom) / 2
    if node.kind in ("ask", "decide"):
        upper, lower = ((left + 20, top), (right - 20, top)), ((right - 20, bottom), (left + 20, bottom))
        points = " ".join(f"{x:.1f},{y:.1f}" for x, y in ((left, middle), *upper, (right, middle), *lower))
        yield f'<polygon class="{style}" points="{points}"/>'
    else:
        radius = box.height / 2 if node.kind in ("end", "start", "finish") else 0
        yield f'<rect class="{style}" {_area(box)} rx="{radius:.1f}"/>'
    if node.kind in ("isolate", "prove", "restore", "handover"):  # gates have doubled sides
        for x in (left + 5, right - 5):
            yield f'<line class="way" x1="{x:.1f}" y1="{top:.1f}" x2="{x:.1f}" y2="{bottom:.1f}"/>'
    told = False
    for at, line in enumerate(node.lines):
        told = told or at == node.hazard_at  # the lines from there on name hazards
        strong = ' class="head"' if at == 0 or told else ""
        x, y = (left + right) / 2, top + PAD + LINE * (at + 0.75)
        yield f'<text{strong} x="{x:.1f}" y="{y:.1f}" text-anchor="middle">{escape(line)}</text>'
