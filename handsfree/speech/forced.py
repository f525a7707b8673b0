"""The leading acts of the neural engine, each held against the sound by PocketSphinx's acoustic model.

The neural engine knows the language and so believes what is usually written; a model of the sounds alone errs on other
clips. Only what could tip the verdict is compared, so that it costs a fraction of a search: a few decodes of one path each.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Sequence
from functools import cached_property
from typing import TYPE_CHECKING

from handsfree.speech.engine import Candidate, Testimony
from handsfree.speech.weighing import FORCED

if TYPE_CHECKING:
    from handsfree.language.meaning import Meaning
    from handsfree.speech.engine import Samples
    from handsfree.speech.pocketsphinx import _Searches

_KEPT = 24  # phrases whose searches are kept
_FRAME = 160  # samples


class Forced:
    """US English, as is the model in PocketSphinx's wheel. Safe to call from several threads, one at a time inside."""

    name = FORCED

    def __init__(self) -> None:
        self._lock = threading.Lock()

    @cached_property
    def _searches(self) -> _Searches:
        from handsfree.speech.pocketsphinx import acoustic_searches

        return acoustic_searches()

    def compare(self, samples: Samples, contest: Sequence[Meaning]) -> Testimony:
        """`contest`: meanings with the words they are spoken with. Scores: nats a frame of 10 ms; what does not fit the
        sound at all is left out."""
        from handsfree.speech.pocketsphinx import as_pcm, force, plain, warm_up

        sound, frames = as_pcm(samples), max(1, len(samples) // _FRAME)
        found = []
        with self._lock:
            warm_up(self._searches, sound)
            for meaning in (one for one in contest if plain(one.spoken)):
                score = force(self._searches, meaning.spoken, sound, _KEPT).score
                if math.isfinite(score):
                    found.append(Candidate(meaning, score / frames))
        return Testimony(self.name, tuple(sorted(found, key=lambda c: -c.score)), "")
