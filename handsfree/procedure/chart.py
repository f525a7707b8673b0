"""The flow of a procedure: what stands on its chart, and the chart as Mermaid text.

Rules of this file:

- What a step is, is written on it. Nothing is told by colour.
- Steps that are met under isolation belong to a span, which says who opens it. A step that names a hazard says so in words.
- A call is one box; the called procedure has a chart of its own.
- `layout.py` says where the boxes stand, `chart_drawing.py` draws them.
"""

from __future__ import annotations

import ast
import textwrap
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from handsfree.language.quantities import symbol
from handsfree.procedure import phrasing
from handsfree.procedure.compare import states
from handsfree.procedure.expressions import Tables, name_of
from handsfree.procedure.graph import ways
from handsfree.procedure.in_words import Worded
from handsfree.procedure.model import Book, Call, Caution, Decide, Isolate, Procedure, Prove, Read, Restore, Step, Wait
from handsfree.procedure.proof_parts import SupplyState
from handsfree.procedure.sources import method_of
from handsfree.procedure.wording import word_lists

WIDTH = 38  # letters a line
LINES = 5  # of what a step says
START, END = "(start)", "(end)"


@dataclass(frozen=True)
class ChartNode:
    """`lines`: the first is its heading. `span`: number of the isolation it stands in, 0 for none. `text`: all it says.
    `calls`: the procedure it does, '' for none."""

    name: str
    kind: str
    lines: tuple[str, ...]
    hazard: bool
    span: int
    hazard_at: int = 0  # the line that begins to name them, 0 for none
    text: str = ""
    calls: str = ""


@dataclass(frozen=True)
class ChartSpan:
    """What stands on the ground of an isolation, and the same with the step that isolates."""

    short: str
    label: str


@dataclass(frozen=True)
class Chart:
    title: str
    nodes: tuple[ChartNode, ...]
    edges: tuple[tuple[str, str, str], ...]  # from, to, label
    spans: tuple[ChartSpan, ...]  # 1, 2, ...


def chart_of(book: Book) -> Chart:
    """Of the book's main procedure."""
    procedure = book.procedures[book.main]
    code = procedure.language
    met = {step: held for (name, step), held in states(book).items() if name == book.main}
    ids = [step.id for step in procedure.steps]
    edges: list[tuple[str, str, str]] = [(START, ids[0], "")]
    worded = _worded(procedure)
    for step in procedure.steps:
        merged: dict[str, list[str]] = {}
        for way in ways(procedure, step):
            case = isinstance(step, Decide) and way.name != "otherwise"
            label = worded.condition(way.name) if case else phrasing.way(code, step, way.name)
            merged.setdefault(way.to or END, []).append(label)
        for to, names in merged.items():
            plain = "" in names or len(merged) == 1  # the ordinary way carries no label, whatever else leads along it
            edges.append((step.id, to, "" if plain else _listed(names, step, code)))
    spans, labels = _spans(procedure.steps, met, edges, code)
    nodes = (
        ChartNode(START, "start", (procedure.title,), False, 0),
        *(
            _node_of(step, code, spans.get(step.id, 0)) for step in procedure.steps
        ),
        ChartNode(END, "finish", (phrasing.say(code, "chart-end"),), False, 0),
    )
    named = {"title": procedure.title, "procedure": procedure.procedure, "version": procedure.version}
    return Chart(phrasing.say(code, "chart-title", **named), nodes, tuple(edges), labels)


def _listed(names: Sequence[str], step: Step, code: str) -> str:
    """Answers are a list; of cases any one holds."""
    if not isinstance(step, Decide):
        return ", ".join(names)
    cases = [name for name in names if name != phrasing.way(code, step, "otherwise")]
    either = f", {word_lists(code).printed['one-of']} ".join(cases)
    return ", ".join([*([either] if either else []), *names[len(cases) :]])


def _worded(procedure: Procedure) -> Worded:
    """Cases in words: steps by their names, functions by theirs with what they are given."""
    printed = word_lists(procedure.language).printed
    names = {name_of(step.id): step.id for step in procedure.steps}

    def words(key: str, **values: object) -> str:
        return printed[key].format(**values)

    def table(call: ast.Call) -> str:
        told = ", ".join(worded.said(one) for one in call.args)
        return f"{ast.unparse(call.func).replace('_', ' ')} ({told})"

    worded = Worded(words, lambda name: names.get(name, name.replace("_", "-")), table, Tables.of(procedure.steps))
    return worded


def _node_of(step: Step, code: str, span: int) -> ChartNode:
    lines, hazards = tuple(_lines(step, code)), tuple(_hazard_lines(step, code))
    calls = step.procedure if isinstance(step, Call) else ""
    at = len(lines) if hazards else 0
    return ChartNode(step.id, step.kind, (*lines, *hazards), bool(hazards), span, at, step.say, calls)


def _spans(
    steps: Sequence[Step], met: dict[str, frozenset[SupplyState]], edges: list[tuple[str, str, str]], code: str
) -> tuple[dict[str, int], tuple[ChartSpan, ...]]:
    """Steps that are only ever met isolated (or about to be proved), joined to spans along the edges."""
    import networkx as nx

    inside = [step.id for step in steps if met.get(step.id) and SupplyState.LIVE not in met[step.id]]
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
        labels.append(ChartSpan(short, phrasing.say(code, "chart-span-by", n=at, step=by[0]) if by else short))
    return spans, tuple(labels)


ChartText = Callable[..., str]
_EXTRA: dict[type[Any], Callable[[Any, ChartText], str]] = {
    Isolate: lambda step, tell: tell("chart-isolates", sources=", ".join(step.sources)),
    Prove: lambda step, tell: _proved(step, tell),
    Read: lambda step, tell: tell(
        "chart-reads", low=f"{step.plausible[0]:.10g}", high=f"{step.plausible[1]:.10g}", unit=symbol(step.unit).strip()
    ).strip(),
    Wait: lambda step, tell: tell("chart-leaves" if step.leaves_site else "chart-waits", lasts=step.lasts),
    Call: lambda step, tell: tell("chart-calls", procedure=step.procedure),
    Restore: lambda step, tell: tell("chart-restores"),
}  # fmt: skip


def _proved(step: Prove, tell: ChartText) -> str:
    method = method_of(step)
    known = phrasing.has(phrasing.USUAL, f"method-{step.method}")  # a trade's own method goes by its name
    name = tell(f"method-{step.method}") if known else step.method
    if method.form != "measure":
        return tell("chart-proved", method=name)
    unit = symbol(step.measured_in(method)).strip()
    return tell("chart-proved-below", method=name, below=f"{step.limit(method):g}", unit=unit)


def _lines(step: Step, code: str) -> Iterator[str]:
    tell = partial(phrasing.say, code)
    kind = tell(f"level-{step.level}").upper() if isinstance(step, Caution) else tell(f"kind-{step.kind}")
    yield f"{step.id} [{kind}]"
    wrapped = [] if isinstance(step, Decide) and not step.explained else textwrap.wrap(step.say, WIDTH)
    yield from wrapped[: LINES - 1]
    if len(wrapped) >= LINES:
        yield wrapped[LINES - 1] if len(wrapped) == LINES else wrapped[LINES - 1][: WIDTH - 3] + "..."
    extra = _EXTRA.get(type(step))
    if extra is not None:
        yield from textwrap.wrap(extra(step, tell), WIDTH)


def _hazard_lines(step: Step, code: str) -> list[str]:
    named = ", ".join(phrasing.value(code, "hazard", hazard) for hazard in step.hazards)
    return textwrap.wrap(phrasing.say(code, "chart-hazard", hazards=named), WIDTH - 6) if named else []  # bold


# ---- Mermaid --------------------------------------------------------------------------------------------------------

_MERMAID = {
    "ask": ("{{", "}}"), "decide": ("{", "}"), "read": ("[/", "/]"), "isolate": ("[[", "]]"), "prove": ("[[", "]]"),
    "restore": ("[[", "]]"), "end": ("([", "])"), "start": ("([", "])"), "finish": ("((", "))"), "call": ("[[", "]]"),
    "wait": (">", "]"),
}  # fmt: skip


def mermaid_text(book: Book) -> str:
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


def _mermaid_node(node: ChartNode, names: dict[str, str]) -> str:
    before, after = _MERMAID.get(node.kind, ("[", "]"))
    return f'    {names[node.name]}{before}"{"<br/>".join(_quoted(line) for line in node.lines)}"{after}'


def _quoted(text: str) -> str:
    return text.replace("&", "&amp;").replace('"', "&quot;").replace("<", "&lt;").replace(">", "&gt;")
