"""The exact score of a text under a recogniser of phonemes whose frames are labelled by connectionist temporal
classification: the sum over every way to lay the text's sounds over the frames (Graves et al., ICML 2006, section 4.1).

Rules of this file:

- Texts are sequences of symbols (numbers). Shared beginnings are computed once: the texts form a tree, whose nodes all step
  from one frame to the next together.
- Many beginnings, each followed by any of many endings (a number and its decimals and unit), are scored by meeting in the
  middle: beginnings forwards, endings backwards, one product of matrices between.
- It knows no language and no model: a frame is the probability of each symbol and of none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

Symbols = tuple[int, ...]
NEVER = -1e3  # log-probability of what no path through the frames gives
_TINY = 1e-290


@dataclass(frozen=True)
class Frames:
    """`symbols`: (frames, symbols) probability of each symbol; `blank`: (frames,) of none."""

    symbols: Floats
    blank: Floats

    def reversed(self) -> Frames:
        return Frames(self.symbols[::-1], self.blank[::-1])


@dataclass(frozen=True)
class Tree:
    """Node 0 is the root. `parent`, `symbol`: of each node; `repeats`: its symbol is its parent's too; `ends`: the node at
    which each text ends, in the order given."""

    parent: Ints
    symbol: Ints
    repeats: NDArray[np.bool_]
    ends: Ints


def tree(texts: Sequence[Symbols]) -> Tree:
    children: dict[tuple[int, int], int] = {}
    parent, symbol, ends = [0], [-1], []
    for text in texts:
        node = 0
        for sound in text:
            found = children.get((node, sound))
            if found is None:
                found = len(parent)
                children[(node, sound)] = found
                parent.append(node)
                symbol.append(sound)
            node = found
        ends.append(node)
    parents, symbols = np.array(parent, np.int64), np.array(symbol, np.int64)
    return Tree(parents, symbols, (symbols == symbols[parents]) & (parents > 0), np.array(ends, np.int64))


@dataclass(frozen=True)
class Walked:
    """Probability of each text's sounds over the frames so far, divided by exp(`scale`) of the frame: (frames + 1, texts),
    the last frame a sound (`sounding`) or none (`silent`). `scale`: (frames + 1,) log."""

    sounding: Floats
    silent: Floats
    scale: Floats

    def whole(self) -> Floats:
        """Log-probability of each text over all frames."""
        total = self.sounding[-1] + self.silent[-1]
        out: Floats = np.where(total > _TINY, np.log(np.maximum(total, _TINY)) + self.scale[-1], NEVER)
        return out


def walk_frames(frames: Frames, texts: Tree, keep: bool = False, before: Floats | None = None) -> Walked:
    """`keep`: keep every frame, otherwise only the last. `before`: a text may begin at any frame, where this is the
    log-probability of what came before it: (frames + 1,)."""
    count, nodes, ends = len(frames.blank), len(texts.parent), texts.ends
    sounding, silent = np.zeros(nodes), np.zeros(nodes)
    silent[0] = 1.0
    emitted, arriving, waiting = np.empty(nodes), np.empty(nodes), np.empty(nodes)
    columns, apart = np.maximum(texts.symbol, 0), (~texts.repeats).astype(float)
    rows = count + 1 if keep else min(count, 1) + 1
    kept_sounding, kept_silent, scales = np.zeros((rows, len(ends))), np.zeros((rows, len(ends))), np.zeros(rows)
    kept_silent[0] = silent[ends]
    scale = 0.0
    for at in range(count):  # into arrays that are there already: new ones for every frame took as long as the sums
        np.take(frames.symbols[at], columns, out=emitted, mode="clip")
        np.take(sounding, texts.parent, out=arriving, mode="clip")
        np.take(silent, texts.parent, out=waiting, mode="clip")
        arriving *= apart
        arriving += waiting
        arriving += sounding
        arriving *= emitted
        arriving[0] = 0.0
        silent += sounding
        silent *= frames.blank[at]
        if before is not None:
            silent[0] = np.exp(before[at + 1] - scale)
        sounding, arriving = arriving, sounding
        top = max(float(sounding.max()), float(silent.max()), _TINY)
        sounding /= top
        silent /= top
        scale += float(np.log(top))
        if keep or at == count - 1:
            row = at + 1 if keep else 1
            np.take(sounding, ends, out=kept_sounding[row], mode="clip")
            np.take(silent, ends, out=kept_silent[row], mode="clip")
            scales[row] = scale
    return Walked(kept_sounding, kept_silent, scales)


def score(frames: Frames, texts: Sequence[Symbols]) -> Floats:
    """Log-probability of each text."""
    if not texts or not len(frames.blank):
        return np.full(len(texts), NEVER)
    return walk_frames(frames, tree(texts)).whole()


def met(
    beginnings: Walked, last: Ints, endings: Walked, first: Ints, which: tuple[Ints, Ints] | None = None
) -> Floats:
    """(beginnings, endings) log-probability of each beginning followed by each ending; no ending may be empty. `endings`:
    walked over the reversed frames, each text reversed. `last`, `first`: the symbol that a beginning ends with and an ending
    begins with: if they are the same, a blank frame must lie between. `which`: only these beginnings with these endings:
    (pairs,)."""
    count = len(beginnings.scale) - 1
    # frame t is the last of the beginning, frame t + 1 the first sound of the ending: count - t frames of it, reversed
    back = endings.sounding[count - np.arange(count + 1)]
    shift = beginnings.scale + endings.scale[::-1]
    top = float(shift.max())
    weight = np.exp(np.maximum(shift - top, -700.0))[:, None]
    sounding, silent = beginnings.sounding * weight, beginnings.silent * weight
    total = (sounding + silent).T @ back
    for symbol in np.intersect1d(last, first):  # the few where a blank frame must lie between
        rows, columns = np.flatnonzero(last == symbol), np.flatnonzero(first == symbol)
        total[np.ix_(rows, columns)] = silent[:, rows].T @ back[:, columns]
    total = total if which is None else total[which]
    out: Floats = np.where(total > _TINY, np.log(np.maximum(total, _TINY)) + top, NEVER)
    return out


def likeliest_labels(frames: Frames) -> Floats:
    """Log-probability of the likeliest labels up to each frame: (frames + 1,)."""
    best = np.log(np.maximum(frames.symbols.max(1), frames.blank) + 1e-30)
    return np.append(0.0, np.cumsum(best))


def freely(frames: Frames) -> Symbols:
    """The likeliest label of each frame, without repeats and blanks: what was said, as far as the frames show."""
    best = np.where(frames.symbols.max(1) > frames.blank, frames.symbols.argmax(1), -1)
    changed = np.append(True, best[1:] != best[:-1]) if len(best) else np.zeros(0, bool)
    return tuple(int(symbol) for symbol in best[changed] if symbol >= 0)
