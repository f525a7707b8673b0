"""The walk over texts, on a made-up model small enough to enumerate."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.speech.neural_search import FREE, Alphabet, TrieNode, search

END = 4


class Everything:
    """Stands in for `neural_decoder.Outlet`: every token may be written, in its own column."""

    def column(self, tokens: Any) -> Any:
        return tokens


class Toy:
    """Distribution over five tokens (4 ends) drawn from the text so far. Stands in for `neural_decoder.Sound`."""

    outlet = Everything()

    def __init__(self, seed: int) -> None:
        self.seed, self.texts = seed, [()]
        self.root, self.first = 0, self._ahead([()])

    def _ahead(self, texts: list[tuple[int, ...]]) -> Any:
        rows = [np.random.default_rng([self.seed, *(t + 1 for t in text)]).normal(0, 2, 5) for text in texts]
        return np.array([row - np.log(np.exp(row).sum()) for row in rows], np.float32)

    def extend(self, parents: Any, tokens: Any) -> Any:
        texts = [(*self.texts[int(p)], int(t)) for p, t in zip(parents, tokens, strict=True)]
        self.texts += texts
        return np.arange(len(self.texts) - len(texts), len(self.texts)), self._ahead(texts)

    def score(self, text: tuple[int, ...]) -> float:
        return sum(float(self._ahead([text[:at]])[0][token]) for at, token in enumerate((*text, END)))


phrases = st.sets(st.lists(st.integers(0, 3), min_size=1, max_size=4).map(tuple), min_size=1, max_size=6)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000), phrases)
def test_every_phrase_within_reach_has_its_own_score(seed: int, wanted: set[tuple[int, ...]]) -> None:
    trie = TrieNode()
    for phrase in wanted:
        trie.add(phrase)
    found = {f.tokens: f.score for f in search(Toy(seed), trie, {}, END, reach=1e6) if "phrase" in f.kinds}
    toy = Toy(seed)
    best = max(toy.score(phrase) for phrase in wanted)
    for phrase in wanted:
        if all(toy.score(phrase[:n]) > best - 8 for n in range(len(phrase) + 1)):
            assert phrase in found
    for phrase, score in found.items():
        assert phrase in wanted
        assert abs(score - toy.score(phrase)) < 1e-4


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000))
def test_the_best_free_text_is_found_when_the_beam_is_wide(seed: int) -> None:
    toy = Toy(seed)
    alphabets = {FREE: Alphabet(np.arange(4), 64, 3, 1e6)}
    found = [f for f in search(toy, TrieNode(), alphabets, END, reach=1e6) if f.ended]
    texts = [text for n in (1, 2) for text in itertools.product(range(4), repeat=n)]
    assert abs(found[0].score - max(toy.score(f.tokens) for f in found)) < 1e-4
    assert found[0].score >= max(toy.score(text) for text in texts) - 10.0
    for finish in found:
        assert abs(finish.score - toy.score(finish.tokens)) < 1e-4


def test_a_text_that_says_itself_again_is_dropped() -> None:
    from handsfree.speech.neural_search import _loops

    assert _loops((1, 2, 3, 9, 1, 2, 3))
    assert not _loops((1, 2, 1, 2))
    assert not _loops((7, 7, 7, 7))
