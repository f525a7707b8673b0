"""What was heard while the end of speech was awaited counts only for that very sound, and under what was in force.

Real voices and the real detector; the recogniser is stood in for by one that says how much sound it was given."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pytest

from audio_fixtures import voices
from handsfree.language.meaning import Heard, Listening, Meaning, Sense, Verdict
from handsfree.sound.live import Ended, Happenings, HeardSound, LiveLoop
from handsfree.sound.samples import Samples, VirtualClock, silence
from handsfree.sound.sinks import NullSink
from handsfree.sound.sources import ClipSource
from handsfree.speech.endpoint import Endpointer

BEFORE, AFTER = Listening(phrases=("warm",)), Listening(phrases=("hot",))


@dataclass
class Measuring:
    """Accepts everything, and says how many samples it was. `fails`: how many times it breaks first."""

    fails: int = 0
    given: list[int] = field(default_factory=list)

    def hear(self, samples: Samples, listening: Listening) -> Heard:
        self.given.append(len(samples))
        if len(self.given) <= self.fails:
            raise RuntimeError("no memory")
        return Heard(Verdict.ACCEPTED, Meaning(Sense.PHRASE, listening.phrases[0]), 1.0, words=str(len(samples)))


class ChangesAfter(Measuring):
    """What is in force changes as soon as this has heard ahead."""

    loop: LiveLoop

    def hear(self, samples: Samples, listening: Listening) -> Heard:
        heard = super().hear(samples, listening)
        self.loop.listen(AFTER)
        return heard


def told(recogniser: Measuring, *sounds: Samples) -> tuple[LiveLoop, list[HeardSound]]:
    clock, happenings = VirtualClock(), Happenings()
    source = ClipSource(clock, before=1.0, after=1.5)
    loop = LiveLoop(source, Endpointer(), NullSink(clock, happenings.tell), recogniser, happenings, clock)
    if isinstance(recogniser, ChangesAfter):
        recogniser.loop = loop
    loop.listen(BEFORE)
    for sound in sounds:
        source.say(sound)
    source.finish()
    loop.start()
    found = []
    while not isinstance(happening := happenings.next(30), Ended):
        assert happening is not None
        found.append(happening)
    loop.close()
    return loop, found


def test_one_utterance_is_heard_once_and_ahead() -> None:
    recogniser = Measuring()
    loop, (only,) = told(recogniser, voices.synthesise("warm", "slt"))
    assert loop.foreseen == 1
    assert recogniser.given == [len(only.samples)]
    assert only.heard is not None
    assert only.heard.verdict is Verdict.ACCEPTED


def test_who_goes_on_speaking_is_heard_whole() -> None:
    """Half a second between words is no end: whatever was heard before the last word is thrown away."""
    words = [voices.synthesise(word, "awb") for word in ("isolated", "lock", "four", "two")]
    parts = [part for word in words for part in (word, silence(0.45))]
    recogniser = Measuring()
    _, (only,) = told(recogniser, np.concatenate(parts))
    assert only.heard is not None
    assert only.heard.words == str(len(only.samples))
    assert max(recogniser.given) == len(only.samples)


def test_what_was_heard_ahead_is_not_taken_for_what_is_asked_now() -> None:
    recogniser = ChangesAfter()
    loop, (only,) = told(recogniser, voices.synthesise("warm", "slt"))
    assert loop.foreseen == 0
    assert only.heard is not None
    assert only.heard.verdict is Verdict.NOT_FOR_ME or (only.heard.meaning and only.heard.meaning.text == "hot")


@pytest.mark.parametrize(("fails", "verdict"), [(1, Verdict.ACCEPTED), (2, Verdict.ASKED_AGAIN)])
def test_a_recogniser_that_fails_ahead_is_tried_again(fails: int, verdict: Verdict) -> None:
    loop, (only,) = told(Measuring(fails), voices.synthesise("warm", "slt"))
    assert only.heard is not None
    assert only.heard.verdict is verdict
    assert loop.faults == fails - 1
