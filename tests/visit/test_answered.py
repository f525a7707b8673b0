"""Who surely speaks to the program is answered, also where something is at stake; and nothing opens by it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from handsfree.dialogue.hearing import typed, utterance_of
from handsfree.dialogue.listening import listening_of
from handsfree.journal.events import EvidenceTaken, ListenFor, PromptEnded, Utterance
from handsfree.language.base import load
from handsfree.language.meaning import Listening, Sense, Verdict
from handsfree.visit.refusals import asks_repeat
from handsfree.visit.state import Awaiting
from tests.visit.scenes import ENGLISH, Scene, book
from tests.visit.test_gates import OPENS, at_gate

CAUTION = """
procedure: warned
title: A caution
steps:
  - {id: flame, kind: caution, level: warning, say: The refrigerant burns. No flames.}
  - {id: end, kind: end, outcome: done, say: Done.}
"""
USUAL = -22.0  # dB full scale


def asked(scene: Scene) -> Scene:
    """The question has been heard to its end, by a person whose level is known."""
    scene.tell(PromptEnded(scene.state.said - 1))
    scene.state = replace(scene.state, level=USUAL)
    return scene


def heard(scene: Scene, words: str, late: float = 4.0, level: float = USUAL) -> Scene:
    """As an ear without mistakes hears it, that leaves what is not in force to the program."""
    listening = listening_of(scene.state.listening or ListenFor())
    one = utterance_of(typed(ENGLISH, words, listening, scene.now))
    scene.tell(replace(one, engine="test", level=level, started=scene.now + late, ended=scene.now + late + 1), late + 1)
    return scene


@pytest.mark.parametrize("words", ["Can you say that again please?", "sorry, what did you say?", "I didn't catch that."])
def test_who_asks_for_a_repeat_at_a_caution_hears_the_caution_again(words: str) -> None:
    scene = heard(asked(Scene(book(CAUTION)).open()), words, 6.0)
    assert "The refrigerant burns." in scene.said
    assert scene.state.awaiting is Awaiting.UNDERSTOOD


def test_who_asks_somebody_else_for_a_repeat_far_away_gets_none() -> None:
    assert heard(asked(Scene(book(CAUTION)).open()), "Can you say that again please?", 6.0, USUAL - 25).said == ""


def test_who_asks_for_a_repeat_at_a_gate_hears_what_to_say_and_has_not_failed() -> None:
    scene = heard(asked(at_gate()), "Can you say that again please?")
    assert scene.said == f"{ENGLISH.prompt('isolation-ISOLATING')} {ENGLISH.prompt('isolate-need')}"
    assert (scene.power, scene.state.interlock.failures) == ("ISOLATING", 0)


def test_who_asks_for_a_repeat_at_a_proof_hears_the_question() -> None:
    scene = heard(asked(at_gate().words(OPENS)), "Can you say that again please?")
    assert "Nothing runs or it runs" in scene.said or "Nothing runs, or it runs" in scene.said
    assert scene.state.awaiting is Awaiting.SWITCH_TRIED


@pytest.mark.parametrize(
    ("words", "yes"),
    [("¿Puede repetir, por favor?", True), ("Perdone, ¿cómo dice?", True), ("¿Puede repetir la lectura?", False)],
)
def test_in_spanish_who_asks_for_a_repeat_is_known_too(words: str, yes: bool) -> None:
    state = replace(at_gate().state, language=load("es"))
    assert asks_repeat(state, replace(MISHEARD, words=words)) is yes
    assert not asks_repeat(state, replace(MISHEARD, words=words, voice="other"))


#: 'Yeah, it's off', as it came in: nearest a command that answers nothing here.
MISHEARD = Utterance(Verdict.ASKED_AGAIN, Sense.COMMAND, "stop", spoken="stop", sure=0.02, words="He had it stuck.",
                     reason="not sure enough", engine="test", level=USUAL - 0.5)  # fmt: skip


def at_off_again() -> Scene:
    scene = at_gate()
    scene.ran = None
    scene.words(OPENS, "nothing runs")
    assert scene.state.awaiting is Awaiting.OFF_AGAIN
    return asked(scene)


@pytest.mark.parametrize(
    ("late", "level", "yes"), [(8.6, USUAL - 2, True), (8.6, USUAL - 25, False), (170.0, USUAL, False)]
)
def test_speech_like_a_command_soon_after_the_question_of_a_proof_is_answered(late: float, level: float, yes: bool) -> None:
    scene = at_off_again()
    scene.tell(replace(MISHEARD, started=scene.now + late, ended=scene.now + late + 1, level=level), late + 1)
    assert ("Is it off again?" in scene.said) is yes
    assert (scene.state.awaiting, scene.power) == (Awaiting.OFF_AGAIN, "ISOLATING")


@pytest.mark.parametrize("words", ["The light stays dark and the fans stand still.", "all of it is dark and quiet now"])
def test_who_describes_dead_works_is_told_which_words_count_and_has_proved_nothing(words: str) -> None:
    scene = heard(asked(at_gate().words(OPENS)), words)
    assert scene.said == "Only these words count here: nothing runs or it runs."
    assert (scene.state.awaiting, scene.power) == (Awaiting.SWITCH_TRIED, "ISOLATING")
    scene = heard(at_off_again(), "yeah, I have just turned it off now")
    assert scene.said == "Is it off again? Say affirm, or: that is right."
    assert (scene.state.awaiting, scene.power) == (Awaiting.OFF_AGAIN, "ISOLATING")


def test_who_said_the_words_unclearly_at_a_proof_hears_the_question_itself() -> None:
    scene = asked(at_gate().words(OPENS))
    scene.tell(replace(MISHEARD, sense=Sense.PHRASE, text="nothing runs", words="Nothing runs on its Sunday."), 5.0)
    assert scene.said == "Nothing runs or it runs?"
    scene = heard(asked(at_gate().words(OPENS)), "nothing runs but the fan")
    assert "Only" not in scene.said


PHOTO = """
procedure: photo
title: A photo
steps:
  - {id: wipe, kind: instruct, say: Clear it.}
  - {id: show, kind: evidence, what: photo, say: Take a photo.}
  - {id: end, kind: end, outcome: done, say: Done.}
"""


@pytest.mark.parametrize(
    "words",
    ["got the photo", "Photo's done.", "yes, taken", "okay, the photo's taken", "I've got the picture", "the photo is done"],
)
def test_a_photo_is_taken_in_the_words_that_people_say(words: str) -> None:
    scene = heard(asked(Scene(book(PHOTO)).open().words("next step")), words)
    assert [one.taken for one in scene.last if isinstance(one, EvidenceTaken)] == [True]
    assert scene.state.outcome == "done"


@pytest.mark.parametrize("words", ["no photo taken", "not taken", "the photo's not done", "have you got the photo?"])
def test_a_photo_that_is_denied_or_asked_about_is_not_taken(words: str) -> None:
    scene = heard(asked(Scene(book(PHOTO)).open().words("next step")), words)
    assert scene.state.outcome == ""


@pytest.mark.parametrize(
    "words", ["Yes that's all done. Everything's out.", "okay, everything is out", "all done, it's all back in place"]
)
def test_work_is_done_in_the_words_that_people_say(words: str) -> None:
    scene = heard(asked(Scene(book(PHOTO)).open()), words)
    assert scene.step == "show"


@pytest.mark.parametrize(
    "words", ["sí, tomada", "ya tengo la foto", "la foto está hecha", "sí, ya está todo fuera", "todo fuera"]
)
def test_in_spanish_a_photo_is_taken_and_work_is_done_too(words: str) -> None:
    found = load("es").understand(words, Listening(also=("done",), own_words=True))
    assert [one.text for one in found] == ["done"]


DOUBT, KNOWN = ENGLISH.prompt("ended-locked"), "Tell the site. The isolation no longer counts."


def test_at_the_stop_a_lock_that_is_known_of_is_said_once_and_one_that_is_not_is_doubted() -> None:
    scene = at_gate().words("stop the visit", "affirm", "affirm")
    assert scene.said == f"The visit is stopped. {DOUBT}"
    scene = at_gate().words(OPENS, "nothing runs", "stop the visit", "affirm", "affirm")
    lock = ENGLISH.prompt("lock-left", owner="the first person", source="mains")
    assert scene.said == f"The visit is stopped. {lock} {KNOWN}"
