"""How much of the processor hearing takes: seconds of it for a second of sound, of each witness and of all together.

    python -m tests.bench.processor [--each 8] [--engine NAME]… [--seed 1] [--json] [--out FILE]

Answers, readings, lock numbers and gates, said by unlike voices at 20 dB, half a second of quiet at each end as the end of
speech leaves it. Processor time, not time by the clock: a busy machine changes it little. `waits`: milliseconds of the
processor that the slower witness takes on one utterance, the median and the 95th percentile: on two cores that are idle a
verdict that was not heard ahead comes so long after the end of speech, or a little later. Without `--engine`: the witnesses
of a visit, then PocketSphinx, which stands in where they are not installed.
"""

from __future__ import annotations

import random
import sys
import time
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from handsfree.language.meaning import Listening
from tests.bench import exchanges
from tests.bench.corpus import RATE
from tests.bench.corpus_texts import DIGITS
from tests.bench.reported import Row, arguments, reported
from tests.bench.unlike_voices import NOISES, in_noise, names, speak


def stated(luck: random.Random) -> tuple[str, Listening]:
    return " ".join(luck.choices(DIGITS, k=3)), Listening(digits=(1, 6))


def said(kind: str, luck: random.Random) -> tuple[str, Listening]:
    if kind == "lock number":
        return stated(luck)
    wants = exchanges.KINDS[kind](luck)
    return wants.text, wants.listening


def measured(engine: str | None, each: int, seed: int) -> Iterator[Row]:
    from handsfree import settings
    from handsfree.speech.recogniser import build_recogniser

    recogniser, voices = build_recogniser(engine, "en", settings.load_settings().models), names()
    recogniser.load()
    waits = list[float]()
    for kind in (*exchanges.KINDS, "lock number"):
        luck, sound = random.Random(f"{kind} {seed}"), 0.0
        cost = dict.fromkeys([engine.name for engine in recogniser.engines], 0.0) | {"together": 0.0}
        for at in range(each):
            text, listening = said(kind, luck)
            speech = in_noise(speak(text, voices[at % len(voices)]), 20.0, NOISES[at % 4], at)
            hiss = 1e-3 * np.random.default_rng(0).standard_normal(RATE // 2)
            recogniser.hear(hiss.astype(np.float32), listening)  # as in a visit, what is in force is ready before
            sound += len(speech) / RATE
            # never the same length twice: the first sound of a length costs a library more than the next
            alone = {
                engine.name: took(engine.testify, speech[: -480 * part], listening)
                for part, engine in enumerate(recogniser.engines, 1)
            }
            waits.append(max(alone.values()))
            for name, seconds in {**alone, "together": took(recogniser.hear, speech, listening)}.items():
                cost[name] += seconds
        shares = {name: round(seconds / sound, 3) for name, seconds in cost.items()}
        yield {"what": kind, "utterances": each, "sound_s": round(sound, 1), "of_the_sound": shares}
    mid, high = np.percentile(np.array(waits) * 1000, (50, 95))
    wait = {"median_ms": round(float(mid)), "p95_ms": round(float(high))}
    yield {"what": "waits", "engine": recogniser.name, "utterances": len(waits), **wait}


def took(work: Callable[..., object], *given: Any) -> float:
    """Seconds of the processor, of every thread."""
    before = time.process_time()
    work(*given)
    return time.process_time() - before


def main() -> int:
    parser = arguments(__doc__)
    parser.add_argument("--each", type=int, default=8, help="utterances of each kind")
    parser.add_argument("--engine", action="append", help="a set of engines; may be given again")
    asked = parser.parse_args()
    sets = asked.engine or (None, "pocketsphinx")
    rows = (row for engine in sets for row in measured(engine, asked.each, asked.seed))
    return reported("tests.bench.processor", asked, lambda: rows)


if __name__ == "__main__":
    sys.exit(main())
