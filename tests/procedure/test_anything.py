"""Whatever a procedure is like, safe to run or not, it can be drawn, printed, compared and timed."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree

import networkx as nx
import pytest
from hypothesis import HealthCheck, given, settings

from handsfree.language.base import load
from handsfree.procedure import listening, sounds, values, wording
from handsfree.procedure.chart import chart_of, mermaid_text
from handsfree.procedure.chart_drawing import svg
from handsfree.procedure.compare import compare, lines
from handsfree.procedure.graph import FINISH, StepIndex, first_place
from handsfree.procedure.model import Book
from handsfree.procedure.printed import lines_of, markdown
from handsfree.procedure.proofs import prove
from tests.procedure.machines import books

ENGLISH = load("en")


@given(books(), books())
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_nothing_falls_over(book: Book, other: Book) -> None:
    chart = chart_of(book)
    root = ElementTree.fromstring(svg(book))
    assert len(list(root.iter())) > len(chart.nodes)
    assert mermaid_text(book).count("-->") == len(chart.edges)
    steps = sum(len(one.steps) for one in book.procedures.values())
    assert sum(line.style == "step" for line in lines_of(book)) == steps
    assert markdown(book).count("### ") == steps
    assert compare(book, book) == ()
    assert list(lines(compare(book, other)))
    for name in book.procedures:
        found = [*values.remarks(book, name, ENGLISH), *wording.remarks(book, name), *sounds.remarks(book, name, ENGLISH)]
        assert all(remark.why.endswith(".") for remark in found)
    routes, extent = listening.routes(book), listening.extent(book)
    graph = StepIndex(book).graph()
    assert all(len(route.steps) <= len(graph) for route in routes)
    if extent is None:
        assert routes == ()
    elif extent.ways <= listening.MOST_PATHS:
        assert len(routes) == extent.ways
        assert extent.isolations == (min(one.isolations for one in routes), max(one.isolations for one in routes))
        assert extent.listen == pytest.approx((min(one.listen for one in routes), max(one.listen for one in routes)))
        assert extent.minutes == pytest.approx((min(one.minutes for one in routes), max(one.minutes for one in routes)))


@given(books())
@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_the_covering_routes_take_every_way_that_can_end(book: Book) -> None:
    expansion = StepIndex(book)
    graph = expansion.graph()
    able = nx.ancestors(graph, FINISH) | {FINISH} if FINISH in graph else set()
    wanted = {(a, b, name) for a, b, names in graph.edges(data="names") for name in names if b in able}
    taken = set()
    for route in listening.covering(book):
        assert route[0][0] == first_place(book)
        places = [place for place, _ in route] + [FINISH]
        for (place, name), to in zip(route, places[1:], strict=True):
            assert (to, name) in set(expansion.next_places(place))
            taken.add((place, to, name))
    assert taken == wanted


@given(books(), books())
@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_a_version_that_became_unsafe_is_always_told_under_safety(old: Book, new: Book) -> None:
    was = {(fault.kind, fault.step) for fault in prove(old)}
    now = {(fault.kind, fault.step) for fault in prove(new)}
    told = [change.sentence for change in compare(old, new) if change.safety]
    assert sum("not safe to run" in sentence for sentence in told) >= min(1, len(now - was))
    assert compare(old, new) == tuple(sorted(compare(old, new), key=lambda change: not change.safety))
