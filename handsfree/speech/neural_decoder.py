"""Whisper's text decoder, run over a tree of texts at once.

The decoder is written here because scoring many texts against one sound is a different job from
decoding: a library batches whole sentences, each with its own copy of the sound's keys and values, while texts that begin
alike need their beginning only once and all share the one sound. `Decoder.listen` projects the sound once; `Sound.extend`
then takes any number of (parent, token) pairs and gives each one's distribution over the next token.

The network is that of Radford et al., "Robust Speech Recognition via Large-Scale Weak Supervision" (2022): pre-norm
transformer, learned positions, tied output. Scores agree with CTranslate2's to rounding
(tests/speech/test_whisper_decoder.py).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from handsfree.speech.neural_product import EPSILON, feed_forward, product

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from handsfree.speech.neural_product import Product
    from handsfree.speech.neural_weights import Weights

    Array = NDArray[np.float32]
    Index = NDArray[np.int64]

_DEEPEST = 128  # tokens, the prompt's among them; no sentence of one utterance is longer


class Decoder:
    """Holds the weights, laid out for multiplication from the right. Shared by every `Sound`; never changed."""

    def __init__(self, weights: Weights, heads: int) -> None:
        self.heads = heads
        # Half precision, as it is stored: the largest matrix by far, of which few rows are ever looked up.
        self.embedding = weights["embeddings/weight"].astype(np.float16)
        self.positions: Array = weights["position_encodings/encodings"]
        self.width = int(self.embedding.shape[1])
        self.vocabulary = int(self.embedding.shape[0])
        count = sum(1 for name in weights if name.endswith("/ffn/linear_0/weight"))
        self.layers = [_Layer(weights, f"layer_{number}") for number in range(count)]
        self.last_norm = (weights["layer_norm/gamma"], weights["layer_norm/beta"])

        self._usual: tuple[Index, Product] | None = None

    def outlet(self, usual: Index, besides: Iterable[int] = ()) -> Outlet:
        """The tokens that may be written: `usual`, the same at every call, whose matrix is laid out once, and a few more."""
        if self._usual is None or self._usual[0] is not usual:
            self._usual = usual, product(self.embedding[usual].astype(np.float32).T)
        more = np.array(sorted(set(besides) - set(usual.tolist())), np.int64)
        rows: Array = self.embedding[more].astype(np.float32)
        return Outlet(np.concatenate([usual, more]), self._usual[1], rows.T, self.vocabulary)

    def listen(self, encoded: Array, prompt: Sequence[int], outlet: Outlet | None = None) -> Sound:
        """`encoded`: (frames, width), the encoder's output for one sound. `prompt`: tokens before the text. `outlet`: the
        tokens that may be written, every one where None."""
        return Sound(self, encoded, prompt, outlet or self.outlet(np.arange(self.vocabulary)))


class Outlet:
    """The tokens a text may be written with, and the matrices that score them. Most of a vocabulary is names and other
    languages: leaving them out takes a third off a pass."""

    def __init__(self, tokens: Index, usual: Product, more: Array, vocabulary: int) -> None:
        self.tokens = tokens
        self._usual, self._more = usual, more
        self._columns: Index = np.full(vocabulary, -1, np.int64)
        self._columns[tokens] = np.arange(len(tokens))

    def column(self, tokens: Index) -> Index:
        """Where each token stands in the scores; -1 for one that may not be written."""
        out: Index = self._columns[tokens]
        return out

    def logits(self, x: Array) -> Array:
        usual = self._usual(x)
        return np.concatenate([usual, x @ self._more], axis=-1) if self._more.size else usual


class _Layer:
    def __init__(self, weights: Weights, name: str) -> None:
        def linear(part: str) -> tuple[Array, Array]:
            return weights[f"{name}/{part}/weight"].T, weights[f"{name}/{part}/bias"]

        def norm(part: str) -> tuple[Array, Array]:
            return weights[f"{name}/{part}/layer_norm/gamma"], weights[f"{name}/{part}/layer_norm/beta"]

        self.self_norm, self.cross_norm = norm("self_attention"), norm("attention")
        self.self_in, self.self_out = (product(*linear(f"self_attention/linear_{n}")) for n in range(2))
        self.cross_q, self.cross_kv, self.cross_out = (product(*linear(f"attention/linear_{n}")) for n in range(3))
        self.feed_forward = feed_forward(norm("ffn"), linear("ffn/linear_0"), linear("ffn/linear_1"))


def _norm(x: Array, scale: tuple[Array, Array]) -> Array:
    centred = x - x.mean(-1, keepdims=True)
    variance = np.mean(centred * centred, -1, keepdims=True)
    out: Array = centred / np.sqrt(variance + EPSILON) * scale[0] + scale[1]
    return out


def _softmax(x: Array) -> Array:
    e = np.exp(x - x.max(-1, keepdims=True))
    out: Array = e / e.sum(-1, keepdims=True)
    return out


class Sound:
    """One sound, and the tree of texts tried on it. Node 0 is the end of the prompt."""

    def __init__(self, decoder: Decoder, encoded: Array, prompt: Sequence[int], outlet: Outlet) -> None:
        self._d = decoder
        self.outlet = outlet
        self._cross = [self._project(layer, encoded) for layer in decoder.layers]
        self._room = 256 + len(prompt)
        shape = (len(decoder.layers), 2, self._room, decoder.width)
        self._memory: Array = np.empty(shape, np.float32)
        self._lineage: Index = np.zeros((self._room, _DEEPEST), np.int64)
        self._depth: Index = np.zeros(self._room, np.int64)
        nodes = np.arange(len(prompt))
        self._count = len(prompt)
        self._depth[nodes] = nodes
        self._lineage[nodes, : len(prompt)] = nodes[None, :]
        self.first = self._ahead(nodes, np.array(prompt), last=1)
        self.root = len(prompt) - 1

    def _project(self, layer: _Layer, encoded: Array) -> tuple[Array, Array]:
        heads, width = self._d.heads, self._d.width
        both = layer.cross_kv(encoded).reshape(len(encoded), 2, heads, width // heads)
        # (heads, size, frames) and (heads, frames, size), so that each head is one matrix product
        return np.ascontiguousarray(both[:, 0].transpose(1, 2, 0)), np.ascontiguousarray(both[:, 1].transpose(1, 0, 2))

    def extend(self, parents: Index, tokens: Index) -> tuple[Index, Array]:
        """Grow each parent (a node's number) by one token.

        Returns the new nodes' numbers, (n,), and the natural-log probability of every next token of the outlet,
        (n, outlet)."""
        nodes = self._admit(parents)
        return nodes, self._ahead(nodes, tokens)

    def _ahead(self, nodes: Index, tokens: Index, last: int = 0) -> Array:
        d = self._d
        x: Array = d.embedding[tokens].astype(np.float32) + d.positions[self._depth[nodes]]
        for number, layer in enumerate(d.layers):
            x = x + self._look_back(number, layer, _norm(x, layer.self_norm), nodes)
            x = x + self._look_at_sound(number, layer, _norm(x, layer.cross_norm))
            x = x + layer.feed_forward(x)
        logits = self.outlet.logits(_norm(x[-last:], d.last_norm))
        top = logits.max(-1, keepdims=True)
        logits -= top + np.log(np.exp(logits - top).sum(-1, keepdims=True))
        out: Array = logits
        return out

    def _admit(self, parents: Index) -> Index:
        need = self._count + len(parents)
        while need > self._room:
            self._memory = np.concatenate([self._memory, np.empty_like(self._memory)], axis=2)
            self._lineage = np.concatenate([self._lineage, np.zeros_like(self._lineage)])
            self._depth = np.concatenate([self._depth, np.zeros_like(self._depth)])
            self._room *= 2
        nodes = np.arange(self._count, need)
        self._count = need
        self._depth[nodes] = self._depth[parents] + 1
        self._lineage[nodes] = self._lineage[parents]
        self._lineage[nodes, self._depth[nodes]] = nodes
        return nodes

    def _look_back(self, number: int, layer: _Layer, x: Array, nodes: Index) -> Array:
        heads, width = self._d.heads, self._d.width
        size = width // heads
        query, key, value = np.split(layer.self_in(x), 3, axis=-1)
        memory = self._memory[number]
        memory[0, nodes], memory[1, nodes] = key, value
        depths = self._depth[nodes]
        length = int(depths.max()) + 1
        line = self._lineage[nodes, :length]
        keys = memory[0][line].reshape(len(nodes), length, heads, size)
        values = memory[1][line].reshape(len(nodes), length, heads, size)
        fit = np.einsum("nhs,ndhs->nhd", query.reshape(-1, heads, size), keys) / np.float32(size**0.5)
        later = np.arange(length)[None, :] > depths[:, None]
        weight = _softmax(np.where(later[:, None, :], np.float32(-1e9), fit))
        return layer.self_out(np.einsum("nhd,ndhs->nhs", weight, values).reshape(-1, width))

    def _look_at_sound(self, number: int, layer: _Layer, x: Array) -> Array:
        heads, width = self._d.heads, self._d.width
        size = width // heads
        query = layer.cross_q(x).reshape(-1, heads, size).transpose(1, 0, 2)
        keys, values = self._cross[number]
        weight = _softmax((query @ keys) / np.float32(size**0.5))
        return layer.cross_out((weight @ values).transpose(1, 0, 2).reshape(-1, width))
