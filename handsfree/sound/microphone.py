"""Sound in from a real device, in blocks of 16 kHz mono. No sound is lost without being counted.

The callback copies what came and returns. The reader converts it, in its own thread. Between the two is a queue that holds
half a minute. A reader that is late loses nothing; a reader that is stuck loses sound, and the loss is counted.
"""

from __future__ import annotations

import queue
import time
from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from handsfree.sound.devices import LATENCY, DeviceTimes, Flags, Keeper
from handsfree.sound.files import Converter
from handsfree.sound.prompts import Tell
from handsfree.sound.samples import RATE, Clock, Samples, silence
from handsfree.sound.sources import BLOCK, Block

LINE = 30.0  # s of sound that may wait for the reader
PREROLL = 2.0  # s kept of what was read
JUMP = 0.08  # s; when the device's time differs from the count by more, the count is wrong


@dataclass(frozen=True)
class Counts:
    """All in samples at 16 kHz. `captured`: came from the
    device; `lost`: the device lost them; `dropped`: the reader was stuck and the line was full."""

    captured: int
    lost: int
    dropped: int
    losses: int  # times the whole device was lost


class Microphone:
    """A `sources.Source` on a device. `device`: name, part of a name, number, or None for the system's choice. Trouble
    where it cannot be opened. The loss of a device and its return are told as SoundLost and SoundBack; in between, `read`
    gives None."""

    def __init__(
        self, device: str | None, clock: Clock, tell: Tell, latency: float = LATENCY, shape: tuple[int, int] | None = None,
        line: float = LINE,
    ) -> None:
        self._clock, self._line_limit = clock, line
        self._line: queue.SimpleQueue[tuple[NDArray[np.float32], float, int, int]] = queue.SimpleQueue()
        self._rate, self._opening = RATE, 0
        self._expected: float | None = None  # clock time at which the next callback's first sample is due
        self._converter, self._converter_of = Converter(RATE, 1), -1
        self._rest, self._rest_at, self._rest_lost = silence(0), 0.0, 0
        self._broken = False
        self._recent: deque[Samples] = deque(maxlen=max(1, round(PREROLL * RATE / BLOCK)))
        self._put = self._got = self._pending_lost = 0  # _put: the callback's; _got: the reader's
        self._captured = self._lost_samples = self._dropped = 0.0
        self.ended = False
        self._keeper: Keeper | None = None
        self._keeper = Keeper("input", device, self._callback, self._opened, self._gone, tell, shape, latency)

    @property
    def device(self) -> str:
        return self._keeper.name if self._keeper else ""

    @property
    def present(self) -> bool:
        return self._keeper is not None and self._keeper.present

    def counts(self) -> Counts:
        losses = self._keeper.losses if self._keeper else 0
        return Counts(round(self._captured), round(self._lost_samples), round(self._dropped), losses)

    def read(self, timeout: float) -> Block | None:
        until = time.monotonic() + timeout
        while len(self._rest) < BLOCK:
            try:
                data, at, lost, opening = self._line.get(timeout=max(0.0, until - time.monotonic()))
            except queue.Empty:
                return None
            self._got += len(data)
            self._take(data, at, lost, opening)
        samples, self._rest = self._rest[:BLOCK], self._rest[BLOCK:]
        block = Block(samples, self._rest_at, self._rest_lost, self._broken)
        self._rest_at += BLOCK / RATE
        self._rest_lost, self._broken = 0, False
        self._recent.append(samples)
        return block

    def recent(self, seconds: float) -> Samples:
        """The last `seconds` of what was read, at most PREROLL."""
        kept = list(self._recent)
        return np.concatenate(kept)[-round(seconds * RATE) :] if kept else silence(0)

    def close(self) -> None:
        self.ended = True
        if self._keeper is not None:
            self._keeper.close()

    def _take(self, data: NDArray[np.float32], at: float, lost: int, opening: int) -> None:
        """Convert; `at` is when the first of `data` was in the air."""
        if opening != self._converter_of:
            self._broken = self._converter_of != -1
            self._converter, self._converter_of = Converter(self._rate, data.shape[1]), opening
            self._rest = silence(0)
        if lost:  # sound from before the gap must not be joined to sound from after it
            self._rest = silence(0)
            self._rest_lost += round(lost * RATE / self._rate)
            self._rest_at = at
        due = self._rest_at + len(self._rest) / RATE
        # Times come by counting samples; the device's own clock, which jitters, corrects them slowly.
        self._rest_at += at - due if abs(at - due) > JUMP else 0.01 * (at - due)
        self._rest = np.concatenate([self._rest, self._converter.feed(data)])

    # ---- the callback's side ----

    def _callback(self, data: NDArray[np.float32], frames: int, when: DeviceTimes, status: Flags) -> None:
        if self._keeper is not None:
            self._keeper.alive = time.monotonic()
        now = self._clock.now()
        ago = when.currentTime - when.inputBufferAdcTime
        at = now - (ago if 0.0 < ago < 1.0 else frames / self._rate)
        self._captured += frames * RATE / self._rate
        if status and status.input_overflow and self._expected is not None:
            # The device says that sound was lost, though its times may not show it: count one of our samples at least.
            missing = max(-(-self._rate // RATE), round((at - self._expected) * self._rate))
            self._lost_samples += missing * RATE / self._rate
            self._pending_lost += missing
        self._expected = at + frames / self._rate
        if self._put - self._got > self._line_limit * self._rate:
            self._dropped += frames * RATE / self._rate
            self._pending_lost += frames
            return
        self._put += frames
        self._line.put((data.copy(), at, self._pending_lost, self._opening))
        self._pending_lost = 0

    def _opened(self, rate: int, channels: int) -> None:
        self._rate = rate
        self._opening += 1
        self._expected = None

    def _gone(self) -> None:
        self._expected = None
