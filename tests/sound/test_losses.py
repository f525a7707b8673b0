"""Sound that was lost, as the live loop tells it: at once, then seldom, and never less than all of it.

A device that loses sound to order cannot be had: the source here is a list of blocks, the clock is moved by it, and the
cutter and the recogniser are not reached. All the rest is the real loop.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.journal.events import SoundDropped
from handsfree.language.meaning import Heard, Listening, Meaning, Sense, Verdict
from handsfree.sound.happenings import Ended, Happenings, HeardPiece
from handsfree.sound.live import LOSSES_EVERY, LiveLoop
from handsfree.sound.samples import RATE, Samples, VirtualClock, silence
from handsfree.sound.sources import BLOCK, Block
from tests.sound.pretended import NullSink

SECONDS = BLOCK / RATE


class Lossy:
    """`losses`: samples lost before each block."""

    def __init__(self, losses: Iterable[int], clock: VirtualClock) -> None:
        self._losses, self._clock = iter(losses), clock
        self.ended = False

    def read(self, timeout: float) -> Block | None:
        lost = next(self._losses, None)
        if lost is None:
            self.ended = True
            return None
        self._clock.wait(SECONDS)
        return Block(silence(SECONDS), self._clock.now(), lost)

    def close(self) -> None:
        self.ended = True


class Talking:
    """A cutter in whose sound somebody speaks from block `begins` to block `ends`."""

    supposed = None

    def __init__(self, begins: int, ends: int) -> None:
        self._at, self._begins, self._ends = 0, begins, ends

    @property
    def speaking(self) -> bool:
        return self._begins <= self._at < self._ends

    def feed(self, samples: Samples) -> tuple[Any, ...]:
        self._at += 1
        return ()


class Deaf:
    def hear(self, samples: Samples, listening: Listening) -> Heard:
        return Heard(Verdict.NOT_FOR_ME, None, 0.0)


def told(losses: list[int], talking: tuple[int, int] = (0, 0)) -> list[tuple[float, SoundDropped]]:
    """Each loss told, with the seconds of sound that had come by then."""
    clock, happenings, found = VirtualClock(), Happenings(), []
    tell = happenings.tell

    def timed(happening: Any) -> None:
        found.append((clock.now(), happening))
        tell(happening)

    happenings.tell = timed  # type: ignore[method-assign]  # to see when each is told
    loop = LiveLoop(Lossy(losses, clock), Talking(*talking), NullSink(clock, timed), Deaf(), happenings, clock)
    loop.start()
    while not isinstance(happenings.next(20), Ended):
        pass
    loop.close()
    return [(at, event) for at, event in found if isinstance(event, SoundDropped)]


def blocks(seconds: float) -> int:
    return round(seconds / SECONDS)


def test_the_first_is_told_at_once_and_later_ones_together() -> None:
    losses = [100] * blocks(2.5 * LOSSES_EVERY)
    found = told(losses)
    assert found[0] == (pytest.approx(SECONDS), SoundDropped(100, speech=False))
    assert [at for at, _ in found[1:3]] == pytest.approx([LOSSES_EVERY, 2 * LOSSES_EVERY], abs=3 * SECONDS)
    assert len(found) == 4  # and what was left at the end
    assert sum(event.samples for _, event in found) == sum(losses)


def test_a_loss_long_after_another_is_told_at_once_too() -> None:
    quiet = [0] * blocks(LOSSES_EVERY + 1)
    found = told([7, *quiet, 9, *quiet])
    assert [event.samples for _, event in found] == [7, 9]
    assert found[1][0] == pytest.approx((len(quiet) + 2) * SECONDS)


def test_speech_in_any_of_them_is_speech_lost() -> None:
    found = told([5, 5, 5, *[0] * blocks(2 * LOSSES_EVERY)], talking=(2, 3))
    assert [event.speech for _, event in found] == [False, True]


class Cutting:
    """A cutter that finds one utterance, from block `begins` to block `ends`."""

    speaking = False
    supposed = None

    def __init__(self, begins: int, ends: int) -> None:
        self._at, self._begins, self._ends = 0, begins, ends

    def feed(self, samples: Samples) -> tuple[Any, ...]:
        self._at += 1
        whole = silence((self._ends - self._begins) * SECONDS)
        return (Found(whole, self._begins * SECONDS, self._ends * SECONDS),) if self._at == self._ends else ()


@dataclass(frozen=True)
class Found:
    samples: Samples
    start_s: float
    end_s: float


class Believing:
    def hear(self, samples: Samples, listening: Listening) -> Heard:
        return Heard(Verdict.ACCEPTED, Meaning(Sense.PHRASE, "running"), 1.0)


@pytest.mark.parametrize(
    ("lost_before", "verdict"),
    [(None, Verdict.ACCEPTED), (10, Verdict.ACCEPTED), (11, Verdict.ASKED_AGAIN), (19, Verdict.ASKED_AGAIN),
     (20, Verdict.ACCEPTED), (25, Verdict.ACCEPTED)],
)
def test_what_has_a_hole_in_it_is_asked_again(lost_before: int | None, verdict: Verdict) -> None:
    """The utterance is blocks 10 to 19; '(not) running' must not be taken for 'running'."""
    losses = [480 if number == lost_before else 0 for number in range(40)]
    clock, happenings = VirtualClock(), Happenings()
    loop = LiveLoop(Lossy(losses, clock), Cutting(10, 20), NullSink(clock, happenings.tell), Believing(), happenings, clock)
    loop.listen(Listening(phrases=("running",)))
    loop.start()
    heard = []
    while not isinstance(happening := happenings.next(20), Ended):
        heard += [happening.heard] if isinstance(happening, HeardPiece) else []
    loop.close()
    assert [one.verdict for one in heard] == [verdict]
    assert ("lost" in heard[0].reason) == (verdict == Verdict.ASKED_AGAIN)


@given(st.lists(st.sampled_from([0, 0, 0, 1, 480, 16_000]), max_size=900))
def test_all_of_it_is_told_and_never_more_often(losses: list[int]) -> None:
    found = told(losses)
    assert sum(event.samples for _, event in found) == sum(losses)
    times = [at for at, _ in found]
    but_the_last = itertools.pairwise(times[:-1])  # what is left when the sound ends is told then
    assert all(later - sooner >= LOSSES_EVERY - 1e-9 for sooner, later in but_the_last)
