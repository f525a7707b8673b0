"""A word spelled aloud, and a wrong word mended so."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

from audio_fixtures.voices import silence, synthesise
from handsfree.authoring import free_words
from handsfree.authoring.dictation import Dictation
from handsfree.authoring.hearing import WORD, WriterHearer
from handsfree.authoring.keeping import open_recording
from handsfree.authoring.live import dictation_for
from handsfree.authoring.settling import QUESTIONS
from handsfree.authoring.spelling import Speller, letters_of
from handsfree.authoring.words import load_words
from handsfree.language.meaning import Listening
from handsfree.speech import sounds
from handsfree.speech.recogniser import build_recogniser
from tests.authoring.scenes import doubted, typed
from tests.authoring.test_second_ear import SOUND, Heard

CLOSE = ["keep", "stop recording"]


def _step(folder: Path) -> dict[str, Any]:
    found: dict[str, Any] = yaml.safe_load((folder / "fan-look.yaml").read_text(encoding="utf-8"))["steps"][0]
    return found


@pytest.mark.parametrize(
    ("text", "word"),
    [("Bravo, Uniform, Romeo, Romeo.", "burr"), ("hotel echo x ray", "hex"), ("Hotel, echo, X-ray", "hex"),
     ("b u r r", "burr"), ("B-U-R-R.", "burr"), ("Whiskey, h, Oscar, l, echo", "whole"), ("burr", ""), ("bravo", ""),
     ("golf club", ""), ("a burr", ""), ("4 2", ""), ("", "")],
)  # fmt: skip
def test_letters_are_read_and_nothing_else_is(text: str, word: str) -> None:
    assert "".join(letters_of(text, load_words("en"))) == word


@pytest.mark.parametrize("code", ["en", "es"])
def test_every_letter_has_one_word_of_its_own(code: str) -> None:
    words = load_words(code)
    letters = {letter for _, letter in words.pairs("letter")}
    assert letters >= set("abcdefghijklmnopqrstuvwxyz")
    for letter in letters:
        assert letters_of(f"{words.name_of('letter', letter)} {letter}", words) == (letter, letter)


def test_a_doubtful_word_is_spelled(tmp_path: Path) -> None:
    lines = ["A look", "new step", "Take the bar|bore out.", "another word", "Bravo, Uniform, Romeo, Romeo."]
    told = doubted([*lines, "an instruction", "none", *CLOSE], tmp_path)
    assert _step(tmp_path)["say"] == "Take the burr out."
    assert "Bravo, uniform, romeo, romeo." in told.said


def test_a_word_that_nobody_doubted_is_mended_from_the_review(tmp_path: Path) -> None:
    lines = ["A look", "new step", "Take the bar out.", "an instruction", "none", "mend a word", "take", "correction"]
    told = typed([*lines, "bar", "bravo uniform romeo romeo", *CLOSE], tmp_path)
    assert _step(tmp_path)["say"] == "Take the burr out."
    assert [said.split(",")[0] for said in told.said if said.startswith("For ")] == ["For Take", "For bar"]


def test_a_mended_word_is_mended_in_the_answers_too_and_taken_back_by_correction(tmp_path: Path) -> None:
    lines = ["A look", "Is the seal torn, hole or missing? If it is hole, end.", "mend a word", "hole"]
    typed([*lines, "whiskey hotel oscar lima echo", "keep", "stop recording"], tmp_path)
    assert _step(tmp_path)["say"] == "Is the seal torn, whole or missing?"
    assert [one["say"] for one in _step(tmp_path)["answers"]] == ["torn", "whole", "missing"]
    typed([*lines[1:], "whiskey hotel oscar lima echo", "correction", "wool", "stop recording"], tmp_path)
    typed(["keep", "stop recording"], tmp_path)
    texts = yaml.safe_load((tmp_path / "fan-look.yaml").read_text(encoding="utf-8"))["steps"]
    assert texts[1]["say"] == "Is the seal torn, wool or missing?"


def test_two_words_are_mended_as_one_and_a_missing_word_is_put_in(tmp_path: Path) -> None:
    lines = ["A look", "Is the seal torn at all or missing? If it is missing, end.", "mend a word", "at all", "worn"]
    typed([*lines, "keep", "stop recording"], tmp_path)
    assert _step(tmp_path)["say"] == "Is the seal torn worn or missing?"
    lines = ["change a step", "step one", "mend a word", "after seal", "hotel echo romeo echo"]
    typed([*lines, "keep", "stop recording"], tmp_path)
    assert _step(tmp_path)["say"] == "Is the seal here torn worn or missing?"


def test_two_words_with_a_stop_between_are_not_one(tmp_path: Path) -> None:
    lines = ["A look", "new step", "Take the fan. Look at it.", "an instruction", "none", "mend a word", "fan look", "fan"]
    told = typed([*lines, "fin", *CLOSE], tmp_path)
    assert "Say again." in told.said
    assert _step(tmp_path)["say"] == "Take the fin. Look at it."


def test_what_the_step_does_not_say_is_not_mended(tmp_path: Path) -> None:
    lines = ["A look", "new step", "Take the bar out.", "an instruction", "none", "mend a word", "grinder", "bar", "bit"]
    told = typed([*lines, *CLOSE], tmp_path)
    assert "Say again." in told.said
    assert _step(tmp_path)["say"] == "Take the bit out."


def test_the_sounds_put_letters_right_that_were_written_wrong() -> None:
    said = "bravo uniform romeo romeo"
    for written in ("Bravo, Union, Army, Romeo, Romeo.", "Bravo, uniform, Romeo, Roosevelt.",
                    "Bravo, uniform, to, Romeo, Romeo.", "Bravo, Uniform, Romeo, Romeo, Romeo, Romeo...",
                    "Bravo, Uniform, Romeo."):  # fmt: skip
        speller = Speller(lambda samples, among, text=written: text, Heard(said), load_words("en"))  # type: ignore[arg-type, misc]
        assert speller(SOUND) == said, written


def test_other_speech_is_no_spelling() -> None:
    for written in ("Take the upper burr out.", "", "Burr.", "The gasket of the hotel is torn."):
        speller = Speller(lambda samples, among, text=written: text, Heard("burr"), load_words("en"))  # type: ignore[arg-type, misc]
        assert speller(SOUND) == "", written


@pytest.fixture(scope="module")
def hearer(tmp_path_factory: pytest.TempPathFactory) -> WriterHearer:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(free_words, "_KNOWS", {"tiny.en": ("en",)})
        recogniser = build_recogniser("phonetic", "en", Path("no-models"))
        recording = open_recording("fan-look", tmp_path_factory.mktemp("spelled"), "en", "Resi Kofler", "phonetic")
        return WriterHearer(recogniser, dictation_for(recogniser, "en"), recording.journal, "en")


def _said(words: str) -> Any:
    return np.concatenate([silence(0.4), synthesise(words, "rms", 1.0), silence(0.4)]).astype(np.float32)


def test_a_word_spelled_by_voice_is_heard_letter_by_letter(hearer: WriterHearer) -> None:
    hearer.topic = WORD
    event = hearer.hear_utterance(_said("Bravo, uniform, romeo, romeo."), Listening(note=True, commands=()), 0.0, 3.0)
    assert letters_of(event.words, load_words("en")) == ("b", "u", "r", "r")
    event = hearer.hear_utterance(_said("The condenser."), Listening(note=True, commands=()), 3.0, 5.0)
    assert "condens" in event.words.lower()
    assert letters_of(event.words, load_words("en")) == ()
    hearer.topic = "idle"


def test_a_word_that_was_spelled_is_expected_from_then_on_and_taken_back_with_it(tmp_path: Path) -> None:
    lines = ["A look", "new step", "Take the bar out.", "an instruction", "none", "mend a word", "bar"]
    told = typed([*lines, "bravo uniform romeo romeo", *CLOSE], tmp_path)
    assert told.state.spelled == ("burr",)
    told = typed([*lines, "bravo uniform tango", "correction", "stop recording"], tmp_path, "fan-see")
    assert told.state.spelled == ()
    heard: list[str] = []

    def write(samples: Any, among: str) -> str:
        heard.append(among)
        return "Take the burr out."

    dictation = Dictation(write, None, None, like="Open the door.")
    dictation.write(SOUND, known=("burr", "sprag"))
    dictation.write(SOUND)
    dictation.write(SOUND, "A page.", known=("burr",))
    assert heard == ["Open the door. burr, sprag.", "", "A page."]


def test_the_question_for_one_word_is_there() -> None:
    assert WORD in QUESTIONS
    assert sounds.ways("x ray")
