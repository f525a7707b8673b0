"""Recording by voice alone, end to end: synthetic writers, the real end of every engine that is always there."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.authoring import free_words
from handsfree.journal.events import Utterance
from handsfree.procedure.check import check_file
from handsfree.procedure.load import load_procedure
from handsfree.procedure.model import Ask, Caution, End, text_digest
from handsfree.sound.files import read_sound
from tests.authoring.scenes import Told, Voice, by_voice

#: What the writer says to each question, in order. Asked again, she says the same once more.
LINES = {
    "title": ["look at the fan"],
    "idle": ["new step", "new step", "new step", "finish the procedure"],
    "words": [
        "Danger. Mains voltage can kill.",
        "Hold your palm in front of the delivery opening. How does the air feel?",
        "No fault was found.",
    ],
    "answers": ["cold air", "dead calm", "that is all"],
    "leads": ["straight on", "straight on"],
    "hazards": ["that is all", "no hazard"],
    "kind": ["the end"],
    "outcome": ["no fault found"],
    "review": ["keep this step"] * 3,
    "finish": ["finish the procedure"],
}


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> tuple[Told, Voice]:
    """What is written and doubted is tiny.en's, whatever else is installed: 'cold there, dare or air?'"""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(free_words, "_KNOWS", {"tiny.en": ("en",)})
        return by_voice(LINES, tmp_path_factory.mktemp("voice"), "phonetic", ("rms", "awb", "kal16"), "fan-look")


def test_it_is_recorded_to_the_end_and_loads(told: tuple[Told, Voice]) -> None:
    recorded, _ = told
    assert recorded.state.outcome == "finished"
    steps = load_procedure(recorded.recording.shelf.path).steps
    assert [type(step) for step in steps] == [Caution, Ask, End]
    assert steps[0].say == "Mains voltage can kill."  # its signal word is the level, and the visit says it
    assert steps[2].say == "No fault was found."
    assert isinstance(steps[1], Ask)
    assert [answer.say for answer in steps[1].answers] == ["cold air", "dead calm"]
    assert steps[1].say.endswith("How does the air feel?")


def test_every_word_is_kept_as_sound(told: tuple[Told, Voice]) -> None:
    recorded, voice = told
    session = recorded.recording.shelf.session
    for _, words, event in voice.spoken:
        assert isinstance(event, Utterance)
        assert len(read_sound(session / event.clip)) > 2000, words


def test_the_writers_recording_is_kept_with_each_step(told: tuple[Told, Voice]) -> None:
    recorded, _ = told
    folder = recorded.recording.shelf.folder
    for step in load_procedure(recorded.recording.shelf.path).steps:
        assert step.sound is not None
        assert step.own_sound == step.sound
        assert step.sound_of == text_digest(step.say)
        assert len(read_sound(folder / step.sound)) > 8000
    assert not [one for one in check_file(recorded.recording.shelf.path).remarks if one.group == "recording"]


def test_a_text_edited_afterwards_is_marked_and_no_longer_played(told: tuple[Told, Voice], tmp_path: Path) -> None:
    recorded, _ = told
    path = recorded.recording.shelf.path
    edited = path.read_text(encoding="utf-8").replace("No fault was found.", "There is no fault.")
    for sound in path.parent.glob("*.flac"):
        (tmp_path / sound.name).write_bytes(sound.read_bytes())
    (tmp_path / path.name).write_text(edited, encoding="utf-8")
    remarks = [one for one in check_file(tmp_path / path.name).remarks if one.group == "recording"]
    assert [one.step for one in remarks] == ["no-fault-was-found"]
    assert "differ" in remarks[0].why
    step = load_procedure(tmp_path / path.name).steps[-1]
    assert step.sound
    assert not step.own_sound


def test_a_recording_that_is_gone_is_marked(told: tuple[Told, Voice], tmp_path: Path) -> None:
    recorded, _ = told
    (tmp_path / "fan-look.yaml").write_text(recorded.text, encoding="utf-8")
    remarks = [one for one in check_file(tmp_path / "fan-look.yaml").remarks if one.group == "recording"]
    assert len(remarks) == 3


def test_the_technician_hears_the_writer(told: tuple[Told, Voice]) -> None:
    """The visit names the recording of each step, and the mouth plays that and not its own voice."""
    from handsfree.dialogue.mouth import SpokenMouth
    from handsfree.journal.events import Opened, Say, Stamped
    from handsfree.language import base
    from handsfree.procedure.load import load_book
    from handsfree.sound.samples import VirtualClock
    from handsfree.sound.sinks import FileSink
    from handsfree.sound.synth import Synthesiser
    from handsfree.visit.machine import advance, start

    recorded, _ = told
    path = recorded.recording.shelf.path
    book = load_book(path)
    state = start(book, base.load("en"))
    wall = "2026-01-01T08:00:00+00:00"
    state, _ = advance(state, Stamped(0, wall, 0.0, Opened("v", book.main, "en", "", "", "", "", "t")))
    for at, words in enumerate(("seven three", "affirm"), 1):
        from handsfree.authoring.paths import happening

        state, effects = advance(state, Stamped(at, wall, float(at), happening(state, words)))
    says = [effect for effect in effects if isinstance(effect, Say) and effect.step == "mains-voltage-kill"]
    assert says
    clock = VirtualClock()
    sink = FileSink(None, clock, lambda ended: None)
    synthesiser = Synthesiser("en")
    mouth = SpokenMouth(synthesiser, sink, base.load("en"), [], path.parent)
    step = book.procedures[book.main].steps[-1]
    mouth.say(Say(0, step.say, "step", step=step.id, sound=step.own_sound), 0, 0)
    played = sink.history()[-1].samples
    mouth.close()
    assert len(played) == len(read_sound(path.parent / str(step.sound)))
    assert synthesiser.made == 0
