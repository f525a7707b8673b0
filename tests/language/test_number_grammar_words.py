"""A recogniser that learns its words from the vocabulary alone must find every word of the number grammar there."""

from __future__ import annotations

import re

import pytest

from handsfree.language.english import LANGUAGE


@pytest.mark.parametrize("unit", ["", "degF", "volt", "pound_force_per_square_inch", "ampere", "minute"])
def test_the_vocabulary_has_every_word(unit: str) -> None:
    rules = LANGUAGE.number_grammar_jsgf(unit, 99_999.0).split("grammar number;", 1)[1]
    bare = re.sub(r"<[^>]*>|/[^/]*/|//.*|\bpublic\b|[;=|()\[\]*+]", " ", rules)
    words = set(bare.split())
    assert len(words) > 20
    assert words <= LANGUAGE.vocabulary(), words - LANGUAGE.vocabulary()
