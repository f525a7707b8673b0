"""The live loop with the real recogniser, on the sound card of software: barge-in, the program's own voice, bystanders.

The technician is flite's recorded voices, played by a second stream into the same loudspeaker: the microphone hears both
mixed, the program's own prompts at full level.
"""

from __future__ import annotations

import itertools
import subprocess
import time
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from handsfree.journal.events import PromptEnded, SoundBack, SoundLost
from handsfree.language.meaning import GateAsked, Listening, NumberAsked, Sense, Verdict
from handsfree.resources import shipped_folder
from handsfree.sound.echo import EchoGuard
from handsfree.sound.files import read_sound
from handsfree.sound.happenings import Happenings, HeardPiece
from handsfree.sound.levels import at_level
from handsfree.sound.live import LiveLoop
from handsfree.sound.loudspeaker import Loudspeaker
from handsfree.sound.microphone import Microphone
from handsfree.sound.prompts import Prompt
from handsfree.sound.samples import RATE, RealClock, Samples
from handsfree.sound.synth import Synthesiser
from handsfree.speech.endpoint import Endpointer

from .conftest import LOUDSPEAKER, MICROPHONE, Booth, Pulse, undisturbed

ANSWERS = Listening(phrases=("running", "not running", "cannot see it"))


@cache
def recogniser() -> Any:
    from platformdirs import user_data_path

    from handsfree.speech.recogniser import build_recogniser

    return build_recogniser(None, "en", user_data_path("handsfree") / "models")


@cache
def synthesiser() -> Synthesiser:
    return Synthesiser(rate=220)  # words a minute: fast, to save time


@pytest.fixture(scope="session")
def said(tmp_path_factory: pytest.TempPathFactory) -> Any:
    folder = tmp_path_factory.mktemp("said")

    def say(text: str, voice: str = "slt") -> Samples:
        place = Path(folder) / f"{voice}-{abs(hash(text))}.wav"
        if not place.exists():
            subprocess.run(["flite", "-voice", voice, "-t", text, "-o", str(place)], check=True, capture_output=True)
        return at_level(read_sound(place), -22.0)

    return say


class Cabinet:
    """The program at work, and a technician beside it."""

    def __init__(self, canceller: bool = True) -> None:
        self.clock = RealClock()
        self.happenings = Happenings()
        self.out = Loudspeaker(LOUDSPEAKER, self.clock, self.happenings.tell)
        self.mic = Microphone(MICROPHONE, self.clock, self.happenings.tell)
        self.technician = Loudspeaker(LOUDSPEAKER, self.clock, lambda _: None)
        self.loop = LiveLoop(
            self.mic, Endpointer(), self.out, recogniser(), self.happenings, self.clock, EchoGuard()
        )
        if not canceller:
            self.loop._follower = None
        self.told: list[Any] = []
        self.loop.start()
        self.loop.listen(ANSWERS)
        self._settle()

    def _settle(self) -> None:
        until = time.monotonic() + 8
        while self.mic.counts().captured < RATE // 2 and time.monotonic() < until:
            time.sleep(0.05)
        for speaker in (self.out, self.technician):
            speaker.play(Prompt(-1, "", np.zeros(RATE // 2, dtype=np.float32)))
            assert speaker.drain(8)

    def prompt(self, text: str, number: int = 1, cuttable: bool = True) -> None:
        self.out.play(Prompt(number, text, synthesiser().speak(text), cuttable))

    def say(self, samples: Samples) -> None:
        self.technician.play(Prompt(0, "", samples))

    def gather(self, until: Any, timeout: float) -> Any:
        """Happenings until one fits."""
        end = time.monotonic() + timeout
        while time.monotonic() < end:
            happening = self.happenings.next(0.1)
            if happening is not None:
                self.told.append(happening)
                if until(happening):
                    return happening
        return None

    def accepted(self) -> list[Any]:
        return [
            h.heard for h in self.told
            if isinstance(h, HeardPiece) and h.heard is not None and h.heard.verdict == Verdict.ACCEPTED
        ]

    def close(self) -> None:
        print("underflows", self.out.underflows, "swallowed", self.out.swallowed, self.mic.counts())
        self.loop.close()
        for part in (self.out, self.technician, self.mic):
            part.close()


@pytest.fixture
def cabinet(booth: Booth) -> Iterator[Any]:
    made: list[Cabinet] = []

    def make(**how: Any) -> Cabinet:
        made.append(Cabinet(**how))
        return made[-1]

    yield make
    for one in made:
        one.close()


def is_accepted(happening: Any) -> bool:
    return isinstance(happening, HeardPiece) and happening.heard is not None and happening.heard.verdict == Verdict.ACCEPTED


def prompt_ended(number: int) -> Any:
    return lambda happening: isinstance(happening, PromptEnded) and happening.said == number


def test_an_answer_in_silence_is_heard(cabinet: Any, said: Any) -> None:
    here = cabinet()
    here.say(said("not running"))
    heard = here.gather(is_accepted, 12)
    assert heard is not None, here.told
    assert heard.heard.meaning.text == "not running"
    assert heard.heard.ended > heard.heard.started > 0


def test_speaking_over_a_prompt_stops_it(cabinet: Any, said: Any) -> None:
    """The prompt ends with the verdict. Until the program knows the room it hears nobody over itself, and on a busy machine
    a stream may run dry in the middle of a word: the technician waits for the first, and says it again after the second."""
    here = cabinet()
    here.prompt("Look through the grille at the bottom. There is a small fan behind it. " * 12)
    heard = None
    until = time.monotonic() + 40
    while heard is None and time.monotonic() < until and here.out.busy():
        if not here.loop._follower.met:
            here.gather(lambda _: False, 0.1)
            continue
        here.say(1.6 * said("next step"))  # 4 dB up: people raise their voice over another
        here.technician.drain(10)
        heard = here.gather(is_accepted, 4.0)
        print(here.loop._follower.met, here.loop._follower.aligned, [p.started for p in here.technician.history()][-1])
    for h in here.told:
        if isinstance(h, HeardPiece) and h.heard:
            print(h.heard.verdict, h.heard.reason, repr(h.heard.words), h.started, h.ended, h.judgement.foreign)
    assert heard is not None, (here.loop._follower.met, here.loop._follower.aligned)
    assert heard.heard.meaning.text == "next step"
    # Told by another thread than the verdict: it may come before it.
    ended = next((h for h in here.told if prompt_ended(1)(h)), None) or here.gather(prompt_ended(1), 10)
    assert ended == PromptEnded(1, cut=True)
    assert next(played for played in here.out.history() if played.number == 1).cut


def test_who_answers_at_once_is_heard_as_after_the_prompt(cabinet: Any, said: Any, pulse: Pulse) -> None:
    """A fifth of a second lies between the end of the prompt and the answer: they are cut as one utterance."""
    here = cabinet()
    here.loop.listen(Listening(phrases=("running", "not running", "cannot see it"), proof=True))
    numbers = itertools.count(1)

    def once() -> None:
        number = next(numbers)
        here.prompt("Look through the grille at the bottom. Is the small fan behind it turning?", number)
        assert here.gather(prompt_ended(number), 20) is not None
        here.say(said("not running"))
        here.technician.drain(10)
        (played,) = (one for one in here.out.history() if one.number == number)
        heard = here.gather(lambda h: isinstance(h, HeardPiece) and h.heard is not None and h.heard.meaning is not None, 6)
        assert heard is not None
        assert heard.heard.meaning.text == "not running"
        assert heard.started >= played.ended - 0.3

    undisturbed(once, pulse, torn=lambda: here.out.underflows + here.technician.underflows)


def test_a_prompt_that_may_not_be_cut_is_not(cabinet: Any, said: Any) -> None:
    here = cabinet()
    here.prompt("Danger. Mains voltage behind this cover. Switch the cabinet off before you go on.", cuttable=False)
    time.sleep(2.0)
    here.say(said("next step"))
    assert here.gather(prompt_ended(1), 20) == PromptEnded(1, cut=False)


def test_coughs_and_clanks_do_not_stop_a_prompt(cabinet: Any) -> None:
    rng = np.random.default_rng(5)
    t = np.arange(round(0.35 * RATE)) / RATE
    cough = (0.5 * rng.standard_normal(len(t)) * np.exp(-((t - 0.1) ** 2) / 0.004)).astype(np.float32)
    clank = (0.6 * sum(np.sin(2 * np.pi * f * t) for f in (1210, 2790, 4130)) / 3 * np.exp(-12 * t)).astype(np.float32)
    here = cabinet()
    here.prompt("Is the fan at the top turning, and do you feel air from it? Take your time, and listen to it as well. " * 2)
    for noise in (cough, clank, cough, clank):
        time.sleep(1.2)
        here.say(noise)
    assert here.gather(prompt_ended(1), 30) == PromptEnded(1, cut=False)
    assert here.accepted() == []


PROMPTS = (
    "Is the evaporator fan running? Say running, not running, or cannot see it.",
    "Not running.",
    "You can say next step, go back, say again, stand by, how long, where am I, note, or stop the visit.",
    "You said forty three point five degrees Fahrenheit. Say affirm, or say the reading again.",
    "Say isolated, lock, and then the number on your lock.",
)


@pytest.mark.parametrize("canceller", [True, False], ids=["cancelled", "raw"])
def test_its_own_voice_at_full_level_is_never_accepted(cabinet: Any, canceller: bool, pulse: Pulse) -> None:
    """Every prompt speaks phrases that are in force. Without the canceller the guard alone has to hold."""
    here = cabinet(canceller=canceller)
    numbers = itertools.count()

    def once() -> None:
        for text in PROMPTS:
            number = next(numbers)
            here.loop.listen(
                Listening(
                    phrases=("running", "not running", "cannot see it", "affirm"), number=NumberAsked("degF", -20, 120),
                    gate=GateAsked("isolated", ("four", "two")),
                )
            )
            here.prompt(text, number)
            assert here.gather(prompt_ended(number), 30) == PromptEnded(number, cut=False)
        time.sleep(1.5)
        here.loop.settled(20)
        here.gather(lambda _: False, 0.5)
        print("judged", here.loop.judged, "own", here.loop.own, "stale", here.loop.stale)
        for h in here.told:
            if isinstance(h, HeardPiece):
                print(h.heard and (h.heard.verdict, h.heard.reason, h.heard.words), h.judgement)
        if not canceller:
            assert here.loop.own > 0  # it did hear itself, and knew; of a prompt that is torn it need not know

    undisturbed(once, pulse, torn=lambda: here.out.underflows + here.technician.underflows)
    assert here.accepted() == []
    assert here.loop.faults == 0, [h.heard.reason for h in here.told if isinstance(h, HeardPiece) and h.heard]


def test_a_gate_is_heard_after_the_prompt_but_not_over_it(cabinet: Any) -> None:
    """With the demo's recordings of its phrase."""
    phrase, digits, takes = gate_phrase()
    here = cabinet()
    here.loop.listen(Listening(gate=GateAsked(phrase, digits)))
    here.prompt("Switch the cabinet off at its switch, fit your padlock, and then say so. " * 3)
    time.sleep(1.5)
    here.say(takes[0])
    assert here.gather(prompt_ended(1), 40) is not None
    time.sleep(1.0)
    here.loop.settled(20)
    here.gather(lambda _: False, 0.3)
    assert not [h for h in here.accepted() if h.meaning.sense == Sense.GATE]
    heard = None
    for number in range(6):  # a busy machine tears words: a person says it again
        here.say(takes[number % len(takes)])
        here.technician.drain(10)
        heard = here.gather(is_accepted, 5)
        if heard is not None:
            break
    told = [(h.heard.verdict, h.heard.reason, h.heard.words) for h in here.told if isinstance(h, HeardPiece) and h.heard]
    assert heard is not None, told
    assert heard.heard.meaning.sense == Sense.GATE


def gate_phrase() -> tuple[str, tuple[str, ...], list[Samples]]:
    """The demo's: its first word, its digits as words, and each take."""
    import yaml

    place = shipped_folder("audio_fixtures") / "demo"
    clips = yaml.safe_load((place / "visit.yaml").read_text(encoding="utf-8"))["words"]
    clip, words = next((clip, words) for clip, words in clips.items() if words.startswith("isolated, lock, "))
    takes = [place / clip, place / clip.replace(".flac", "-again.flac")]
    return "isolated", tuple(words.split(", ")[2].split()), [read_sound(take) for take in takes if take.is_file()]


SENTENCES = (
    "Did you see the match on Saturday? They lost again in the last minute.",
    "I told him that the delivery would come on Tuesday, not on Monday.",
    "Can somebody move the van, it is blocking the whole entrance.",
)


def test_bystanders_and_a_fan_cause_no_action(cabinet: Any, said: Any) -> None:
    """A short form; ten minutes of it are `python -m tests.bench.soak --bystanders 10`."""
    here = cabinet()
    rng = np.random.default_rng(6)
    for number, sentence in enumerate(SENTENCES):
        speech = said(sentence, ("slt", "rms", "awb")[number])
        brown = np.cumsum(rng.standard_normal(len(speech)))
        brown -= np.convolve(brown, np.ones(800) / 800, mode="same")
        here.say((speech + 0.02 * brown / brown.std()).astype(np.float32))
        here.technician.drain(20)
        time.sleep(1.0)
    here.loop.settled(30)
    here.gather(lambda _: False, 0.5)
    assert here.loop.judged > 0
    assert here.accepted() == []


def test_it_hears_again_after_the_device_came_back(cabinet: Any, booth: Booth, said: Any) -> None:
    here = cabinet()
    here.prompt("Is the evaporator fan running?")
    time.sleep(0.5)
    booth.remove("booth")
    assert here.gather(lambda h: isinstance(h, SoundLost) and h.what == "microphone", 8) is not None
    booth.sink("booth")
    for _ in range(2):
        assert here.gather(lambda h: isinstance(h, SoundBack), 15) is not None
    until = time.monotonic() + 10
    while not here.technician.present and time.monotonic() < until:
        time.sleep(0.1)
    here._settle()
    time.sleep(2.0)
    here.say(said("not running"))
    heard = here.gather(is_accepted, 15)
    assert heard is not None, here.told
    assert heard.heard.meaning.text == "not running"
