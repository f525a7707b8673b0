"""Procedure files in, procedures or sentences out."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.errors import Trouble
from handsfree.procedure import model
from handsfree.procedure.load import FileProblems, find_procedure, load_book, load_procedure, parse_procedure

DATA = Path(__file__).parent / "data"
HEAD = "procedure: x\ntitle: X\nsteps:\n"
END = "  - {id: over, kind: end, say: Over., outcome: done}\n"


def problems(text: str) -> list[str]:
    with pytest.raises(FileProblems) as caught:
        parse_procedure(text, "procedures/x.yaml")
    return [problem.shown for problem in caught.value.problems]


def test_every_kind_of_the_examples_is_read() -> None:
    book = load_book(DATA / "warm-cabinet.yaml", [])
    kinds = {step.kind for one in book.procedures.values() for step in one.steps}
    assert kinds == {
        "instruct",
        "ask",
        "call",
        "read",
        "decide",
        "caution",
        "isolate",
        "prove",
        "restore",
        "wait",
        "finding",
        "end",
        "handover",
        "evidence",
    }
    assert book.main == "warm-cabinet"
    assert book.digests["check-supply"] == hashlib.sha256((DATA / "check-supply.yaml").read_bytes()).hexdigest()
    assert book.texts["check-supply"] == (DATA / "check-supply.yaml").read_text(encoding="utf-8")
    lines = (DATA / "warm-cabinet.yaml").read_text(encoding="utf-8").splitlines()
    for step, line in book.lines["warm-cabinet"].items():
        assert lines[line - 1] == f"  - id: {step}"


def test_the_sentence_of_the_issue() -> None:
    text = (
        HEAD
        + (
            "  - id: fan-check\n    kind: ask\n    say: Is it on?\n    answers:\n      yes: over\n      no: relay-chek\n"
            "  - {id: relay-check, kind: instruct, say: Look.}\n"
        )
        + END
    )
    assert problems(text) == [
        "procedures/x.yaml line 9: step `fan-check` sends 'no' to `relay-chek`, which does not exist; "
        "did you mean `relay-check`?"
    ]


def test_answers_stay_words_and_take_three_forms() -> None:
    text = (
        HEAD
        + (
            "  - {id: a, kind: ask, say: Is it on, answers: {yes: over, no: null, on: {also: [lit], go: over}}}\n"
            "  - {id: b, kind: ask, say: Is it off, answers: [off, on]}\n"
            "  - {id: c, kind: ask, say: Is it off, answers: [{say: 'off'}, {say: 5V, go: over}]}\n"
        )
        + END
    )
    steps = parse_procedure(text).steps
    assert [step.kind for step in steps] == ["ask", "ask", "ask", "end"]
    first, second, third = (step.answers for step in steps if isinstance(step, model.Ask))
    assert [(one.say, one.go) for one in first] == [("yes", "over"), ("no", None), ("on", "over")]
    assert first[2].also == ("lit",)
    assert [one.say for one in second] == ["off", "on"]
    assert [one.say for one in third] == ["off", "5V"]


CASES = [
    ("say: x\n  say: y\n", "indented too far"),
    ("a: &x 1\nb: *x\n", "anchors and aliases"),
    ("a: !!python/object/apply:os.system [echo]\n", "tags"),
    ("\tprocedure: x\n", "tab"),
    ("procedure: x\nprocedure: y\n", "'procedure' is there twice, first on line 1"),
    ("a: b: c\n", "second ': '"),
    ("---\na: 1\n---\nb: 2\n", "second document"),
    ("", "empty"),
    ("just words\n", "fields and their values"),
    ("- a\n- b\n", "fields and their values"),
    ("? [a, b]\n: c\n", "must be a word"),
    ("<<: {a: 1}\n", "merge keys"),
    ("a: 'unclosed\n", "this is not YAML"),
    ("a: \x07\n", "does not allow"),
    ("a: \x00\n", "NUL"),
    ("[" * 5000, "nested"),
    ("a: 1e999\n", "too large a number"),
    ("procedure: x\ntitle: X\nsteps: []\n", "lacks a list of 'steps'"),
    (HEAD + "  - words\n", "step 1 is not fields"),
    (HEAD + "  - {id: a, say: x}\n", "lacks 'kind'"),
    (HEAD + "  - {id: a, kind: instrukt, say: x}\n", "did you mean `instruct`?"),
    (HEAD + "  - {id: a, kind: instruct, say: x, hazard: [mains]}\n", "did you mean `hazards`?"),
    (HEAD + "  - {id: a, kind: instruct, say: x, hazards: [main]}\n", "did you mean `mains`?"),
    (HEAD + "  - {id: ../a, kind: instruct, say: x}\n", "a name is small letters"),
    (HEAD + "  - {id: a, kind: call, say: x, procedure: ../../etc/passwd}\n", "a name is small letters"),
    (HEAD + "  - {id: a, kind: instruct, say: x, sound: ../x.flac}\n", "not a plain file name"),
    (HEAD + "  - {id: a, kind: instruct, say: 5}\n", "must be text; put it in quotes"),
    (HEAD + "  - {id: a, kind: instruct, say: x, minutes: '5'}\n", "must be a number"),
    (HEAD + "  - {id: a, kind: instruct, say: x, minutes: -5}\n", "greater than 0"),
    (HEAD + "  - {id: a, kind: instruct, say: ''}\n", "empty 'say'"),
    (HEAD + "  - {id: a, kind: wait, say: x, lasts: 5 weeks, because: y}\n", "'90 s', '5 min'"),
    (HEAD + "  - {id: a, kind: ask, say: x, answers: [one]}\n", "too few entries in 'answers'"),
    (
        HEAD + "  - {id: a, kind: ask, say: x, answers: {one: over, two: {to: over}}}\n",
        "an entry of 'answers' does not have",
    ),
    (HEAD + "  - {id: a, kind: ask, say: x, answers: [one, {say: two, also: [One]}]}\n", "'One' twice"),
    (HEAD + "  - {id: a, kind: end, say: x, outcome: well}\n", "as its 'outcome'"),
    (HEAD + "  - {id: a, kind: instruct, say: x}\n  - {id: a, kind: instruct, say: x}\n", "twice, first on line 4"),
    (HEAD + "  - {id: a, kind: caution, say: x, level: danger, needs_isolation: true}\n", "cannot ask for isolation"),
    (HEAD + "  - {id: a, kind: read, say: x, quantity: q, unit: degX, plausible: [0, 1]}\n", "unit 'degX'"),
    *(
        (HEAD + f"  - {{id: a, kind: read, say: x, quantity: q, unit: '{unit}', plausible: [0, 1]}}\n", f"mean `{meant}`?")
        for unit, meant in (
            ("°F", "degF"), ("° C", "degC"), ("degrees C", "degC"), ("celcius", "degC"), ("Bar", "bar"), ("%", "percent"),
            ("kΩ", "kiloohm"), ("m/s ", "meter_per_second"),
        )
    ),
    (HEAD + "  - {id: a, kind: read, say: x, quantity: q, unit: mOhm, plausible: [0, 1]}\n", "write it as degC"),
    (HEAD.replace("procedure: x", "procedure: x\nlanguage: fr") + "  - {id: a, kind: instruct, say: x}\n", "language `fr`"),
    (HEAD + "  - {id: a, kind: read, say: x, quantity: q, unit: volt, plausible: [9, 1]}\n", "the first must be the lower"),
    (HEAD + "  - {id: a, kind: read, say: x, quantity: q, unit: volt, plausible: [0, 9], expected: [5, 99]}\n", "widen"),
    (
        HEAD + "  - {id: a, kind: read, say: x, quantity: q, unit: volt, plausible: [0, 9], accuracy: 1 degC}\n",
        "does not fit",
    ),
    (
        HEAD + "  - {id: a, kind: read, say: x, quantity: q, unit: volt, plausible: [0, 9], accuracy: good}\n",
        "not of the form",
    ),
    (HEAD + "  - {id: a, kind: finding, say: x, finding: f, evidence: [b]}\n", "names as evidence `b`"),
    (HEAD + "  - {id: a, kind: decide, say: x, cases: [{when: b > 1, go: a}], otherwise: a}\n", "`b` is no reading"),
    (HEAD + "  - {id: a, kind: read, say: x, quantity: q, unit: volt, plausible: [.nan, 1]}\n", "must be a number"),
]


@pytest.mark.parametrize(("text", "part"), CASES, ids=[part for _, part in CASES])
def test_what_is_wrong_is_said(text: str, part: str) -> None:
    found = problems(text)
    assert any(part in one for one in found), found
    assert all(one.startswith("procedures/x.yaml line ") for one in found)


def test_all_problems_of_a_file_in_the_order_of_its_lines() -> None:
    text = (
        "procedure: x\nsteps:\n"
        "  - {id: a, kind: instruct, say: x, go: nowhere}\n"
        "  - {id: b, kind: instruct}\n"
        "  - {id: c, kind: spoon, say: x}\n"
        "  - {id: d, kind: end, say: x, outcome: done}\n"
        "colour: red\n"
    )
    found = problems(text)
    assert [int(one.split("line ")[1].split(":")[0]) for one in found] == [1, 3, 4, 5, 7]


def test_a_large_file_is_refused_unread(tmp_path: Path) -> None:
    large = tmp_path / "large.yaml"
    with large.open("wb") as stream:
        stream.truncate(100_000_000)
    with pytest.raises(Trouble, match=r"100\.0 MB"):
        load_procedure(large)


def test_too_many_steps(tmp_path: Path) -> None:
    steps = "".join(f"  - {{id: s{at}, kind: instruct, say: x}}\n" for at in range(401))
    assert "401 steps" in problems(HEAD + steps)[0]


@pytest.mark.parametrize("bomb", ["a: &a [x, x]\nb: &b [*a, *a]\nc: [*b, *b]\n", "a: &a {b: *a}\n", "x: &x [*x]\n"])
def test_alias_bombs(bomb: str) -> None:
    assert "anchors" in problems(bomb)[0]


def test_a_file_of_a_million_bytes_of_nothing() -> None:
    assert "more than 40000 fields" in problems(HEAD + "  - a\n" * 150_000)[0]


def test_unreadable_things(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match="no procedure file"):
        load_procedure(tmp_path / "absent.yaml")
    with pytest.raises(Trouble, match="is a folder"):
        load_procedure(tmp_path)
    (tmp_path / "latin.yaml").write_bytes(b"title: x\nsay: \xe9\n")
    with pytest.raises(Trouble, match=r"line 2: it is not UTF-8"):
        load_procedure(tmp_path / "latin.yaml")
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.yaml")
        with pytest.raises(Trouble, match="not a file"):
            load_procedure(tmp_path / "pipe.yaml")
    with pytest.raises(Trouble):
        load_procedure(tmp_path / ("long" * 200))
    with pytest.raises(Trouble):
        load_procedure("nul\x00.yaml")


@pytest.mark.parametrize("name", ["../warm-cabinet", "a/b", "..", "C:warm", "warm cabinet", "", "x" * 500, "a\x00b"])
def test_names_that_are_paths(name: str) -> None:
    assert find_procedure(name, [DATA]) is None
    with pytest.raises(Trouble):
        load_book(name, [DATA])


def test_names_are_looked_for_in_the_folders() -> None:
    assert set(load_book("warm-cabinet", [DATA]).procedures) == {"warm-cabinet", "check-supply"}
    with pytest.raises(Trouble, match="did you mean `warm-cabinet`"):
        load_book("warm-cabinett", [DATA])


def _write(folder: Path, name: str, calls: str | None, language: str = "en") -> None:
    call = f"  - {{id: c, kind: call, say: x, procedure: {calls}}}\n" if calls else ""
    text = f"procedure: {name}\ntitle: X\nlanguage: {language}\nsteps:\n{call}{END}"
    (folder / f"{name}.yaml").write_text(text, encoding="utf-8")


def test_calls_in_a_circle_missing_or_unfit(tmp_path: Path) -> None:
    _write(tmp_path, "a", "b")
    _write(tmp_path, "b", "c")
    _write(tmp_path, "c", "a")
    with pytest.raises(Trouble, match="circle: a -> b -> c -> a"):
        load_book("a", [tmp_path])
    _write(tmp_path, "c", "bb")
    with pytest.raises(Trouble, match=r"c\.yaml line 5: step `c` calls `bb`, which does not exist"):
        load_book("a", [tmp_path])
    _write(tmp_path, "c", None, "es")
    with pytest.raises(Trouble, match="another language"):
        load_book("a", [tmp_path])
    (tmp_path / "b.yaml").write_text((tmp_path / "c.yaml").read_text(), encoding="utf-8")
    with pytest.raises(Trouble, match="says that it is `c`"):
        load_book("a", [tmp_path])


def test_a_byte_order_mark_and_windows_lines_are_taken(tmp_path: Path) -> None:
    text = (DATA / "ask-and-read.yaml").read_text(encoding="utf-8").replace("\n", "\r\n")
    (tmp_path / "w.yaml").write_bytes(b"\xef\xbb\xbf" + text.encode())
    assert load_procedure(tmp_path / "w.yaml") == load_procedure(DATA / "ask-and-read.yaml")


LINES = (DATA / "warm-cabinet.yaml").read_text(encoding="utf-8").splitlines()


@given(st.data())
@settings(max_examples=40, deadline=None)
def test_a_broken_file_gets_sentences_never_anything_else(data: st.DataObject) -> None:
    """Lines cut, doubled, shifted or filled with anything: a procedure or Trouble."""
    lines = list(LINES)
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(lines) - 1))
        junk = data.draw(st.text(max_size=12))
        change = data.draw(st.sampled_from(["cut", "double", "shift", "junk", "tail"]))
        lines[at : at + 1] = {
            "cut": [],
            "double": [lines[at]] * 2,
            "shift": ["  " + lines[at]],
            "junk": [junk],
            "tail": [lines[at] + junk],
        }[change]
    refused: FileProblems | None = None
    try:
        parse_procedure("\n".join(lines), "procedures/x.yaml")
    except FileProblems as error:
        refused = error
    assert refused is None or refused.problems
    assert refused is None or refused.sentence.startswith("procedures/x.yaml line ")


def test_a_book_of_many_calls_reads_each_file_once(tmp_path: Path) -> None:
    """Thirty levels of two calls each would be a thousand million readings."""
    for at in range(30):
        calls = "".join(f"  - {{id: c{n}, kind: call, say: x, procedure: p{at + 1}}}\n" for n in range(2))
        (tmp_path / f"p{at}.yaml").write_text(f"procedure: p{at}\ntitle: X\nsteps:\n{calls}{END}", encoding="utf-8")
    _write(tmp_path, "p30", None)
    assert len(load_book("p0", [tmp_path]).procedures) == 31
