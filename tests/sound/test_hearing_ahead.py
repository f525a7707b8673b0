"""What was heard while the end of speech was awaited counts only for that very sound, and under what was in force.

Real voices and the real detector, at the pace of sound; the recogniser is stood in for by one that says how much sound it
was given."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from audio_fixtures import voices
from handsfree.language.meaning import Heard, Listening, Meaning, Sense, Verdict
from handsfree.sound.happenings import Ended, Happenings, HeardPiece
from handsfree.sound.live import WAITING, HearingQueue, LiveLoop, PieceInLine
from handsfree.sound.prompts import Played
from handsfree.sound.samples import RealClock, Samples, silence
from handsfree.speech.endpoint import Endpointer
from tests.sound.pretended import ClipSource, NullSink

BEFORE, AFTER = Listening(phrases=("warm",)), Listening(phrases=("hot",))


@dataclass
class Measuring:
    """Accepts everything, and says how many samples it was. `fails`: the calls at which it breaks, the first is 1."""

    fails: tuple[int, ...] = ()
    given: list[int] = field(default_factory=list)

    def hear(self, samples: Samples, listening: Listening) -> Heard:
        self.given.append(len(samples))
        if len(self.given) in self.fails:
            raise RuntimeError("no memory")
        return Heard(Verdict.ACCEPTED, Meaning(Sense.PHRASE, listening.phrases[0]), 1.0, words=str(len(samples)))


class ChangesAfter(Measuring):
    """What is in force changes as soon as this has heard ahead."""

    loop: LiveLoop

    def hear(self, samples: Samples, listening: Listening) -> Heard:
        heard = super().hear(samples, listening)
        self.loop.listen(AFTER)
        return heard


class Playing(NullSink):
    """A prompt of noise that never ends."""

    def history(self) -> tuple[Played, ...]:
        return (Played(1, "Wait.", voices.hiss_noise(6.0, 1) * np.float32(0.01), 0.0, None),)


def told(
    recogniser: Measuring, *sounds: Samples, sink: type[NullSink] = NullSink
) -> tuple[LiveLoop, list[HeardPiece]]:
    clock, happenings = RealClock(), Happenings()
    source = ClipSource(clock, before=1.0, after=1.2)
    loop = LiveLoop(source, Endpointer(), sink(clock, happenings.tell), recogniser, happenings, clock)
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
    loop, (only,) = told(recogniser, np.concatenate(parts))
    assert only.heard is not None
    assert only.heard.words == str(len(only.samples))
    assert min(recogniser.given) < max(recogniser.given) == len(only.samples)
    assert loop.foreseen == 1


def test_the_first_half_is_not_taken_for_the_whole() -> None:
    """Where the first word was heard ahead, and hearing the whole ahead failed."""
    words = [voices.synthesise("isolated", "awb"), silence(0.45), voices.synthesise("lock", "awb")]
    recogniser = Measuring(fails=(2,))
    loop, (only,) = told(recogniser, np.concatenate(words))
    assert len(recogniser.given) == 3
    assert only.heard is not None
    assert only.heard.words == str(len(only.samples))
    assert loop.foreseen == 0


def test_what_was_heard_ahead_is_not_taken_for_what_is_asked_now() -> None:
    recogniser = ChangesAfter()
    loop, (only,) = told(recogniser, voices.synthesise("warm", "slt"))
    assert recogniser.given == [len(only.samples)] * 2
    assert loop.foreseen == 0
    assert only.heard is not None
    assert only.heard.meaning == Meaning(Sense.PHRASE, "hot")


def test_over_a_prompt_nothing_is_heard_ahead() -> None:
    recogniser = Measuring()
    loop, (only,) = told(recogniser, voices.synthesise("warm", "slt"), sink=Playing)
    assert only.heard is not None
    assert (len(recogniser.given), loop.foreseen) == (1, 0)


@given(st.lists(st.sampled_from(("put", "suppose", "give up", "next")), max_size=40))
def test_what_is_supposed_takes_nobodys_place(acts: list[str]) -> None:
    """Utterances come out in order, WAITING of them fit whatever is supposed, and what is supposed comes out where nothing
    waits: the newest, once."""
    line, waiting, supposed = HearingQueue(), list[PieceInLine](), None
    for number, act in enumerate(acts):
        one = PieceInLine(silence(0), silence(0), number, number, BEFORE, 0.0, False)
        if act == "put":
            assert line.put(one) == (len(waiting) < WAITING)
            waiting = [*waiting, one][:WAITING]
        elif act in ("suppose", "give up"):
            supposed = one if act == "suppose" else None
            line.suppose(supposed)
        elif waiting:
            assert line.next() == (waiting.pop(0), False)
        elif supposed is not None:
            assert line.next() == (supposed, True)
            supposed = None
    line.close()
    assert [line.next() for _ in range(len(waiting) + 1)] == [*((one, False) for one in waiting), None]


@pytest.mark.parametrize(("fails", "verdict"), [((1,), Verdict.ACCEPTED), ((1, 2), Verdict.ASKED_AGAIN)])
def test_a_recogniser_that_fails_ahead_is_tried_again(fails: tuple[int, ...], verdict: Verdict) -> None:
    loop, (only,) = told(Measuring(fails), voices.synthesise("warm", "slt"))
    assert only.heard is not None
    assert only.heard.verdict is verdict
    assert loop.faults == len(fails) - 1


@pytest.mark.parametrize(("sink", "heard_so_far"), [(NullSink, 1), (Playing, 0)])
def test_the_cutter_is_told_what_was_said_so_far_and_never_of_the_programs_own_words(
    sink: type[NullSink], heard_so_far: int
) -> None:
    clock, happenings, told = RealClock(), Happenings(), list[tuple[Samples, Heard, Listening]]()
    loop = LiveLoop(
        ClipSource(clock), Endpointer(), sink(clock, happenings.tell), Measuring(), happenings, clock,
        ahead=lambda *what: told.append(what),
    )  # fmt: skip
    loop.listen(BEFORE)
    sound = voices.synthesise("warm", "slt")
    loop._hear_ahead(PieceInLine(sound, sound, 0.0, len(sound) / 16_000, BEFORE, 0.0, False))
    assert len(told) == heard_so_far
    for samples, heard, listening in told:
        assert samples is sound
        assert heard.verdict is Verdict.ACCEPTED
        assert listening == BEFORE
