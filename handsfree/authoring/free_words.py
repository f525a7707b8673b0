"""Hears a writer's free words with an engine without extra training, given examples of how a writer speaks.

The engine of a visit is trained on the trade's answers and commands, and tends to hear them in anything; for dictation that
is a fault. Words of other trades were wrong in 5 of 100 with this one, in 13 without the examples (two synthetic
voices, 18 utterances of `tests/bench/recording.py`, when this was written)."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from handsfree.sound.samples import Samples


def writer(language: str, models: Path) -> Callable[[Samples], str] | None:
    """None if its library or its weights are not installed, or if it does not know the language."""
    from handsfree.speech.neural_weights import find_weights

    if language != "en" or importlib.util.find_spec("faster_whisper") is None:
        return None
    weights = find_weights("tiny.en", models)
    return None if weights is None else _of(weights, language)


@lru_cache(maxsize=2)
def _of(weights: Path, language: str) -> Callable[[Samples], str]:
    from faster_whisper import WhisperModel

    from handsfree.authoring.words import load

    model: Any = WhisperModel(str(weights), device="cpu", compute_type="int8", cpu_threads=1)
    told = load(language).prompt("dictation-like")

    def write(samples: Samples) -> str:
        pieces, _ = model.transcribe(
            samples, language=language, beam_size=5, condition_on_previous_text=False, initial_prompt=told
        )
        return " ".join(piece.text.strip() for piece in pieces)

    return write
