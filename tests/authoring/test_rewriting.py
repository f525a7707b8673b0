"""A change of a recorded or written procedure is a small diff: what was not changed stays, letter by letter."""

from __future__ import annotations

import difflib
from dataclasses import replace

import pytest

from handsfree.authoring.draft import Doubt, Draft, DraftStep, data_of, draft_of, remarks_of
from handsfree.authoring.rewriting import rewritten
from handsfree.procedure import load, yamlfile
from handsfree.resources import shipped_folder

FILES = load.procedure_files(shipped_folder("procedures"))


def _draft(text: str) -> Draft:
    return draft_of(yamlfile.read_yaml(text).data, text)


def _changed(text: str, draft: Draft) -> list[str]:
    new = rewritten(text, data_of(draft, {}), remarks_of(draft))
    load.parse_procedure(new)
    found = difflib.unified_diff(text.splitlines(), new.splitlines(), n=0, lineterm="")
    return [line for line in found if line[:1] in "+-" and line[:3] not in ("+++", "---")]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_nothing_changed_nothing_written(path: object) -> None:
    text = path.read_text(encoding="utf-8")  # type: ignore[attr-defined]  # a path
    assert rewritten(text, data_of(_draft(text), {}), {}) == text


TEXT = """\
# Of the trade: who wrote this, and from what.
procedure: seal
title: Seal
version: 4
purpose: To try   # as the manual has it

steps:
  # Common practice, no source.
  - id: look
    kind: ask
    say: "Is the seal torn?"
    short: 'Torn?'   # said in the short form
    answers:
      torn: {also: [ripped open], go: fit}   # the usual one
      whole: {go: over}

  - id: fit
    kind: instruct
    say: >-
      Fit the new seal.
      Press it home.
    minutes: 2

  - {id: over, kind: end, outcome: done, say: Over.}
"""


def test_one_sentence_is_one_line_and_the_version() -> None:
    draft = _draft(TEXT)
    draft = draft.with_step(replace(draft.steps[0], text="Is the seal torn or whole?"))
    assert _changed(TEXT, draft) == [
        "-version: 4", "+version: 5",
        '-    say: "Is the seal torn?"', '+    say: "Is the seal torn or whole?"',
    ]  # fmt: skip


def test_one_answer_is_one_line() -> None:
    draft = _draft(TEXT)
    answers = [dict(one) for one in draft.steps[0].facets["answers"]]
    answers[1]["also"] = ["it is whole"]
    changed = _changed(TEXT, draft.with_step(draft.steps[0].having(answers=answers)))
    assert changed[2:] == ["-      whole: {go: over}", "+      whole: {also: [it is whole], go: over}"] or changed[2:] == [
        "-      whole: {go: over}", "+      whole: {go: over, also: [it is whole]}",
    ]  # fmt: skip


def test_a_step_on_one_line_stays_on_one_line() -> None:
    draft = _draft(TEXT)
    changed = _changed(TEXT, draft.with_step(replace(draft.steps[2], text="All over.")))
    assert changed[2:] == [
        "-  - {id: over, kind: end, outcome: done, say: Over.}", "+  - {id: over, kind: end, outcome: done, say: All over.}"
    ]  # fmt: skip


def test_a_step_moved_a_step_added_a_step_taken_out() -> None:
    draft = _draft(TEXT)
    moved = rewritten(TEXT, data_of(draft.moved(2, 1), {}), {})
    assert moved.index("id: fit") < moved.index("# Common practice") < moved.index("id: look")
    assert "      Fit the new seal.\n      Press it home.\n" in moved
    new = DraftStep(9, "Wipe the groove.", {"kind": "instruct"}, id="wipe")
    assert [line for line in _changed(TEXT, draft.with_step(new)) if line.strip("+- ")][2:] == [
        "+  - id: wipe", "+    kind: instruct", "+    say: Wipe the groove."
    ]  # fmt: skip
    less = draft.with_step(draft.steps[0].having(answers=[{"say": "torn"}, {"say": "whole"}])).without(2)
    assert "Fit the new seal" not in rewritten(TEXT, data_of(less, {}), {})


def test_a_word_that_is_not_settled_stands_above_its_step_and_raises_no_version() -> None:
    draft = _draft(TEXT)
    unsure = draft.with_step(replace(draft.steps[1], doubts=(Doubt(1, "seal", ("steel",)),)))
    assert _changed(TEXT, unsure) == ["+  # unsure: seal"]
    marked = rewritten(TEXT, data_of(unsure, {}), remarks_of(unsure))
    assert rewritten(marked, data_of(draft, {}), {}) == TEXT
