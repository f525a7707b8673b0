"""Every text that matters, scored against one sound, one level of the tree at a time.

Three kinds of text share one walk: phrases written out in full (a trie), texts built freely from a small alphabet of tokens
(numbers, lock digits), and the model's own free decode (the alphabet of everything). A beginning that several kinds share
is evaluated once. Since log-probabilities only fall as a text grows, a beginning that is already `reach` nats below the best
finished text cannot come back and is dropped.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from handsfree.speech.neural_decoder import Outlet, Sound

if TYPE_CHECKING:
    from numpy.typing import NDArray

FREE = "free"
_WIDEST_LEVEL = 16
_LEVEL_REACH = 10.0  # nats below the best beginning of the same length at which a beginning is given up


@dataclass
class TrieNode:
    """`final`: a whole text ends here. `then`: alphabets from which the text may go on."""

    children: dict[int, TrieNode] = field(default_factory=dict)
    final: bool = False
    then: tuple[str, ...] = ()

    def add(self, tokens: Iterable[int], then: tuple[str, ...] = ()) -> None:
        """A text in full, or with `then` the beginning of texts that go on freely."""
        node = self
        for token in tokens:
            node = node.children.setdefault(token, TrieNode())
        if then:
            node.then = tuple(sorted({*node.then, *then}))
        else:
            node.final = True

    def tokens(self) -> Iterator[int]:
        """Of every text below here, some more than once."""
        for token, child in self.children.items():
            yield token
            yield from child.tokens()


@dataclass(frozen=True)
class Alphabet:
    """Tokens that may follow each other in any order. `width`: beginnings kept a level. `most`: tokens at most.
    `reach`: nats below the best finished text at which a beginning is given up."""

    tokens: NDArray[np.int64]
    width: int
    most: int
    reach: float


@dataclass(frozen=True)
class Finish:
    """A finished text with the natural-log probability of its tokens and of its end. `kinds`: 'phrase' and alphabets it
    belongs to.
    `ended` False: cut off at the alphabet's `most` (only the free decode keeps those)."""

    tokens: tuple[int, ...]
    score: float
    kinds: frozenset[str]
    ended: bool = True


@dataclass
class _Begun:
    parent: int
    token: int
    tokens: tuple[int, ...]
    score: float
    trie: TrieNode | None = None
    loose: set[str] = field(default_factory=set)


def search(sound: Sound, trie: TrieNode, alphabets: Mapping[str, Alphabet], end: int, reach: float) -> list[Finish]:
    """All finished texts within `reach` nats of the best, best first. `alphabets['free']` starts at the root, others
    where the trie says."""
    found: list[Finish] = []
    root = _Begun(-1, -1, (), 0.0, trie, {FREE, *trie.then} & set(alphabets))
    column = sound.outlet.column
    columns = {name: column(alphabet.tokens) for name, alphabet in alphabets.items()}
    last = int(column(np.array([end]))[0])
    level, nodes, ahead = [root], np.array([sound.root]), sound.first
    for _ in range(max((alphabet.most for alphabet in alphabets.values()), default=32)):
        found += _ends(level, ahead, last)
        level = _grow(level, nodes, ahead, alphabets, sound.outlet, columns, _floor(found, reach), reach)
        if not level:
            break
        parents, tokens = np.array([b.parent for b in level]), np.array([b.token for b in level])
        nodes, ahead = sound.extend(parents, tokens)
    else:
        found += [Finish(b.tokens, b.score, frozenset({FREE}), ended=False) for b in level if FREE in b.loose]
    lowest = _floor(found, reach)
    return sorted((f for f in found if f.score >= lowest), key=lambda f: -f.score)


def _floor(found: Sequence[Finish], reach: float) -> float:
    return max((f.score for f in found), default=-np.inf) - reach


def _ends(level: Sequence[_Begun], ahead: NDArray[np.float32], end: int) -> list[Finish]:
    """`end`: the column of the end token."""
    out = []
    for row, begun in enumerate(level):
        kinds = {name for name in begun.loose if begun.tokens}
        if begun.trie is not None and begun.trie.final:
            kinds.add("phrase")
        if kinds:
            out.append(Finish(begun.tokens, begun.score + float(ahead[row, end]), frozenset(kinds)))
    return out


def _grow(
    level: Sequence[_Begun], nodes: NDArray[np.int64], ahead: NDArray[np.float32],
    alphabets: Mapping[str, Alphabet], outlet: Outlet, columns: Mapping[str, NDArray[np.int64]], lowest: float, reach: float,
) -> list[_Begun]:  # fmt: skip
    """The next level: every child of the trie within reach, and the best of each alphabet."""
    grown: dict[tuple[int, int], _Begun] = {}

    def begin(row: int, token: int, score: float) -> _Begun:
        key = (int(nodes[row]), token)
        if key not in grown:
            grown[key] = _Begun(key[0], token, (*level[row].tokens, token), score)
        return grown[key]

    for name, alphabet in alphabets.items():
        rows = [row for row, begun in enumerate(level) if name in begun.loose and len(begun.tokens) < alphabet.most]
        for row, token, score in _best(rows, level, ahead, alphabet, columns[name]):
            if score > lowest + reach - alphabet.reach and not _loops((*level[row].tokens, token)):
                begin(row, token, score).loose.add(name)
    best = max((b.score for b in grown.values()), default=-np.inf)
    lowest = max(lowest, best - min(reach, _LEVEL_REACH))
    for row, begun in enumerate(level):
        children = begun.trie.children if begun.trie is not None else {}
        scores = ahead[row, outlet.column(np.fromiter(children, np.int64, len(children)))] if children else ()
        for (token, child), gain in zip(children.items(), scores, strict=True):
            score = begun.score + float(gain)
            if score > lowest:
                new = begin(row, token, score)
                new.trie = child
                new.loose |= set(child.then) & set(alphabets)
    return sorted((b for b in grown.values() if b.score > lowest), key=lambda b: -b.score)[:_WIDEST_LEVEL]


def _loops(tokens: tuple[int, ...]) -> bool:
    """The text has begun to say itself again: what the model does when it misses the end of the sound."""
    return any(tokens[start:] == tokens[: len(tokens) - start] for start in range(3, len(tokens) - 2))


def _best(
    rows: Sequence[int], level: Sequence[_Begun], ahead: NDArray[np.float32], alphabet: Alphabet, columns: NDArray[np.int64]
) -> list[tuple[int, int, float]]:
    """`columns`: where the alphabet's tokens stand in `ahead`."""
    if not rows:
        return []
    sofar = np.array([level[row].score for row in rows], np.float32)
    scores = ahead[np.ix_(np.array(rows), columns)] + sofar[:, None]
    flat = scores.ravel()
    keep = np.argpartition(-flat, min(alphabet.width, flat.size) - 1)[: alphabet.width]
    width = len(alphabet.tokens)
    return [(rows[int(k) // width], int(alphabet.tokens[int(k) % width]), float(flat[k])) for k in keep]
