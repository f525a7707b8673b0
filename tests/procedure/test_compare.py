"""What changed between two versions, in words, safety first."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml

from handsfree.procedure.compare import Change, compare, lines
from handsfree.procedure.load import book_of, load_procedure, parse_procedure
from handsfree.procedure.model import Book

DATA = Path(__file__).parent / "data"
TEXT = (DATA / "warm-cabinet.yaml").read_text(encoding="utf-8")
CALLED = load_procedure(DATA / "check-supply.yaml")


def book(text: str) -> Book:
    return book_of(parse_procedure(text), CALLED)


def changed(*pairs: tuple[str, str]) -> tuple[Change, ...]:
    new = TEXT
    for old, other in pairs:
        assert old in new
        new = new.replace(old, other, 1)
    return compare(book(TEXT), book(new))


def test_nothing() -> None:
    assert changed() == ()
    assert list(lines(())) == ["Nothing changed for the technician."]


CASES = [
    (("below: 5", "below: 4"), True, "Step `dead` changed the limit below which it is dead: from 5 to 4."),
    (
        ("sources: [mains plug]", "sources: [mains plug, battery]"),
        True,
        "Step `unplug` changed the sources it isolates: now also battery.",
    ),
    (
        ("hazards: [moving fan, sharp fins]", "hazards: [moving fan]"),
        True,
        "Step `brush` changed its hazards: no longer sharp fins.",
    ),
    (
        ("level: caution", "level: warning"),
        True,
        'Step `sharp-caution` changed its signal word: from "caution" to "warning".',
    ),
    (
        ("      - Put the kick plate back.\n", "      - Put the cover back.\n"),
        True,
        'Step `back-on` changed its checks: from "Take all tools out of the cabinet." / "Put the kick plate back." '
        'to "Take all tools out of the cabinet." / "Put the cover back.".',
    ),
    (("steps:", "break_minutes: 20\nsteps:"), True, "Changed the longest break under isolation, in minutes: from 30 to 20."),
    (
        ("expected: [34, 41]", "expected: [34, 40]"),
        False,
        "Step `cabinet-air` changed the expected range: from 34 to 41 to 34 to 40.",
    ),
    (("lasts: 5 min", "lasts: 8 min"), False, 'Step `rest` changed how long it waits: from "5 min" to "8 min".'),
    (("lit: cabinet-air", "lit: desk"), False, "'lit' at step `display` led to `cabinet-air` and leads to `desk` now."),
    (
        ("cabinet_air > 41 and", "cabinet_air > 40 and"),
        False,
        "'cabinet_air > 40 and display == 'lit'' at step `how-warm` is new",
    ),
    (("say: Open the door. Look", "say: Look"), False, "Step `greet` changed its words"),
    (
        ("outcome: no fault found", "outcome: done"),
        False,
        'Step `not-warm` changed the outcome: from "no fault found" to "done".',
    ),
]


@pytest.mark.parametrize(("pair", "safety", "sentence"), CASES, ids=[sentence[:40] for _, _, sentence in CASES])
def test_each_change_in_words(pair: tuple[str, str], safety: bool, sentence: str) -> None:
    found = [change for change in changed(pair) if sentence in change.sentence]
    assert len(found) == 1
    assert found[0].safety is safety


def test_safety_comes_first() -> None:
    found = changed(("say: Open the door. Look", "say: Look"), ("below: 5", "below: 3"), ("lasts: 5 min", "lasts: 8 min"))
    assert [change.safety for change in found] == [True, False, False]
    assert next(iter(lines(found))) == "Safety:"


def _without(*names: str) -> Book:
    data = yaml.safe_load(TEXT)
    data["steps"] = [step for step in data["steps"] if step["id"] not in names]
    return book(yaml.safe_dump(data, sort_keys=False))


def test_a_step_taken_out_and_put_in() -> None:
    old, new = book(TEXT), _without("rest")
    assert [change.sentence for change in compare(old, new)][:1] == [
        'The wait step `rest` is gone; it said: "The compressor rests."'
    ]
    assert compare(new, old)[0].sentence == 'New wait step `rest`: "The compressor rests."'


def test_a_proof_taken_out_is_told_with_what_follows_from_it() -> None:
    found = [change for change in compare(book(TEXT), _without("dead")) if change.safety]
    text = "\n".join(change.sentence for change in found)
    assert "The prove step `dead` is gone" in text
    assert "Step `brush` was done isolated and is done isolated but not proved dead now." in text
    assert "The new version is not safe to run: Step `brush` works on moving fan" in text
    back = "\n".join(change.sentence for change in compare(_without("dead"), book(TEXT)))
    assert "The fault 'hazard while live' at step `brush` is mended." in back


def test_a_step_that_only_changed_its_name() -> None:
    new = TEXT.replace("id: rest\n", "id: compressor-rest\n")
    assert [change.sentence for change in compare(book(TEXT), book(new))] == ["Step `rest` is called `compressor-rest` now."]


def test_a_change_in_what_is_called_is_told_too() -> None:
    old = book(TEXT)
    called = parse_procedure((DATA / "check-supply.yaml").read_text(encoding="utf-8").replace("[109, 126]", "[110, 126]"))
    found = compare(old, book_of(old.procedures["warm-cabinet"], called))
    assert [change.sentence for change in found] == [
        "In `check-supply`: Step `outlet` changed the expected range: from 109 to 126 to 110 to 126."
    ]
