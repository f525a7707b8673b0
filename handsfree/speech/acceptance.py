"""One calibrated number: the probability that acting on what was heard is right.

Rules of this file:

- The probability is a logistic regression on the features of `weighing`; its coefficients are data (acceptance_model.json),
  fitted by tests/bench/teach/fit_acceptance.py, speakers left out in turn (acceptance_report.txt). Nothing is fitted here.
- A model belongs to a set of kinds of evidence ('sounds+tokens'), never to engines by name: another engine that gives the
  same kind may take its place.
- `bars` says which probability is enough for which act.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from handsfree.errors import Trouble
from handsfree.language.meaning import Listening
from handsfree.speech.engine import Witness
from handsfree.speech.weighing import Shares, Stake

_COMMITTED = Path(__file__).with_name("acceptance_model.json")


@dataclass(frozen=True)
class Logistic:
    """Coefficients on standardised features."""

    names: tuple[str, ...]
    means: tuple[float, ...]
    scales: tuple[float, ...]
    weights: tuple[float, ...]
    bias: float

    def odds(self, features: Mapping[str, float]) -> float:
        """Log-odds. KeyError if a feature is missing."""
        terms = zip(self.names, self.means, self.scales, self.weights, strict=True)
        return self.bias + sum(weight * (features[name] - mean) / scale for name, mean, scale, weight in terms)

    def probability(self, features: Mapping[str, float], shift: float = 0.0) -> float:
        """`shift`: log-odds added, from an enrolment or from what was said before."""
        return logistic(self.odds(features) + shift)


def logistic(odds: float) -> float:
    """Infinite odds come from something that was never fitted: 0."""
    return 1.0 / (1.0 + math.exp(-max(-60.0, min(60.0, odds)))) if math.isfinite(odds) else 0.0


@dataclass(frozen=True)
class Fit:
    """What was fitted for one set of kinds of evidence. `ranking`: the weight of a nat of each kind, by what is asked
    for."""

    ranking: Mapping[str, Shares]
    stakes: Mapping[Stake, Logistic]
    meant: Logistic | None


def ranked_as(listening: Listening) -> str:
    """Which ranking of a `Fit` applies: numbers are heard differently from words."""
    return "number" if listening.number is not None or listening.digits is not None else "other"


def set_of(kinds: Iterable[Witness]) -> str:
    """'sounds+tokens'."""
    return "+".join(sorted({kind.value for kind in kinds}))


@cache
def fit_digest() -> str:
    """The SHA-256 of the committed fit: measurements made with another fit do not apply to it. Trouble if the file is
    missing."""
    try:
        return hashlib.sha256(_COMMITTED.read_bytes()).hexdigest()
    except OSError:
        raise _damaged(_COMMITTED) from None


def _damaged(place: Path) -> Trouble:
    return Trouble(f"The acceptance model {place.name} is missing or damaged; install handsfree again.")


@cache
def fitted(path: Path | None = None) -> Mapping[str, Fit]:
    """By set of kinds. Trouble where the file is missing or damaged."""
    place = path or _COMMITTED
    try:
        stored = json.loads(place.read_text(encoding="utf-8"))
        return {name: _fit(values) for name, values in stored["models"].items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        raise _damaged(place) from None


def _fit(values: Mapping[str, Any]) -> Fit:
    ranking = {
        which: {Witness(kind): _finite(weight) for kind, weight in shares.items()}
        for which, shares in values["ranking"].items()
    }
    stakes = {stake: _logistic(values[stake.value]) for stake in Stake if stake.value in values}
    return Fit(ranking, stakes, _logistic(values["meant"]) if "meant" in values else None)


def _finite(value: Any) -> float:
    if not math.isfinite(float(value)):
        raise ValueError(f"{value} is no coefficient")
    return float(value)


def _logistic(values: Mapping[str, Any]) -> Logistic:
    def numbers(name: str) -> tuple[float, ...]:
        return tuple(_finite(v) for v in values[name])

    found = Logistic(
        tuple(str(n) for n in values["names"]),
        numbers("means"),
        numbers("scales"),
        numbers("weights"),
        _finite(values["bias"]),
    )
    if len({len(found.names), len(found.means), len(found.scales), len(found.weights)}) != 1 or 0 in found.scales:
        raise ValueError("not as many coefficients as features")
    return found
