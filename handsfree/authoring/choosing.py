"""Long lists of ways, made short before they are judged.

The larger neural model is told before what may be said, and there is room for only so much of it, while the recorder asks
for one of forty kinds or seventy units. The first engine, which takes any number, says which few are likely; the usual
judgement is made among these. Nothing is accepted by this first look alone."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from handsfree.language.meaning import Heard, Listening, Sense

if TYPE_CHECKING:
    from handsfree.sound.samples import Samples
    from handsfree.speech.recogniser import Recogniser

MOST = 12  # ways: some 80 tokens; the larger neural model is told 90 at most


class Narrowing:
    """A recogniser that hears through another."""

    def __init__(self, recogniser: Recogniser) -> None:
        self._recogniser = recogniser

    def hear(self, samples: Samples, listening: Listening) -> Heard:
        first, *others = self._recogniser.engines
        if others and len(listening.phrases) > MOST:
            found = first.testify(samples, listening).candidates
            likely = dict.fromkeys(one.meaning.text for one in found if one.meaning.sense == Sense.PHRASE)
            chosen = [phrase for phrase in likely if phrase in listening.phrases] or list(listening.phrases)
            listening = replace(listening, phrases=tuple(chosen[:MOST]))
        return self._recogniser.hear(samples, listening)

    def dictate(self, samples: Samples) -> str:
        return self._recogniser.dictate(samples)
