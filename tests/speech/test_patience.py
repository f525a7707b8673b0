"""What was said so far says how long to wait for more; the detector does as it is told, of that very sound alone."""

from __future__ import annotations

import numpy as np
import pytest

from handsfree.language.base import load
from handsfree.language.meaning import Denial, GateAsked, Heard, Listening, Meaning, NumberAsked, Sense, Verdict
from handsfree.sound.samples import Piece
from handsfree.speech.endpoint import FRAME, Endpointer, Timing
from handsfree.speech.patience import SoFar, so_far
from tests.speech.fixtures_voices import voices

ENGLISH = load("en")
LOCK, READING = Listening(digits=(1, 6)), Listening(number=NumberAsked("degF"))
GATE = Listening(gate=GateAsked("isolated", ("four", "two")))
AIR, DUST = Listening(phrases=("cool", "warm", "hot")), Listening(phrases=("dusty", "dusty and blocked", "clean"))
PROOF = Listening(phrases=("nothing runs", "it runs"), proof=True)


def heard(
    verdict: Verdict, sense: Sense | None, text: str = "", words: str = "", value: float | None = None, unit: str = ""
) -> Heard:
    meaning = Meaning(sense, text, value, unit or None, text) if sense is not None else None
    return Heard(verdict, meaning, 0.9, words or text)


TAKEN, AGAIN, NOT = Verdict.ACCEPTED, Verdict.ASKED_AGAIN, Verdict.NOT_FOR_ME


@pytest.mark.parametrize(
    ("listening", "said", "expected"),
    [
        (LOCK, heard(NOT, None, words="Four."), SoFar.BEGUN),
        (LOCK, heard(TAKEN, Sense.DIGITS, "four two"), SoFar.BEGUN),
        (LOCK, heard(AGAIN, None, words="4"), SoFar.BEGUN),
        (LOCK, heard(NOT, None, words="Mind the step."), SoFar.UNKNOWN),
        (LOCK, heard(TAKEN, Sense.COMMAND, "say again"), SoFar.WHOLE),
        (READING, heard(TAKEN, Sense.NUMBER, "forty three", value=43.0), SoFar.BEGUN),
        (READING, heard(TAKEN, Sense.NUMBER, "forty three point five", value=43.5), SoFar.UNKNOWN),
        (READING, heard(TAKEN, Sense.NUMBER, "forty three degrees Fahrenheit", value=43.0, unit="degF"), SoFar.UNKNOWN),
        (READING, heard(NOT, None, words="forty point"), SoFar.BEGUN),
        (GATE, heard(AGAIN, Sense.DENIAL, Denial.HALF, "Isolated, lock four"), SoFar.BEGUN),
        (GATE, heard(TAKEN, Sense.GATE, "isolated, lock four two"), SoFar.UNKNOWN),
        (GATE, heard(NOT, None, words="He is at the van."), SoFar.UNKNOWN),
        (AIR, heard(TAKEN, Sense.PHRASE, "warm"), SoFar.WHOLE),
        (AIR, heard(Verdict.PROPOSED, Sense.PHRASE, "warm"), SoFar.UNKNOWN),
        (AIR, heard(TAKEN, Sense.COMMAND, "next step"), SoFar.WHOLE),
        (AIR, heard(TAKEN, Sense.COMMAND, "why"), SoFar.UNKNOWN),
        (DUST, heard(TAKEN, Sense.PHRASE, "dusty"), SoFar.BEGUN),
        (DUST, heard(TAKEN, Sense.PHRASE, "dusty and blocked"), SoFar.WHOLE),
        (PROOF, heard(TAKEN, Sense.PHRASE, "nothing runs"), SoFar.UNKNOWN),
    ],
)  # fmt: skip
def test_a_beginning_waits_and_a_whole_sentence_does_not(listening: Listening, said: Heard, expected: SoFar) -> None:
    assert so_far(said, listening, ENGLISH) is expected


def tight(text: str) -> np.ndarray:
    made = voices.synthesise(text, "slt")
    loud = np.flatnonzero(np.abs(made) > 0.02)
    return np.asarray(made[loud[0] : loud[-1]])


def pieces(pause: float, said: SoFar, of_another: bool = False) -> list[Piece]:
    """Four, a pause, two, told as soon as what was said so far is known."""
    between = [tight("four"), voices.silence(pause), tight("two")]
    sound = np.concatenate([voices.silence(1.5), *between, voices.silence(1.6)])
    cutter, found = Endpointer(), list[Piece]()
    for at in range(0, len(sound), FRAME):
        found += cutter.feed(sound[at : at + FRAME])
        if cutter.supposed is not None:
            samples = cutter.supposed.samples
            cutter.expect(samples.copy() if of_another else samples, said)
    return found + cutter.flush()


def test_a_slow_speaker_is_waited_for_where_a_beginning_was_heard() -> None:
    assert len(pieces(0.95, SoFar.UNKNOWN)) == 2
    assert len(pieces(0.95, SoFar.BEGUN)) == 1
    assert len(pieces(Timing().begun + 0.2, SoFar.BEGUN)) == 2


def test_two_sentences_in_one_breath_are_parted_where_the_first_was_whole() -> None:
    assert len(pieces(0.7, SoFar.UNKNOWN)) == 1
    assert len(pieces(0.7, SoFar.WHOLE)) == 2


def test_what_was_heard_of_other_sound_changes_nothing() -> None:
    assert len(pieces(0.95, SoFar.BEGUN, of_another=True)) == 2
    assert len(pieces(0.7, SoFar.WHOLE, of_another=True)) == 1
