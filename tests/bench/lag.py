"""How long after the end of speech the verdict comes: `python -m tests.bench.lag MANIFEST [--clips 40]`.

Clips of the manifest, every so many, are played to the live loop at the pace of sound, with the engines that a visit has;
once with what was said heard ahead while the end of speech is awaited, and once without. Printed for both, side by side: how
many utterances, and the time from the end-of-speech decision to the verdict, 50th and 95th percentile. Noise goes on
around each clip as it is in it, so that the end of speech is found as on a platform.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

from handsfree.sound.files import read_sound
from handsfree.sound.live import Happenings, HeardSound, LiveLoop, Piece
from handsfree.sound.samples import RealClock, Samples
from handsfree.sound.sinks import NullSink
from handsfree.sound.sources import ClipSource
from handsfree.speech import evaluate
from handsfree.speech.endpoint import Endpointer
from handsfree.speech.recogniser import build_recogniser

WAIT = 8.0  # s for a verdict; a clip in which no speech was found has none


class Timed:
    """The detector, with the time of its last decision; `ahead` False: it supposes nothing."""

    def __init__(self, ahead: bool) -> None:
        self._end, self._ahead, self.decided = Endpointer(), ahead, 0.0

    @property
    def speaking(self) -> bool:
        return self._end.speaking

    @property
    def supposed(self) -> Piece | None:
        return self._end.supposed if self._ahead else None

    def feed(self, samples: Samples) -> Iterable[Piece]:
        found = self._end.feed(samples)
        if found:
            self.decided = time.perf_counter()
        return found


def surrounded(samples: Samples) -> Samples:
    """With the sound of its first 0.2 s before and after it, again and again."""
    noise = samples[:3200]
    ramp = np.concatenate([noise, noise[::-1]])
    return np.concatenate([np.resize(ramp, 16_000), samples, np.resize(ramp, 24_000)]).astype(np.float32)


def lags(clips: list[Any], folder: Path, recogniser: Any, ahead: bool) -> list[float]:
    clock, happenings = RealClock(), Happenings()
    source, cutter = ClipSource(clock, before=0.0, after=0.0), Timed(ahead)
    loop = LiveLoop(source, cutter, NullSink(clock, happenings.tell), recogniser, happenings, clock)
    loop.start()
    out = []
    for clip in clips:
        listening = clip.listen_for.listening()
        recogniser.hear(np.zeros(8000, dtype=np.float32), listening)  # as in a visit, what is in force is ready
        loop.listen(listening)
        sound = surrounded(read_sound(folder / clip.audio))
        source.say(sound)
        until = time.monotonic() + len(sound) / 16_000 + WAIT
        while time.monotonic() < until:
            happening = happenings.next(0.5)
            if isinstance(happening, HeardSound):
                out.append(time.perf_counter() - cutter.decided)
            if happening is None and time.monotonic() > until - WAIT:
                break
    loop.close()
    return out


def main() -> int:
    asked = argparse.ArgumentParser(description="How long after the end of speech the verdict comes.")
    asked.add_argument("manifest", type=Path)
    asked.add_argument("--clips", type=int, default=40)
    given = asked.parse_args()
    clips = evaluate.read_manifest(given.manifest)
    clips = clips[:: max(1, len(clips) // given.clips)][: given.clips]
    recogniser = build_recogniser(None, "en", Path())
    recogniser.load()  # as a visit does while it speaks its first words
    for name, ahead in (("heard ahead", True), ("heard when it ended", False)):
        found = np.array(lags(clips, given.manifest.parent, recogniser, ahead)) * 1000
        low, mid, high = (np.percentile(found, q) for q in (5, 50, 95))
        print(f"{name}: {len(found)} utterances; verdict after {mid:.0f} ms in the median", end=", ")
        print(f"{high:.0f} ms at the 95th percentile ({low:.0f} ms at the 5th)", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
