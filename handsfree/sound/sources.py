"""Sound in, block by block: the interface of a microphone, and the same from a file, a pipe, or clips given one by one."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from handsfree.errors import Trouble
from handsfree.sound.files import blocks_of_file
from handsfree.sound.samples import RATE, Clock, Samples, silence

#: Samples a block: 32 ms.
BLOCK = 512


@dataclass(frozen=True)
class Block:
    """`samples`: mono 16 kHz. `started`: time of its first sample on the visit's clock. `lost`: samples at 16 kHz that the
    device lost just before it. `broken`: the device was reopened just before it."""

    samples: Samples = field(repr=False, compare=False)
    started: float
    lost: int = 0
    broken: bool = False


class SoundSource(Protocol):
    """`ended`: no more will come, ever."""

    ended: bool

    def read(self, timeout: float) -> Block | None:
        """The next block, or None when `timeout` seconds passed or the sound ended."""
        ...

    def close(self) -> None: ...


class FileSource:
    """A file, or `-`, as a microphone. Reading lets the time of each block pass on the clock: with a VirtualClock as fast as
    it is read, with a RealClock as if spoken now. What is not sound is Trouble at once, not in mid-visit.

    `tail`: seconds of silence after its end, so that a last word still has an end of speech."""

    def __init__(self, path: str | Path, clock: Clock, tail: float = 2.0) -> None:
        self._clock = clock
        self._blocks: Iterator[Samples] = _regular(blocks_of_file(path, BLOCK * 16), tail)
        self._ready: deque[Samples] = deque()
        self.ended = False
        if str(path) != "-":  # waiting for sound from a pipe would keep the program from speaking first
            try:
                self._ready.append(next(self._blocks))
            except StopIteration as fault:
                raise Trouble(f"'{path}' holds no sound at all; record it again.") from fault

    def read(self, timeout: float) -> Block | None:
        samples = self._ready.popleft() if self._ready else next(self._blocks, None)
        if samples is None:
            self.ended = True
            return None
        started = self._clock.now()
        self._clock.wait(len(samples) / RATE)
        return Block(samples, started)

    def close(self) -> None:
        self.ended = True


def _regular(pieces: Iterator[Samples], tail: float) -> Iterator[Samples]:
    """Cut to blocks of BLOCK, silence added at the end."""
    import numpy as np

    rest = silence(0)
    for piece in pieces:
        rest = np.concatenate([rest, piece])
        while len(rest) >= BLOCK:
            yield rest[:BLOCK]
            rest = rest[BLOCK:]
    rest = np.concatenate([rest, silence(tail)])
    for first in range(0, len(rest), BLOCK):
        yield rest[first : first + BLOCK]
