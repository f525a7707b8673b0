"""Enrolment: two minutes of reading, so that acceptance fits one person. Optional; nothing needs it.

Rules of this file:

- It learns one number per stake: log-odds added to the calibrated probability of choices and of readings. Never of a gate:
  nobody's gate gets easier. It says how often a gate would have opened, so that nobody finds out on a platform.
- It learns from the person's own voice in both ways: each phrase when it is in force (should be accepted) and when it is not
  (must not be). The second limits the first.
- Recordings and the result stay in the folder given, on this machine; `forget` deletes them.
"""

from __future__ import annotations

import json
import math
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from handsfree.errors import Trouble
from handsfree.language.meaning import GateAsked, Heard, Listening, NumberAsked, Sense, Verdict, gate_text
from handsfree.outputs import replace_file
from handsfree.speech import bars
from handsfree.speech.acceptance import fit_digest
from handsfree.speech.engine import RATE
from handsfree.speech.weighing import Stake

if TYPE_CHECKING:
    from handsfree.speech.engine import Samples

FILE = "enrolment.json"


@dataclass(frozen=True)
class ReadAloud:
    """One thing to read aloud. `listening`: where it is in force; `value` or `text`: what it then means."""

    text: str
    listening: Listening
    value: float | None = None


_ANSWERS = Listening(phrases=("cool", "warm", "hot", "running", "stopped", "frosted"), commands=())
_COMMANDS = Listening()
_NUMBER = Listening(number=NumberAsked("degF", -40, 250), commands=())
_LOCKS = (("four", "two"), ("seven", "three", "nine"), ("one", "eight"))
#: About two minutes at a reading pace, each said once with a pause.
SCRIPT: tuple[ReadAloud, ...] = (
    *(ReadAloud(text, _ANSWERS) for text in _ANSWERS.phrases),
    *(ReadAloud(text, _COMMANDS) for text in ("next step", "go back", "say again", "stand by", "how long", "where am i")),
    *(
        ReadAloud(text, _NUMBER, value)
        for text, value in (
            ("forty three point five", 43.5), ("fifteen", 15.0), ("fifty", 50.0), ("minus twelve", -12.0),
            ("one hundred and eighteen", 118.0), ("seventy two degrees", 72.0), ("thirty nine", 39.0),
            ("two oh eight", 208.0), ("ninety six point four", 96.4), ("sixty five", 65.0),
        )
    ),
    *(ReadAloud(gate_text("isolated", lock), Listening(gate=GateAsked("isolated", lock))) for lock in _LOCKS),
)  # fmt: skip


class HearsReading(Protocol):
    def hear(self, samples: Samples, listening: Listening) -> Heard: ...


def _logit(p: float) -> float:
    return math.log(max(p, 1e-9) / max(1 - p, 1e-9))


def _right(heard: Heard, reading: ReadAloud) -> bool:
    if heard.meaning is None or heard.meaning.sense is Sense.DENIAL:
        return False
    if reading.value is not None:
        return heard.meaning.sense is Sense.NUMBER and heard.meaning.value == reading.value
    return heard.meaning.sense is not Sense.NUMBER and heard.meaning.text == reading.text


def _stake(listening: Listening) -> Stake:
    return Stake.READING if listening.number is not None else Stake.CHOICE


def learn(
    recogniser: HearsReading, spoken: Sequence[tuple[ReadAloud, Samples]], thresholds: Mapping[Stake, float]
) -> dict[Stake, float]:
    """Log-odds to add, by stake. `recogniser`: without any enrolment; `thresholds`: those of `bars`. A stake with too few
    phrases is left out."""
    wanted: dict[Stake, list[float]] = {}
    unwanted: dict[Stake, list[float]] = {}
    teaching = [(reading, samples) for reading, samples in spoken if reading.listening.gate is None]
    places = tuple(dict.fromkeys(reading.listening for reading, _ in teaching))
    for reading, samples in teaching:
        for place in places:
            heard = recogniser.hear(samples, place)
            stake = _stake(place)
            if place == reading.listening and _right(heard, reading):
                wanted.setdefault(stake, []).append(_logit(heard.sure))
            elif heard.meaning is not None and heard.meaning.sense is not Sense.DENIAL:
                unwanted.setdefault(stake, []).append(_logit(heard.sure))
    return {
        stake: shift(wanted[stake], unwanted.get(stake, []), thresholds[stake])
        for stake in (Stake.CHOICE, Stake.READING)
        if len(wanted.get(stake, [])) >= bars.ENROL_FEWEST.value and stake in thresholds
    }


def gates_opened(recogniser: HearsReading, spoken: Sequence[tuple[ReadAloud, Samples]]) -> tuple[int, int]:
    """How many of the gate's phrases were accepted at the first attempt, and of how many."""
    said = [recogniser.hear(samples, reading.listening) for reading, samples in spoken if reading.listening.gate is not None]
    return sum(heard.verdict is Verdict.ACCEPTED for heard in said), len(said)


def shift(wanted: Sequence[float], unwanted: Sequence[float], threshold: float) -> float:
    """Log-odds to add so that `wanted` passes, all but a share (`bars.ENROL_LEFT`), and the likeliest of `unwanted` stays
    well below (`ENROL_ROOM`); at most `ENROL_MOST` either way. All are log-odds but `threshold`, a probability."""
    at = _logit(threshold)
    needed = max(0.0, at - sorted(wanted)[int(bars.ENROL_LEFT.value * len(wanted))])
    room = at - bars.ENROL_ROOM.value - max(unwanted, default=-math.inf)
    most = bars.ENROL_MOST.value
    return max(-most, min(needed, room, most))


def save(folder: Path, shifts: Mapping[Stake, float], spoken: Sequence[tuple[ReadAloud, Samples]], engine: str) -> None:
    """Keep the result and the recordings. Trouble where the folder cannot be written."""
    import soundfile

    try:
        folder.mkdir(parents=True, exist_ok=True)
        for at, (_, samples) in enumerate(spoken):
            soundfile.write(folder / f"{at:02d}.flac", samples, RATE, subtype="PCM_16")
        kept = {
            "engine": engine, "acceptance": fit_digest(), "phrases": [reading.text for reading, _ in spoken],
            "shifts": {stake.value: value for stake, value in shifts.items()},
        }  # fmt: skip
        replace_file(folder / FILE, (json.dumps(kept, indent=1) + "\n").encode(), 0o600)
    except (OSError, RuntimeError) as error:
        raise Trouble(f"The enrolment cannot be kept in {folder}: {error}; choose another folder.") from None


def load(folder: Path, engine: str) -> dict[Stake, float] | None:
    """The person's log-odds for the engines named (`Recogniser.name`); {} if there is no enrolment; None if it is for other
    engines or another fit of acceptance, because then what it adds to is not what it was measured on. Trouble if the file
    is damaged or asks for more than an enrolment may."""
    path = folder / FILE
    if not path.is_file():
        return {}
    try:
        kept = json.loads(path.read_text(encoding="utf-8"))
        found = {Stake(name): float(value) for name, value in kept["shifts"].items()}
        made_with = str(kept["engine"]), str(kept.get("acceptance", ""))
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        raise Trouble(f"The enrolment in {folder} is damaged; delete it and read the phrases again.") from None
    if any(stake is Stake.GATE or not abs(value) <= bars.ENROL_MOST.value for stake, value in found.items()):
        raise Trouble(f"The enrolment in {folder} was changed by hand too far; delete it and read the phrases again.")
    return found if made_with == (engine, fit_digest()) else None


def clips(folder: Path, most: int = 12) -> list[Samples]:
    """What was read aloud, the longest first; nothing if there is no enrolment, or its sound cannot be read."""
    from handsfree.sound.files import read_sound

    if not (folder / FILE).is_file():
        return []
    try:
        every = [read_sound(path) for path in sorted(folder.glob("[0-9][0-9].flac"))]
    except Trouble:
        return []
    return sorted(every, key=len, reverse=True)[:most]


def forget(folder: Path) -> None:
    """Delete the enrolment and its recordings. Trouble if there is none."""
    if not (folder / FILE).is_file():
        raise Trouble(f"There is no enrolment in {folder}, so there is nothing to delete.")
    for path in [folder / FILE, *folder.glob(f".{FILE}.*"), *folder.glob("[0-9][0-9].flac")]:  # what a crash left, too
        path.unlink(missing_ok=True)
    if not any(folder.iterdir()):
        shutil.rmtree(folder)
