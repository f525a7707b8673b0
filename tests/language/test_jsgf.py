"""Grammar files: what is read, what is refused and how it is said, expanding, writing out again."""

from __future__ import annotations

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.errors import Trouble
from handsfree.language import jsgf
from handsfree.language.expand import expand
from handsfree.language.jsgf import Choice, Expansion, Grammar, Repeat, Rule, Sequence, Tagged, Word
from handsfree.resources import shipped_folder
from tests.language.grammar_out import grammar_text

HEAD = "#JSGF V1.0 UTF-8 en;\ngrammar g;\n"


def phrases(body: str, rule: str = "r", **bindings: tuple[str, ...]) -> list[str]:
    return [p.text for p in expand(jsgf.parse(HEAD + body), rule, {k.replace("__", "."): v for k, v in bindings.items()})]


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ("<r> = a b | c;", ["a b", "c"]),
        ("<r> = [very] (hot | cold);", ["hot", "cold", "very hot", "very cold"]),
        ("<r> = a <s>; <s> = b | <NULL>;", ["a b", "a"]),
        ("<r> = a | <VOID> b;", ["a"]),
        ("<r> = a+ b*;", ["a", "a b", "a b b", "a a", "a a b", "a a b b"]),
        ('<r> = "new york" | c; // a comment ; | \n/* <x> = y; */', ["new york", "c"]),
        ("public <r> = /10/ a | /0.5/ b;", ["a", "b"]),
        ("<r> = a | a;", ["a"]),
    ],
)
def test_expand(body: str, said: list[str]) -> None:
    assert phrases(body) == said


def test_tags_and_imports() -> None:
    grammar = jsgf.parse(HEAD + r"import <there.x>; <r> = (a | b {two}) {t\}1} <there.x>;")
    found = expand(grammar, "r", {"there.x": ("y z",)})
    assert [(p.text, p.tags) for p in found] == [("a y z", ("t}1",)), ("b y z", ("two", "t}1"))]
    assert expand(grammar, "r") == ()


WRONG = [
    ("grammar g; <r> = a;", "line 1: a grammar begins with"),
    (HEAD + "<r> = a | ;", "line 3, rule <r>: an alternative is empty"),
    (HEAD + "<r> = a\n<s> = b;", "line 4, rule <r>: '=' stands in the middle"),
    (HEAD + "<r> = (a | b;", "line 3, rule <r>: ';' stands where ) should be"),
    (HEAD + "<r> = a;\n\n<r> = b;", "line 5, rule <r>: the rule is defined twice, first on line 3"),
    (HEAD + "<r> = a <s>;", "line 3, rule <r>: <s> is not defined"),
    (HEAD + "<r> = a", "rule <r>: the file ends where"),
    (HEAD + "<r> = {t};", "line 3, rule <r>: '{t}' cannot stand here"),
    (HEAD + "<r> = /1..2/ a;", "line 3, rule <r>: /1..2/ is no weight"),
    (HEAD + "<r> = a } b;", "line 3: '}' cannot stand here"),
    (HEAD + "<r> = " + "(" * 60 + "a" + ")" * 60 + ";", "nested more than 50 deep"),
    (HEAD + "// " + "x" * 1_000_001, "larger than a grammar may be"),
]


@pytest.mark.parametrize(("text", "message"), WRONG, ids=[message for _, message in WRONG])
def test_errors_name_line_and_rule(text: str, message: str) -> None:
    with pytest.raises(Trouble) as trouble:
        jsgf.parse(text, "x.jsgf")
    assert message in trouble.value.sentence
    assert trouble.value.sentence.startswith("x.jsgf")


def test_a_rule_that_refers_to_itself_is_refused() -> None:
    grammar = jsgf.parse(HEAD + "<r> = a <s>; <s> = b <r>;")
    with pytest.raises(Trouble, match="refers to itself"):
        expand(grammar, "r")


def test_a_missing_file_is_a_sentence(tmp_path: object) -> None:
    with pytest.raises(Trouble, match="cannot be read"):
        jsgf.load_grammar(shipped_folder("grammar") / "xx.jsgf")


_tokens = st.sampled_from(["a", "b", "new york", "x;y", 'q"uote', "it's"])
_expansions: st.SearchStrategy[Expansion] = st.recursive(
    _tokens.map(Word),
    lambda inner: st.one_of(
        st.lists(inner, min_size=2, max_size=3).map(lambda items: Sequence(tuple(items))),
        st.lists(inner, min_size=2, max_size=3).map(lambda items: Choice(tuple(items), (1.0,) * len(items))),
        inner.map(lambda item: Repeat(item, 0, 1)),
        st.tuples(inner, st.sampled_from(["t", "a}b", "c\\d"])).map(lambda pair: Tagged(*pair)),
    ),
    max_leaves=8,
)


@given(_expansions)
def test_writing_out_and_reading_back_says_the_same(expansion: Expansion) -> None:
    grammar = Grammar("g", {"r": Rule("r", expansion, True, 1)})
    assert expand(jsgf.parse(grammar_text(grammar)), "r") == expand(grammar, "r")


@given(st.text(max_size=80))
def test_any_text_is_read_or_refused_in_a_sentence(body: str) -> None:
    with contextlib.suppress(Trouble):  # any other error is a failure
        jsgf.parse(HEAD + body)


def test_the_english_grammar_comes_back_from_its_own_text() -> None:
    grammar = jsgf.load_grammar(shipped_folder("grammar") / "en.jsgf")
    again = jsgf.parse(grammar_text(grammar))
    bindings = {"in_force.phrase": ("x",)}
    for name in grammar.rules:
        assert expand(again, name, bindings) == expand(grammar, name, bindings)
