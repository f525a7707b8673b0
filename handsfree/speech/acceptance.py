"""One calibrated number: the probability that acting on what was heard is right.

Rules of this file:

- The probability is a logistic regression on the features of `weighing`; its coefficients are data
  (acceptance_model.json), fitted by tests/bench/fit_acceptance.py on voices and noises that its report
  (acceptance_report.txt) names. Nothing is fitted here.
- The threshold is that of what is at stake (at a gate also of the noise: `recogniser`). A denial, a question, a half phrase
  is never accepted, however sure.
- However probable, an act may be forbidden for what else was heard: see `vetoes.vetoed`.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from handsfree.errors import Trouble
from handsfree.speech.weighing import Stake


@dataclass(frozen=True)
class StakeModel:
    """Coefficients on standardised features; accepted at `threshold` or above."""

    names: tuple[str, ...]
    means: tuple[float, ...]
    scales: tuple[float, ...]
    weights: tuple[float, ...]
    bias: float
    threshold: float

    def probability(self, features: Mapping[str, float], shift: float = 0.0) -> float:
        """`shift`: log-odds added, from an enrolment. KeyError where a feature is missing."""
        total = (
            self.bias
            + shift
            + sum(
                weight * (features[name] - mean) / scale
                for name, mean, scale, weight in zip(self.names, self.means, self.scales, self.weights, strict=True)
            )
        )
        return 1.0 / (1.0 + math.exp(-max(-60.0, min(60.0, total)))) if math.isfinite(total) else 0.0


#: What an engine nobody could fit must reach (weighing.unfitted): its free decode means exactly the same. Common
#: practice, no source.
UNFITTED = 0.9

Models = Mapping[str, Mapping[Stake, StakeModel]]  # by the engines that testified: 'whisper', 'whisper+whisper base'


_COMMITTED = Path(__file__).with_name("acceptance_model.json")


@cache
def digest() -> str:
    """The SHA-256 of the committed models: what was measured with others does not hold for these. Trouble where the
    file is missing."""
    try:
        return hashlib.sha256(_COMMITTED.read_bytes()).hexdigest()
    except OSError:
        raise _damaged(_COMMITTED) from None


def _damaged(place: Path) -> Trouble:
    return Trouble(f"The acceptance model {place.name} is missing or damaged; install handsfree again.")


@cache
def fitted(path: Path | None = None) -> Models:
    """The committed models. Trouble where the file is missing or damaged."""
    place = path or _COMMITTED
    try:
        stored = json.loads(place.read_text(encoding="utf-8"))
        return {
            engines: {Stake(name): _model(values) for name, values in stakes.items()}
            for engines, stakes in stored["models"].items()
        }
    except (OSError, ValueError, KeyError, TypeError):
        raise _damaged(place) from None


def _model(values: Mapping[str, Any]) -> StakeModel:
    def finite(value: Any) -> float:
        if not math.isfinite(float(value)):
            raise ValueError(f"{value} is no coefficient")
        return float(value)

    def numbers(name: str) -> tuple[float, ...]:
        return tuple(finite(v) for v in values[name])

    return StakeModel(
        tuple(str(n) for n in values["names"]), numbers("means"), numbers("scales"), numbers("weights"),
        finite(values["bias"]), finite(values["threshold"]),
    )  # fmt: skip
