"""Real speech nobody here made: Debian's asterisk-core-sounds-en-g722 (one professional speaker, CC BY-SA 3.0).

Her digits, teens, tens and letters are fragments to be joined into sentences, spoken with the pitch of a middle, some
shorter than 0.4 s: harder than a person answering.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from handsfree.language.meaning import Listening, NumberAsked
from handsfree.speech.pocketsphinx import load
from tests.speech.fixtures_voices import voices

PLACES = (Path("/usr/share/asterisk/sounds/en_US_f_Allison/digits"), Path("/usr/share/asterisk/sounds/en/digits"))
DIGITS = next((place for place in PLACES if place.is_dir()), None)
VALUES = (*range(21), 30, 40, 50, 60, 70, 80, 90)
pytestmark = pytest.mark.skipif(DIGITS is None, reason="needs the Debian package asterisk-core-sounds-en-g722")


def recording(path: Path) -> np.ndarray:
    """16 kHz mono. G.722 in a file without a header: PyAV is told what it is."""
    import av

    with av.open(str(path), format="g722") as container:
        parts = [frame.to_ndarray().reshape(-1) for frame in container.decode(audio=0)]
    return np.asarray(voices.padded(np.concatenate(parts).astype(np.float32) / 32768))


def test_the_share_of_real_digits_and_tens_that_parse_to_their_numbers() -> None:
    """Measured: 23 of 28 (82 %). Not: four (as "lower"), five ("quiet"), thirty, sixty and seventy (as their -teens)."""
    assert DIGITS is not None
    engine, listening = load(), Listening(number=NumberAsked("", 0, 100))
    wrong = []
    for value in VALUES:
        candidates = engine.testify(recording(DIGITS / f"{value}.g722"), listening).candidates
        best = candidates[0].meaning if candidates else None
        if best is None or best.value != value:
            wrong.append(f"{value} as {best.spoken if best else 'nothing'}")
    share = 1 - len(wrong) / len(VALUES)
    print(f"pocketsphinx: {share:.0%} of {len(VALUES)} parse; not: {', '.join(wrong)}")
    assert share >= 0.7, wrong
