"""Where utterances begin and end: today's detector beside a neural one, on voices that judge.

    python -m tests.bench.ends [--each 16] [--seed 1] [--json] [--out FILE]

whole: one piece with all of the speech in it (60 ms at each end may be missing); clipped: one piece with less; cut: several;
missed: none. `slow`: two figures with a pause between them; whole is wanted. `two`: two sentences with a pause; two pieces
are wanted. `noise`: pieces a minute where nobody speaks. `after`: seconds from the end of speech until the piece is known.
The neural detector is the one in the package faster-whisper, in place of level and PocketSphinx's; all else is the same.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np

from audio_fixtures import voices as made
from handsfree.errors import Trouble
from handsfree.sound.samples import RATE, Piece, Samples
from handsfree.speech.endpoint import FRAME, Endpointer, _Frame, _voiced
from tests.bench.corpus import _mixed, noise
from tests.bench.unlike_voices import LEVELS, NOISES, level, names, speak

BEFORE, AFTER = 2.5, 1.6  # seconds of noise around
LOST = 0.06
TEXTS = ("isolated, lock four two", "warm", "forty one point five", "next step", "standing water", "it is running")
PAUSES = (0.3, 0.5, 0.7, 0.9, 1.1)
_CHUNK, _CONTEXT = 512, 64


class Neural(Endpointer):
    """The same cutter, told by a network which frames are speech: in from 0.5, out below 0.35 (the package's own bars)."""

    def __post_init__(self) -> None:
        super().__post_init__()
        import faster_whisper
        import onnxruntime

        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1
        path = Path(faster_whisper.__file__).parent / "assets" / "silero_vad_v6.onnx"
        self._network = onnxruntime.InferenceSession(str(path), options, providers=["CPUExecutionProvider"])
        self._state = [np.zeros((1, 1, 128), np.float32) for _ in range(2)]
        self._waiting, self._context = np.zeros(0, np.float32), np.zeros(_CONTEXT, np.float32)
        self._probability = 0.0

    def _judge(self, samples: Samples) -> _Frame:
        level = super()._judge(samples).level
        self._waiting = np.concatenate([self._waiting, samples])
        while len(self._waiting) >= _CHUNK:
            chunk, self._waiting = self._waiting[:_CHUNK], self._waiting[_CHUNK:]
            given = {"input": np.concatenate([self._context, chunk])[None], "h": self._state[0], "c": self._state[1]}
            found, *self._state = self._network.run(None, given)
            self._context, self._probability = chunk[-_CONTEXT:], float(np.ravel(found)[-1])
        speech = self._probability >= (0.35 if self.speaking else 0.5)
        return _Frame(samples, level, speech, speech and (self._probability >= 0.5 or _voiced(samples)))


DETECTORS: dict[str, Callable[[], Endpointer]] = {"today": Endpointer, "neural": Neural}


def pieces(detector: Callable[[], Endpointer], sound: Samples) -> list[tuple[Piece, float]]:
    """Each with the second at which it was known."""
    cutter, out = detector(), []
    for at in range(0, len(sound), FRAME):
        out += [(piece, (at + FRAME) / RATE) for piece in cutter.feed(sound[at : at + FRAME])]
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


def measured(detector: str, each: int, seed: int) -> Iterator[dict[str, Any]]:
    voices, build = names(), DETECTORS[detector]
    cpu, heard = time.process_time(), 0.0
    for snr in LEVELS:
        luck, tally, lags = random.Random(seed), Counter[str](), []
        for at in range(each):
            speech = speak(luck.choice(TEXTS), voices[at % len(voices)])
            sound, first, last = surrounded(speech, snr, NOISES[at % 4], luck.randrange(100_000))
            found = pieces(build, sound)
            heard += len(sound) / RATE
            tally[came_to(found, first, last)] += 1
            lags += [known - last for _, known in found[-1:]]
        after = round(float(np.median(lags or [0])), 2)
        yield {"detector": detector, "what": "one", "snr": level(snr), **tally, "after": after}
        for what, texts in (("slow", ("four", "two")), ("two", ("warm", "next step"))):
            for pause in PAUSES:
                counts = Counter[str]()
                for at in range(max(4, each // 4)):
                    one, other = (_tight(speak(text, voices[at % len(voices)])) for text in texts)
                    joined = np.concatenate([one, made.silence(pause), other])
                    sound, first, last = surrounded(joined, snr, NOISES[at % 4], luck.randrange(100_000))
                    found = pieces(build, sound)
                    counts[f"{len(found)} pieces"] += 1
                yield {"detector": detector, "what": what, "pause": pause, "snr": level(snr), **counts}
    minutes, false = 2, 0
    for kind in NOISES:
        quiet = noise(kind, 60.0 * minutes / len(NOISES), seed) * np.float32(0.02)
        false += len(pieces(build, quiet))
    yield {"detector": detector, "what": "noise", "pieces_a_minute": false / minutes}
    yield {"detector": detector, "what": "processor", "of_the_sound": round((time.process_time() - cpu) / heard, 4)}


def _tight(speech: Samples) -> Samples:
    loud = np.flatnonzero(np.abs(speech) > 0.02 * np.abs(speech).max())
    return speech[loud[0] : loud[-1]]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--each", type=int, default=16)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--detectors", default=",".join(DETECTORS))
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--out", type=Path)
    asked = parser.parse_args()
    by = []
    try:
        for detector in asked.detectors.split(","):
            for row in measured(detector, asked.each, asked.seed):
                by.append(row)
                print(json.dumps(row), flush=True)
    except Trouble as trouble:
        print(trouble, file=sys.stderr)
        return 2
    from tests.bench.__main__ import machine
    from tests.bench.people import written

    found = {"command": "python -m tests.bench.ends", "machine": machine(), "seed": asked.seed, "by": by}
    if asked.out:
        asked.out.write_text(written(found), encoding="utf-8")
    if asked.json:
        print(json.dumps(found))
    return 0


if __name__ == "__main__":
    sys.exit(main())
