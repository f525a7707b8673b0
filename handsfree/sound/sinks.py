"""Speech into a file, into a pipe, or into nothing, behind the interface of a loudspeaker."""

from __future__ import annotations

import threading
from pathlib import Path

from handsfree.journal.events import PromptEnded
from handsfree.sound.files import SoundOut
from handsfree.sound.prompts import History, Played, Prompt, Tell, loudness, tone_samples
from handsfree.sound.samples import RATE, Clock, Samples, silence

#: The longest pause written between two prompts: an hour of silence in a file helps nobody.
LONGEST_PAUSE = 30.0


class FileSink:
    """Writes what it is given at the time the clock says, then lets that much time pass on the clock. So with a VirtualClock
    a visit runs as fast as the machine can, and the file still sounds as the visit did.

    `path`: .wav, .flac or '-' for raw samples; None writes nothing and only keeps the times (the null sink).
    `pauses`: silence between prompts is written too. Trouble where the file cannot be written."""

    tap = None

    def __init__(self, path: str | Path | None, clock: Clock, tell: Tell, pauses: bool = True) -> None:
        self._out = SoundOut(path) if path is not None else None
        self._clock, self._tell, self._pauses = clock, tell, pauses
        self._history = History(clock)
        self._last = clock.now()
        self._lock = threading.Lock()
        self.written = 0  # samples

    def play(self, prompt: Prompt) -> None:
        self._write(prompt.number, prompt.text, loudness(prompt.samples, prompt.steps))
        self._tell(PromptEnded(prompt.number))

    def tone(self, name: str) -> None:
        self._write(-1, "", tone_samples(name))

    def hear(self, samples: Samples) -> None:
        """Write what somebody else has just finished saying, so that the file holds both sides. The clock does not move
        here: the source moves it."""
        with self._lock:
            now = self._clock.now()
            self._put(silence(min(LONGEST_PAUSE, now - len(samples) / RATE - self._last)) if self._pauses else samples[:0])
            self._put(samples)
            self._last = now

    def cut(self) -> None:
        """Nothing to stop: what is given is written at once."""

    def busy(self) -> bool:
        return False

    def drain(self, timeout: float) -> bool:
        return True

    def history(self) -> tuple[Played, ...]:
        return self._history.all()

    def close(self) -> None:
        if self._out is not None:
            self._out.close()

    def _write(self, number: int, text: str, samples: Samples) -> None:
        with self._lock:
            started = self._clock.now()
            if self._pauses:
                self._put(silence(min(LONGEST_PAUSE, started - self._last)))
            self._put(samples)
            self._clock.wait(len(samples) / RATE)
            self._last = started + len(samples) / RATE
            self._history.add(Played(number, text, samples, started, self._last))

    def _put(self, samples: Samples) -> None:
        self.written += len(samples)
        if self._out is not None and len(samples):
            self._out.write(samples)
