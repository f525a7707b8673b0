"""A cabinet's page recorded: typed, and as a voice brings it; what is refused is said, what stands is not asked again."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from handsfree.authoring.asked import RecordOptions
from handsfree.authoring.commands import record
from handsfree.authoring.dictation import Dictation
from handsfree.authoring.hearing import WriterHearer
from handsfree.authoring.page_fields import Slot, as_written
from handsfree.authoring.pages import PageSave, PageState, advance, start
from handsfree.authoring.words import load_words
from handsfree.errors import Trouble
from handsfree.journal.events import NoteKept, Opened, Say, Stamped, Utterance
from handsfree.journal.verify import verify
from handsfree.journal.writer import Journal
from handsfree.language.meaning import Heard, Listening, Meaning, Sense, Verdict
from handsfree.procedure import cabinet
from handsfree.procedure.check import check_path

WHOLE = """\
Testkasten 9
hold the lower key
skip it
press the upper key once
change it with either key
skip it
skip it
skip it
skip it
the relay
behind the lower grille
that is all
1
brown
the cord inlet
the relay
that is all
230
50
2
r 290
85
{flame}
18
2
It slides out to the front
43
39
46
no
skip it
skip it
gasket
TW 1
that is all
"""
PATH = Path("procedures/cabinets/testkasten-9.yaml")


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def typed(lines: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> str:
    monkeypatch.setattr("sys.stdin", io.StringIO(lines))
    record(RecordOptions("testkasten-9", typed=True, language="en", cabinet=True))
    return capsys.readouterr().out


def test_a_page_is_recorded_whole_and_checks(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    said = typed(WHOLE.format(flame="yes"), monkeypatch, capsys)
    assert "Where does the relay sit?" in said
    page = cabinet.load_page(PATH).page
    assert (page.title, page.keys.show_mode, page.keys.set_mode) == ("Testkasten 9", "Hold the lower key.", None)
    assert (page.places, page.leads[0].source) == ({"relay": "behind the lower grille"}, "the cord inlet")
    assert page.plate is not None
    assert (page.plate.refrigerant, page.plate.amperes, page.plate.flame_symbol) == ("R-290", 2.0, True)
    assert page.deck is not None
    assert (page.deck.hand_screws, page.heater, page.parts) == (2, False, {"gasket": "TW 1"})
    assert check_path(PATH)[0].remarks == ()
    assert verify(PATH.parent / "testkasten-9.recording" / "001").problem == ""


def test_what_cannot_be_is_said_and_asked_again(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    wrong = WHOLE.format(flame="no\n230\n50\n2\nr 290\n85\nyes")
    said = typed(wrong, monkeypatch, capsys)
    assert "That cannot be. R-290 burns" in said
    assert said.count("From the plate: how many volts?") == 2
    assert cabinet.load_page(PATH).page.parts == {"gasket": "TW 1"}


def test_one_that_stopped_is_taken_up(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    lines = WHOLE.format(flame="yes").splitlines()
    said = typed("\n".join((*lines[:17], "stop recording")), monkeypatch, capsys)
    assert "resume it with: handsfree record testkasten-9 --cabinet" in said
    again = typed("\n".join((*["skip it"] * 5, "that is all", "that is all", *lines[17:])), monkeypatch, capsys)
    assert "What is the model called?" not in again
    assert "How is the mode shown" not in again
    assert cabinet.load_page(PATH).page.plate is not None


def step(state: PageState, event: object) -> tuple[PageState, list[str], list[PageSave]]:
    after, effects = advance(state, Stamped(0, "2026-03-02T08:00:00+00:00", 0.0, event))
    said = [effect.text for effect in effects if isinstance(effect, Say)]
    return after, said, [effect for effect in effects if isinstance(effect, PageSave)]


def at_the_plate() -> PageState:
    keys = dict.fromkeys((
        "show-mode", "set-mode", "show-setting", "set-setting", "show-offset", "set-offset", "start-defrost", "calls",
    ), "A.")
    page = {"cabinet": "x", "title": "X", "keys": keys}
    state = start(load_words("en"), page)
    state, _, _ = step(state, Opened("x 001", "x", "en", "", "", "", "t", "test"))
    for _ in range(2):  # places, leads
        state, said, _ = step(state, Utterance("accepted", "phrase", "that is all", sure=1.0, engine="test"))
    assert said == ["From the plate: how many volts?"]
    return state


def test_a_number_that_was_likely_heard_is_read_back_and_counts_when_affirmed() -> None:
    state, said, _ = step(at_the_plate(), Utterance("proposed", "number", "230", 230.0, sure=0.6, engine="test"))
    assert said == ["230 Is that right?"]
    state, said, _ = step(state, Utterance("accepted", "command", "affirm", sure=1.0, engine="test"))
    assert (said, state.row) == (["How many hertz?"], {"volts": 230})


@pytest.mark.parametrize(
    ("written", "kept"),
    [
        ("R29 0.", "R-290"), ("r 134 a", "R-134a"), ("R two nine zero", "R-290"), ("49 0", ""), ("Archim 9 0", ""),
        ("Our 290.", "R-290"), ("Or two nine zero", "R-290"), ("door 290", ""),
    ],
)
def test_a_refrigerant_is_known_by_its_figures_and_what_is_none_is_said_at_once(written: str, kept: str) -> None:
    state = at_the_plate()
    for value in (230.0, 50.0, 2.0):
        state, said, _ = step(state, Utterance("accepted", "number", "", value, sure=1.0, engine="test"))
    state, said, _ = step(state, Utterance("accepted", "dictated", written, sure=1.0, engine="test"))
    assert state.pending == kept
    assert said[0].startswith(kept or "I wrote: ")
    assert state.row == {"volts": 230, "hertz": 50, "amperes": 2}


def test_words_of_pages_are_listened_for_where_a_word_or_two_is_asked() -> None:
    from handsfree.authoring.hearing import words_of_pages

    assert {"brown", "green and yellow"} <= set(words_of_pages("en", "colour"))
    assert {"relay", "compressor"} <= set(words_of_pages("en", "part"))
    assert words_of_pages("en", "show-mode") == words_of_pages("es", "colour") == ()


def test_dictated_words_are_read_back_and_count_when_affirmed() -> None:
    state = start(load_words("en"), {"cabinet": "x", "title": "X"})
    state, said, _ = step(state, Opened("x 001", "x", "en", "", "", "", "t", "test"))
    assert said[-1] == "How is the mode shown on its keys?"
    state, said, saved = step(state, Utterance("accepted", "dictated", "hold the lower tree", sure=1.0, engine="test"))
    assert (said, saved) == (["Hold the lower tree. Is that right?"], [])
    state, said, saved = step(state, Utterance("accepted", "command", "negative", sure=1.0, engine="test"))
    assert (said, saved) == (["How is the mode shown on its keys?"], [])
    state, said, _ = step(state, Utterance("accepted", "dictated", "hold the lower key", sure=1.0, engine="test"))
    state, said, (saved_page,) = step(state, Utterance("accepted", "command", "affirm", sure=1.0, engine="test"))
    assert saved_page.page["keys"] == {"show-mode": "Hold the lower key."}
    assert said == ["How is it set to cooling?"]
    state, said, _ = step(state, NoteKept("", "", ""))
    assert said == ["How is it set to cooling?"]


def taken(sense: str, text: str, value: float | None = None) -> Utterance:
    return Utterance("accepted", sense, text, value, sure=1.0, engine="test", words=text)


def at_the_keys(*said: Utterance) -> tuple[PageState, list[str], list[PageSave]]:
    state = start(load_words("en"), {"cabinet": "x", "title": "X"})
    now = step(state, Opened("x 001", "x", "en", "", "", "", "t", "test"))
    for event in said:
        now = step(now[0], event)
    return now


def test_what_was_read_back_wrong_is_said_anew_and_after_that_the_keyboard_is_offered() -> None:
    state, said, _ = at_the_keys(taken("dictated", "hold the lower tree"), taken("dictated", "hold the lower key"))
    assert (state.pending, said) == ("Hold the lower key.", ["Hold the lower key. Is that right? If not, type it."])
    _, said, (saved,) = step(state, taken("command", "affirm"))
    assert (saved.page["keys"], said) == ({"show-mode": "Hold the lower key."}, ["How is it set to cooling?"])
    _, said, (saved,) = step(state, NoteKept("", "", "press the star key"))
    assert (saved.page["keys"], said) == ({"show-mode": "Press the star key."}, ["How is it set to cooling?"])


@pytest.mark.parametrize(("words", "said"), [
    ("That is not right.", "How is the mode shown on its keys?"), ("No.", "How is the mode shown on its keys?"),
    ("Yes, it is.", "Hold the lower tree. Is that right?"),  # one witness alone wrote it
])  # fmt: skip
def test_dictated_words_that_answer_a_read_back_are_no_new_words(words: str, said: str) -> None:
    state, last, saved = at_the_keys(taken("dictated", "hold the lower tree"), taken("dictated", words))
    assert (last[-1], saved, state.page.get("keys")) == (said, [], None)


def test_the_keyboard_alone_affirms_what_was_read_back() -> None:
    _, said, (saved,) = at_the_keys(taken("dictated", "hold the lower key"), NoteKept("", "", "yes"))
    assert (saved.page["keys"], said) == ({"show-mode": "Hold the lower key."}, ["How is it set to cooling?"])


def test_a_word_that_pages_have_and_a_number_are_said_in_the_next_sentence() -> None:
    state = at_the_plate()
    state = replace(state, at=(3, 0))  # leads
    state, said, _ = step(state, taken("number", "2", 2.0))
    assert said == ["Two. The colour of its lead?"]
    state, said, _ = step(state, taken("phrase", "brown"))
    assert (said, state.pending, state.row) == (["Brown. Where does it come from?"], "", {"terminal": 2, "colour": "brown"})


def test_another_number_replaces_one_that_was_read_back() -> None:
    state, _, _ = step(at_the_plate(), Utterance("proposed", "number", "215", 215.0, sure=0.6, engine="test"))
    _, said, _ = step(state, replace(taken("number", "230", 230.0), typed=True))
    assert said == ["How many hertz?"]


class Ear:
    """In place of a recogniser: whatever it is given, this is what it makes of it."""

    def __init__(self, heard: Heard) -> None:
        self.heard = heard
        self.listening = Listening()

    def hear(self, samples: object, listening: Listening) -> Heard:
        self.listening = listening
        return self.heard


@pytest.mark.parametrize(("words", "sense"), [("Firm.", "command"), ("Press the star key.", "dictated")])
def test_a_word_that_may_be_affirm_is_not_written_as_free_words(words: str, sense: str) -> None:
    """And free words are written as such a field reads in the pages that ship."""
    told: list[str] = []
    ear = Ear(Heard(Verdict.ASKED_AGAIN, Meaning(Sense.COMMAND, "affirm"), 0.7, words))
    dictation = Dictation(lambda samples, among: told.append(among) or words, None, None)  # type: ignore[func-returns-value]  # None, so `or`
    writer = WriterHearer(ear, dictation, Journal.create(Path("r")), "en")  # type: ignore[arg-type]
    writer.topic = "show-mode"
    listening = Listening(commands=("say again",), also=("affirm", "negative"), note=True)
    event = writer.hear_utterance(np.zeros(1600, dtype=np.float32), listening, 0.0, 0.1)
    assert event.sense == sense
    assert (ear.listening.also, ear.listening.note) == (("affirm", "negative"), False)
    assert [text.startswith("How is the mode shown on its keys? Hold the lower key") for text in told] == [True] * len(told)


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("A b", "", "cannot be a cabinet's name"),
        ("testkasten-9", "title: X\n", "lacks 'cabinet'"),
        ("testkasten-9", "[", "ends too soon"),
    ],
)
def test_what_cannot_be_recorded_is_a_sentence(name: str, text: str, says: str) -> None:
    PATH.parent.mkdir(parents=True)
    PATH.write_text(text, encoding="utf-8")
    with pytest.raises(Trouble) as trouble:
        record(RecordOptions(name, typed=True, language="en", cabinet=True))
    assert trouble.value.status == 2
    assert says in trouble.value.sentence
    assert PATH.read_text(encoding="utf-8") == text


@pytest.mark.parametrize(
    ("language", "said", "kept"),
    [("es", "La válvula.", "valvula"), ("es", "caño pequeño", "cano pequeno"), ("en", "The door-seal", "door seal")],
)
def test_the_name_of_a_part_keeps_each_of_its_letters(language: str, said: str, kept: str) -> None:
    assert as_written(Slot("part", "name"), said, load_words(language)) == kept
