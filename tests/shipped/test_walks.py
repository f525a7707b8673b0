"""Every way through every shipped procedure, by the real machine."""

from __future__ import annotations

from handsfree.procedure.model import Book, End
from handsfree.procedure.proofs import prove
from tests.shipped.walker import all_edges, walk


def test_it_is_proved(book: Book) -> None:
    assert prove(book) == ()


def test_every_way_ends_and_no_hazard_is_met_live(book: Book) -> None:
    """`walk` asserts at each step it enters; here, that it left nothing out."""
    found = walk(book)
    main = book.procedures[book.main]
    assert all_edges(main) - found.edges == set()
    assert {(book.main, step.id) for step in main.steps} - found.entered == set()
    outcomes = {step.outcome for step in main.steps if isinstance(step, End)}
    assert outcomes <= {outcome for outcome, _ in found.closed}
    assert {power for _, power in found.closed} == {"LIVE"}, "a closed visit counts on no isolation"
    gated = [step.id for step in main.steps if step.behind_gate]
    assert found.hazards >= len(gated)
