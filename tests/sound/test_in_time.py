"""An accepted utterance stops a prompt, unless it came too early to act: then the words after it are heard.

The cutter and the recogniser are stood in for, to say when what is accepted; the sink notes its cuts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

from handsfree.language.meaning import Heard, Listening, Meaning, Sense, Verdict
from handsfree.sound.echo import EchoGuard, Judgement
from handsfree.sound.happenings import Ended, Happenings, HeardPiece
from handsfree.sound.live import LiveLoop
from handsfree.sound.samples import RATE, Samples, VirtualClock, silence
from tests.sound.pretended import ClipSource, NullSink


@dataclass(frozen=True)
class Found:
    samples: Samples
    start_s: float
    end_s: float


class Cutting:
    """Finds one utterance, a second long, when as much has been fed."""

    speaking = False
    supposed = None
    fed = silence(0.0)

    def feed(self, samples: Samples) -> tuple[Any, ...]:
        before, self.fed = len(self.fed), np.concatenate([self.fed, samples])
        found = before < RATE <= len(self.fed)
        return (Found(self.fed[:RATE], 0.0, 1.0),) if found else ()


class Believing:
    def hear(self, samples: Samples, listening: Listening) -> Heard:
        return Heard(Verdict.ACCEPTED, Meaning(Sense.COMMAND, "next step"), 1.0)


class Sink(NullSink):
    cuts = 0

    def cut(self) -> None:
        self.cuts += 1


@pytest.mark.parametrize(("in_time", "cuts"), [(True, 1), (False, 0)])
def test_only_what_may_act_stops_a_prompt(in_time: bool, cuts: int) -> None:
    clock, happenings = VirtualClock(), Happenings()
    source, sink = ClipSource(clock), Sink(clock, happenings.tell)
    source.say(silence(0.5))
    source.finish()
    loop = LiveLoop(source, Cutting(), sink, Believing(), happenings, clock)
    loop.in_time = lambda started, heard: in_time
    loop.start()
    while not isinstance(happenings.next(20), Ended):
        pass
    loop.close()
    assert loop.judged == 1
    assert sink.cuts == cuts


class Guard(EchoGuard):
    """Says that the first 0.4 s were the program's own voice, and whether no word is under it."""

    def __init__(self, wordless: bool = False) -> None:
        super().__init__()
        self.wordless = wordless

    def judge(self, samples: Samples, *given: Any, **named: Any) -> Judgement:
        return Judgement(False, "", samples, overlap=0.5, began=0.4, wordless=self.wordless)


@dataclass
class Hears(Believing):
    """And notes how much sound it was given, in seconds."""

    seconds: float = 0.0

    def hear(self, samples: Samples, listening: Listening) -> Heard:
        self.seconds = len(samples) / RATE
        return super().hear(samples, listening)


@pytest.mark.parametrize(("listening", "wordless", "given"), [
    (Listening(own_words=True), False, 0.9), (Listening(also=("affirm", "negative")), False, 1.0),
    (Listening(proof=True), False, 1.0), (Listening(proof=True), True, 0.9),
])  # fmt: skip
def test_an_answer_begins_after_the_echo_that_was_cut_with_it(listening: Listening, wordless: bool, given: float) -> None:
    """No word is taken away of what may take off a lock, count a caution as heard or prove works dead."""
    clock, happenings, hears = VirtualClock(), Happenings(), Hears()
    source, sink = ClipSource(clock), NullSink(clock, happenings.tell)
    source.say(silence(0.5))
    source.finish()
    loop = LiveLoop(source, Cutting(), sink, hears, happenings, clock, Guard(wordless))
    asked: list[float] = []
    loop.in_time = lambda started, heard: not asked.append(started)  # type: ignore[func-returns-value]
    loop.listen(listening)
    loop.start()
    told = happenings.next(20)
    loop.close()
    assert isinstance(told, HeardPiece)
    assert told.heard is not None
    assert hears.seconds == pytest.approx(given)
    assert asked == [told.started] == [told.heard.started] == [pytest.approx(told.ended - 0.6)]
