"""Where the boxes of a chart stand. Two ways to the same `Picture`: Graphviz, when its `dot` is there, and layers of our
own. All in pixels, y downwards."""

from __future__ import annotations

import json
import shutil
import subprocess
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

Sizes = Mapping[str, tuple[float, float]]
Edges = Sequence[tuple[str, str, str]]
Point = tuple[float, float]
GAP_X, GAP_Y, MARGIN = 36.0, 56.0, 14.0


@dataclass(frozen=True)
class Box:
    left: float
    top: float
    width: float
    height: float


@dataclass(frozen=True)
class Arrow:
    """`curved`: the points after the first are control points of cubic curves, three each."""

    points: tuple[Point, ...]
    label: str
    label_at: Point
    curved: bool


@dataclass(frozen=True)
class Picture:
    """`grounds`: (span, area to shade); a span may have several."""

    width: float
    height: float
    boxes: dict[str, Box]
    arrows: tuple[Arrow, ...]
    grounds: tuple[tuple[int, Box], ...]


# ---- Graphviz -------------------------------------------------------------------------------------------------------


def by_graphviz(sizes: Sizes, edges: Edges, spans: Mapping[str, int]) -> Picture | None:
    """None where `dot` is not there or fails."""
    dot = shutil.which("dot")
    if dot is None:
        return None
    names = {name: f"n{at}" for at, name in enumerate(sizes)}
    try:
        done = subprocess.run(
            [dot, "-Tjson0"],
            input=_dot_text(sizes, edges, spans, names),
            capture_output=True,
            text=True,
            timeout=60,
            check=True,
        )
        return _from_dot(json.loads(done.stdout), sizes, edges, spans, names)
    except (OSError, subprocess.SubprocessError, ValueError, KeyError):
        return None


def _dot_text(sizes: Sizes, edges: Edges, spans: Mapping[str, int], names: Mapping[str, str]) -> str:
    rows = ['digraph { rankdir=TB; nodesep=0.4; ranksep=0.55; node [shape=box fixedsize=true label=""]; edge [fontsize=11];']
    for span in sorted(set(spans.values())):
        if span:
            rows.append(f"subgraph cluster_{span} {{ margin=22;")
        for name, (width, height) in sizes.items():
            if spans[name] == span:
                rows.append(f"{names[name]} [width={width / 72:.4f} height={height / 72:.4f}];")
        if span:
            rows.append("}")
    for at, (a, b, label) in enumerate(edges):
        text = f' label="{"x" * min(len(label), 34)}"' if label else ""  # only its room is wanted
        rows.append(f'{names[a]} -> {names[b]} [id="{at}"{text}];')
    return "\n".join([*rows, "}"])


def _from_dot(
    data: dict[str, Any], sizes: Sizes, edges: Edges, spans: Mapping[str, int], names: Mapping[str, str]
) -> Picture:
    _, _, width, height = (float(part) for part in data["bb"].split(","))
    by_short = {one["name"]: one for one in data["objects"]}

    def point(text: str) -> Point:
        x, y = text.split(",")
        return float(x), height - float(y)

    boxes = {}
    for name, (w, h) in sizes.items():
        x, y = point(by_short[names[name]]["pos"])
        boxes[name] = Box(x - w / 2, y - h / 2, w, h)
    arrows = []
    for one in data["edges"]:
        _, _, label = edges[int(one["id"])]
        parts = one["pos"].split()
        tip = next((point(part[2:]) for part in parts if part.startswith("e,")), None)
        points = [point(part) for part in parts if "," in part and part[0] not in "es"]
        if tip is not None:
            points[-1] = tip
        arrows.append(Arrow(tuple(points), label, point(one["lp"]) if "lp" in one else points[0], True))
    grounds = []
    for span in sorted(set(spans.values()) - {0}):
        x1, y1, x2, y2 = (float(part) for part in by_short[f"cluster_{span}"]["bb"].split(","))
        grounds.append((span, Box(x1, height - y2, x2 - x1, y2 - y1)))
    return Picture(width, height, boxes, tuple(arrows), tuple(grounds))


# ---- our own --------------------------------------------------------------------------------------------------------


def by_layers(sizes: Sizes, edges: Edges, spans: Mapping[str, int]) -> Picture:
    """Each box as low as the longest way to it says, loops cut at the edge that closes them; in a layer, boxes stand in the
    order of those they come from. Ways that go up, or past other layers, run in lanes at the right."""
    layer = _layers(sizes, edges)
    rows: dict[int, list[str]] = {}
    for name in sizes:
        rows.setdefault(layer[name], []).append(name)
    boxes: dict[str, Box] = {}
    y = 0.0
    for at in sorted(rows):
        row = sorted(rows[at], key=lambda name: _pull(name, edges, boxes))
        x = 0.0
        tallest = max(sizes[name][1] for name in row)
        for name in row:
            width, height = sizes[name]
            boxes[name] = Box(x, y + (tallest - height) / 2, width, height)
            x += width + GAP_X
        y += tallest + GAP_Y
    body = max(box.left + box.width for box in boxes.values())
    boxes = _centred(rows, boxes, body)
    arrows, width = _arrows(edges, boxes, layer, body)
    grounds = tuple(
        (spans[name], Box(box.left - MARGIN, box.top - MARGIN - 8, box.width + 2 * MARGIN, box.height + 2 * MARGIN + 8))
        for name, box in boxes.items()
        if spans[name]
    )
    return Picture(width, y, boxes, arrows, grounds)


def _layers(sizes: Sizes, edges: Edges) -> dict[str, int]:
    import networkx as nx

    graph = nx.DiGraph()
    graph.add_nodes_from(sizes)
    graph.add_edges_from((a, b) for a, b, _ in edges if a != b)
    done: set[str] = set()
    back = set()
    for a, b, kind in nx.dfs_labeled_edges(graph):  # every part, also one that nothing leads to
        if kind == "reverse":
            done.add(b)
        elif kind == "nontree" and b not in done:
            back.add((a, b))  # b is still open: the way closes a loop
    graph.remove_edges_from(back)
    layer: dict[str, int] = {}
    for name in nx.topological_sort(graph):
        layer[name] = max((layer[one] + 1 for one in graph.predecessors(name)), default=0)
    return layer


def _pull(name: str, edges: Edges, boxes: Mapping[str, Box]) -> float:
    """The middle of the boxes above that lead here."""
    above = [boxes[a].left + boxes[a].width / 2 for a, b, _ in edges if b == name and a in boxes]
    return sum(above) / len(above) if above else 0.0


def _centred(rows: Mapping[int, Sequence[str]], boxes: Mapping[str, Box], body: float) -> dict[str, Box]:
    moved = {}
    for row in rows.values():
        shift = (body - max(boxes[name].left + boxes[name].width for name in row)) / 2
        for name in row:
            box = boxes[name]
            moved[name] = Box(box.left + shift, box.top, box.width, box.height)
    return moved


def _arrows(
    edges: Edges, boxes: Mapping[str, Box], layer: Mapping[str, int], body: float
) -> tuple[tuple[Arrow, ...], float]:
    arrows, lane = [], body + 30.0
    for a, b, label in edges:
        one, other = boxes[a], boxes[b]
        start = (one.left + one.width / 2, one.top + one.height)
        end = (other.left + other.width / 2, other.top)
        if layer[b] == layer[a] + 1:
            points: tuple[Point, ...] = (start, end)
        else:
            points = (
                start,
                (start[0], start[1] + 16),
                (lane, start[1] + 16),
                (lane, end[1] - 16),
                (end[0], end[1] - 16),
                end,
            )
            lane += 14.0
        near = 0.35 if len(points) == 2 else 0.0
        at = (start[0] + (end[0] - start[0]) * near, start[1] + (22 if len(points) > 2 else (end[1] - start[1]) * near + 4))
        arrows.append(Arrow(points, label, at if len(points) == 2 else (start[0] + 24, at[1] - 10), False))
    return tuple(arrows), lane + 20.0
