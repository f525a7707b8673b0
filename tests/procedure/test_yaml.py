"""YAML by libyaml and by Python say the same of a procedure, whole or damaged."""

from __future__ import annotations

from typing import Any

import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.procedure import yamlfile
from handsfree.resources import shipped_folder

WHOLE = [path.read_text(encoding="utf-8") for path in sorted(shipped_folder("procedures").rglob("*.yaml"))]
SIGNS = ["\t", ":", "- ", "'", '"', "\n", "  ", "{", "]", "#", "&a", "*a", "!x", "|", ">", "@", "\r", "é", "\x85", "---\n"]


def said(text: str, loaders: tuple[Any, ...]) -> Any:
    kept, yamlfile._LOADERS = yamlfile._LOADERS, loaders
    try:
        return yamlfile.read_yaml(text)
    except yamlfile.Unreadable as error:
        return error.line, error.sentence
    finally:
        yamlfile._LOADERS = kept


def test_the_quick_reader_is_there() -> None:
    assert yaml.__with_libyaml__
    assert len(yamlfile._LOADERS) == 2


def test_whole_files_come_out_the_same() -> None:
    for text in WHOLE:
        assert said(text, yamlfile._LOADERS) == said(text, yamlfile._LOADERS[-1:])


@settings(max_examples=300)
@given(
    st.sampled_from(WHOLE), st.integers(0, 10**6), st.integers(20, 300),
    st.lists(st.tuples(st.integers(0, 300), st.sampled_from(SIGNS)), max_size=3),
)  # fmt: skip
def test_what_the_slow_one_takes_comes_out_the_same(text: str, at: int, length: int, signs: list[tuple[int, str]]) -> None:
    begin = at % len(text)
    piece = text[begin : begin + length]
    for place, sign in signs:
        piece = piece[: place % (len(piece) + 1)] + sign + piece[place % (len(piece) + 1) :]
    slow = said(piece, yamlfile._LOADERS[-1:])
    if isinstance(slow, yamlfile.Document):  # else libyaml may be laxer; what it takes is judged as anything
        quick = said(piece, yamlfile._LOADERS)
        if slow.data is None:  # on which line nothing stands is nobody's question
            assert isinstance(quick, yamlfile.Document)
            assert quick.data is None
        else:
            assert quick == slow
