"""How far apart two sayings sound, weighed by how often an engine was measured to take their sounds for one another.

The shares are in `grammar/<language>.confusions.yaml`, made by `python -m tests.bench.confusions`; a language without that
file is not weighed. A sound that is taken for another as seldom as `NEVER` costs 1, a more frequent confusion the less."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import lru_cache
from itertools import pairwise

from handsfree.language.phonetics import Phonemes, phonemes
from handsfree.resources import folder

NEVER = 0.005  # a share of times spoken
ConfusionShares = Mapping[frozenset[str], float]


@lru_cache(maxsize=8)
def shares_of(code: str) -> ConfusionShares:
    """By {sound, sound}; {} where none were measured."""
    from handsfree.procedure.yamlfile import read

    path = folder("grammar") / f"{code}.confusions.yaml"
    if not path.is_file():
        return {}
    data = read(path.read_text(encoding="utf-8")).data
    return {frozenset(str(pair).split()): float(share) for pair, share in data.items()}


@lru_cache(maxsize=4096)
def cost(share: float) -> float:
    return min(1.0, math.log(max(share, NEVER)) / math.log(NEVER))


@lru_cache(maxsize=50_000)
def weighed(a: str, b: str, code: str) -> float:
    """0 the same, 1 nothing in common; 1 too where nothing was measured."""
    shares = shares_of(code)
    return distance(phonemes(a), phonemes(b), shares) if shares else 1.0


def distance(a: Phonemes, b: Phonemes, shares: ConfusionShares) -> float:
    """The least cost of turning one into the other, as a share of the longer one. A sound that is lost or comes from nothing
    costs 1: the phone loop loses a quarter of all sounds, which recognisers with a grammar do not."""
    if not a or not b:
        return 0.0 if a == b else 1.0
    row = [float(at) for at in range(len(b) + 1)]
    for one in a:
        new = [row[0] + 1.0]
        for at, (above, beside) in enumerate(pairwise(row)):
            swapped = above + (0.0 if one == b[at] else cost(shares.get(frozenset((one, b[at])), 0.0)))
            new.append(min(swapped, beside + 1.0, new[-1] + 1.0))
        row = new
    return min(1.0, row[-1] / max(len(a), len(b)))
