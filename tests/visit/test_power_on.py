"""'Power is on', at every moment: in every overlay, in a note that nobody could write down, and when it was only likely
heard. What to do now follows always."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from handsfree.dialogue.hearing import Hearer
from handsfree.journal.events import Alarm, ListenFor, NoteKept, Resumed, Say, SoundBack, SoundLost, TimerRang, Utterance
from handsfree.language.meaning import EMERGENCY, Heard, Listening, Meaning, Sense, Verdict
from handsfree.visit.state import Awaiting, Overlay
from tests.visit import data
from tests.visit.scenes import Scene, accepted, book

OPENS = "isolated lock four two"
POWER = accepted(Sense.COMMAND, "power is on")


def isolated(*lines: str) -> Scene:
    return Scene(book(data.WHOLE)).open().words("next step", "warm", "43.5", OPENS, "nothing runs", *lines)


def cleared_and_told(scene: Scene) -> None:
    said = [effect for effect in scene.last if isinstance(effect, Say)]
    assert scene.power != "ISOLATED"
    assert scene.state.overlay is Overlay.NONE
    assert said[0].text.startswith("Isolation is cleared: power is on. Hands out.")
    assert not said[0].cuttable
    assert "Tell everybody here that the power goes off." in said[-1].text  # what to do now
    assert scene.step == "isolate"


def proposal(scene: Scene) -> Scene:
    scene.tell(Utterance(Verdict.PROPOSED, Sense.COMMAND, "go back", words="go back", engine="test", sure=0.8))
    return scene


OVERLAYS = [(), ("stand by",), ("stop the visit",), ("stop the visit", "affirm"), ("note",)]


@pytest.mark.parametrize("over", OVERLAYS)
@pytest.mark.parametrize("verdict", [Verdict.ACCEPTED, Verdict.PROPOSED])
def test_it_acts_in_every_overlay_and_need_only_be_likely(over: tuple[str, ...], verdict: Verdict) -> None:
    scene = isolated("understood", *over)
    scene.ran = None
    scene.tell(replace(POWER, verdict=verdict))
    cleared_and_told(scene)


def test_it_acts_under_a_proposal() -> None:
    scene = proposal(isolated("understood"))
    assert scene.state.overlay is Overlay.PROPOSAL
    scene.ran = None
    scene.tell(POWER)
    cleared_and_told(scene)


@pytest.mark.parametrize("over", OVERLAYS[:-1])
def test_what_was_perhaps_that_is_asked_about_while_somebody_relies_on_the_isolation(over: tuple[str, ...]) -> None:
    scene = isolated("understood", *over)
    scene.tell(replace(POWER, verdict=Verdict.ASKED_AGAIN, sure=0.5, engine="test"))
    assert scene.said.startswith("If the power is on, say: power is on.")
    assert scene.power == "ISOLATED"
    live = Scene(book(data.WHOLE)).open()
    live.tell(replace(POWER, verdict=Verdict.ASKED_AGAIN, sure=0.5, engine="test"))
    assert "power is on" not in live.said


LIVE = ["It's live!", "Stop, it is still live.", "there's power on it", "whoa the power is still on"]


@pytest.mark.parametrize("words", LIVE)
@pytest.mark.parametrize("verdict", [Verdict.ASKED_AGAIN, Verdict.NOT_FOR_ME])
def test_that_it_is_live_is_asked_about_in_whatever_words_it_was_written(words: str, verdict: Verdict) -> None:
    """Whoever said it: to ask costs a sentence."""
    scene = isolated("understood")
    scene.tell(Utterance(verdict, words=words, engine="test"))
    assert scene.said.startswith("If the power is on, say: power is on.")
    assert scene.power == "ISOLATED"


@pytest.mark.parametrize("words", ["is it live", "it's not live", "he works live", "a live wire", "it's delivered"])
def test_what_says_something_else_of_live_is_not_asked_about(words: str) -> None:
    scene = isolated("understood")
    scene.tell(Utterance(Verdict.NOT_FOR_ME, words=words, engine="test"))
    assert "power is on" not in scene.said


@pytest.mark.parametrize("words", ["it's live", "it is still live", "there's power on it"])
def test_typed_where_nothing_else_is_asked_it_acts_at_once(words: str) -> None:
    scene = isolated("understood")
    scene.ran = None
    scene.words(words)
    cleared_and_told(scene)


# ---- at a caution ---------------------------------------------------------------------------------------------------

AHEAD = """
procedure: ahead
title: A caution before the work
steps:
  - {id: warn-first, kind: caution, level: danger, hazards: [stored charge], say: It keeps its charge.}
  - {id: off, kind: isolate, say: Power off., do: [Pull the plug.], sources: [plug]}
  - {id: relief, kind: isolate, say: Open the box., do: [Discharge it.], sources: [capacitors]}
  - {id: gone, kind: prove, method: charge-meter, source: capacitors, say: Across it.}
  - {id: dead, kind: prove, method: meter, source: plug, say: At the terminals.}
  - {id: fins, kind: caution, level: warning, hazards: [sharp fins], say: The fins are sharp.}
  - {id: heat, kind: caution, level: warning, hazards: [hot surface], say: It is hot.}
  - {id: ready, kind: instruct, say: Lay out the tools.}
  - {id: hold, kind: instruct, hazards: [stored charge, mains], say: Hold the capacitor by its terminals.}
  - {id: back, kind: restore, say: Back., checks: [Tools out., Covers on.], power: Put it in., sources: [plug, capacitors]}
  - {id: after, kind: caution, level: warning, hazards: [moving fan], say: The fan turns.}
  - {id: see, kind: instruct, say: See that it runs.}
  - {id: done, kind: end, outcome: done, say: Done.}
"""
A_CHARGE_LEFT = ("next step", "affirm", "zero", "affirm", "affirm")
NOTHING_LEFT = ("affirm", "zero", "affirm", "zero", "affirm", "zero", "affirm", "affirm")


@pytest.fixture
def _one_source(monkeypatch: pytest.MonkeyPatch) -> None:
    """The oracle of `scenes` knows one source."""
    monkeypatch.setattr("tests.visit.scenes.Oracle.sees", lambda *_: None)


def proved_dead(*lines: str) -> Scene:
    scene = Scene(book(AHEAD)).open().words("understood", OPENS, *A_CHARGE_LEFT, *NOTHING_LEFT, *lines)
    assert scene.state.interlock.isolated
    return scene


@pytest.mark.usefixtures("_one_source")
@pytest.mark.parametrize(("understood", "at"), [
    ((), "fins"), (("understood",), "heat"), (("understood", "understood"), "ready"),
])  # fmt: skip
def test_before_work_behind_the_gate_what_to_do_now_is_to_isolate(understood: tuple[str, ...], at: str) -> None:
    """Nobody listens to what is sharp while the supply has come back. The caution stands before the work, and comes again
    there, once all that the work needs is proved dead. So does whatever else only leads to that work."""
    scene = proved_dead(*understood)
    assert scene.step == at
    scene.ran = None
    scene.words("power is on")
    assert scene.said.startswith("Isolation is cleared: power is on. Hands out. It must be isolated again first.")
    assert (scene.step, scene.state.awaiting) == ("off", Awaiting.GATE)
    assert "sharp" not in scene.said
    assert "hot" not in scene.said
    scene.words(OPENS, *A_CHARGE_LEFT)
    assert scene.step == "dead", "the plug is still to be proved"
    scene.words(*NOTHING_LEFT)
    assert scene.step == at
    scene.words(*["understood"] * (2 - len(understood)), "next step")
    assert scene.step == "hold"
    assert scene.state.interlock.isolated


@pytest.mark.usefixtures("_one_source")
def test_a_caution_of_work_that_needs_no_isolation_stays_where_it_is() -> None:
    """Before the isolation, and after the restore: to say it there is what to do now."""
    first = Scene(book(AHEAD)).open().words("power is on")
    assert first.step == "warn-first"
    scene = proved_dead().words("understood", "understood", *["next step"] * 5, "clear lock four two", "next step")
    assert scene.step == "after"
    scene.words("power is on")
    assert scene.step == "after"
    assert "The fan turns." in scene.said


@pytest.mark.usefixtures("_one_source")
@pytest.mark.parametrize("gone", [TimerRang("break"), SoundLost("", "microphone"), Resumed("crash")])
def test_whatever_clears_it_at_a_caution_the_isolation_comes_first(gone: object) -> None:
    scene = proved_dead()
    scene.tell(gone, after=3600.0)
    assert not scene.state.interlock.held
    assert (scene.step, scene.state.awaiting) == ("off", Awaiting.GATE)


# ---- notes ----------------------------------------------------------------------------------------------------------


def test_a_note_in_which_it_was_heard_acts_though_nobody_could_write_it_down() -> None:
    scene = isolated("understood", "note")
    scene.ran = None
    scene.tell(NoteKept("sound/1.flac", "00" * 32, "", 1.5, alarm="power is on"))
    cleared_and_told(scene)


@pytest.mark.parametrize("kind", EMERGENCY)
def test_a_cry_for_help_in_a_note_is_one(kind: str) -> None:
    scene = isolated("understood", "note")
    scene.tell(NoteKept("", "", "all it is on", 1.0, alarm=kind))
    assert [e.event.kind for e in scene.record if isinstance(e.event, Alarm)] == [kind]
    assert "Call the local emergency number." in scene.said
    assert scene.state.overlay is Overlay.STAND_BY


def test_a_note_under_isolation_is_answered_by_what_the_program_takes_for_true() -> None:
    """Whatever was in it and nobody understood: who hears 'isolated' and knows better, says so."""
    scene = isolated("understood", "note")
    scene.tell(NoteKept("sound/1.flac", "00" * 32, "the fan hub is cracked", 1.5))
    assert scene.said.startswith("Note kept. It still counts as isolated.")
    live = Scene(book(data.WHOLE)).open().words("note")
    live.tell(NoteKept("sound/1.flac", "00" * 32, "", 1.5))
    assert "isolated" not in live.said


class Recogniser:
    """Hears what it is told, and writes nothing down."""

    def __init__(self, heard: Heard) -> None:
        self.heard, self.asked = heard, Listening()

    def hear(self, samples: object, listening: Listening) -> Heard:
        self.asked = listening
        return self.heard

    def together(self, heard: Heard, listening: Listening) -> Heard:
        return heard

    def forget(self) -> None: ...

    def dictate(self, samples: object) -> str:
        return ""


class Journal:
    def keep_sound(self, data: bytes) -> tuple[str, str]:
        return "sound/1.flac", "00" * 32


@pytest.mark.parametrize(("verdict", "sure", "text", "alarm"), [
    (Verdict.ACCEPTED, 1.0, "power is on", "power is on"),
    (Verdict.PROPOSED, 0.8, "i am hurt", "i am hurt"),
    (Verdict.ASKED_AGAIN, 0.6, "power is on", "power is on"),
    (Verdict.ASKED_AGAIN, 0.05, "power is on", ""),
    (Verdict.ASKED_AGAIN, 0.6, "fire", ""),
    (Verdict.NOT_FOR_ME, 0.6, "power is on", ""),
])  # fmt: skip
def test_the_sound_of_a_note_is_heard_for_what_cannot_wait(verdict: Verdict, sure: float, text: str, alarm: str) -> None:
    recogniser = Recogniser(Heard(verdict, Meaning(Sense.COMMAND, text), sure))
    hearer = Hearer(recogniser, Journal())  # type: ignore[arg-type]  # a stand-in
    note = hearer.note_of(np.zeros(8000, dtype=np.float32), 0.0, 0.5)
    assert note.alarm == alarm
    assert recogniser.asked.commands == ("power is on", *EMERGENCY)
    assert not recogniser.asked.note


def test_where_the_power_was_asked_for_it_is_the_answer_whatever_was_laid_over_it() -> None:
    scene = isolated("understood", *["next step"] * 2, "affirm", *["next step"] * 4, "clear lock four two")
    assert scene.state.awaiting == "power put on"
    scene.words("stand by", "go ahead", "power is on")
    assert scene.state.outcome == "done"


def test_nothing_isolated_tells_where_we_are() -> None:
    scene = Scene(book(data.WHOLE)).open().words("power is on")
    assert "Not isolated." in scene.said
    assert scene.said.endswith("Look at the cabinet.")
    assert scene.state.listening != ListenFor()


def test_words_that_it_is_live_outweigh_what_else_was_likely() -> None:
    scene = isolated("understood")
    scene.tell(Utterance(Verdict.PROPOSED, Sense.COMMAND, "done", words="Stop, it is still live.", sure=0.7, engine="test"))
    assert scene.said.startswith("If the power is on, say: power is on.")


@pytest.mark.parametrize("over", [(), ("note",), ("stand by",), ("stop the visit",)], ids=" ".join)
def test_a_shock_clears_the_isolation_after_the_call_for_help(over: tuple[str, ...]) -> None:
    """What counted as dead was not. First the safe act and the call; then what is cleared; hands wait for 'go ahead'."""
    scene = isolated("understood", *over)
    note = NoteKept("clip", "0" * 64, "", 2.0, "i got a shock")
    scene.tell(note) if over == ("note",) else scene.words("i got a shock")
    said = [effect.text for effect in scene.last if isinstance(effect, Say)]
    assert said[0].startswith("Hands off. Cut the supply before you touch anybody.")
    assert "Not isolated." in said[0]
    assert said[1:] == ["Isolation is cleared: somebody got a shock. Hands out."], "it stands by, as it says"
    assert (scene.power, scene.state.overlay) == ("LIVE", Overlay.STAND_BY)
    scene.words("go ahead")
    assert (scene.power != "ISOLATED", scene.step) == (True, "isolate")
    assert "It must be isolated again first. Isolation comes now." in scene.said
    assert scene.state == scene.again()


@pytest.mark.parametrize("goes_on", ["power is on", "I got a shock", "help"])
def test_whatever_is_said_after_a_shock_no_work_is_read_before_its_isolation(goes_on: str) -> None:
    scene = isolated("understood", "i got a shock", goes_on)
    assert "Reach into the fan." not in scene.said
    if scene.state.overlay is Overlay.STAND_BY:
        assert "Isolation comes now." not in scene.said
        scene.words("go ahead")
    assert (scene.step, scene.power != "ISOLATED") == ("isolate", True)


def test_a_visit_that_is_resumed_after_a_shock_is_isolated_first() -> None:
    scene = isolated("understood", "i got a shock")
    scene.tell(Resumed("interrupted"))
    assert (scene.step, scene.power != "ISOLATED", scene.state.overlay) == ("isolate", True, Overlay.NONE)
    scene.words("stand by", "go ahead")
    assert scene.step == "isolate"


def test_a_shock_while_a_wait_goes_on_is_followed_by_the_wait() -> None:
    scene = isolated("understood", "next step", "i got a shock")
    assert "left." not in scene.said
    scene.words("go ahead")
    assert (scene.step, scene.state.awaiting) == ("rest", Awaiting.WAIT)
    assert "left." in scene.said


def test_a_wait_that_is_over_breaks_no_silence_after_a_shock() -> None:
    """Somebody may be on the telephone to the ambulance. It is told once somebody says to go on."""
    scene = isolated("understood", "next step", "i got a shock")
    scene.tell(TimerRang("wait"), after=300.0)
    assert scene.said == ""
    scene.words("go ahead")
    scene.tell(TimerRang("wait"))
    assert scene.said.startswith("Time is up.")
    assert scene.power != "ISOLATED"


@pytest.mark.parametrize("then", [SoundLost("ear", "microphone"), Resumed("interrupted")])
def test_that_a_shock_cleared_the_isolation_is_said_again_where_it_was_perhaps_not_heard(then: SoundLost | Resumed) -> None:
    scene = isolated("understood", "next step", "i got a shock")
    scene.tell(then)
    if isinstance(then, SoundLost):
        scene.tell(SoundBack("ear", "microphone"))
    assert "Isolation is cleared: " in scene.said
    if isinstance(then, Resumed):
        assert not scene.state.halted


def test_a_shock_where_nothing_is_isolated_calls_for_help_alone() -> None:
    scene = Scene(book(data.WHOLE)).open().words("i got a shock")
    assert [effect.text for effect in scene.last if isinstance(effect, Say)] == [scene.said]
    assert "Not isolated." in scene.said
