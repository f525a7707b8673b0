"""No `otherwise` of a shipped procedure accuses, discards or fits a part on a borderline value or on nothing."""

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
