"""Who is meant, by how loud and how late it was said beside the words."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from audio_fixtures import voices
from handsfree.dialogue.hearing import level_of
from handsfree.dialogue.meant import by_level, by_time, usual_level
from handsfree.journal.events import PromptEnded, Say, Utterance
from handsfree.language.meaning import Sense, Verdict
from tests.visit import data
from tests.visit.scenes import Scene, accepted, book

UNSURE = Utterance(Verdict.NOT_FOR_ME, words="the display looks a bit strange", engine="test")


def at_display() -> Scene:
    """The display was asked about, by a person whose speech is known to be at -30 dB."""
    scene = Scene(book(data.WHOLE)).open()
    scene.tell(replace(accepted(Sense.COMMAND, "next step"), level=-30.0))
    scene.tell(PromptEnded(scene.state.said - 1))
    return scene


def answered(scene: Scene, utterance: Utterance, late: float) -> bool:
    said = replace(utterance, started=scene.now + late, ended=scene.now + late + 1)
    return any(isinstance(effect, Say) for effect in scene.tell(said, late + 1))


@pytest.mark.parametrize(("level", "late", "yes"), [
    (-30.0, 2.0, True), (-33.0, 2.0, True), (-30.0, 12.0, True), (-48.0, 40.0, False), (0.0, 2.0, True),
])  # fmt: skip
def test_the_person_is_answered_and_who_stands_away_is_not(level: float, late: float, yes: bool) -> None:
    assert answered(at_display(), replace(UNSURE, level=level), late) is yes


TALK = Utterance(Verdict.NOT_FOR_ME, words="somebody let her cat out of our shed", engine="test", level=-30.0)


@pytest.mark.parametrize(("again", "yes"), [
    ({}, True), ({"words": "somebody has let her cat out of our shed"}, True),
    ({"words": "her cat is in our kitchen now"}, False), ({"level": -50.0}, False), ({"voice": "other"}, False),
])  # fmt: skip
def test_who_got_no_answer_and_says_it_again_gets_one(again: dict[str, Any], yes: bool) -> None:
    scene = at_display()
    assert not answered(scene, TALK, 4.0)
    assert answered(scene, replace(TALK, **again), 6.0) is yes
    if yes:
        assert not answered(scene, TALK, 4.0), "that was answered: what comes now is said for the first time"


def test_the_same_words_much_later_or_after_an_answer_are_not_said_again() -> None:
    scene = at_display()
    assert not answered(scene, TALK, 4.0)
    assert not answered(scene, TALK, 60.0)
    scene.words("warm")
    assert not answered(scene, TALK, 4.0)
    scene.words("stand by")
    assert not answered(scene, TALK, 4.0)
    assert not answered(scene, TALK, 4.0)


def test_how_loud_the_person_is_is_learnt_from_what_was_accepted() -> None:
    scene = at_display()
    assert scene.state.level == -30.0
    scene.tell(replace(UNSURE, level=-60.0))
    scene.words("warm")  # typed: nothing to learn
    assert scene.state.level == -30.0
    scene.tell(replace(accepted(Sense.NUMBER, "43", 43.0), level=-24.0))
    assert scene.state.level == usual_level(-30.0, -24.0) == -28.0


def test_the_quieter_the_less_it_is_the_person() -> None:
    odds = [by_level(-30.0 - apart, -30.0) for apart in (0, 4, 8, 12, 20)]
    assert odds == sorted(odds, reverse=True)
    assert odds[0] > 0 > odds[2]
    assert by_level(0.0, -30.0) == by_level(-30.0, 0.0) == 0.0


def test_the_later_after_its_time_the_less_it_answers_the_question() -> None:
    odds = [by_time(since, 5.0) for since in (2.5, 5, 10, 20, 60)]
    assert odds == sorted(odds, reverse=True)
    assert odds[0] > 1 > 0 > odds[3]
    assert by_time(20.0, 45.0) > by_time(20.0, 5.0)
    assert by_time(1.0, 45.0) == by_time(1.0, 5.0), "'skip it' is said at once"
    assert by_time(300.0, 600.0) > 0 > by_time(300.0, 45.0)
    assert by_time(-1.0, 5.0) == by_time(0.0, 5.0) == by_time(0.5, 5.0)


def test_a_typed_line_counts_as_loud_as_its_person_usually_is() -> None:
    said = replace(UNSURE, words="this looks a bit strange to me")
    assert [answered(at_display(), replace(said, typed=typed), 12.0) for typed in (False, True)] == [False, True]


def test_the_voice_that_answered_before_is_answered_and_another_is_not() -> None:
    said = replace(UNSURE, words="this looks a bit strange to me", level=-33.0)
    got = [answered(at_display(), replace(said, voice=voice), 20.0) for voice in ("same", "", "other")]
    assert got == [True, False, False]
    assert answered(at_display(), said, 3.0)
    assert not answered(at_display(), replace(said, voice="other"), 3.0)
    assert answered(at_display(), replace(said, voice="doubtful"), 3.0), "a doubt alone tells nothing"


def test_the_level_is_that_of_the_speech_and_not_of_the_silence_around_it() -> None:
    speech = voices.synthesise("the display is lit", "slt")
    whole, half = level_of(voices.padded(speech, 0.2, 0.2)), level_of(voices.padded(speech * 0.5, 2.0, 2.0))
    assert half == pytest.approx(whole - 6.0, abs=0.7)
    assert level_of(np.zeros(0, dtype=np.float32)) == level_of(np.zeros(8000, dtype=np.float32)) == 0.0
