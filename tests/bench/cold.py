"""What a cold start of hearing takes, in counts that carry over to another machine; `--json` writes results/cold.json.

python -m tests.bench.cold [--json]

Counted from a new process to the verdict on one command: seconds of processor, files read or mapped and their bytes, the
peak of memory; and how many thousand million operations a second one core does when it multiplies matrices of a witness's
size.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import sys
import time
from pathlib import Path
from typing import Any

TOP = Path(__file__).resolve().parents[2]
CLIP = TOP / "audio_fixtures" / "demo" / "next-step.flac"


def hear_once() -> str:
    import soundfile

    from handsfree.language.meaning import Listening
    from handsfree.speech.recogniser import build_recogniser

    recogniser = build_recogniser(None, "en", Path("no-models"))
    for engine in recogniser.engines:
        if hasattr(engine, "load"):
            engine.load()
    samples, _ = soundfile.read(CLIP, dtype="float32")
    return str(recogniser.hear(samples, Listening()).verdict)


def counted() -> dict[str, Any]:
    opened: set[str] = set()

    def note(event: str, arguments: tuple[Any, ...]) -> None:
        if event == "open" and isinstance(arguments[0], str | bytes) and arguments[0]:
            opened.add(os.fsdecode(arguments[0]))

    sys.addaudithook(note)
    begun = time.process_time()
    verdict = hear_once()
    seconds = time.process_time() - begun
    maps = Path("/proc/self/maps").read_text(encoding="utf-8").splitlines()
    mapped = {name for line in maps if (name := line.split()[-1]).startswith("/")}
    files = {os.path.realpath(path) for path in opened | mapped}
    sizes = [os.path.getsize(path) for path in files if os.path.isfile(path)]
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {
        "verdict": verdict, "processor_s": round(seconds, 2), "files": len(sizes), "read_MB": round(sum(sizes) / 1e6),
        "peak_MB": round(peak), "GFLOPS_of_a_core": round(_speed(), 1),
    }  # fmt: skip


def _speed() -> float:
    import numpy as np
    from threadpoolctl import threadpool_limits

    a, b = np.ones((384, 384), np.float32), np.ones((384, 1500), np.float32)
    best = float("inf")
    with threadpool_limits(1):
        for _ in range(60):
            begun = time.process_time()
            a @ b
            best = min(best, time.process_time() - begun)
    return 2 * 384 * 384 * 1500 / best / 1e9


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    when = {"date": time.strftime("%Y-%m-%d"), "load": round(os.getloadavg()[0], 1)}
    found = {"command": "python -m tests.bench.cold", **when, **counted()}
    print(json.dumps(found))
    if asked.json:
        (Path(__file__).with_name("results") / "cold.json").write_text(json.dumps(found) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
