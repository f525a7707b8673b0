"""Speech out of a real device: plays prompts one after the other, and stops any of them within a few hundredths of a second.

The stream runs all the time and plays silence between prompts. So a prompt starts quickly, a device that vanishes is
noticed, and the echo canceller gets all that went out as one unbroken run of samples. The callback takes no lock and waits
for nothing: it talks to the rest through deques and a flag.
"""

from __future__ import annotations

import threading
import time
from collections import deque

import numpy as np
import soxr
from numpy.typing import NDArray

from handsfree.journal.events import PromptEnded
from handsfree.sound.devices import LATENCY, DeviceTimes, Flags, Keeper
from handsfree.sound.prompts import History, Played, Prompt, Tap, Tell, loudness, tone_samples
from handsfree.sound.samples import RATE, Clock, Samples

AHEAD = 0.3  # s of sound that a device may hold; one that asks for more is throwing it away
FADE = 0.005  # s, so that a stopped prompt does not click


class _Item:
    """A prompt on its way. `place`: how many prompts had been given, this one included. `at`: the next sample to play, at
    the device's rate."""

    def __init__(self, prompt: Prompt, out: Samples, place: int) -> None:
        self.prompt, self.out, self.place, self.at = prompt, out, place, 0

    def cut_by(self, cut: int) -> bool:
        return self.prompt.cuttable and self.place <= cut


class Loudspeaker:
    """A `prompts.Sink` on a device. `device`: name, part of a name, number, or None for the system's choice. Trouble where
    it cannot be opened. The loss of a device and its return are told as SoundLost and SoundBack. A prompt that a loss
    interrupts, or that comes while there is no device, is told as cut."""

    def __init__(
        self, device: str | None, clock: Clock, tell: Tell, latency: float = LATENCY, shape: tuple[int, int] | None = None
    ) -> None:
        self._clock, self._tell = clock, tell
        self._waiting: deque[_Item] = deque()
        self._current: _Item | None = None
        self._given = 0
        self._cut = self._cut_done = 0  # places: a cut does not touch what is given after it was asked for
        self._done: deque[tuple[_Item, float, bool]] = deque()
        self._begun: deque[tuple[_Item, float]] = deque()
        self._history = History(clock)
        self._rate = RATE
        self._wake = threading.Event()
        self._closing = False
        self._lock = threading.Lock()  # among those who give prompts; never taken by the callback
        self.tap = Tap()
        self.underflows = self.swallowed = 0
        self._due = 0.0  # monotonic time until which the device has been given sound
        self._keeper = Keeper("output", device, self._callback, self._opened, self._lost, tell, shape, latency)
        self._reporter = threading.Thread(target=self._report, name="loudspeaker reports", daemon=True)
        self._reporter.start()

    @property
    def device(self) -> str:
        return self._keeper.name

    @property
    def present(self) -> bool:
        return self._keeper.present

    def play(self, prompt: Prompt) -> None:
        out = loudness(prompt.samples, prompt.steps)
        with self._lock:
            if not self._keeper.present:
                self._tell(PromptEnded(prompt.number, cut=True))
                return
            if self._rate != RATE and len(out):
                out = soxr.resample(out, RATE, self._rate, quality="HQ")
            self._given += 1
            self._waiting.append(_Item(prompt, np.asarray(out, dtype=np.float32), self._given))

    def tone(self, name: str) -> None:
        self.play(Prompt(-1, "", tone_samples(name), cuttable=True))

    def cut(self) -> None:
        self._cut = self._given

    def busy(self) -> bool:
        return bool(self._current or self._waiting or self._done)

    def drain(self, timeout: float) -> bool:
        until = time.monotonic() + timeout
        while self.busy():
            if time.monotonic() > until:
                return False
            time.sleep(0.01)
        return True

    def history(self) -> tuple[Played, ...]:
        return self._history.all()

    def close(self) -> None:
        """Stops at once; what was not played is told as cut."""
        self._closing = True
        self._keeper.close()
        self._lost()
        self._wake.set()
        self._reporter.join(2)

    # ---- the callback's side ----

    def _callback(self, out: NDArray[np.float32], frames: int, when: DeviceTimes, status: Flags) -> None:
        self._keeper_alive()
        if status and status.output_underflow:
            self.underflows += 1
        ahead = when.outputBufferDacTime - when.currentTime
        at = self._clock.now() + (ahead if 0.0 < ahead < 1.0 else LATENCY)
        mono = np.zeros(frames, dtype=np.float32)
        if (cut := self._cut) > self._cut_done:
            self._cut_done = cut
            self._stop(mono, at, cut)
        filled = frames if self._swallowing(frames) else 0
        while filled < frames:
            if self._current is None:
                if not self._waiting:
                    break
                self._current = self._waiting.popleft()
                self._begun.append((self._current, at + filled / self._rate))
            filled += self._fill(self._current, mono, filled, at)
        out[:] = mono[:, None]
        self.tap.raw.append((mono, at))

    def _swallowing(self, frames: int) -> bool:
        """True while the stream has asked for sound faster than it can play it; it then gets silence until the time has
        come. A stream that ran dry may do so and throw the sound away (seen with ALSA's pulse plug-in on a busy machine: a
        prompt of several seconds gone in a moment)."""
        now = time.monotonic()
        self._due = max(self._due, now)
        if self._due - now > AHEAD:
            self.swallowed += frames
            return True
        self._due += frames / self._rate
        return False

    def _keeper_alive(self) -> None:
        keeper = getattr(self, "_keeper", None)  # the first callbacks may come before the constructor is done
        if keeper is not None:
            keeper.alive = time.monotonic()

    def _fill(self, item: _Item, mono: Samples, first: int, at: float) -> int:
        piece = item.out[item.at : item.at + len(mono) - first]
        mono[first : first + len(piece)] = piece
        item.at += len(piece)
        if item.at >= len(item.out):
            self._current = None
            self._done.append((item, at + (first + len(piece)) / self._rate, False))
            self._wake.set()
        return len(piece)

    def _stop(self, mono: Samples, at: float, cut: int) -> None:
        """Fade out what plays if it may be cut, and drop what waits and may be."""
        item = self._current
        if item is not None and item.cut_by(cut):
            rest = item.out[item.at : item.at + min(len(mono), round(FADE * self._rate))]
            mono[: len(rest)] = rest * np.linspace(1.0, 0.0, len(rest), dtype=np.float32)
            item.at += len(rest)
            self._current = None
            self._done.append((item, at + len(rest) / self._rate, True))
        for _ in range(len(self._waiting)):
            waiting = self._waiting.popleft()
            if waiting.cut_by(cut):
                self._done.append((waiting, at, True))
            else:
                self._waiting.append(waiting)
        self._wake.set()

    # ---- the rest ----

    def _opened(self, rate: int, channels: int) -> None:
        self._rate = rate
        self.tap.reset(rate)

    def _lost(self) -> None:
        """No callback runs now. Everything under way ends here."""
        now = self._clock.now()
        with self._lock:
            if self._current is not None:
                self._done.append((self._current, now, True))
                self._current = None
            while self._waiting:
                self._done.append((self._waiting.popleft(), now, True))
        self._wake.set()

    def _report(self) -> None:
        """Tells what the callback did, and keeps the history."""
        playing: tuple[_Item, Played] | None = None
        while not (self._closing and not self._done and not self._begun):
            self._wake.wait(0.01)
            self._wake.clear()
            while self._begun or self._done:
                if self._begun and (playing is None or not self._done):
                    playing = self._started(*self._begun.popleft())
                elif self._done:
                    item, at, cut = self._done[0]
                    if playing is not None and playing[0] is item:
                        self._history.replace_last(self._finished(item, playing[1], at, cut))
                        playing = None
                    if item.prompt.number >= 0:
                        self._tell(PromptEnded(item.prompt.number, cut))
                    self._done.popleft()

    def _started(self, item: _Item, at: float) -> tuple[_Item, Played]:
        prompt = item.prompt
        played = Played(prompt.number, prompt.text, loudness(prompt.samples, prompt.steps), at)
        self._history.add(played)
        return item, played

    def _finished(self, item: _Item, played: Played, at: float, cut: bool) -> Played:
        sounded = played.samples[: round(item.at * RATE / self._rate)] if cut else played.samples
        return Played(played.number, played.text, sounded, played.started, at, cut)
