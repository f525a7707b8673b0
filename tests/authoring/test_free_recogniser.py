"""Free words as the recorder's ear, where a language has no engine of visits."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from handsfree.authoring import free_words
from handsfree.authoring.free_words import FreeRecogniser
from handsfree.errors import Trouble
from handsfree.language.base import load
from handsfree.language.meaning import Listening, Sense, Verdict
from handsfree.speech import engines, phonetic

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


def test_what_is_written_worse_when_told_what_may_be_said_is_written_again_untold() -> None:
    """A synthetic voice of Spanish said 'terminar' 110 times: told, it was written as 'mirad', untold as 'terminad'."""
    heard = FreeRecogniser(load("es"), lambda samples, among: "¡Mirad!" if among else "Siguiente pasos.").hear(
        SOUND, Listening(commands=("next step", "help"))
    )
    assert heard.verdict is Verdict.ACCEPTED
    denied = FreeRecogniser(load("es"), lambda samples, among: "No, siguiente paso." if among else "Siguiente paso.").hear(
        SOUND, Listening(commands=("next step", "help"))
    )
    assert denied.verdict is Verdict.ASKED_AGAIN


def test_damaged_weights_are_told_where_free_words_take_over(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(free_words, "writers", lambda language, models: (lambda samples, among: "",))
    assert free_words.recogniser(None, "es", tmp_path).missing == "", "none is installed: nothing is wrong"
    monkeypatch.setattr(engines, "SETS", {"phonetic": ("phonetic",)})
    monkeypatch.setattr(phonetic, "SHA256", "0" * 64)
    missing = free_words.recogniser(None, "en", tmp_path).missing
    assert "phonetic witness are not the right ones" in missing
    assert missing.endswith("Until then the engine of free words hears everything.")
    with pytest.raises(Trouble, match="not the right ones"):
        free_words.recogniser("phonetic", "en", tmp_path)
