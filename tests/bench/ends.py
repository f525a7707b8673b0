"""Where utterances begin and end: the detector that ships, beside others, on voices that judge.

    python -m tests.bench.ends [--each 16] [--pauses 8] [--levels clean,20,10,5] [--detectors alone,told,neural] [--seed 1]
                               [--json] [--out FILE]

whole: one piece with all of the speech in it (60 ms at each end may be missing); clipped: one piece with less; cut: several;
missed: none. `slow`: one number with a pause in it; one piece is wanted. `two`: two sentences with a pause between; two
pieces are wanted. `noise`: pieces a minute where nobody speaks. `after`: seconds from the end of speech until the piece is
known, the median.

Detectors: `alone`, level and PocketSphinx's; `told`, the same told what was said so far as in a visit (`speech.patience`),
hearing taking DELAY seconds; `neural`, the network in the package faster-whisper in their place; `neural told`, both.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from audio_fixtures import voices as made
from handsfree.language.meaning import GateAsked, Listening, NumberAsked
from handsfree.sound.samples import RATE, Piece, Samples
from handsfree.speech.endpoint import FRAME, Endpointer, _Frame, _voiced
from handsfree.speech.patience import so_far
from tests.bench.corpus import _mixed, noise
from tests.bench.hearers import recogniser
from tests.bench.reported import Row, arguments, reported
from tests.bench.unlike_voices import NOISES, level, names, speak

BEFORE, AFTER = 2.5, 2.0  # seconds of noise around
LOST = 0.06
DELAY = 0.21  # s that hearing takes, in the median of tests.bench.lag
PAUSES = (0.5, 0.7, 0.9, 1.1)
_CHUNK, _CONTEXT = 512, 64
_WATER = Listening(phrases=("dry", "damp", "standing water"))
_AIR = Listening(phrases=("cool", "warm", "hot"))
_LOCK, _READING = Listening(digits=(1, 6)), Listening(number=NumberAsked("degF"))
_GATE = Listening(gate=GateAsked("isolated", ("four", "two")))


@dataclass(frozen=True)
class Said:
    """`parts`: what is said, a pause between each and the next. `wanted`: pieces."""

    what: str
    parts: tuple[str, ...]
    listening: Listening
    wanted: int = 1


ONE = (
    Said("one", ("isolated, lock four two",), _GATE), Said("one", ("warm",), _AIR),
    Said("one", ("forty one point five",), _READING), Said("one", ("next step",), _AIR),
    Said("one", ("standing water",), _WATER), Said("one", ("four two",), _LOCK),
)  # fmt: skip
PAUSED = (
    Said("slow lock number", ("four", "two"), _LOCK), Said("slow gate", ("isolated, lock four", "two"), _GATE),
    Said("slow reading", ("forty three", "point five"), _READING), Said("two sentences", ("warm", "next step"), _AIR, 2),
    Said("two sentences", ("standing water", "say again"), _WATER, 2),
)  # fmt: skip


class Neural(Endpointer):
    """The same cutter, told by a network which frames are speech: in from 0.5, out below 0.35 (the package's own bars)."""

    def __post_init__(self) -> None:
        super().__post_init__()
        self._network = _network()
        self._state = [np.zeros((1, 1, 128), np.float32) for _ in range(2)]
        self._left, self._context = np.zeros(0, np.float32), np.zeros(_CONTEXT, np.float32)
        self._probability = 0.0

    def _judge(self, samples: Samples) -> _Frame:
        level = super()._judge(samples).level
        self._left = np.concatenate([self._left, samples])
        while len(self._left) >= _CHUNK:
            chunk, self._left = self._left[:_CHUNK], self._left[_CHUNK:]
            given = {"input": np.concatenate([self._context, chunk])[None], "h": self._state[0], "c": self._state[1]}
            found, *self._state = self._network.run(None, given)
            self._context, self._probability = chunk[-_CONTEXT:], float(np.ravel(found)[-1])
        speech = self._probability >= (0.35 if self.speaking else 0.5)
        return _Frame(samples, level, speech, speech and (self._probability >= 0.5 or _voiced(samples)))


@cache
def _network() -> Any:
    import faster_whisper
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    path = Path(faster_whisper.__file__).parent / "assets" / "silero_vad_v6.onnx"
    return onnxruntime.InferenceSession(str(path), options, providers=["CPUExecutionProvider"])


#: What cuts, and whether it is told what was said so far.
DETECTORS: dict[str, tuple[Callable[[], Endpointer], bool]] = {
    "alone": (Endpointer, False), "told": (Endpointer, True), "neural": (Neural, False), "neural told": (Neural, True),
}  # fmt: skip


def pieces(detector: str, sound: Samples, listening: Listening, hears: Any = None) -> list[tuple[Piece, float]]:
    """Each with the second at which it was known. `hears`: the recogniser, where the detector is told."""
    build, told = DETECTORS[detector]
    cutter, out, due = build(), list[tuple[Piece, float]](), list[tuple[float, Piece]]()
    known: Piece | None = None
    for at in range(0, len(sound), FRAME):
        now = (at + FRAME) / RATE
        out += [(piece, now) for piece in cutter.feed(sound[at : at + FRAME])]
        if told and cutter.supposed is not None and cutter.supposed is not known:
            due.append((now + DELAY, cutter.supposed))
        known = cutter.supposed
        while due and due[0][0] <= now:
            _, piece = due.pop(0)
            cutter.expect(piece.samples, so_far(hears.hear(piece.samples, listening), listening, hears.language))
    return out + [(piece, len(sound) / RATE) for piece in cutter.flush()]


def came_to(found: list[tuple[Piece, float]], first: float, last: float) -> str:
    if not found:
        return "missed"
    if len(found) > 1:
        return "cut"
    piece = found[0][0]
    return "whole" if piece.start_s <= first + LOST and piece.end_s >= last - LOST else "clipped"


def surrounded(speech: Samples, snr: float | None, kind: str, seed: int) -> tuple[Samples, float, float]:
    """The sound, and where its speech begins and ends, s. Clean is 40 dB, for no room is silent."""
    sound = np.concatenate([made.silence(BEFORE), speech, made.silence(AFTER)])
    loud = np.flatnonzero(np.abs(sound) > 0.02 * np.abs(sound).max()) / RATE
    background = noise(kind, len(sound) / RATE + 0.1, seed)[: len(sound)]
    return _mixed(sound, background, 40.0 if snr is None else snr), float(loud[0]), float(loud[-1])


def measured(detector: str, each: int, pauses: int, levels: Sequence[float | None], seed: int) -> Iterator[Row]:
    voices, hears = names(), recogniser(None) if DETECTORS[detector][1] else None

    def cut(said: Said, pause: float, snr: float | None, at: int) -> tuple[list[tuple[Piece, float]], float, float]:
        voice = voices[(3 * at + 1) % len(voices)]
        parts = [_tight(speak(text, voice)) for text in said.parts]
        joined = [part for one in parts for part in (made.silence(pause), one)][1:]
        sound, first, last = surrounded(np.concatenate(joined), snr, NOISES[at % 4], seed * 1000 + at)
        return pieces(detector, sound, said.listening, hears), first, last

    for snr in levels:
        tally, lags = Counter[str](), []
        for at in range(each):
            found, first, last = cut(ONE[at % len(ONE)], 0.0, snr, at)
            tally[came_to(found, first, last)] += 1
            lags += [known - last for _, known in found[-1:]]
        after = round(float(np.median(lags or [0])), 2)
        yield {"detector": detector, "what": "one", "snr": level(snr), **tally, "after": after}
        for said in PAUSED:
            for pause in PAUSES:
                every = [cut(said, pause, snr, at)[0] for at in range(pauses)]
                right = sum(len(found) == said.wanted for found in every)
                what = f"{said.what}: {' … '.join(said.parts)}"
                yield {"detector": detector, "what": what, "pause": pause, "snr": level(snr), "right": right, "of": pauses}
    minutes = 2
    quiet = [noise(kind, 60.0 * minutes / len(NOISES), seed) * np.float32(0.02) for kind in NOISES]
    false = sum(len(pieces(detector, sound, _AIR, hears)) for sound in quiet)
    yield {"detector": detector, "what": "noise", "pieces_a_minute": false / minutes}


def _tight(speech: Samples) -> Samples:
    loud = np.flatnonzero(np.abs(speech) > 0.02 * np.abs(speech).max())
    return speech[loud[0] : loud[-1]]


def main() -> int:
    parser = arguments(__doc__)
    parser.add_argument("--each", type=int, default=16)
    parser.add_argument("--pauses", type=int, default=8, help="of each pause at each level")
    parser.add_argument("--levels", default="clean,20,10,5")
    parser.add_argument("--detectors", default="alone,told,neural")
    asked = parser.parse_args()
    wanted = asked.detectors.split(",")
    if unknown := [one for one in wanted if one not in DETECTORS]:
        parser.error(f"no such detector: {', '.join(unknown)}; there are: {', '.join(DETECTORS)}")
    levels = [None if one == "clean" else float(one) for one in asked.levels.split(",")]

    def rows() -> Iterator[Row]:
        for detector in wanted:
            yield from measured(detector, asked.each, asked.pauses, levels, asked.seed)

    return reported("tests.bench.ends", asked, rows)


if __name__ == "__main__":
    sys.exit(main())
