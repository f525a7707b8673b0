"""Whether enrolment could help a gate: each unlike voice reads the gate phrases of the enrolment, in quiet; what it would
take to open those is added to its odds at every gate, by the same rule and within the same limits as for answers; then the
gates and near misses of `near` are judged anew.

    python -m tests.bench.enrolled_gates [--each 5] [--gates 60] [--seed 1] [--json] [--out FILE]

Nobody's gate gets easier in the program. `today`, `enrolled`: gates opened at the first saying, and near misses that passed.
A phrase that was not doubted but denied, or not found by both witnesses, stays shut whatever is added.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any

from handsfree.language.meaning import GateAsked, Heard, Listening, Sense, Verdict, gate_text
from handsfree.speech import enrol
from handsfree.speech.bars import TAKE_GATE
from handsfree.speech.judge import UNLIKE, UNSURE
from tests.bench.hearers import recogniser
from tests.bench.near import plan
from tests.bench.reported import Row, arguments, reported
from tests.bench.unlike_voices import NOISES, OWN, in_noise, level, names, speak

LOCKS = tuple(reading.listening.gate.lock for reading in enrol.SCRIPT if reading.listening.gate is not None)


def odds(heard: Heard) -> float | None:
    """Of the gate; None where no odds would open it."""
    if heard.meaning is None or heard.meaning.sense is not Sense.GATE:
        return None
    doubted = heard.verdict is Verdict.ACCEPTED or heard.reason in (UNSURE, UNLIKE)
    return enrol._logit(heard.sure) if doubted else None


def learnt(voice: str, hears: Any) -> float:
    """What this voice's reading of the enrolment would add to its gates, log-odds."""
    wanted, unwanted = list[float](), list[float]()
    for said in LOCKS:
        samples = in_noise(speak(gate_text("isolated", said), voice), None, NOISES[0], 0)
        for asked in LOCKS:
            found = odds(hears.hear(samples, Listening(gate=GateAsked("isolated", asked))))
            if found is not None:
                (wanted if said == asked else unwanted).append(found)
    return enrol.shift(wanted, unwanted, TAKE_GATE.value) if wanted else 0.0


def measured(each: int, gates: int, seed: int) -> Iterator[Row]:
    voices, hears = names(), recogniser(None)
    shifts = {voice: learnt(voice, hears) for voice in voices}
    yield {"what": "learnt", "log_odds": {voice: round(shift, 2) for voice, shift in shifts.items()}}
    counts: dict[tuple[str, str], Counter[str]] = {}
    for some in plan(voices, each, gates, seed):
        for said in some:
            if said.voice == OWN or said.listening.gate is None:
                continue
            samples = in_noise(speak(said.text, said.voice), said.snr, NOISES[said.seed % 4], said.seed)
            what = "gates" if said.kind in ("gate", "accent") else "near misses"
            tally = counts.setdefault((what, level(said.snr)), Counter())
            tally.update(passes(odds(hears.hear(samples, said.listening)), shifts, said.voice))
    for (what, snr), tally in counts.items():
        yield {"what": what, "snr": snr, **{name: tally[name] for name in ("clips", "today", "enrolled")}}


def passes(found: float | None, shifts: Mapping[str, float], voice: str) -> list[str]:
    at = enrol._logit(TAKE_GATE.value)
    today, enrolled = (found is not None and found + more >= at for more in (0.0, shifts[voice]))
    return ["clips", *(["today"] if today else []), *(["enrolled"] if enrolled else [])]


def main() -> int:
    parser = arguments(__doc__)
    parser.add_argument("--each", type=int, default=5)
    parser.add_argument("--gates", type=int, default=60)
    asked = parser.parse_args()
    return reported("tests.bench.enrolled_gates", asked, lambda: measured(asked.each, asked.gates, asked.seed))


if __name__ == "__main__":
    sys.exit(main())
