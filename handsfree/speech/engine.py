"""The one interface of every recogniser.

An engine turns the sound of one utterance into evidence; it never decides. `acceptance` weighs the evidence of one or
more engines into a single `Heard`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, Protocol

from handsfree.language.meaning import Listening, Meaning

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Samples = NDArray[np.float32]  # mono, 16 kHz, -1 to 1

RATE = 16_000
OTHER = "other: "  # evidence of an engine: a text with no meaning in force, and its score
QUIET_BEFORE = "quiet"  # evidence on a gate's phrase: the share of the time before it in which nobody speaks (`borders`)
NONE = -40.0  # log-probability for "nothing of the kind was found": a stand-in for minus infinity, which cannot be added


def log_sum(scores: Iterable[float]) -> float:
    """The log of the sum, given the logs; NONE for an empty list."""
    values = [score for score in scores if score > -math.inf]
    if not values:
        return NONE
    top = max(values)
    return top + math.log(sum(math.exp(value - top) for value in values))


def one_thread() -> None:
    """The matrices are small: several threads would only wait for each other."""
    from threadpoolctl import threadpool_limits

    threadpool_limits(1, user_api="blas")


class Witness(StrEnum):
    """The kind of evidence that an engine gives: acceptance is fitted to sets of kinds, never to names."""

    SOUNDS = "sounds"  # likelihood of the sounds of each text
    TOKENS = "tokens"  # likelihood of each text to a model that writes freely
    GRAMMAR = "grammar"  # the likeliest of a grammar, and a free decode to compare it with


@dataclass(frozen=True)
class Candidate:
    """One meaning the engine can find in the sound. `score`: natural-log likelihood, comparable within it only."""

    meaning: Meaning
    score: float


@dataclass(frozen=True)
class Testimony:
    """What one engine says about one utterance. `candidates` best first, decoys among them; `free`: its own unconstrained
    decode; `free_score`: that decode's log-likelihood on the scale of the candidates (None if it has no such scale);
    `evidence`: (name, value) pairs for the acceptance model."""

    engine: str
    candidates: tuple[Candidate, ...]
    free: str
    free_score: float | None = None
    evidence: tuple[tuple[str, float], ...] = ()
    gives: Witness = Witness.TOKENS
    trace: object = field(default=None, repr=False, compare=False)  # the engine's own, for scoring what another offers


@dataclass(frozen=True)
class Declared:
    """What an engine says about itself: for which acts its evidence is enough follows from `gives` and the fit. `does`,
    `cost`: in words, for the handbook; the cost is the most that was measured (tests/bench/results/processor.json).
    `everyday`: what it dictates follows everyday language, so for a recording the language model of the trade writes."""

    name: str
    gives: Witness
    does: str
    cost: str
    everyday: bool = False


class Engine(Protocol):
    name: str
    language: str

    @property
    def declares(self) -> Declared: ...

    def load(self) -> str:
        """Load now what would be loaded at the first utterance; returns the name of the weights, '' where there are none.
        Trouble if it cannot be loaded."""
        ...

    def testify(self, samples: Samples, listening: Listening) -> Testimony:
        """Evidence on one utterance. It never raises on odd sound: silence gives no candidates."""
        ...

    def also(self, testimony: Testimony, offered: Mapping[str, Meaning]) -> Testimony:
        """With the scores of what another witness proposes, as said; unchanged from an engine that cannot score it."""
        ...

    def dictate(self, samples: Samples) -> str:
        """Free text of a note or a step being recorded; '' if the engine cannot dictate."""
        ...
