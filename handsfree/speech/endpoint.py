"""Where an utterance begins and ends in a stream of sound.

Rules of this file:

- A frame (30 ms) is speech when its level between 250 and 4000 Hz stands clear of the noise floor *and* PocketSphinx's
  voice-activity detector does not deny it, or stands far clear of it. Both adapt: fans start and stop.
- An utterance includes what was said just before it was noticed (pre-roll), and pauses shorter than `Timing.pause`. When it
  is told what was said so far (`patience`), it waits longer or less long.
- A knock is not an utterance: it dies away at once and has no low voice in it. A dull knock that has one passes; the
  recogniser must then say that it was nothing.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from handsfree.sound.filters import Sections, Signal
from handsfree.sound.samples import Piece
from handsfree.speech import bars
from handsfree.speech.engine import RATE
from handsfree.speech.patience import SoFar

if TYPE_CHECKING:
    from handsfree.speech.engine import Samples

FRAME = 480  # 30 ms: the longest that the detector takes; it judges long frames best
FRAME_S = FRAME / RATE
_QUIETEST_DB = -72.0  # the bottom of the scale, not a threshold: digital silence has no level of its own
#: scipy.signal.butter(2, [250, 4000], "bandpass", fs=16000, output="sos"), without the ones.
BAND = (
    (0.2647126460937785, 0.529425292187557, 0.2647126460937785, -0.05516336784937118, 0.1995121076374737),
    (1.0, -2.0, 1.0, -1.8618186501895824, 0.8716980131128405),
)


@dataclass(frozen=True)
class Timing:
    """Seconds and decibels. `pause`: silence that ends an utterance. `begun`, `whole`: the same after what is a beginning of
    something in force, and after what is whole. `preroll`, `tail`: kept before and after. `least`: less speech than this is
    dropped. `clear`, `sure`: decibels above the floor that count with and without the detector's consent. The pauses are
    `bars`; the rest says what is sound of speech at all, and no act hangs on it."""

    pause: float = bars.PAUSE.value
    begun: float = bars.PAUSE_BEGUN.value
    whole: float = bars.PAUSE_WHOLE.value
    preroll: float = 0.36
    tail: float = 0.3
    least: float = 0.15
    voiced: float = 0.09
    longest: float = 12.0
    clear: float = 3.5
    sure: float = 9.0
    floor_window: float = 4.0


@dataclass
class _Frame:
    samples: Samples
    level: float  # dB, in the band
    speech: bool
    voiced: bool


@dataclass
class Endpointer:
    """`feed` it sound in blocks of any length, and get finished utterances; `flush` at the end of the stream. `supposed`:
    the utterance as it will be if nothing more is said, known once it has been quiet for its tail; None before."""

    timing: Timing = field(default_factory=Timing)

    def __post_init__(self) -> None:
        import numpy as np
        from pocketsphinx import Vad

        self._vad = Vad(Vad.MEDIUM_STRICT, RATE, FRAME_S)
        self._band = Sections(BAND, FRAME)
        self._rest: Samples = np.zeros(0, dtype=np.float32)
        self._levels: deque[float] = deque(maxlen=round(self.timing.floor_window / FRAME_S))
        self._smooth = _QUIETEST_DB
        self._before: deque[_Frame] = deque(maxlen=max(round(self.timing.preroll / FRAME_S), 5))
        self._inside: list[_Frame] = []
        self._quiet = 0
        self._count = 0  # frames seen
        self.supposed: Piece | None = None
        self._told: tuple[Samples | None, SoFar] = (None, SoFar.UNKNOWN)

    @property
    def speaking(self) -> bool:
        return bool(self._inside)

    @property
    def floor_db(self) -> float:
        """The noise floor between 250 and 4000 Hz, dB of full scale."""
        if not self._levels:
            return _QUIETEST_DB
        ordered = sorted(self._levels)
        # A low percentile of a noise's level lies below its mean: 1.5 dB for frames smoothed as here (measured, steady fan).
        return max(ordered[len(ordered) // 6] + 1.5, _QUIETEST_DB)

    def feed(self, block: Samples) -> list[Piece]:
        """`block`: float32, mono, 16 kHz. Utterances that ended in it."""
        import numpy as np

        sound = np.concatenate([self._rest, np.nan_to_num(np.asarray(block, dtype=np.float32))])
        whole = len(sound) // FRAME * FRAME
        self._rest = sound[whole:]
        found = (self._frame(sound[at : at + FRAME]) for at in range(0, whole, FRAME))
        return [utterance for utterance in found if utterance is not None]

    def flush(self) -> list[Piece]:
        """The end of the stream: the utterance under way."""
        ended = self._end() if self._inside else None
        return [ended] if ended else []

    def expect(self, supposed: Samples, said: SoFar) -> None:
        """What the sound of `supposed` was heard as; ignored if more has been said since. From any thread."""
        self._told = (supposed, said)

    def _waits(self) -> float:
        supposed, said = self._told
        if self.supposed is None or supposed is not self.supposed.samples:
            return self.timing.pause
        return {SoFar.BEGUN: self.timing.begun, SoFar.WHOLE: self.timing.whole}.get(said, self.timing.pause)

    def _frame(self, samples: Samples) -> Piece | None:
        frame = self._judge(samples)
        self._count += 1
        if not self._inside:
            self._before.append(frame)
            recent = list(self._before)[-5:]
            if sum(one.speech for one in recent) >= 3:
                self._inside, self._quiet = list(self._before), 0
                self._before.clear()
            return None
        self._inside.append(frame)
        self._quiet = 0 if frame.speech else self._quiet + 1
        if self._quiet == 0:
            self.supposed = None
        elif self._quiet == self._tail_frames:
            self.supposed = self._whole()
        too_long = len(self._inside) * FRAME_S >= self.timing.longest
        return self._end() if too_long or self._quiet * FRAME_S >= self._waits() else None

    def _judge(self, samples: Samples) -> _Frame:
        import numpy as np

        band = self._band.feed(samples)
        level = max(10 * math.log10(float(np.mean(np.square(band))) + 1e-12), _QUIETEST_DB - 20)
        self._smooth += 0.5 * (level - self._smooth)
        above = level - self.floor_db if len(self._levels) >= 5 else 0.0
        self._levels.append(self._smooth if len(self._levels) >= 5 else level)
        if above < self.timing.clear:
            return _Frame(samples, level, False, False)
        pcm = np.clip(samples * 32767, -32768, 32767).astype("<i2").tobytes()
        speech = above >= self.timing.sure or bool(self._vad.is_speech(pcm))
        return _Frame(samples, level, speech, speech and _voiced(band))

    @property
    def _tail_frames(self) -> int:
        return round(self.timing.tail / FRAME_S)

    def _kept(self) -> int:
        """Frames that belong to the utterance under way: its tail, but not the silence after it."""
        return len(self._inside) - max(self._quiet - self._tail_frames, 0)

    def _end(self) -> Piece | None:
        found = self._whole()
        self._before.extend(self._inside[self._kept() :])
        self._inside, self._quiet, self.supposed = [], 0, None
        return found

    def _whole(self) -> Piece | None:
        """The utterance under way, up to its tail; None if it is not speech."""
        frames = self._inside
        speech = sum(one.speech for one in frames) * FRAME_S
        voiced = sum(one.voiced for one in frames) * FRAME_S
        if speech < self.timing.least or voiced < self.timing.voiced or _knock(frames):
            return None
        return self._utterance(frames[: self._kept()], self._count - len(frames), self._count - self._quiet)

    def _utterance(self, frames: list[_Frame], first: int, last: int) -> Piece:
        import numpy as np

        samples = np.concatenate([one.samples for one in frames])
        return Piece(samples, first * FRAME_S, (first + len(frames)) * FRAME_S, last * FRAME_S)


def _voiced(band: Signal) -> bool:
    """Whether the frame repeats itself with the period of a voice (75 to 400 Hz)."""
    import numpy as np

    windowed = band - np.mean(band)
    spectrum = np.abs(np.fft.rfft(windowed, 2 * FRAME)) ** 2
    line = np.fft.irfft(spectrum)[: FRAME // 2]
    share = line[RATE // 400 : RATE // 75] / (line[0] + 1e-12)
    return bool(np.max(share, initial=0.0) > 0.35)


def _knock(frames: list[_Frame]) -> bool:
    """Loud for under 0.2 s, and around its peak nearly nothing between 75 and 400 Hz, where every voice has its first
    harmonics (measured: words at least 4 %, mostly over 15 %; tools dropped on sheet metal, synthetic, under 2 %)."""
    import numpy as np

    levels = [one.level for one in frames]
    at = int(np.argmax(levels))
    if sum(level > levels[at] - 15 for level in levels) * FRAME_S >= 0.2:
        return False
    sound = np.concatenate([one.samples for one in frames[max(at - 1, 0) : at + 3]])
    power = np.abs(np.fft.rfft(sound * np.hanning(len(sound)))) ** 2
    pitch = np.fft.rfftfreq(len(sound), 1 / RATE)
    return bool(power[(pitch > 75) & (pitch < 400)].sum() < 0.03 * power[pitch > 75].sum())
