"""A sink that says nothing and a technician made of recordings, each taking the time it would take."""

from __future__ import annotations

import queue
import threading
from collections import deque

from handsfree.sound.prompts import Tell
from handsfree.sound.samples import RATE, Clock, Samples, silence
from handsfree.sound.sinks import FileSink
from handsfree.sound.sources import BLOCK, Block


class NullSink(FileSink):
    """Says nothing, and takes the time it would take."""

    def __init__(self, clock: Clock, tell: Tell) -> None:
        super().__init__(None, clock, tell)


class ClipSource:
    """A technician made of recordings: `say` speaks one, and between them there is silence. The silence too takes its
    time on the clock. `say` may be called from another thread; `finish` ends the sound after what is queued."""

    def __init__(self, clock: Clock, before: float = 0.3, after: float = 0.8) -> None:
        self._clock, self._before, self._after = clock, before, after
        self._queue: queue.SimpleQueue[Samples | None] = queue.SimpleQueue()
        self._ready: deque[Samples] = deque()
        self._lock = threading.Lock()
        self.ended = False

    def say(self, samples: Samples) -> None:
        self._queue.put(samples)

    def finish(self) -> None:
        self._queue.put(None)

    def read(self, timeout: float) -> Block | None:
        with self._lock:
            if not self._ready:
                self._fetch()
            if self.ended:
                return None
            samples = self._ready.popleft() if self._ready else silence(BLOCK / RATE)
        started = self._clock.now()
        self._clock.wait(len(samples) / RATE)
        return Block(samples, started)

    def _fetch(self) -> None:
        import numpy as np

        try:
            clip = self._queue.get_nowait()
        except queue.Empty:
            return
        if clip is None:
            self.ended = True
            return
        whole = np.concatenate([silence(self._before), clip, silence(self._after)])
        self._ready.extend(whole[first : first + BLOCK] for first in range(0, len(whole), BLOCK))

    def close(self) -> None:
        self.ended = True
