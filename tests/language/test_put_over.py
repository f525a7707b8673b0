"""Sentences with places, found in a text. What stands in a place is somebody else's words, as long as they like."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.language import prompts
from handsfree.language.put_over import known_in, put_over, there
from handsfree.resources import shipped_folder

TABLES = [(code, table) for code in ("es",) for table in ("views", "load")]
PLACED = sorted({
    known for code, table in TABLES for known in prompts.load(shipped_folder("grammar") / f"{code}.{table}.yaml").sentences
    if "{" in known
})  # fmt: skip


def by_pattern(known: str, text: str) -> dict[str, str] | None:
    """The same by a pattern, which is right and for some texts takes without end."""
    parts = re.split(r"{(\w+)}", known)
    pattern = "".join(f"(?P<{part}>.+?)" if at % 2 else re.escape(part) for at, part in enumerate(parts))
    found = re.fullmatch(pattern, text, re.DOTALL)
    return None if found is None else found.groupdict()


@given(st.sampled_from(["{a}", "a{x}", "{x}a", "a{x}b{y}", "{x}ab{y}ab", "{x}{y}", "{x}a{y}aa{z}", "aa{x}a{y}a"]),
       st.text("ab", max_size=12))  # fmt: skip
def test_it_is_the_first_way_that_a_pattern_finds(known: str, text: str) -> None:
    assert known_in(known, text) == by_pattern(known, text)


@pytest.mark.parametrize("known", PLACED)
def test_a_text_made_to_be_tried_in_every_way_is_tried_once(known: str) -> None:
    """By a pattern, 2,500 letters took 20 s in a sentence of five places, and twice as many eleven minutes."""
    parts = re.split(r"{\w+}", known)
    text = parts[0] + "".join(f"{part or 'x'}x" * 4000 for part in parts[1:]) + "\0"
    assert known_in(known, text) is None or known.endswith("}")


def test_what_stands_in_a_place_is_put_over_only_where_a_sentence_may() -> None:
    say = put_over("es", "load", frozenset(("why",)))
    assert say("step `lacks 'a'.` lacks 'b'.") == "el paso `lacks 'a'.` no tiene 'b'."


def test_a_sentence_in_itself_over_and_over_is_put_over_so_far_and_no_farther() -> None:
    """Three letters each: a note of a technician's was enough for more than Python calls in each other."""
    said = put_over("es", "views", frozenset(("how",)))("by " * 2_000 + "x")
    assert said.startswith("por por ")
    assert said.endswith("by by x")


@pytest.mark.parametrize("code", ["x" * 300, "../es", "es/../es", "", "ES", "es\n", "a\0"])
def test_a_language_that_is_none_has_no_table(code: str) -> None:
    """A record names its language as its writer likes: a long one was a traceback."""
    assert not there(code, "views")
    assert put_over(code, "views", frozenset())("1 of 1") == "1 of 1"
