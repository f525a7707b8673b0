"""The live loop for an hour: `python -m tests.bench.soak [--minutes 60] [--bystanders 0]`.

On the sound card of software (tests/live/conftest.py). The program says prompts, a technician answers, people talk and a fan
runs; each minute a line is printed: memory, samples captured against the clock, what was lost and counted, what was
accepted. At the end: memory's growth after the first tenth, the drift of sound against the clock, and any sample that is
neither captured nor counted as lost. With `--bystanders N`: N minutes of unrelated sentences and fan noise only, and every
acceptance is a fault.
"""

from __future__ import annotations

import argparse
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

PROMPTS = (
    "Is the evaporator fan running? Say running, not running, or cannot see it.",
    "Look through the grille at the bottom. There is a small fan behind it.",
    "You can say next step, go back, say again, stand by, how long, where am I, note, or stop the visit.",
)
ANSWERS = ("running", "not running", "next step", "say again")
UNRELATED = (
    "Did you see the match on Saturday? They lost again in the last minute.",
    "I told him that the delivery would come on Tuesday, not on Monday.",
    "Can somebody move the van, it is blocking the whole entrance.",
    "The train on platform three is going to be late by ten minutes.",
    "My sister wants to paint the kitchen yellow, and I said why not.",
    "They are out of the cheese rolls, but there is soup.",
    "He never picks up the phone before eleven, you know how he is.",
    "Mind the step there, it is wet from the rain.",
)
VOICES = ("slt", "rms", "awb", "kal16")


def voice(text: str, name: str, folder: Path) -> Any:
    from handsfree.sound.files import read_sound
    from handsfree.sound.levels import at_level

    place = folder / f"{name}-{abs(hash(text))}.wav"
    if not place.exists():
        subprocess.run(["flite", "-voice", name, "-t", text, "-o", str(place)], check=True, capture_output=True)
    return at_level(read_sound(place), -22.0)


def fan(seconds: float, rng: np.random.Generator) -> Any:
    n = round(seconds * 16_000)
    brown = np.cumsum(rng.standard_normal(n))
    brown -= np.convolve(brown, np.ones(800) / 800, mode="same")
    return (0.01 * brown / brown.std()).astype(np.float32)


def run(cabinet: Any, minutes: float, only_bystanders: bool, folder: Path) -> None:
    import psutil

    from handsfree.sound.live import HeardSound
    from handsfree.sound.prompts import Prompt

    rng, chance = np.random.default_rng(8), random.Random(8)
    me = psutil.Process()
    begun = time.monotonic()
    first = cabinet.mic.counts()
    memory: list[float] = []
    accepted: dict[str, int] = {}
    minute = number = 0
    while (now := time.monotonic() - begun) < 60 * minutes:
        number += 1
        bystander = only_bystanders or chance.random() < 0.5
        if not only_bystanders and chance.random() < 0.4:
            cabinet.prompt(chance.choice(PROMPTS), number)
        speech = voice(chance.choice(UNRELATED if bystander else ANSWERS), chance.choice(VOICES), folder)
        cabinet.technician.play(Prompt(0, "", speech + fan(len(speech) / 16_000, rng)[: len(speech)]))
        cabinet.technician.drain(30)
        cabinet.out.drain(60)
        time.sleep(1.5)
        while (told := cabinet.happenings.next(0.01)) is not None:
            if isinstance(told, HeardSound) and told.heard is not None and told.heard.verdict == "accepted":
                text = told.heard.meaning.text if told.heard.meaning else ""
                accepted[text] = accepted.get(text, 0) + 1
        if now // 60 >= minute:
            minute += 1
            memory.append(me.memory_info().rss / 1e6)
            line(now, memory[-1], cabinet, accepted)
    report(time.monotonic() - begun, first, cabinet, memory, accepted, only_bystanders)


def line(now: float, memory: float, cabinet: Any, accepted: dict[str, int]) -> None:
    counts, loop, taken = cabinet.mic.counts(), cabinet.loop, sum(accepted.values())
    print(
        f"{now / 60:6.1f} min  {memory:7.1f} MB  captured {counts.captured}  lost {counts.lost}  dropped {counts.dropped}"
        f"  judged {loop.judged}  own {loop.own}  crowded {loop.crowded}  faults {loop.faults}  accepted {taken}"
        f"  ran dry {cabinet.out.underflows}", flush=True,
    )


def report(
    seconds: float, first: Any, cabinet: Any, memory: list[float], accepted: dict[str, int], bystanders: bool
) -> None:
    counts = cabinet.mic.counts()
    captured = counts.captured - first.captured
    known = captured + counts.lost - first.lost + counts.dropped - first.dropped
    settled = memory[len(memory) // 10 :]
    print(f"memory after the first tenth {settled[0]:.1f} MB, at the end {settled[-1]:.1f} MB, most {max(settled):.1f} MB")
    print(f"clock {seconds:.2f} s, sound {captured / 16_000:.2f} s, unaccounted {seconds - known / 16_000:+.3f} s")
    print(f"accepted: {accepted}")
    if bystanders:
        print("no action was taken" if not accepted else "FAULT: somebody who spoke of something else was obeyed")


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--minutes", type=float, default=60.0)
    asked.add_argument("--bystanders", type=float, default=0.0)
    given = asked.parse_args()
    from tests.live import conftest

    server = conftest.started()
    booth = next(server)
    try:
        from tests.live.test_loop import Cabinet

        cabinet = Cabinet()
        with tempfile.TemporaryDirectory() as folder:
            run(cabinet, given.bystanders or given.minutes, bool(given.bystanders), Path(folder))
        cabinet.close()
    finally:
        next(server, None)
    del booth


if __name__ == "__main__":
    sys.exit(main())
