"""The minute of sound that README links to, cut from a demo run now: `python -m tests.bench.minute`.

It begins where the supply is to be switched off and ends within a minute of that, after a whole sentence: the gate that does
not open, and then does. Written as FLAC, 16 kHz."""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import soundfile

OUT = Path(__file__).resolve().parents[2] / "audio_fixtures" / "minute" / "at-the-gate.flac"
FIRST = "Switch off the cabinet at its own switch."
LONGEST = 62.0  # s
_LINE = re.compile(r"^(\d+):(\d\d):(\d\d\.\d)  (says|hears)", re.M)


def seconds(found: re.Match[str]) -> float:
    return int(found[1]) * 3600 + int(found[2]) * 60 + float(found[3])


def main() -> int:
    with tempfile.TemporaryDirectory() as made:
        sound = Path(made) / "demo.wav"
        done = subprocess.run(
            [sys.executable, "-m", "handsfree", "demo", "--visits", f"{made}/visits", "--sound-out", str(sound)],
            capture_output=True, text=True, check=True,
        )  # fmt: skip
        samples, rate = soundfile.read(sound, dtype="float32")
    first = next(line for line in done.stdout.splitlines() if FIRST in line)
    at = seconds(next(_LINE.finditer(first)))
    spoken = [seconds(found) for found in _LINE.finditer(done.stdout) if found[4] == "says"]
    ends = [time for time in spoken if at < time <= at + LONGEST]
    cut = samples[int(at * rate) : int(ends[-1] * rate)]
    fade = np.linspace(1, 0, rate // 5, dtype=np.float32)
    cut[-len(fade) :] *= fade
    soundfile.write(OUT, cut, rate, format="FLAC")
    print(f"{OUT.name}: {len(cut) / rate:.0f} s, {OUT.stat().st_size / 1e6:.2f} MB")
    return 0


if __name__ == "__main__":
    sys.exit(main())
