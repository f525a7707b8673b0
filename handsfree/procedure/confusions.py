"""How far apart two sayings sound, weighed by how often an engine was measured to take their sounds for one another.

The shares are in `grammar/<language>.confusions.yaml`, made by `python -m tests.bench.confusions`; a language without that
file is not weighed. A sound that is taken for another as seldom as `NEVER` costs 1, a more frequent confusion the less."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import lru_cache

from handsfree.language.phonetics import PHONEMES, Phonemes, phonemes
from handsfree.resources import shipped_folder

NEVER = 0.005  # a share of times spoken
ConfusionShares = Mapping[frozenset[str], float]


@lru_cache(maxsize=8)
def shares_of(code: str) -> ConfusionShares:
    """By {sound, sound}; {} where none were measured."""
    from handsfree.procedure.yamlfile import read_yaml

    path = shipped_folder("grammar") / f"{code}.confusions.yaml"
    if not path.is_file():
        return {}
    data = read_yaml(path.read_text(encoding="utf-8")).data
    return {frozenset(str(pair).split()): float(share) for pair, share in data.items()}


@lru_cache(maxsize=4096)
def cost(share: float) -> float:
    return min(1.0, math.log(max(share, NEVER)) / math.log(NEVER))


@lru_cache(maxsize=50_000)
def weighed(a: str, b: str, code: str) -> float:
    """0 the same, 1 nothing in common; 1 too where nothing was measured."""
    return distance(phonemes(a), phonemes(b), _costs(code)) if shares_of(code) else 1.0


@lru_cache(maxsize=8)
def _costs(code: str) -> Mapping[tuple[str, str], float]:
    """By (sound, sound), either way round, where it is less than 1."""
    costs = {(sound, sound): 0.0 for sound in PHONEMES}
    for pair, share in shares_of(code).items():
        if len(pair) == 2:
            one, other = pair
            costs[one, other] = costs[other, one] = cost(share)
    return costs


@lru_cache(maxsize=8)
def least_cost(code: str) -> float:
    """Of two unlike sounds."""
    return min((cost for (one, other), cost in _costs(code).items() if one != other), default=1.0)


def distance(a: Phonemes, b: Phonemes, costs: Mapping[tuple[str, str], float]) -> float:
    """The least cost of turning one into the other, as a share of the longer one. A sound that is lost or comes from nothing
    costs 1: the phone loop loses a quarter of all sounds, which recognisers with a grammar do not."""
    if not a or not b:
        return 0.0 if a == b else 1.0
    row = [float(at) for at in range(len(b) + 1)]
    for one in a:
        above = row[0]
        last = row[0] = above + 1.0
        for at, other in enumerate(b, 1):
            beside = row[at]
            swapped, lost = above + costs.get((one, other), 1.0), (beside if beside < last else last) + 1.0
            above, last = beside, swapped if swapped < lost else lost
            row[at] = last
    return min(1.0, row[-1] / max(len(a), len(b)))
