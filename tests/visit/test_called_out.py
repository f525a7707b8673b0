"""What cannot wait, in people's own words and not surely understood; and 'go ahead' while the visit stands by."""

from __future__ import annotations

from dataclasses import replace

import pytest

from handsfree.journal.events import Alarm, HandedOver, Say, Utterance
from handsfree.language import base
from handsfree.language.meaning import EMERGENCY, Sense, Verdict
from handsfree.visit.state import Awaiting, Overlay
from handsfree.visit.wishes import said_in_own
from tests.visit import data
from tests.visit.scenes import ENGLISH, Scene, book

HURT = Utterance(Verdict.NOT_FOR_ME, words="Ouch, I cut my finger.", engine="t")
LEAVING = Utterance(Verdict.ASKED_AGAIN, Sense.COMMAND, "i am leaving", words="I am bleeding.", engine="t", sure=0.8)
NEAR = Utterance(Verdict.ACCEPTED, Sense.COMMAND, "where am i", engine="t", sure=1.0, level=-30.0)  # near by
TO_GATE = ("next step", "warm", "43.5")


def at_proof() -> Scene:
    return Scene(book(data.WHOLE)).open().words(*TO_GATE, "isolated lock four two")


def told(scene: Scene) -> list[str]:
    return [effect.text for effect in scene.last if isinstance(effect, Say)]


def alarms(scene: Scene) -> list[str]:
    return [entry.event.kind for entry in scene.record if isinstance(entry.event, Alarm)]


@pytest.mark.parametrize("said", [HURT, LEAVING], ids=["hurt", "sounded like leaving"])
@pytest.mark.parametrize("where", ["at the proof", "at the gate", "at a question", "standing by"])
def test_who_says_that_they_are_hurt_is_asked_and_yes_or_saying_it_again_calls_for_help(said: Utterance, where: str) -> None:
    for again in (None, said):
        scene = at_proof() if where == "at the proof" else Scene(book(data.WHOLE)).open().words("next step")
        if where == "at the gate":
            scene.words("warm", "43.5")
        elif where == "standing by":
            scene.words("stand by")
        power, awaiting = scene.power, scene.state.awaiting
        scene.tell(said)
        assert scene.said == "Are you hurt?"
        assert (scene.power, scene.state.awaiting, alarms(scene)) == (power, awaiting, [])
        scene.tell(again) if again else scene.words("yes")
        assert (alarms(scene), scene.power, scene.state.overlay) == (["i am hurt"], power, Overlay.STAND_BY)


@pytest.mark.parametrize(("words", "kind"), [
    ("I've burnt my hand on it", "i am hurt"), ("it's on fire", "fire"), ("there's smoke coming out", "fire"),
    ("it just shocked me", "i got a shock"), ("it shocked me", "i got a shock"), ("it smells of gas in here", "i smell gas"),
    ("where is the fire exit", ""), ("can you help me with this", ""), ("he hurt his knee last week", ""),
    ("there is a fire exit behind you", ""), ("there's a fire extinguisher", ""), ("it's smoking hot in here", ""),
    ("there's a fire, not the fire alarm", "fire"), ("it's smoking, it is hot", "fire"),
    ("I am not hurt", ""), ("the gas bottle is in the van", ""),
])  # fmt: skip
def test_in_peoples_own_words_among_others_and_no_common_word_by_itself(words: str, kind: str) -> None:
    scene = at_proof()
    scene.tell(replace(HURT, words=words))
    asked = ENGLISH.prompt(f"ask-{kind.replace(' ', '-')}") if kind else ""
    assert (asked in told(scene)) is bool(kind)
    assert (scene.state.overlay is Overlay.PROPOSAL) is bool(kind)


def test_not_from_far_away_and_no_opens_nothing() -> None:
    scene = at_proof()
    scene.tell(NEAR)
    scene.tell(replace(HURT, level=-55.0))
    assert scene.state.overlay is Overlay.NONE
    scene.tell(replace(HURT, level=-32.0))
    assert scene.state.overlay is Overlay.PROPOSAL
    scene.words("no")
    assert (scene.power, scene.state.overlay, alarms(scene)) == ("ISOLATING", Overlay.NONE, [])


@pytest.mark.parametrize("heard", [
    Utterance(Verdict.ASKED_AGAIN, Sense.COMMAND, "go ahead", words="Go ahead please.", engine="t", sure=0.85),
    Utterance(Verdict.ASKED_AGAIN, Sense.COMMAND, "go ahead", words="Go ahead.", engine="t", sure=0.07),
    Utterance(Verdict.PROPOSED, Sense.COMMAND, "go ahead", words="", engine="t", sure=0.7),
    Utterance(Verdict.NOT_FOR_ME, words="Go on.", engine="t"),
], ids=["likely", "by its words", "proposed", "own words"])  # fmt: skip
def test_go_ahead_is_read_back_while_the_visit_stands_by(heard: Utterance) -> None:
    for again in (None, heard):
        scene = Scene(book(data.WHOLE)).open().words(*TO_GATE, "stand by")
        scene.tell(heard)
        assert scene.said == "Go ahead?"
        scene.tell(again) if again else scene.words("yes")
        assert scene.state.overlay is Overlay.NONE
        assert "your number" in scene.said
        assert scene.power == "ISOLATING"
    scene = Scene(book(data.WHOLE)).open().words(*TO_GATE, "stand by")
    scene.tell(heard)
    assert scene.words("no").state.overlay is Overlay.STAND_BY


def test_other_talk_while_it_stands_by_still_meets_silence() -> None:
    scene = Scene(book(data.WHOLE)).open().words("next step", "stand by")
    for words in ("the display looks warm", "let's go on holiday", "is it isolated", "warm"):
        scene.tell(Utterance(Verdict.ASKED_AGAIN, Sense.PHRASE, "warm", words=words, engine="t", sure=0.7))
        assert (told(scene), scene.state.overlay) == ([], Overlay.STAND_BY)


@pytest.mark.parametrize("verdict", [Verdict.ASKED_AGAIN, Verdict.NOT_FOR_ME, Verdict.PROPOSED])
def test_who_says_the_phrase_to_a_visit_that_stands_by_is_told_so(verdict: Verdict) -> None:
    scene = Scene(book(data.WHOLE)).open().words(*TO_GATE)
    scene.tell(NEAR)
    scene.words("stand by")
    for level, says in ((-60.0, []), (-31.0, [ENGLISH.prompt("standing-by")])):
        scene.tell(replace(HURT, verdict=verdict, words="Isolated, lock 4 2.", level=level))
        assert told(scene) == says
        assert (scene.power, scene.state.overlay) == ("ISOLATING", Overlay.STAND_BY)


def test_what_was_written_as_no_question_is_not_called_one_and_opens_nothing() -> None:
    scene = Scene(book(data.WHOLE)).open().words(*TO_GATE)
    sounded = Utterance(Verdict.ASKED_AGAIN, Sense.DENIAL, "question", spoken="is isolated", engine="t")
    scene.tell(replace(sounded, words="It is isolated now."))
    assert (told(scene)[0], scene.power) == (ENGLISH.prompt("gate-no-figures"), "ISOLATING")
    for asks in ("Is it isolated now?", "is it isolated", "It's isolated?", ""):
        scene.tell(replace(sounded, words=asks))
        assert (told(scene)[0], scene.power) == (ENGLISH.prompt("gate-denied-question"), "ISOLATING")


def test_every_language_has_own_words_for_each_and_none_longer_than_is_looked_for() -> None:
    for code in ("en", "es"):
        ways = base.load(code).own_words.ways
        assert {"go ahead", *EMERGENCY} <= set(ways)
        assert max(len(way) for name in (*EMERGENCY, "power is on") for way in ways.get(name, ())) <= 8


@pytest.mark.parametrize(("half", "then", "read_back"), [
    ("uh, two hundred and, mm", "50", True), ("uh, 200 and", "50", True), ("it says, hm, fifty I think", "50", False),
    ("forty, fifty", "50", False), ("hold on", "50", False), ("thirteen or so", "13.0", False),
])  # fmt: skip
def test_a_reading_after_half_of_another_that_was_asked_again_is_read_back(half: str, then: str, read_back: bool) -> None:
    """'Uh, two hundred and …', then 'twenty three', is no 23 V."""
    scene = Scene(book(data.WHOLE)).open().words("next step", "warm")
    scene.tell(Utterance(Verdict.ASKED_AGAIN, words=half, engine="t"))
    scene.words(then)
    assert (scene.state.awaiting is Awaiting.READING_AFFIRM) is read_back
    if read_back:
        scene.words("affirm")
    assert scene.step == "isolate"
    assert scene.state.half_heard == ""


def test_half_a_reading_is_forgotten_where_the_visit_moves_on() -> None:
    scene = Scene(book(data.WHOLE)).open().words("next step", "warm")
    scene.tell(Utterance(Verdict.ASKED_AGAIN, words="two hundred and", engine="t"))
    assert scene.state.half_heard
    assert scene.words("go back").state.half_heard == ""


HANDS_OVER = """
procedure: over
title: Hand over
steps:
  - {id: cord-ohms, kind: read, say: Measure the cord., quantity: resistance of the cord, unit: ohm, plausible: [0, 99]}
  - {id: outlet-lamp, kind: ask, say: Does the lamp shine?, answers: {shines: more, dark: over}}
  - {id: more, kind: read, say: Measure the voltage., quantity: voltage, unit: volt, plausible: [0, 300]}
  - {id: over, kind: handover, to: the office, say: Tell the office., summary: [cord-ohms, outlet-lamp, more]}
  - {id: done, kind: end, outcome: handed over, say: Done.}
"""


def test_a_hand_over_says_what_was_taken_and_once_that_the_rest_was_not() -> None:
    scene = Scene(book(HANDS_OVER)).open().words("5", "dark")
    assert told(scene)[-3:] == ["Resistance of the cord: five ohms.", "Outlet lamp: dark.", "Nothing else was taken."]
    (over,) = [entry.event for entry in scene.record if isinstance(entry.event, HandedOver)]
    assert over.summary[-1] == ("more", "not taken"), "the record has it"
    scene = Scene(book(HANDS_OVER)).open().words("5", "shines", "220")
    assert "Nothing else was taken." not in told(scene)
    assert told(scene)[-1].startswith("Voltage: ")


@pytest.mark.parametrize("heard", [
    replace(HURT, verdict=Verdict.ASKED_AGAIN, sense=Sense.COMMAND, text="i am hurt", sure=0.3),
    replace(HURT, sense=Sense.COMMAND, text="i am hurt", sure=0.3),
    replace(HURT, sense=Sense.COMMAND, text="i am hurt", sure=0.95, words="",
            reason="said before the last answer was acted on"),
    replace(HURT, words="Help me, please!"), replace(HURT, words="Call an ambulance, quick."),
    replace(HURT, words="Oh no, my hand is stuck."),
], ids=["its words and a little sure", "not for me", "early", "help", "ambulance", "stuck"])  # fmt: skip
def test_a_call_for_help_that_was_half_heard_is_asked_about(heard: Utterance) -> None:
    scene = Scene(book(data.WHOLE)).open()
    scene.tell(heard)
    assert told(scene) == ["Are you hurt?"]


@pytest.mark.parametrize("words", ["there is smoke coming out of it", "I smell gas in here", "Fire!"])
def test_the_taught_words_among_others_are_asked_about_too(words: str) -> None:
    scene = Scene(book(data.WHOLE)).open()
    scene.tell(replace(HURT, words=words))
    assert scene.state.overlay is Overlay.PROPOSAL


def test_who_calls_twice_in_one_breath_is_not_asked_after_the_alarm() -> None:
    scene = Scene(book(data.WHOLE)).open()
    call = replace(HURT, sense=Sense.COMMAND, text="i am hurt", sure=0.95, words="I'm hurt.")
    scene.tell(replace(call, verdict=Verdict.ACCEPTED))
    scene.tell(replace(call, reason="said before the last answer was acted on"))
    assert (told(scene), scene.state.overlay) == ([], Overlay.STAND_BY)


def test_a_shock_from_what_is_still_on_keeps_both() -> None:
    scene = at_proof()
    scene.tell(replace(HURT, words="There's still power on it, it gave me a shock."))
    assert scene.said == f"{ENGLISH.prompt('power-doubt')} {ENGLISH.prompt('ask-i-got-a-shock')}"
    assert "Isolation is cleared" in scene.words("power is on").said


def test_two_sounds_a_little_like_go_ahead_end_no_stand_by() -> None:
    scene = Scene(book(data.WHOLE)).open().words("stand by")
    for _ in range(3):
        scene.tell(Utterance(Verdict.ASKED_AGAIN, Sense.COMMAND, "go ahead", words="uh", engine="t", sure=0.25))
        assert scene.said.startswith("Go ahead?")
    assert scene.words("yes").state.overlay is Overlay.NONE


@pytest.mark.parametrize("ends", [(HURT, "go ahead"), ("power is on",)], ids=["an alarm", "power is on"])
def test_own_words_count_again_after_a_question_over_a_stand_by(ends: tuple[Utterance | str, ...]) -> None:
    scene = Scene(book(data.WHOLE)).open().words("stand by")
    scene.tell(HURT)
    for one in ends:
        scene.words(one) if isinstance(one, str) else scene.tell(one)
    assert scene.state.overlay is Overlay.NONE
    assert scene.state.listening is not None
    assert scene.state.listening.own_words


@pytest.mark.parametrize(("words", "kind"), [
    ("Ay, me he pillado los dedos", "i am hurt"), ("Estoy herida", "i am hurt"), ("Hay un incendio", "fire"),
    ("Aquí huele a gas", "i smell gas"), ("Hay humo de tabaco", ""),
])  # fmt: skip
def test_in_spanish_too(words: str, kind: str) -> None:
    assert [name for name in EMERGENCY if said_in_own(base.load("es"), name, words)] == ([kind] if kind else [])
