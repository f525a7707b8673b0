"""What annoyed in a first visit by voice, in noise 10 dB below the technician: each line as it was heard there."""

from __future__ import annotations

from dataclasses import replace

import pytest

from handsfree.journal.events import Gate, PromptEnded, Say, Utterance
from handsfree.language.meaning import Sense, Verdict
from handsfree.procedure.load import load_book
from handsfree.visit.state import Awaiting
from tests.visit import data
from tests.visit.scenes import ENGLISH, Scene, accepted, book

NOTHING = Utterance(Verdict.NOT_FOR_ME, words="yes", engine="t")


def says(scene: Scene) -> list[str]:
    return [effect.text for effect in scene.last if isinstance(effect, Say)]


def asked_what_is_wrong() -> Scene:
    scene = Scene(load_book("service-call")).open()
    scene.tell(PromptEnded(scene.state.said - 1), after=0.0)
    return scene


def awaited(scene: Scene) -> Awaiting:
    return scene.state.awaiting


def number_asked() -> Scene:
    return Scene(book(data.WHOLE)).open("").words("next step", "warm", "43")


def at_gate(number: str = "four two") -> Scene:
    scene = number_asked().words(number, "affirm")
    assert awaited(scene) is Awaiting.GATE
    return scene


def test_a_question_for_ones_own_words_does_not_read_a_list_of_eleven() -> None:
    """It took twelve seconds, each time."""
    scene = asked_what_is_wrong()
    scene.tell(NOTHING)
    assert says(scene) == ["What is wrong? In a few words, for example: too warm, freezing or dead."]
    scene.tell(NOTHING)
    assert "not fitted" not in scene.said, "a complaint is fitted nowhere"
    assert "what can i say" in scene.said, "the list is there for who asks for it"


@pytest.mark.parametrize("seconds", [2.0, 20.0])
def test_a_complaint_in_ones_own_words_is_read_back_though_it_is_long(seconds: float) -> None:
    """'While the drinks and beer are not really cold' was met with silence."""
    scene = asked_what_is_wrong()
    words = "while the drinks and beer are not really cold"
    scene.tell(replace(NOTHING, words=words, started=scene.now + seconds, ended=scene.now + seconds + 3), after=seconds + 3)
    assert says(scene) == ["Too warm?"]


def test_who_stands_away_is_not_asked_what_is_wrong() -> None:
    scene = asked_what_is_wrong()
    scene.tell(replace(accepted(Sense.COMMAND, "say again"), level=-26.0))
    away = replace(NOTHING, words="the beer is warm again", level=-42.0)
    scene.tell(replace(away, started=scene.now + 20, ended=scene.now + 22), after=22.0)
    assert says(scene) == []


def test_affirm_and_negative_are_not_offered_twice_in_one_breath() -> None:
    scene = number_asked()
    scene.ran = None
    scene.words("four two", "affirm")
    assert awaited(scene) is Awaiting.SEEN
    scene.words("help")
    assert "Affirm, or that is right, means yes. Negative means no." in scene.said
    assert scene.said.casefold().count("negative") == 2


def test_a_number_that_was_affirmed_wrong_is_mended_at_the_gate() -> None:
    """'No, four five' was not heard, and 'affirm' kept four two: then no phrase and no typing opened the gate any more."""
    scene = at_gate().words("isolated lock four five", "isolated lock four five")
    assert "If I have your number wrong, say: correction." in scene.said
    scene.words("correction")
    assert (awaited(scene), scene.power) == (Awaiting.LOCK_NUMBER, "ISOLATING")
    scene.words("four five", "affirm")
    assert awaited(scene) is Awaiting.GATE
    scene.words("isolated lock four two")
    assert not scene.state.interlock.locks, "the old number opens nothing"
    scene.words("isolated lock four five")
    assert awaited(scene) is Awaiting.SWITCH_TRIED


def test_a_lock_that_is_on_keeps_its_number() -> None:
    scene = at_gate().words("isolated lock four two", "nothing runs", "understood", "power is on")
    assert awaited(scene) is Awaiting.GATE
    scene.words("correction")
    assert awaited(scene) is not Awaiting.LOCK_NUMBER


def test_who_did_not_answer_to_the_number_is_asked_about_the_number() -> None:
    """'Affirm or negative?' alone, after 'no, four five': it was taken for the new number's question."""
    scene = number_asked().words("four two")
    scene.tell(NOTHING)
    assert says(scene) == ["Was that your number? Affirm or negative?"]


def test_what_may_be_said_begins_with_what_is_asked_here() -> None:
    """Thirty-five phrases came in one piece, for half a minute."""
    scene = at_gate().words("what can i say")
    here, always = says(scene)
    assert here == "You can say isolated, lock, and your number."
    assert always.startswith("Always: ")
    assert "power is on" in always


@pytest.mark.parametrize(("kind", "asks"), [
    ("i am hurt", "Are you hurt?"), ("fire", "Is there a fire?"), ("i got a shock", "Did you get a shock?"),
    ("i smell gas", "Do you smell gas?"),
])  # fmt: skip
def test_a_likely_call_for_help_is_asked_as_a_person_would(kind: str, asks: str) -> None:
    """The program said: 'I am hurt?'"""
    scene = at_gate()
    scene.tell(Utterance(Verdict.ASKED_AGAIN, Sense.COMMAND, kind, words="Unfit.", engine="t", sure=0.7))
    assert says(scene) == [asks]


def test_what_follows_from_a_voice_that_was_not_compared_is_said() -> None:
    scene = at_gate()
    scene.tell(accepted(Sense.GATE, "isolated, lock four two"))
    assert "Your voice was not compared. Your number is enough." in scene.said
    assert any(isinstance(effect, Gate) for effect in scene.last)


def test_the_phrase_is_told_in_a_sentence() -> None:
    """'You can type it: Isolated, lock, and your number.' 'Isolated, lock, and your number. Type it, or …'"""
    scene = at_gate()
    told = [scene.words("isolated").said for _ in range(4)]
    assert "Then say: isolated, lock, and your number, digit by digit." in told[1]
    assert told[2].endswith("You can type it: isolated, lock, and your number.")
    assert "Say, or type: isolated, lock, and your number. Or say: stop the visit." in told[3]
    assert ENGLISH.prompt("gate-leave-off") not in told[0]


def test_a_proof_that_is_not_heard_has_other_words_and_then_the_keyboard() -> None:
    """At 10 dB five of eight voices never got 'affirm' over the bar of a proof in four tries; 'that is right', two."""
    scene = at_gate()
    scene.ran = None
    scene.words("isolated lock four two", "nothing runs")
    assert awaited(scene) is Awaiting.OFF_AGAIN
    unsure = Utterance(Verdict.ASKED_AGAIN, Sense.COMMAND, "affirm", words="Affirm.", engine="t", sure=0.98)
    told = []
    for _ in range(4):
        scene.tell(unsure)
        told.append(scene.said)
    assert told[0] == "Is it off again? Say affirm, or: that is right."
    assert all(said.endswith("Come nearer, or type it.") for said in told[2:])
    scene.words("that is right")
    assert scene.power == "ISOLATED"
