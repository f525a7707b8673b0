"""What every file of this package passes around: mono samples at 16 kHz, and a clock.

Rules of this package:

- Inside the program sound is one channel, 16 kHz, float32 from -1 to 1. Files and devices are converted at the edge.
- Times are seconds on one clock. The clock is handed in, so that a visit from files can run on a clock of its own.
- Nothing here knows what a procedure is.
"""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]

RATE = 16_000
LEAD = 0.3  # s of pre-roll at the beginning of an utterance


@dataclass(frozen=True)
class Piece:
    """The sound of one utterance, cut out. `start_s`, `end_s`: of `samples` in the stream, pre-roll and tail included.
    `spoke_until_s`: the end of the last speech frame."""

    samples: Samples
    start_s: float
    end_s: float
    spoke_until_s: float = 0.0


class Clock(Protocol):
    def now(self) -> float:
        """Seconds, never falling."""
        ...

    def wait(self, seconds: float) -> None:
        """Let `seconds` pass: by sleeping, or by moving a clock that is not the wall's."""
        ...


class RealClock:
    """Seconds since this clock was made, by the machine's monotonic clock."""

    def __init__(self, start: float = 0.0) -> None:
        self._zero = time.monotonic() - start

    def now(self) -> float:
        return time.monotonic() - self._zero

    def wait(self, seconds: float) -> None:
        time.sleep(max(0.0, seconds))


class VirtualClock:
    """Moves only when told to: sound from and to files takes no real time, yet keeps its times."""

    def __init__(self, start: float = 0.0) -> None:
        self._now = start
        self._lock = threading.Lock()

    def now(self) -> float:
        with self._lock:
            return self._now

    def wait(self, seconds: float) -> None:
        with self._lock:
            self._now += max(0.0, seconds)


def silence(seconds: float) -> Samples:
    return np.zeros(max(0, round(seconds * RATE)), dtype=np.float32)


def to_int16(samples: Samples) -> NDArray[np.int16]:
    return np.round(np.clip(samples, -1.0, 1.0) * 32767.0).astype(np.int16)


def from_int16(data: bytes) -> Samples:
    """Raw 16-bit little-endian mono. A last odd byte is dropped."""
    whole = len(data) - len(data) % 2
    return (np.frombuffer(data[:whole], dtype="<i2").astype(np.float32) / 32768.0).astype(np.float32)
