"""Doubtful words: asked about in every dictated sentence, put into their place, or left marked and settled later."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml

from handsfree.authoring.keeping import open_recording
from handsfree.errors import Trouble
from handsfree.procedure.load import load_procedure
from handsfree.procedure.model import Isolate, Restore, Wait
from tests.authoring.scenes import doubted, typed

ISOLATE = ["new step", "The next steps put your hands near the fan.", "isolation"]
CLOSE = ["keep", "stop recording"]


def _steps(folder: Path) -> list[dict[str, object]]:
    found = yaml.safe_load((folder / "fan-look.yaml").read_text(encoding="utf-8"))["steps"]
    assert isinstance(found, list)
    return found


def test_sentences_that_were_dictated_get_a_capital_and_a_stop(tmp_path: Path) -> None:
    lines = [
        "look at the fan",
        *ISOLATE, "pull the plug", "put your lock on it", "that is all", "mains by cord", "that is all", "keep",
        "new step", "the supply comes back", "take every tool out", "put the grille back", "that is all",
        "put the plug in", "keep",
        "new step", "wait for three minutes", "the compressor rests", *CLOSE,
    ]  # fmt: skip
    doubted(lines, tmp_path)
    isolate, restore, wait = load_procedure(tmp_path / "fan-look.yaml").steps
    assert isinstance(isolate, Isolate)
    assert isolate.do == ("Pull the plug.", "Put your lock on it.")
    assert isolate.sources == ("mains by cord",)
    assert isinstance(restore, Restore)
    assert (restore.checks, restore.power) == (("Take every tool out.", "Put the grille back."), "Put the plug in.")
    assert isinstance(wait, Wait)
    assert (wait.say, wait.because) == ("Wait for three minutes.", "The compressor rests.")


def test_a_doubtful_word_of_the_step_is_put_into_its_place(tmp_path: Path) -> None:
    lines = ["A look", "new step", "Brush the fans|fins|fence and dry|try them.", "the second one", "first"]
    told = doubted([*lines, "an instruction", "none", *CLOSE], tmp_path)
    assert _steps(tmp_path)[0]["say"] == "Brush the fins and dry them."
    assert "I am not sure of two words." in told.said
    after = told.said.index("I am not sure of two words.") + 1
    assert told.said[after] == (
        "Word three: fans, fins or fence. Word five: dry or try. Say which for each, as first, first. Or leave them all."
    )
    assert told.said[after + 1] == (
        "Word five. The first one: dry. The second one: try. Or another word, or leave it as it is."
    )
    assert "unsure" not in told.text


def test_several_words_are_shown_at_once_and_settled_in_one_saying(tmp_path: Path) -> None:
    lines = ["A look", "new step", "Brush the fans|fins|fence and dry|try them.", "second first"]
    doubted([*lines, "an instruction", "none", *CLOSE], tmp_path)
    assert _steps(tmp_path)[0]["say"] == "Brush the fins and dry them."


def test_several_words_are_left_in_one_saying_and_settled_together_later(tmp_path: Path) -> None:
    lines = ["A look", "new step", "Brush the fans|fins and try|dry them.", "leave them all", "an instruction", "none"]
    assert "# unsure: fans, try" in doubted([*lines, *CLOSE], tmp_path).text
    settled = ["settle the words", "another word", "fins", "another word", "dry"]
    doubted(["change a step", "step one", *settled, *CLOSE], tmp_path)
    assert _steps(tmp_path)[0]["say"] == "Brush the fins and dry them."


def test_what_changes_nothing_whichever_was_said_is_not_asked(tmp_path: Path) -> None:
    """Two small words; a small word that may be a word of weight is asked about."""
    lines = ["A look", "new step", "Brush the|a fins of|it dust|the now.", "first", "an instruction", "none"]
    told = doubted([*lines, *CLOSE], tmp_path)
    assert not any(said.startswith("I am not sure of") for said in told.said)
    assert "Word five. The first one: dust. The second one: the. Or another word, or leave it as it is." in told.said


def test_a_word_that_becomes_two_moves_those_behind_it(tmp_path: Path) -> None:
    lines = ["A look", "new step", "Shut|shot the fan|van off.", "another word", "Switch off", "second", "an instruction"]
    doubted([*lines, "none", *CLOSE], tmp_path)
    assert _steps(tmp_path)[0]["say"] == "Switch off the van off."


@pytest.mark.parametrize(
    ("lines", "field", "value"),
    [
        ([*ISOLATE, "pull the blood|plug", "second", "that is all", "mains", "that is all"], "do", ["Pull the plug."]),
        ([*ISOLATE, "pull it", "that is all", "means|mains by cord", "second", "that is all"], "sources", ["mains by cord"]),
        (["new step", "Wait for three minutes.", "the compressor tests|rests", "second"], "because",
         "The compressor rests."),
        (["new step", "Look at the lamp.", "a question", "bit|lit", "second", "dark", "that is all", "straight on",
          "straight on", "none"], "answers", [{"say": "lit"}, {"say": "dark"}]),
        (["new step", "Read the meter in volts.", "apply|supply voltage", "second", "100", "130", "leave it open", "none"],
         "quantity", "supply voltage"),
    ],
)  # fmt: skip
def test_words_of_every_sentence_are_settled(lines: list[str], field: str, value: object, tmp_path: Path) -> None:
    doubted(["A look", *lines, *CLOSE], tmp_path)
    assert _steps(tmp_path)[0][field] == value


def test_a_title_is_settled_and_what_is_left_is_marked(tmp_path: Path) -> None:
    doubted(["Look at the van|fan", "the second", "stop recording"], tmp_path)
    assert yaml.safe_load((tmp_path / "fan-look.yaml").read_text(encoding="utf-8"))["title"] == "Look at the fan"
    left = doubted(["Look at the van|fan", "leave it", "stop recording"], tmp_path, "fan-see")
    assert left.text.startswith("# unsure: van\n")
    again = doubted(["new step", "Open the door.", "an instruction", "none", "keep", "finish"], tmp_path, "fan-see")
    assert "The title has words marked as unsure: van." in again.said


def test_words_that_were_left_are_marked_and_settled_from_the_review(tmp_path: Path) -> None:
    lines = [*ISOLATE, "pull the blood|plug", "leave it", "that is all", "means|mains", "leave it as it is", "that is all"]
    told = doubted(["A look", *lines, "keep", "stop recording"], tmp_path)
    assert "# unsure: blood, means" in told.text
    assert any("Unsure: blood, means." in said for said in told.said)
    later = ["change a step", "step one", "settle the words", "the second one", "another word", "mains"]
    told = doubted([*later, *CLOSE], tmp_path)
    assert (_steps(tmp_path)[0]["do"], _steps(tmp_path)[0]["sources"]) == (["Pull the plug."], ["mains"])
    assert "unsure" not in told.text


def test_marks_in_a_file_are_kept_until_they_are_settled(tmp_path: Path) -> None:
    """Also where the recording they came from is finished, or the file was written by hand: then their step is searched."""
    path = tmp_path / "fan-look.yaml"
    typed(["A look", "new step", "Brush the fans.", "an instruction", "none", *CLOSE], tmp_path)
    path.write_text(path.read_text(encoding="utf-8").replace("  - id:", "  # unsure: fans\n  - id:"), encoding="utf-8")
    told = typed(["change a step", "step one", "keep", "stop recording"], tmp_path)
    assert told.recording.shelf.session.name == "002"
    assert "# unsure: fans" in told.text
    told = typed(["change a step", "step one", "settle them", "another word", "fins", *CLOSE], tmp_path)
    assert "unsure" not in told.text
    assert _steps(tmp_path)[0]["say"] == "Brush the fins."


def test_a_word_settled_later_leaves_the_recording_with_its_step(tmp_path: Path) -> None:
    """What was said has not changed; only the text is right now."""
    end = ["new step", "It is over.", "the end", "all done", "keep", "finish", "finish"]
    doubted(["A look", "new step", "Brush the fans|fins.", "leave it", "an instruction", "none", "keep", *end], tmp_path)
    told = typed(["change a step", "step one", "settle them", "another word", "fins", *CLOSE], tmp_path)
    assert told.recording.shelf.session.name == "002"
    step = load_procedure(tmp_path / "fan-look.yaml").steps[0]
    assert step.say == "Brush the fins."
    assert step.own_sound


def test_correction_takes_a_settled_word_back(tmp_path: Path) -> None:
    lines = ["A look", "new step", "Brush the fans|fins.", "second", "correction", "first", "an instruction", "none"]
    doubted([*lines, *CLOSE], tmp_path)
    assert _steps(tmp_path)[0]["say"] == "Brush the fans."


def test_a_recording_cut_off_while_a_word_is_settled_goes_on_there(tmp_path: Path) -> None:
    doubted(["A look", "new step", "Brush the fans|fins."], tmp_path)
    told = doubted(["second", "an instruction", "none", *CLOSE], tmp_path)
    assert told.said[1].startswith("Word three.")
    assert _steps(tmp_path)[0]["say"] == "Brush the fins."


def test_a_recording_that_could_not_begin_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from handsfree.authoring.asked import RecordOptions
    from handsfree.authoring.commands import record

    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    for _ in range(2):
        with pytest.raises(Trouble, match="no sound file"):
            record(RecordOptions("fan-look", tmp_path, sound_in="nothing.wav", engine="pocketsphinx"))
        assert list(tmp_path.iterdir()) == []
    typed(["A look", "stop recording"], tmp_path)
    before = sorted(path.name for path in tmp_path.rglob("*"))
    with pytest.raises(Trouble, match="no sound file"):
        record(RecordOptions("fan-look", tmp_path, sound_in="nothing.wav", engine="pocketsphinx"))
    assert sorted(path.name for path in tmp_path.rglob("*")) == before
    typed(["stop recording"], tmp_path)


def test_a_language_that_cannot_be_recorded_in_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match="'xx'"):
        open_recording("fan-look", tmp_path / "new", "xx", "", "typed")
    assert list(tmp_path.iterdir()) == []
