"""Every number that a meter may show, as sounds: beginnings (a sign, a whole number) and endings (decimals, a unit). The
phonetic witness scores each beginning with each ending.

Rules of this file:

- The language says how numbers are spoken; here they are only split at the point.
- All whole numbers below a thousand, and the round ones below ten thousand. Others are scored if another witness proposes
  them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from handsfree.language.quantities import alike, pint_name
from handsfree.speech.ctc import Frames, Symbols, Tree, Walked, met, tree, walk_frames

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from handsfree.language.base import Language

_SIGNED = frozenset({"", "degF", "degC", "volt", "ampere"})  # units that are read below zero
_RARE = frozenset({"double", "niner"})  # ways that make the trees twice as large; another witness may offer them
_KEPT = 96  # beginnings, and as many endings, that are scored together
_FOUND = 24  # numbers given as candidates
_LEAST_WEIGHT = -700.0  # log-probability below which it is no number

SoundsOf = Callable[[str], tuple[Symbols, ...]]


@dataclass(frozen=True)
class Part:
    words: str
    sounds: Symbols


@dataclass(frozen=True)
class Parts:
    beginnings: tuple[Part, ...]
    endings: tuple[Part, ...]
    forwards: Tree
    backwards: Tree  # of the endings, each reversed
    last: NDArray[np.int64]
    first: NDArray[np.int64]


def parts(language: Language, unit: str, ways: SoundsOf) -> Parts:
    """Of the numbers in this unit and those that fit it."""
    beginnings = [Part(words, sounds) for words in _wholes(language, pint_name(unit)) for sounds in ways(words)]
    endings = [Part(words, sounds) for words in _tails(language, unit) for sounds in ways(words)]
    return Parts(
        tuple(beginnings), tuple(endings), tree([part.sounds for part in beginnings]),
        tree([part.sounds[::-1] for part in endings]), np.array([part.sounds[-1] for part in beginnings], np.int64),
        np.array([part.sounds[0] for part in endings], np.int64),
    )  # fmt: skip


def numbers(frames: Frames, known: Parts) -> list[tuple[str, float]]:
    """(words, log-probability) of the likeliest numbers, the likeliest first. `known`: see `parts`."""
    forwards = walk_frames(frames, known.forwards, keep=True)
    backwards = walk_frames(frames.reversed(), known.backwards, keep=True)
    alone = forwards.whole()
    rest = _free(frames)
    begin = _likeliest(forwards, rest)
    end = _likeliest(backwards, _free(frames.reversed()))
    joined = met(_some(forwards, begin), known.last[begin], _some(backwards, end), known.first[end])
    found = {known.beginnings[at].words: float(alone[at]) for at in np.argsort(-alone)[:_FOUND]}
    order = np.argsort(-joined, axis=None)[: 2 * _FOUND]
    for row, column in zip(*np.unravel_index(order, joined.shape), strict=True):
        words = f"{known.beginnings[begin[row]].words} {known.endings[end[column]].words}"
        found[words] = max(found.get(words, -np.inf), float(joined[row, column]))
    return sorted(found.items(), key=lambda pair: -pair[1])[:_FOUND]


def _free(frames: Frames) -> NDArray[np.float64]:
    """Log-probability of the likeliest labels from each frame to the end: (frames + 1,)."""
    best = np.log(np.maximum(frames.symbols.max(1), frames.blank) + 1e-30)
    return np.append(np.cumsum(best[::-1])[::-1], 0.0)


def _likeliest(walked: Walked, rest: NDArray[np.float64]) -> NDArray[np.int64]:
    """Those that would do best if anything might follow, the best first."""
    weight = walked.scale[1:] + rest[1:]
    each = walked.sounding[1:] + walked.silent[1:]
    each *= np.exp(np.maximum(weight - weight.max(), _LEAST_WEIGHT))[:, None]
    return np.argsort(-each.max(0))[:_KEPT]


def _some(walked: Walked, which: NDArray[np.int64]) -> Walked:
    return Walked(walked.sounding[:, which], walked.silent[:, which], walked.scale)


@lru_cache(maxsize=8)
def _wholes(language: Language, unit: str) -> tuple[str, ...]:
    plain = [way for value in (*range(1000), *range(1000, 10_000, 100)) for way in _said(language, value)]
    signs = ("minus", "negative") if unit in _SIGNED else ()
    few = [way for value in range(100) for way in _said(language, value)]
    return tuple(dict.fromkeys([*plain, *(f"{sign} {way}" for sign in signs for way in few)]))


def _said(language: Language, value: float) -> Iterator[str]:
    from handsfree.language.numerals import exact

    for way in language.two_way.say("signed", exact(value)):
        if not _RARE & set(way) and not ("half" in way and "a" not in way):
            yield " ".join(way)


def _tails(language: Language, unit: str) -> tuple[str, ...]:
    five = _said(language, 5)
    lead = next(iter(five)).split()
    decimals = [
        " ".join(words[len(lead):]) for value in (*(at / 10 for at in range(50, 60)), *(at / 100 for at in range(500, 600)))
        for words in (way.split() for way in _said(language, value)) if words[: len(lead)] == lead and len(words) > len(lead)
    ]  # fmt: skip
    points = {words.split()[0] for words in decimals if words.split()[0] in (language.words.point, language.words.decimal)}
    decimals += [f"{point} {way}" for point in sorted(points) for value in range(10, 100) for way in _said(language, value)]
    own = pint_name(unit).removeprefix("delta_")
    others = [pint_name(name).removeprefix("delta_") for name in alike(unit)]
    units = [*language.units.get(own, ())[:3], *(language.units[name][0] for name in others if name in language.units)]
    if own in ("degF", "degC"):
        units += language.units["degree"]
        below = [way.replace("{}", "").strip() for way in language.words.below]
        units += [*below, *(f"{unit} {below[-1]}" for unit in language.units["degree"][:1])]
    units = list(dict.fromkeys(units))
    return tuple(dict.fromkeys([*units, *decimals, *(f"{tail} {way}" for tail in decimals for way in units)]))
