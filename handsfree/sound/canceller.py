"""The echo canceller: takes what the loudspeaker says out of what the microphone hears, block by block.

There are two partitioned-block frequency-domain adaptive filters (overlap-save; Soo and Pang, IEEE Trans. ASSP 38 (1990),
from memory). One learns all the time. The other is in use, and takes over what the first has learnt only when the first has
done better for a while. So somebody who speaks over a prompt disturbs the learner but not the output.

The echo that remains is turned down by as much as usually remains. Anything louder than that is left alone. The noise of
the room is turned down along with the echo, so noise is put back: without that, the room's noise returned at the end of a
prompt and was taken for speech.
"""

from __future__ import annotations

from collections import deque
from typing import Any

import numpy as np
from numpy.typing import NDArray

from handsfree.sound.echo import best_match
from handsfree.sound.filters import convolved
from handsfree.sound.prompts import Tap
from handsfree.sound.samples import RATE, Samples, silence
from handsfree.sound.sources import BLOCK, Block

Spectra = NDArray[np.complex128]

PARTS = 10  # blocks of filter: 320 ms, for delay and room together
AHEAD = 0.06  # s that the reference is shifted, so that the clocks may err by as much
FAR = 1.0  # s between the clocks of reference and microphone; so much means that a stream was reopened
LOOK = 8  # blocks between looks at whether the reference still fits
LOOKED_AT = 32  # blocks of sound that a look compares
SAME = 16  # samples, 1 ms: two places no further apart than this are the same
SEARCH = 0.5  # s that the reference may be off either way
STANDS_OUT = 8.0  # standard deviations: a match of unrelated sounds reaches 5
BADLY = 0.3  # with more than this share of the sound left, the reference is looked for
FITS = 0.7  # the filter is moved only if it then leaves at most this share of what it leaves now
CENTRE = round(AHEAD * RATE)  # samples by which the echo follows its reference when the two are aligned
GAP = 0.15  # s without reference that mean a stream has run dry; less is a late callback on a busy machine
KEPT = 4  # s of reference
STEP = 0.5
BETTER, FOR_BLOCKS = 0.8, 3  # the learner takes over at this share of the error, so many blocks in a row
QUIET = 1e-8  # mean square of a reference that plays nothing: -80 dB
MET = 0.1  # the room counts as learnt once less than this share of the sound is left: 10 dB taken out
LEFT = 16.0  # up to so many times what usually remains of the echo is taken for echo
FLOOR = 0.002  # the remaining echo is never turned down further than this: it is under any noise floor
RISES, FOLLOWS = 1.01, 0.1  # per block: how fast the noise may rise (1.4 dB a second), and how fast it is followed
STEADY = 2.0  # times the noise: a block over this has something else in it


class Canceller:
    """`clean(block, reference)`: both BLOCK samples, in step."""

    def __init__(self, parts: int = PARTS) -> None:
        bins = BLOCK + 1
        self._x: Spectra = np.zeros((parts, bins), dtype=np.complex128)
        self._used: Spectra = np.zeros_like(self._x)
        self._learnt: Spectra = np.zeros_like(self._x)
        self._last = np.zeros(BLOCK)
        self._power = np.full(bins, 1e-3)
        self._error_used = self._error_learnt = 0.0
        self._streak = 0
        self._leak = 0.5  # share of the echo's power that is usually left
        self._heard_power = 0.0
        self.met = False  # it has reached MET once in this room; until then nothing heard during a prompt is passed on
        self._idle = parts
        self._noise = 0.0  # mean square of the room where nothing plays and nobody speaks
        self._noise_spectrum = np.zeros(BLOCK // 2 + 1)
        self._chance = np.random.default_rng(0)

    def reset(self) -> None:
        self._used[:] = 0
        self._learnt[:] = 0
        self._leak = 0.5
        self.met = False

    @property
    def badly(self) -> bool:
        """Much of the sound is left: somebody speaks, or the reference does not fit."""
        return not self.met or self._error_used > BADLY * self._heard_power

    def taps(self) -> NDArray[Any]:
        """The filter in use as an impulse response: how much of the reference of n samples ago is heard now."""
        return np.asarray(np.fft.irfft(self._used, axis=1)[:, :BLOCK].ravel())

    def taken_to(self, by: int, reference: Samples) -> None:
        """The reference has moved: its echo now comes `by` samples later. `reference`: its last PARTS + 1 blocks."""
        moved = np.zeros(self._x.shape[0] * BLOCK)
        taps = self.taps()
        low, high = max(0, by), min(len(moved), len(moved) + by)
        moved[low:high] = taps[low - by : high - by]
        pieces = np.concatenate([moved.reshape(-1, BLOCK), np.zeros((len(self._x), BLOCK))], axis=1)
        self._used[:] = self._learnt[:] = np.fft.rfft(pieces, axis=1)
        ref = np.asarray(reference, dtype=np.float64).reshape(-1, BLOCK)
        self._x = np.fft.rfft(np.concatenate([ref[:-1], ref[1:]], axis=1), axis=1)[::-1].copy()
        self._last = ref[-1]

    def clean(self, heard: Samples, reference: Samples) -> Samples:
        ref = np.asarray(reference, dtype=np.float64)
        self._idle = 0 if float(np.mean(ref**2)) > QUIET else self._idle + 1
        spectrum = np.fft.rfft(np.concatenate([self._last, ref]))
        self._last = ref
        self._x = np.roll(self._x, 1, axis=0)
        self._x[0] = spectrum
        if self._idle >= len(self._x):  # nothing played for the length of the filter: nothing to take out, or to learn
            self._follow_noise(heard)
            return heard
        d = np.asarray(heard, dtype=np.float64)
        self._power = 0.8 * self._power + 0.2 * np.abs(spectrum) ** 2
        echo_used, echo_learnt = self._echo(self._used), self._echo(self._learnt)
        used, learnt = d - echo_used, d - echo_learnt
        self._learn(learnt)
        self._compare(used, learnt, d)
        return self._made_good(self._turned_down(used, echo_used)).astype(np.float32)

    def _follow_noise(self, heard: Samples) -> None:
        power = float(np.mean(np.square(heard, dtype=np.float64)))
        self._noise = min(self._noise * RISES, power) if self._noise else power
        if power <= STEADY * self._noise:
            spectrum = np.abs(np.fft.rfft(heard)) ** 2
            share = FOLLOWS if self._noise_spectrum.any() else 1.0
            self._noise_spectrum += share * (spectrum - self._noise_spectrum)

    def _made_good(self, left: NDArray[Any]) -> NDArray[Any]:
        """Adds as much noise of the room's colour as was turned down along with the echo."""
        lacking = self._noise - float(np.mean(left**2))
        if lacking <= 0 or not self._noise_spectrum.any():
            return left
        phases = np.exp(2j * np.pi * self._chance.random(len(self._noise_spectrum)))
        made = np.fft.irfft(np.sqrt(self._noise_spectrum) * phases, BLOCK)
        return np.asarray(left + made * np.sqrt(lacking / (float(np.mean(made**2)) + 1e-20)))

    def _echo(self, weights: Spectra) -> NDArray[Any]:
        return np.asarray(np.fft.irfft((weights * self._x).sum(axis=0))[BLOCK:])

    def _learn(self, error: NDArray[Any]) -> None:
        e = np.fft.rfft(np.concatenate([np.zeros(BLOCK), error]))
        total = (np.abs(self._x) ** 2).sum(axis=0) + 0.5 * self._power + 1e-4 * BLOCK
        gradient = np.fft.irfft(np.conj(self._x) * e / total, axis=1)
        gradient[:, BLOCK:] = 0.0
        self._learnt += STEP * np.fft.rfft(gradient, axis=1)

    def _compare(self, used: NDArray[Any], learnt: NDArray[Any], heard: NDArray[Any]) -> None:
        power = float(np.mean(heard**2))
        self._error_used = 0.7 * self._error_used + 0.3 * float(np.mean(used**2))
        self._error_learnt = 0.7 * self._error_learnt + 0.3 * float(np.mean(learnt**2))
        better = self._error_learnt < BETTER * self._error_used and float(np.mean(learnt**2)) < power
        self._heard_power = 0.7 * self._heard_power + 0.3 * power
        self.met = self.met or (self._heard_power > QUIET and self._error_used < MET * self._heard_power)
        self._streak = self._streak + 1 if better else 0
        if self._streak >= FOR_BLOCKS:
            self._used[:] = self._learnt
            self._error_used = self._error_learnt
        elif self._error_learnt > 4.0 * self._error_used + 1e-12:
            self._learnt[:] = self._used
            self._error_learnt = self._error_used

    def _turned_down(self, left: NDArray[Any], echo: NDArray[Any]) -> NDArray[Any]:
        if not self.met:
            return left * FLOOR
        of_left, of_echo = float(np.mean(left**2)), float(np.mean(echo**2))
        if of_echo <= QUIET or of_left <= 0:
            return left
        ratio = min(1.0, of_left / of_echo)
        self._leak = min(self._leak * 1.05, 1.0) if ratio > self._leak else 0.9 * self._leak + 0.1 * ratio
        expected = LEFT * self._leak * of_echo
        gain = np.sqrt(max(FLOOR**2, 1.0 - expected / of_left)) if of_left > expected else FLOOR
        return np.asarray(left * gain)


class Follower:
    """A Canceller that finds for each block of the microphone what the loudspeaker was playing then.

    It counts samples. Callbacks come late on a busy machine, so their clocks say only where to begin. The count is wrong as
    well after a stream has run dry. So when much echo is left, the reference is looked for in the sound itself. The weights
    move along with it: they describe the room, which has not changed."""

    def __init__(self, tap: Tap) -> None:
        self._tap = tap
        self._canceller = Canceller()
        self._kept = silence(0)
        self._kept_at = 0.0  # time of the first sample kept
        self._next: float | None = None  # time at which the next block's reference begins
        self._heard: deque[Samples] = deque(maxlen=LOOKED_AT)
        self._since = 0  # blocks since the last look
        self._found: int | None = None  # where the last look found the echo
        self.aligned = 0  # how often it had to be realigned

    @property
    def met(self) -> bool:
        """It knows the room, and little of what is played is left."""
        return self._canceller.met and not self._canceller.badly

    def clean(self, block: Block) -> Samples:
        self._collect()
        begins = block.started + AHEAD
        if self._next is None or abs(begins - self._next) > FAR:
            self._canceller.reset()
            self._heard.clear()
            self.aligned += 1
            self._next = begins
        elif block.lost:
            self._heard.clear()
            self._next += block.lost / RATE
        reference = self._cut(self._next, len(block.samples))
        self._next += len(block.samples) / RATE
        if len(block.samples) != BLOCK:
            return block.samples
        self._heard.append(block.samples)
        cleaned = self._canceller.clean(block.samples, reference)
        self._since += 1
        if self._since >= LOOK and len(self._heard) == LOOKED_AT:
            self._since = 0
            if self._canceller.badly:
                self._look()
        return cleaned

    def _look(self) -> None:
        """Moves the reference when two looks in a row find the same place and the weights fit better there."""
        assert self._next is not None
        heard = np.concatenate(list(self._heard))
        reach = round(SEARCH * RATE)
        played = self._cut(self._next - len(heard) / RATE - SEARCH, len(heard) + 2 * reach)
        if min(float(np.mean(heard**2)), float(np.mean(played**2))) < QUIET:
            return
        at, sharp = best_match(heard, played)
        last, self._found = self._found, (reach - at if sharp > STANDS_OUT else None)
        if last is None or self._found is None or abs(last - self._found) > SAME:
            return
        taps = self._canceller.taps()
        if not taps.any():
            if not CENTRE // 4 < self._found < 3 * CENTRE:
                self._take_to(0)
            return
        peak = int(np.argmax(np.abs(taps)))
        if abs(peak - self._found) > SAME:
            here, there = (self._left(taps, heard, played, first) for first in (reach, reach + peak - self._found))
            if there < FITS * here:
                self._take_to(CENTRE - peak)

    def _take_to(self, by: int) -> None:
        """The echo found becomes CENTRE samples late; the weights move `by`."""
        assert self._next is not None
        assert self._found is not None
        self._next += (CENTRE - self._found) / RATE
        whole = BLOCK * (PARTS + 1)
        self._canceller.taken_to(by, self._cut(self._next - whole / RATE, whole))
        self._found = None
        self.aligned += 1

    @staticmethod
    def _left(taps: NDArray[Any], heard: Samples, played: Samples, first: int) -> float:
        """How much of the newer half of `heard` remains once the filter has taken the echo out, if the reference begins at
        `first` of `played`."""
        half = len(heard) // 2  # the newer half: in the older one the reference may have been elsewhere
        begins = max(0, first + half - len(taps))
        reference = played[begins : first + len(heard)]
        echo = convolved(reference, taps)[first + half - begins : first + len(heard) - begins]
        return float(np.mean((heard[half : half + len(echo)] - echo) ** 2)) if len(echo) else np.inf

    def _collect(self) -> None:
        for samples, at in self._tap.take():
            end = self._kept_at + len(self._kept) / RATE
            if not len(self._kept):
                self._kept_at, end = at, at
            gap = round((at - end) * RATE)
            if gap > GAP * RATE:  # the stream ran dry or was reopened
                self._kept = np.concatenate([self._kept, silence(min(gap, RATE) / RATE)])
                if gap > RATE:
                    self._kept, self._kept_at = silence(0), at
            self._kept = np.concatenate([self._kept, samples])
        surplus = len(self._kept) - KEPT * RATE
        if surplus > RATE // 2:
            self._kept = self._kept[surplus:]
            self._kept_at += surplus / RATE

    def _cut(self, begins: float, length: int) -> Samples:
        out = np.zeros(length, dtype=np.float32)
        first = round((begins - self._kept_at) * RATE)
        low, high = max(0, first), min(len(self._kept), first + length)
        if high > low:
            out[low - first : high - first] = self._kept[low:high]
        return out
