"""Every number that a meter may show, as sounds: beginnings (a sign, a whole number) and endings (decimals, a unit). The
phonetic witness scores each beginning with each ending.

Rules of this file:

- The language says how numbers are spoken; here they are only split at the point.
- All whole numbers below a thousand, and the round ones below ten thousand. Others are scored if another witness proposes
  them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import TYPE_CHECKING

import numpy as np

from handsfree.language.quantities import alike, pint_name
from handsfree.speech.ctc import Frames, Symbols, Tree, Walked, likeliest_labels, met, tree, walk_frames

if TYPE_CHECKING:
    from handsfree.language.base import Language
    from handsfree.speech.ctc import Floats, Ints

_SIGNED = frozenset({"", "degF", "degC", "volt", "ampere"})  # units that are read below zero
_RARE = frozenset({"double", "niner"})  # ways that make the trees twice as large; another witness may offer them
_KEPT = 96  # beginnings, and as many endings, that are scored together
_FOUND = 24  # numbers given as candidates

SoundsOf = Callable[[str], tuple[Symbols, ...]]


@dataclass(frozen=True, slots=True)
class Part:
    """`cut`: how many of its sounds are its head; the rest is its tail."""

    words: str
    sounds: Symbols
    cut: int


@dataclass(frozen=True)
class Halves:
    """A few hundred heads and tails make twenty thousand texts. So heads are walked forwards and tails backwards, and they
    meet in the middle; wherever a text is cut, its score is the same. `head`, `tail`: of each text, which it has; `last`,
    `first`: the symbol that a head ends with and a tail begins with, -1 and -2 where it is empty."""

    parts: tuple[Part, ...]
    heads: Tree
    tails: Tree  # each reversed
    head: Ints
    tail: Ints
    last: Ints
    first: Ints

    def some(self, which: Ints) -> tuple[Part, ...]:
        return tuple(self.parts[at] for at in which)


@dataclass(frozen=True)
class Parts:
    beginnings: Halves
    endings: Halves


def parts(language: Language, unit: str, ways: SoundsOf) -> Parts:
    """Of the numbers in this unit and those that fit it."""
    return Parts(_halves(_wholes(language, pint_name(unit)), ways), _halves(_tails(language, unit), ways))


def _halves(texts: Iterable[tuple[str, str]], ways: SoundsOf) -> Halves:
    """`texts`: (head, tail), either may be empty."""
    heard = cache(ways)
    found = [
        Part(words, sounds, _cut(sounds, heard(head)))
        for head, tail in texts for words in (f"{head} {tail}".strip(),) for sounds in ways(words)
    ]  # fmt: skip
    heads = {sounds: at for at, sounds in enumerate(dict.fromkeys(part.sounds[: part.cut] for part in found))}
    tails = {sounds: at for at, sounds in enumerate(dict.fromkeys(part.sounds[part.cut :] for part in found))}
    return Halves(
        tuple(found), tree(tuple(heads)), tree([sounds[::-1] for sounds in tails]),
        np.array([heads[part.sounds[: part.cut]] for part in found], np.int64),
        np.array([tails[part.sounds[part.cut :]] for part in found], np.int64),
        np.array([sounds[-1] if sounds else -1 for sounds in heads], np.int64),
        np.array([sounds[0] if sounds else -2 for sounds in tails], np.int64),
    )  # fmt: skip


def _cut(sounds: Symbols, heads: Iterable[Symbols]) -> int:
    return next((len(head) for head in heads if sounds[: len(head)] == head), 0)


def numbers(frames: Frames, known: Parts) -> list[tuple[str, float]]:
    """(words, log-probability) of the likeliest numbers, the likeliest first. `known`: see `parts`."""
    turned = frames.reversed()
    before, after = likeliest_labels(frames), likeliest_labels(turned)
    heads = walk_frames(frames, known.beginnings.heads, keep=True)
    alone = scored(frames, known.beginnings, heads)
    begin = np.argsort(-scored(frames, known.beginnings, heads, after=after))[:_KEPT]
    heads = walk_frames(frames, known.endings.heads, keep=True, before=before)
    end = np.argsort(-scored(frames, known.endings, heads))[:_KEPT]
    beginnings, endings = known.beginnings.some(begin), known.endings.some(end)
    joined = met(
        walk_frames(frames, tree([part.sounds for part in beginnings]), keep=True),
        np.array([part.sounds[-1] for part in beginnings], np.int64),
        walk_frames(turned, tree([part.sounds[::-1] for part in endings]), keep=True),
        np.array([part.sounds[0] for part in endings], np.int64),
    )
    found = {known.beginnings.parts[at].words: float(alone[at]) for at in np.argsort(-alone)[:_FOUND][::-1]}  # best way last
    order = np.argsort(-joined, axis=None)[: 2 * _FOUND]
    for row, column in zip(*np.unravel_index(order, joined.shape), strict=True):
        words = f"{beginnings[row].words} {endings[column].words}"
        found[words] = max(found.get(words, -np.inf), float(joined[row, column]))
    return sorted(found.items(), key=lambda pair: -pair[1])[:_FOUND]


def scored(frames: Frames, known: Halves, heads: Walked, after: Floats | None = None) -> Floats:
    """Log-probability of each text. `heads`: walked over the frames, perhaps with anything before them. `after`: anything
    may follow, with these log-probabilities (`likeliest_labels` of the reversed frames)."""
    tails = walk_frames(frames.reversed(), known.tails, keep=True, before=after)
    joined = met(heads, known.last, tails, known.first, (known.head, known.tail))
    if after is None:
        joined = np.where(known.first[known.tail] < 0, heads.whole()[known.head], joined)
    return joined


@lru_cache(maxsize=8)
def _wholes(language: Language, unit: str) -> tuple[tuple[str, str], ...]:
    """Cut before the last two words."""
    plain = [way for value in (*range(1000), *range(1000, 10_000, 100)) for way in _said(language, value)]
    signs = ("minus", "negative") if unit in _SIGNED else ()
    few = [way for value in range(100) for way in _said(language, value)]
    every = dict.fromkeys([*plain, *(f"{sign} {way}" for sign in signs for way in few)])
    return tuple((" ".join(words[:-2]), " ".join(words[-2:])) for words in (way.split() for way in every))


def _said(language: Language, value: float) -> Iterator[str]:
    from handsfree.language.numerals import exact

    for way in language.two_way.say("signed", exact(value)):
        if not _RARE & set(way) and not ("half" in way and "a" not in way):
            yield " ".join(way)


def _tails(language: Language, unit: str) -> tuple[tuple[str, str], ...]:
    """(decimals, unit)"""
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
    units = [*language.units.get(own, ()), *(language.units[name][0] for name in others if name in language.units)]
    if own in ("degF", "degC"):
        said = [way for name in (own, "degree") for at, way in enumerate(language.units[name]) if at != 1]  # 1: of one alone
        below = [way.replace("{}", "").strip() for way in language.words.below]
        units += [*language.units["degree"], *below]
        units += [way for unit in said for way in (f"{unit} {below[0]}", f"{unit} {below[-1]}", f"{below[-1]} {unit}")]
    units = list(dict.fromkeys(units))
    return tuple((decimal, way) for decimal in ("", *dict.fromkeys(decimals)) for way in ("", *units) if decimal or way)
