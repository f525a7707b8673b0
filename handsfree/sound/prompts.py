"""What is to be spoken, and what everything that can play it has in common.

Rules of this file:

- Prompts and tones are played in the order given; the loudspeaker never speaks two at once.
- `cut` at once stops what may be cut, and drops what waits behind it. What may not be cut is played to its end.
- Each prompt is reported once by `journal.events.PromptEnded`, cut or not, through the `tell` handed in.
- What was played is remembered for a while with its words and its times: the echo guard judges by it.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from handsfree.journal.events import Happening
from handsfree.sound.files import Converter
from handsfree.sound.samples import RATE, Clock, Samples

#: Steps of 'louder' and 'softer' in dB (common practice, no source: a change that is plainly heard).
VOLUME_STEP = 4.0

#: Blocks of reference kept for the echo canceller when nobody fetches them: about ten seconds of any device.
KEPT_BLOCKS = 4000

Tell = Callable[[Happening], object]


@dataclass(frozen=True)
class Prompt:
    """`number`: that of the Say effect; `samples`: mono 16 kHz; `steps`: how many louder (positive) or softer."""

    number: int
    text: str
    samples: Samples = field(repr=False, compare=False)
    cuttable: bool = True
    steps: int = 0


@dataclass(frozen=True)
class Played:
    """A prompt or tone as it went out. `ended` is None while it plays. `samples`: at 16 kHz, as loud as they were played."""

    number: int
    text: str
    samples: Samples = field(repr=False, compare=False)
    started: float
    ended: float | None = None
    cut: bool = False


class Tap:
    """What goes out, for the echo canceller: pieces at 16 kHz, each with the time its first sample reaches the air."""

    def __init__(self) -> None:
        self.raw: deque[tuple[Samples, float]] = deque(maxlen=KEPT_BLOCKS)
        self._converter = Converter(RATE, 1)

    def reset(self, rate: int) -> None:
        self.raw.clear()
        self._converter = Converter(rate, 1)

    def take(self) -> list[tuple[Samples, float]]:
        """Everything since the last time. To be called from one thread."""
        taken = []
        while self.raw:
            block, at = self.raw.popleft()
            taken.append((self._converter.feed(block), at))
        return taken


class Sink(Protocol):
    """Where speech goes. `history` is what was played in the last minute, oldest first. `tap`: None where no
    microphone can hear it."""

    @property
    def tap(self) -> Tap | None: ...

    def play(self, prompt: Prompt) -> None: ...

    def tone(self, name: str) -> None: ...

    def cut(self) -> None: ...

    def busy(self) -> bool:
        """Something is being played or waits to be."""
        ...

    def drain(self, timeout: float) -> bool:
        """Wait until nothing is left to play."""
        ...

    def history(self) -> tuple[Played, ...]: ...

    def close(self) -> None: ...


class History:
    """What was played in the last `seconds`."""

    def __init__(self, clock: Clock, seconds: float = 60.0) -> None:
        self._clock, self._seconds = clock, seconds
        self._items: deque[Played] = deque()
        self._lock = threading.Lock()

    def add(self, played: Played) -> None:
        with self._lock:
            self._items.append(played)
            old = self._clock.now() - self._seconds
            while self._items and (ended := self._items[0].ended) is not None and ended < old:
                self._items.popleft()

    def replace_last(self, played: Played) -> None:
        with self._lock:
            self._items[-1] = played

    def all(self) -> tuple[Played, ...]:
        with self._lock:
            return tuple(self._items)


# ---- tones -------------------------------------------------------------------------------------------------------

#: (Hz from, Hz to, seconds, pause after) of each note. Tones differ in contour and number of notes, not in pitch alone. They
#: stay between 400 and 2000 Hz, where hearing loss by age or noise is least (common practice, no source).
NOTES: dict[str, tuple[tuple[float, float, float, float], ...]] = {
    "heard": ((880.0, 880.0, 0.07, 0.0),),
    "not understood": ((523.0, 415.0, 0.14, 0.05), (523.0, 415.0, 0.14, 0.0)),
    "gate open": ((523.0, 523.0, 0.11, 0.02), (659.0, 659.0, 0.11, 0.02), (1047.0, 1047.0, 0.24, 0.0)),
    "gate shut": ((1047.0, 1047.0, 0.11, 0.02), (523.0, 523.0, 0.30, 0.0)),
    "waiting": ((622.0, 740.0, 0.25, 0.0),),
}
TONE_LEVEL = 0.2  # peak, as a share of full scale: quieter than the speech


def tone_samples(name: str) -> Samples:
    """The tone called `name`, mono 16 kHz. KeyError for one that does not exist."""
    parts: list[np.ndarray] = []
    for first, last, seconds, pause in NOTES[name]:
        t = np.arange(round(seconds * RATE)) / RATE
        phase = 2 * np.pi * (first * t + (last - first) * t * t / (2 * seconds))
        wave = np.sin(phase) + 0.3 * np.sin(2 * phase) + 0.1 * np.sin(3 * phase)
        edge = np.minimum(1.0, np.minimum(t, t[::-1]) / 0.01)  # fades of 10 ms at both ends, so that it does not click
        parts += [wave * edge * np.exp(-2.0 * t), np.zeros(round(pause * RATE))]
    whole = np.concatenate(parts)
    return np.asarray(TONE_LEVEL * whole / np.max(np.abs(whole)), dtype=np.float32)


def loudness(samples: Samples, steps: int) -> Samples:
    """Louder or softer by `steps`; peaks are rounded off rather than chopped."""
    if not steps or not len(samples):
        return samples
    louder = samples * 10 ** (steps * VOLUME_STEP / 20)
    return np.asarray(_rounded(louder), dtype=np.float32)


def _rounded(x: np.ndarray, knee: float = 0.8) -> np.ndarray:
    """Linear up to the knee, then bent so that it never passes 1."""
    over = np.abs(x) > knee
    bent = np.sign(x) * (knee + (1 - knee) * np.tanh((np.abs(x) - knee) / (1 - knee)))
    return np.asarray(np.where(over, bent, x))
