"""A recogniser as a visit uses it: what was said before under the same question counts, where it can make it count."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from handsfree.language.meaning import Heard, Listening
from tests.bench.corpus import RATE
from tests.bench.unlike_voices import in_noise, speak


def recogniser(engine: str | None) -> Any:
    """As a visit has it, but that no witness hears the same sound twice (`evidence`)."""
    from handsfree import settings
    from handsfree.speech.recogniser import build_recogniser
    from tests.bench.evidence import keeping

    return keeping(build_recogniser(engine, "en", settings.load_settings().models))


class Hears:
    """`now`: seconds on a clock of its own, by which sayings follow each other."""

    def __init__(self, recogniser: Any) -> None:
        self._recogniser = recogniser
        self.now = 0.0

    def begin(self) -> None:
        """Another question, long after."""
        self.now += 600.0

    def hear(
        self, text: str, voice: str, snr: float | None, noise: str, seed: int, listening: Listening, rate: float = 1.0
    ) -> Heard:
        samples = in_noise(speak(text, voice, rate), snr, noise, seed)
        heard = self._recogniser.hear(samples, listening)
        self.now += 3.0
        timed = replace(heard, started=self.now, ended=self.now + len(samples) / RATE)
        self.now = timed.ended
        together = getattr(self._recogniser, "together", None)
        return timed if together is None else together(timed, listening)
