"""What `handsfree stand-by` takes of the processor while nobody wants it.

    python -m tests.bench.idle [--minutes 1] [--json] [--out FILE]

It runs on the sound card of software (tests/live/conftest.py), all its processes counted. First nothing is said for the
given minutes, then people talk of other things (the sentences of `memory`, by synthetic voices, a second and a half between
them). `processor`: seconds of one core for a second of time; `mb`: resident, all processes together.
"""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import psutil

from tests.bench.memory import on_a_sound_card, speak
from tests.bench.reported import Row, arguments, reported


def of_all(me: psutil.Process) -> tuple[float, float]:
    """(processor seconds so far, MB resident) of a process and all below it."""
    every = [me, *me.children(recursive=True)]
    work = sum(one.cpu_times().user + one.cpu_times().system for one in every)
    return work, sum(one.memory_info().rss for one in every) / 1e6


def spent(me: psutil.Process, what: str, seconds: float) -> Row:
    work, began = of_all(me)[0], time.monotonic()
    time.sleep(seconds)
    after, mb = of_all(me)
    passed = time.monotonic() - began
    return {"what": what, "seconds": round(passed), "processor": round((after - work) / passed, 4), "mb": round(mb)}


def measure(place: Path, minutes: float) -> Iterator[Row]:
    from handsfree.sound.loudspeaker import Loudspeaker
    from handsfree.sound.samples import RealClock
    from tests.live.conftest import LOUDSPEAKER, MICROPHONE

    words = [sys.executable, "-m", "handsfree", "stand-by", "--visits", str(place / "visits")]
    process = subprocess.Popen([*words, "--sound-in", MICROPHONE, "--sound-out", LOUDSPEAKER], stdout=subprocess.DEVNULL)
    out = Loudspeaker(LOUDSPEAKER, RealClock(), lambda _: None)
    try:
        me = psutil.Process(process.pid)
        while len(me.children(recursive=True)) < 2:  # the listener, and its voice, which has said how to begin
            time.sleep(0.2)
        time.sleep(25)
        yield spent(me, "nothing is said", 60 * minutes)
        threading.Thread(target=speak, args=(out, place, time.monotonic() + 60 * minutes), daemon=True).start()
        yield spent(me, "people talk of other things", 60 * minutes)
        yield {"what": "visits begun", "visits": len(list((place / "visits").glob("*/journal.jsonl")))}
    finally:
        process.terminate()
        process.wait(30)
        out.close()


def main() -> int:
    parser = arguments(__doc__)
    parser.add_argument("--minutes", type=float, default=1.0)
    asked = parser.parse_args()
    return reported("tests.bench.idle", asked, lambda: on_a_sound_card(partial(measure, minutes=asked.minutes)))


if __name__ == "__main__":
    sys.exit(main())
