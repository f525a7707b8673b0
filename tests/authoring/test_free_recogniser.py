"""Free words as the recorder's ear, where a language has no engine of visits."""

from __future__ import annotations

import numpy as np
import pytest

from handsfree.authoring.free_words import FreeRecogniser
from handsfree.language.base import load
from handsfree.language.meaning import Listening, Sense, Verdict

SOUND = np.zeros(100, dtype=np.float32)


@pytest.mark.parametrize(
    ("written", "command"),
    [("Siguiente paso.", "next step"), ("siguiente pasos", "next step"), ("no siguiente paso", ""),
     ("no, el siguiente paso no", ""), ("la puerta", "")],
)  # fmt: skip
def test_what_is_denied_is_accepted_as_nothing(written: str, command: str) -> None:
    """A denial is a meaning of its own, and never accepted."""
    heard = FreeRecogniser(load("es"), lambda samples, among: written).hear(SOUND, Listening(commands=("next step", "help")))
    if not command:
        assert heard.verdict is Verdict.ASKED_AGAIN
        return
    assert heard.verdict is Verdict.ACCEPTED
    assert heard.meaning is not None
    assert (heard.meaning.sense, heard.meaning.text) == (Sense.COMMAND, command)
