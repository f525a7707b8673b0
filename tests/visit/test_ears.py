"""What the live ear refuses, by what it is told. The live loop is stood in for by its line of happenings: the real one,
with a sound device, is in tests/live."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from handsfree.dialogue.ears import LiveEar
from handsfree.dialogue.hearing import Hearer
from handsfree.dialogue.listening import listening_of
from handsfree.journal.events import Attached, ListenFor, PromptEnded, Say, SoundLost, TimerRang, Utterance
from handsfree.journal.writer import Journal
from handsfree.language.meaning import GateAsked, Heard, Listening, Meaning, Sense, Verdict
from handsfree.sound.happenings import Happenings, HeardPiece, TypedLine
from handsfree.sound.samples import VirtualClock
from handsfree.speech.recogniser import Recogniser
from handsfree.visit.incoming import Incoming
from tests.visit import data
from tests.visit.scenes import ENGLISH, Scene, book

ANY = listening_of(ListenFor())


class Loop:
    """Only what the ear uses of the live loop."""

    def __init__(self) -> None:
        self.happenings = Happenings()

    def in_time(self, started: float, heard: Heard) -> bool:
        raise AssertionError("the ear gives its own")

    def listen(self, listening: Listening) -> None: ...

    cuts = 0

    def cut(self) -> None:
        self.cuts += 1


class Booth:
    def __init__(self, folder: Path) -> None:
        self.clock, self.loop = VirtualClock(), Loop()
        self.journal = Journal.create(folder / "v")
        self.ear = LiveEar(self.loop, Hearer(Adds(), self.journal), self.clock, ENGLISH)  # type: ignore[arg-type]  # see above
        self.ear.listen(ListenFor())

    def hears(self, command: str, started: float, ended: float, listening: Listening = ANY) -> Utterance:
        meaning = Meaning(Sense.COMMAND, command)
        heard = Heard(Verdict.ACCEPTED, meaning, 0.99, started=started, ended=ended)
        self.loop.happenings.tell(HeardPiece(heard, np.zeros(0, np.float32), started, ended, listening))
        event = self.ear.next(0.1)
        assert isinstance(event, Utterance)
        return event


    def types(self, words: str) -> Utterance:
        self.loop.happenings.tell(TypedLine(words, self.clock.now()))
        event = self.ear.next(0.1)
        assert isinstance(event, Utterance)
        return event


class Adds:
    """In place of a recogniser: what it is asked to weigh, and how often it is told that something came between."""

    def __init__(self) -> None:
        self.weighed: list[Heard] = []
        self.parted = 0

    def together(self, heard: Heard, listening: Listening) -> Heard:
        self.weighed.append(heard)
        return heard

    def forget(self) -> None:
        self.parted += 1


class Silent:
    """In place of an engine."""

    name = "silent"


class Another:
    """In place of the witness of voices."""

    def of(self, heard: Heard, samples: object, listening: Listening) -> str:
        return "other"


def test_what_may_move_the_visit_between_two_attempts_parts_them(booth: Booth) -> None:
    """A key, a timer, a device, a photo; no prompt that ends, nothing that is heard, and not that nothing happens."""
    adds, lost = Adds(), SoundLost("d", "microphone")
    booth.ear._hearer = Hearer(adds, booth.journal)  # type: ignore[arg-type]  # stand-ins
    heard = Utterance(Verdict.ASKED_AGAIN, Sense.COMMAND, "affirm", engine="t")
    for event, parted in (
        (PromptEnded(1), 0), (heard, 0), (Say(2, "Again?", "question"), 0), (replace(heard, typed=True), 1), (lost, 2),
        (TimerRang("quiet"), 3), (Attached("", "photo.jpg", "00" * 32), 4),
    ):  # fmt: skip
        booth.ear.watch(event)
        assert adds.parted == parted
    assert booth.ear.next(0.01) is None
    assert adds.parted == 4


def test_what_was_asked_in_between_parts_two_attempts_though_the_question_comes_back_unchanged(booth: Booth) -> None:
    """'Are you hurt?', a stand-by, 'go ahead': nothing need have been surely heard since the first attempt."""
    adds, proof = Adds(), ListenFor(also=("affirm", "negative"), proof=True)
    booth.ear._hearer = Hearer(adds, booth.journal)  # type: ignore[arg-type]  # stand-ins
    for what, parted in ((proof, 1), (proof, 1), (ListenFor(commands=("go ahead",)), 2), (proof, 3)):
        booth.ear.listen(what)
        assert adds.parted == parted


def test_in_a_visit_two_attempts_with_quiet_between_them_add_up(tmp_path: Path) -> None:
    """As `joined` puts it together: the folder of photos is looked at every two seconds; each look was taken for a timer,
    so that no two attempts ever added up."""
    scene = Scene(book(data.METER)).open().words("isolated lock four two")  # the tester: affirm
    waiting = listening_of(scene.state.listening or ListenFor())
    recogniser = Recogniser([Silent()], ENGLISH)  # type: ignore[list-item]  # nothing is heard, only added up
    loop, clock, journal = Loop(), VirtualClock(), Journal.create(tmp_path / "w")
    ear = LiveEar(loop, Hearer(recogniser, journal), clock, ENGLISH)  # type: ignore[arg-type]  # see above
    ear.listen(scene.state.listening or ListenFor())
    beside, verdicts = Incoming(journal).beside(ear), []
    affirm = Meaning(Sense.COMMAND, "affirm")
    for began in (3.0, 12.0):
        clock.wait(began - clock.now())
        for _ in range(3):
            assert beside.next(0.01) is None, "nobody speaks"
        attempt = Heard(Verdict.ASKED_AGAIN, affirm, 0.95, reason="not sure enough", shares=((affirm, 0.95),),
                        started=began, ended=began + 1, meant=1.0)  # fmt: skip
        loop.happenings.tell(HeardPiece(attempt, np.zeros(0, np.float32), began, began + 1, waiting))
        event = beside.next(0.1)
        assert isinstance(event, Utterance)
        ear.watch(event)
        verdicts.append(event.verdict)
    assert verdicts == ["asked again", "accepted"]


def test_at_a_gate_the_voice_is_compared_before_attempts_add_up(booth: Booth) -> None:
    adds = Adds()
    booth.ear._hearer = Hearer(adds, booth.journal, voices=Another())  # type: ignore[arg-type]  # stand-ins
    gate = Listening(gate=GateAsked("isolated", ("four", "two")))
    for listening, voice in ((gate, "other"), (Listening(proof=True), "other"), (ANY, "")):
        heard = Heard(Verdict.ASKED_AGAIN, Meaning(Sense.COMMAND, "affirm"), 0.9, started=1.0, ended=2.0)
        booth.ear._listening = listening
        booth.loop.happenings.tell(HeardPiece(heard, np.zeros(0, np.float32), 1.0, 2.0, listening))
        event = booth.ear.next(0.1)
        assert isinstance(event, Utterance)
        assert (adds.weighed[-1].voice, event.voice) == (voice, "other")


@pytest.fixture
def booth(tmp_path: Path) -> Booth:
    return Booth(tmp_path)


def test_two_quick_words_act_once(booth: Booth) -> None:
    booth.clock.wait(3.0)
    assert booth.hears("next step", 1.0, 2.0).verdict == "accepted"
    second = booth.hears("next step", 2.2, 2.9)
    assert (second.verdict, second.reason) == ("not for me", "said before the last answer was acted on")
    again = Heard(Verdict.ACCEPTED, Meaning(Sense.COMMAND, "next step"), 0.99)
    assert not booth.loop.in_time(2.2, again), "it would break off the words of a step that nobody has heard"
    assert booth.loop.in_time(3.1, again)
    booth.clock.wait(2.0)
    assert booth.hears("next step", 4.0, 4.8).verdict == "accepted"


def test_a_caution_is_heard_out_before_it_is_understood(booth: Booth) -> None:
    booth.ear.said(Say(7, "Danger. Mains voltage can kill.", "caution", cuttable=False))
    booth.clock.wait(2.0)
    assert booth.hears("understood", 1.0, 1.8).verdict == "not for me"
    assert booth.hears("stand by", 1.0, 1.8).verdict == "accepted"
    booth.clock.wait(2.0)
    booth.loop.happenings.tell(PromptEnded(7))
    assert booth.ear.next(0.1) == PromptEnded(7)
    assert booth.hears("understood", 3.5, 4.2).verdict == "not for me"  # begun while it was still read
    booth.clock.wait(2.0)
    assert booth.loop.in_time(3.8, Heard(Verdict.ACCEPTED, Meaning(Sense.COMMAND, "understood"), 0.99)), (
        "what comes before the first sound of an utterance is no speech"
    )
    assert booth.hears("understood", 4.5, 5.2).verdict == "accepted"


def test_what_was_said_to_another_question_is_not_for_this_one(booth: Booth) -> None:
    booth.clock.wait(3.0)
    assert booth.hears("next step", 1.0, 2.0, Listening(commands=("go ahead",))).verdict == "not for me"


def test_a_typed_line_joins_what_is_heard_breaks_off_the_prompt_and_opens_a_gate(booth: Booth) -> None:
    booth.ear.listen(ListenFor(gate="isolated", lock=("four", "two")))
    typed = booth.types("isolated lock four two")
    assert (typed.verdict, typed.sense, typed.typed) == ("accepted", "gate", True)
    assert booth.loop.cuts == 1
    assert booth.types("isolated lock four three").verdict == "asked again"
    assert booth.loop.cuts == 1


def test_a_typed_line_waits_for_the_end_of_a_caution_too(booth: Booth) -> None:
    booth.ear.listen(ListenFor(also=("understood",)))
    booth.ear.said(Say(7, "Danger. Mains voltage can kill.", "caution", cuttable=False))
    booth.clock.wait(2.0)
    assert booth.types("understood").verdict == "not for me"
    assert booth.types("fire").verdict == "accepted", "an alarm is heard over anything"
    booth.clock.wait(2.0)
    booth.loop.happenings.tell(PromptEnded(7))
    booth.ear.next(0.1)
    booth.clock.wait(1.0)
    assert booth.types("understood").verdict == "accepted"
