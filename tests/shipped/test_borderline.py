"""No shipped procedure accuses, discards or fits a part on a borderline value, on a reading that does not settle, or on
nothing."""

from __future__ import annotations

import pytest

from handsfree.procedure.borderline import Accusation, accusations
from handsfree.procedure.model import Procedure
from tests.shipped.conftest import NAMES, book_named


@pytest.mark.parametrize("name", NAMES)
def test_nobody_is_accused_for_want_of_an_answer(name: str) -> None:
    assert list(accusations(book_named(name).procedures[name])) == []


def made(otherwise: str, **finding: object) -> Procedure:
    return Procedure.model_validate({"procedure": "p", "title": "P", "steps": [
        {"id": "a", "kind": "read", "say": "Read.", "quantity": "a", "unit": "ohm", "plausible": [0, 10],
         "accuracy": "1 ohm"},
        {"id": "d", "kind": "decide", "say": "It decides.", "cases": [{"when": "a < 3", "go": "e"}], "otherwise": otherwise},
        {"id": "again", "kind": "read", "say": "Read.", "quantity": "a", "unit": "ohm", "plausible": [0, 10], "go": "f"},
        {"id": "new", "kind": "instruct", "say": "Exchange the part."},
        {"id": "f", "kind": "finding", "say": "It failed.", "finding": "failed", "evidence": ["a"], **finding},
        {"id": "e", "kind": "end", "say": "End.", "outcome": "done"},
    ]})  # fmt: skip


@pytest.mark.parametrize(
    ("otherwise", "finding", "found"),
    [
        ("f", {}, [Accusation("d", "f", "failed")]),
        ("new", {}, [Accusation("d", "new", "new")]),
        ("f", {"open": True}, []),
        ("again", {}, []),
        ("e", {}, []),
    ],
)
def test_what_an_otherwise_may_lead_to(otherwise: str, finding: dict[str, object], found: list[Accusation]) -> None:
    assert list(accusations(made(otherwise, **finding))) == found


def asked(kind: str, **ways: str) -> Procedure:
    """A procedure of one question or reading, a second look, and a finding that accuses."""
    question = {
        "read": {"quantity": "a", "unit": "ohm", "plausible": [0, 10]},
        "ask": {"answers": [{"say": "dry", "go": "e"}, {"say": "wet", "go": "f"}]},
    }[kind]
    return Procedure.model_validate({"procedure": "p", "title": "P", "steps": [
        {"id": "a", "kind": kind, "say": "Look.", **question, **ways},
        {"id": "d", "kind": "decide", "say": "It decides.", "cases": [{"when": "taken(a)", "go": "e"}], "otherwise": "e"},
        {"id": "again", "kind": "read", "say": "Read.", "quantity": "a", "unit": "ohm", "plausible": [0, 10], "go": "f"},
        {"id": "f", "kind": "finding", "say": "It failed.", "finding": "failed", "evidence": ["a"]},
        {"id": "e", "kind": "end", "say": "End.", "outcome": "done"},
    ]})  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "ways", "accuses"),
    [
        ("ask", {"unknown": "f"}, True), ("ask", {"skip": "f"}, True), ("ask", {"unknown": "again"}, False),
        ("read", {"unsteady": "f"}, True), ("read", {"unknown": "f"}, True), ("read", {"unsteady": "again"}, False),
        # Off scale is a reading, and an answer that was given is an answer.
        ("read", {"over_range": "f"}, False), ("ask", {"unknown": "e"}, False),
    ],
)  # fmt: skip
def test_whoever_cannot_tell_accuses_nobody(kind: str, ways: dict[str, str], accuses: bool) -> None:
    found = list(accusations(asked(kind, **ways)))
    assert found == ([Accusation("a", "f", "failed")] if accuses else [])
