"""How long after the end of speech the verdict comes.

    python -m tests.bench.lag MANIFEST [--clips 40] [--json] [--out FILE]

Clips of the manifest, every so many, are played to the live loop at the pace of sound, with the engines that a visit has;
once with what was said heard ahead while the end of speech is awaited, and once without. For both: how many utterances, the
time from the end-of-speech decision to the verdict, and how busy the machine was: times hold where `load` is under its
cores. Noise goes on around each clip as it is in it, so that the end of speech is found as on a platform.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections import deque
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import numpy as np

from handsfree import settings
from handsfree.sound.files import read_sound
from handsfree.sound.happenings import Happenings, HeardPiece
from handsfree.sound.live import LiveLoop
from handsfree.sound.samples import RATE, Piece, RealClock, Samples
from handsfree.speech import evaluate
from handsfree.speech.endpoint import Endpointer
from handsfree.speech.recogniser import build_recogniser
from tests.bench.reported import Row, arguments, reported
from tests.sound.pretended import ClipSource, NullSink

AFTER = 2.0  # s for a verdict; a clip in which no speech was found has none


class Timed:
    """The detector, with the time of each decision; `ahead` False: it supposes nothing."""

    def __init__(self, ahead: bool) -> None:
        self._end, self._ahead = Endpointer(), ahead
        self.decided: deque[float] = deque()

    @property
    def speaking(self) -> bool:
        return self._end.speaking

    @property
    def supposed(self) -> Piece | None:
        return self._end.supposed if self._ahead else None

    def feed(self, samples: Samples) -> Iterable[Piece]:
        found = self._end.feed(samples)
        self.decided.extend(time.perf_counter() for _ in found)
        return found


def surrounded(samples: Samples) -> Samples:
    """With the sound of its first 0.2 s before and after it, again and again."""
    noise = samples[: RATE // 5]
    ramp = np.concatenate([noise, noise[::-1]])
    return np.concatenate([np.resize(ramp, RATE), samples, np.resize(ramp, RATE * 3 // 2)]).astype(np.float32)


def lags(clips: list[Any], folder: Path, recogniser: Any, ahead: bool) -> tuple[list[float], int]:
    """Of each utterance, seconds; and how many of them were heard ahead."""
    clock, happenings = RealClock(), Happenings()
    source, cutter = ClipSource(clock, before=0.0, after=0.0), Timed(ahead)
    loop = LiveLoop(source, cutter, NullSink(clock, happenings.tell), recogniser, happenings, clock)
    loop.start()
    out = []
    for clip in clips:
        loop.listen(clip.listen_for.listening())
        sound = surrounded(read_sound(folder / clip.audio))
        source.say(sound)
        until = time.monotonic() + len(sound) / RATE + AFTER
        while time.monotonic() < until:
            if isinstance(happenings.next(0.1), HeardPiece):
                out.append(time.perf_counter() - cutter.decided.popleft())
        loop.settled(AFTER)
    loop.close()
    return out, loop.foreseen


def measured(asked: argparse.Namespace) -> Iterator[Row]:
    clips = evaluate.read_manifest(asked.manifest)
    clips = clips[:: max(1, len(clips) // asked.clips)][: asked.clips]
    recogniser = build_recogniser(None, "en", settings.load_settings().models)
    recogniser.load()  # as a visit does while it speaks its first words
    for clip in clips:  # as in a visit, what is in force is ready before anybody speaks
        recogniser.hear(np.zeros(RATE // 2, dtype=np.float32), clip.listen_for.listening())
    for name, ahead in (("heard ahead", True), ("heard when it ended", False)):
        busy = os.getloadavg()[0]
        seconds, foreseen = lags(clips, asked.manifest.parent, recogniser, ahead)
        low, mid, high = np.percentile(np.array(seconds or [np.nan]) * 1000, (5, 50, 95))
        yield {
            "what": name, "clips": len(clips), "utterances": len(seconds), "ahead": foreseen, "p5_ms": round(low),
            "median_ms": round(mid), "p95_ms": round(high), "load": round(max(busy, os.getloadavg()[0]), 1),
        }  # fmt: skip


def main() -> int:
    parser = arguments(__doc__)
    parser.add_argument("manifest", type=Path)
    parser.add_argument("--clips", type=int, default=40)
    asked = parser.parse_args()
    return reported("tests.bench.lag", asked, lambda: measured(asked))


if __name__ == "__main__":
    sys.exit(main())
