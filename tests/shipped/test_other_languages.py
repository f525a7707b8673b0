"""The shipped procedures in other languages than English: proved, walked every way, checked in their own language."""

from __future__ import annotations

import pytest

from handsfree.language import base
from handsfree.language.meaning import Listening, Sense
from handsfree.procedure import observations, sounds, values, wording
from handsfree.procedure.load import load_book, load_procedure, procedure_files
from handsfree.procedure.model import Ask, Book, Caution, End
from handsfree.procedure.printed import markdown
from handsfree.procedure.proofs import prove
from tests.shipped.conftest import FOLDER
from tests.shipped.walker import all_edges, walk

OTHERS = tuple(file for file in procedure_files(FOLDER) if load_procedure(file).language != "en")


@pytest.fixture(params=OTHERS, ids=lambda file: file.stem)
def other(request: pytest.FixtureRequest) -> Book:
    return load_book(request.param, [FOLDER])


def test_there_is_one() -> None:
    assert [file.stem for file in OTHERS] == ["revision-de-anden"]


def test_it_is_proved_and_every_way_ends(other: Book) -> None:
    assert prove(other) == ()
    found = walk(other)
    main = other.procedures[other.main]
    assert all_edges(main) - found.edges == set()
    assert {(other.main, step.id) for step in main.steps} - found.entered == set()
    assert {step.outcome for step in main.steps if isinstance(step, End)} <= {outcome for outcome, _ in found.closed}
    assert {power for _, power in found.closed} == {"LIVE"}


def test_the_programs_own_checks_find_nothing(other: Book) -> None:
    language = base.load(other.procedures[other.main].language)
    remarks = (
        *values.remarks(other, other.main, language),
        *wording.remarks(other, other.main),
        *sounds.remarks(other, other.main, language),
        *observations.remarks(other, other.main),
    )
    assert [remark.shown for remark in remarks] == []
    for step in other.procedures[other.main].steps:
        for text in wording.texts(step):
            for sentence in wording.sentences(text):
                assert len(sentence.split()) <= 20, sentence
                assert sentence.lstrip("¿¡")[0].isupper(), sentence


def test_each_answer_is_understood_as_itself_and_is_no_command(other: Book) -> None:
    language = base.load(other.procedures[other.main].language)
    taken = {way for ways in language.commands.values() for way in ways}
    for step in other.procedures[other.main].steps:
        if isinstance(step, Ask):
            ways = tuple(way for answer in step.answers for way in (answer.say, *answer.also))
            assert not taken & set(ways)
            for way in ways:
                meaning = language.understand(way, Listening(phrases=ways))[0]
                assert (meaning.sense, meaning.text) == (Sense.PHRASE, way)


def test_it_is_the_same_work_as_its_english_model(other: Book) -> None:
    """Step for step the kinds, hazards and gates of platform-check; only the words and the unit differ."""
    english = load_procedure(FOLDER / "platform-check.yaml")
    mine = other.procedures[other.main].steps
    assert [(s.kind, s.hazards, s.behind_gate) for s in mine] == [(s.kind, s.hazards, s.behind_gate) for s in english.steps]
    warned = {hazard for step in mine if isinstance(step, Caution) for hazard in step.hazards}
    assert {h for s in mine for h in s.hazards} - {"moving fan"} <= warned


def test_the_printed_copy_is_in_its_language(other: Book) -> None:
    english, text = wording.word_lists("en").printed, markdown(other)
    for key in ("use", "isolated", "clear", "power", "dead-try", "only-isolated"):
        assert english[key] not in text
        assert wording.word_lists("es").printed[key].split("{")[0] in text
