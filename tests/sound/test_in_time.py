"""An accepted utterance stops a prompt, unless it came too early to act: then the words after it are heard.

The cutter and the recogniser are stood in for, to say when what is accepted; the sink notes its cuts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pytest

from handsfree.language.meaning import Heard, Listening, Meaning, Sense, Verdict
from handsfree.sound.happenings import Ended, Happenings
from handsfree.sound.live import LiveLoop
from handsfree.sound.samples import RATE, Samples, VirtualClock, silence
from tests.sound.pretended import ClipSource, NullSink


@dataclass(frozen=True)
class Found:
    samples: Samples
    start_s: float
    end_s: float


class Cutting:
    """Finds one utterance in the first block."""

    speaking = False
    supposed = None
    done = False

    def feed(self, samples: Samples) -> tuple[Any, ...]:
        found = () if self.done else (Found(samples, 0.0, len(samples) / RATE),)
        self.done = True
        return found


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
