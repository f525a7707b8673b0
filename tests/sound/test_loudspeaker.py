"""What a loudspeaker plays between two calls of its device. The device is pretended: when it calls is up to the test."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from handsfree.journal.events import PromptEnded
from handsfree.sound import loudspeaker
from handsfree.sound.prompts import Prompt
from handsfree.sound.samples import RATE, RealClock

FRAMES = 480


class PretendedDevice:
    """In place of a Keeper: always there, and silent about it."""

    name, present, alive = "pretended", True, 0.0

    def __init__(self, *_: Any) -> None: ...

    def close(self) -> None: ...


@pytest.fixture
def told(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    monkeypatch.setattr(loudspeaker, "Keeper", PretendedDevice)
    return []


def called(out: loudspeaker.Loudspeaker) -> float:
    """The device asks for FRAMES; how loud what it gets is at most."""
    block = np.zeros((FRAMES, 1), dtype=np.float32)
    out._callback(block, FRAMES, SimpleNamespace(outputBufferDacTime=0.0, currentTime=0.0), None)
    return float(np.abs(block).max())


def prompt(number: int, cuttable: bool = True) -> Prompt:
    return Prompt(number, f"prompt {number}", np.full(RATE, 0.1 * number, dtype=np.float32), cuttable=cuttable)


def test_what_is_given_after_a_cut_is_played(told: list[Any]) -> None:
    """Found in a visit by voice: 'Switch off the cabinet. Pull the plug.' was not said. An answer cut what was playing, the
    next sentence was given before the device called again, and the cut took it along."""
    out = loudspeaker.Loudspeaker(None, RealClock(), told.append)
    out.play(prompt(1))
    out.play(prompt(2))
    assert called(out) > 0
    out.cut()
    out.play(prompt(3))
    assert called(out) > 0.2, "the third is heard at once"
    out.close()
    ended = {one.said: one.cut for one in told if isinstance(one, PromptEnded)}
    assert list(ended) == [1, 2, 3], "the third last: it played until it was closed"


def test_a_cut_leaves_what_may_not_be_cut_and_ends_once(told: list[Any]) -> None:
    out = loudspeaker.Loudspeaker(None, RealClock(), told.append)
    out.play(prompt(1, cuttable=False))
    out.play(prompt(2))
    called(out)
    out.cut()
    assert called(out) > 0
    out.cut()
    out.play(prompt(3))
    for _ in range(RATE // FRAMES + 2):
        called(out)
        out._due = 0.0  # the pretended device asks faster than it plays
    assert called(out) > 0.2
    out.close()
    assert [one.said for one in told if isinstance(one, PromptEnded)] == [2, 1, 3]
