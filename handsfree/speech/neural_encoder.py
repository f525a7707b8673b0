"""Whisper's encoder: two convolutions and a few layers of attention over the log-mel spectrogram of one sound.

The network is that of Radford et al., "Robust Speech Recognition via Large-Scale Weak Supervision" (2022): pre-norm
transformer, fixed sine positions, no mask. It runs in ONNX Runtime, in full precision, on a window as long as the sound
wants. What it gives agrees with CTranslate2's to rounding (tests/speech/test_neural_encoder.py).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from handsfree.speech.graphs import Node, OnnxGraph, session
from handsfree.speech.neural_product import EPSILON

if TYPE_CHECKING:
    from handsfree.speech.graphs import Array, Run
    from handsfree.speech.neural_weights import Weights

_NORM: dict[str, float | int | list[int]] = {"epsilon": EPSILON, "axis": -1}


def encoder(weights: Weights, heads: int) -> Run:
    """`weights`: those under 'encoder/' of a model.bin. The function takes a log-mel spectrogram (1, 80, frames), frames
    even and at most 3,000, and gives (1, frames / 2, width), float32."""
    bands, width = int(weights["conv1/weight"].shape[1]), int(weights["conv1/weight"].shape[0])
    count = sum(1 for name in weights if name.endswith("/ffn/linear_0/weight"))
    build = _Build(weights, heads, width)
    x = build.sound()
    for number in range(count):
        x = build.layer(f"layer_{number}", x)
    build.norm("layer_norm", x, "encoded")
    first, last = ("mel", (1, bands, "frames")), ("encoded", (1, "places", width))
    return session(OnnxGraph(build.nodes, build.given, first, last, build.shapes))


class _Build:
    """Nodes and arrays of one graph, written down one after the other."""

    def __init__(self, weights: Weights, heads: int, width: int) -> None:
        self.weights = weights
        self.nodes: list[Node] = []
        self.given: dict[str, Array] = {}
        size = width // heads
        self.shapes = {
            "parted": [1, -1, heads, size], "joined": [1, -1, width], "zero": [0], "one": [1], "two": [2],
        }  # fmt: skip
        self.given["shrink"] = np.full((1,), size**-0.25, np.float32)  # of both sides of a product: it stays small

    def node(self, operator: str, *inputs: str, out: str = "", **attributes: float | int | list[int]) -> str:
        out = out or f"{operator.lower()} {len(self.nodes)}"
        self.nodes.append(Node(operator, inputs, out, attributes))
        return out

    def array(self, name: str, value: Array) -> str:
        self.given[name] = value
        return name

    def sound(self) -> str:
        """Places of 20 ms from frames of 10 ms, their positions added."""
        x = "mel"
        for name, stride in (("conv1", 1), ("conv2", 2)):
            kernel = self.array(f"{name} kernel", self.weights[f"{name}/weight"])
            offset = self.array(f"{name} offset", self.weights[f"{name}/bias"])
            x = self.node("Gelu", self.node("Conv", x, kernel, offset, strides=[stride], pads=[1, 1]))
        x = self.node("Transpose", x, perm=[0, 2, 1])
        places = self.node("Slice", self.node("Shape", x), "one", "two")
        encodings = self.weights["position_encodings/encodings"]
        all_of_them = self.array("positions", encodings.reshape(1, *encodings.shape[-2:]))
        return self.node("Add", x, self.node("Slice", all_of_them, "zero", places, "one"))

    def layer(self, name: str, x: str) -> str:
        return self.feed_forward(f"{name}/ffn", self.attention(f"{name}/self_attention", x))

    def attention(self, name: str, x: str) -> str:
        normed = self.norm(f"{name}/layer_norm", x)
        both, bias = self.weights[f"{name}/linear_0/weight"], self.weights[f"{name}/linear_0/bias"]
        thirds = zip("qkv", np.split(both, 3), np.split(bias, 3), strict=True)
        query, key, value = (self.linear(f"{name} {part}", normed, matrix, offset) for part, matrix, offset in thirds)
        fit = self.node("MatMul", self.heads(query, [0, 2, 1, 3], True), self.heads(key, [0, 2, 3, 1], True))
        seen = self.node("MatMul", self.node("Softmax", fit, axis=-1), self.heads(value, [0, 2, 1, 3], False))
        joined = self.node("Reshape", self.node("Transpose", seen, perm=[0, 2, 1, 3]), "joined")
        last = f"{name}/linear_1"
        out = self.linear(f"{name} out", joined, self.weights[f"{last}/weight"], self.weights[f"{last}/bias"])
        return self.node("Add", x, out)

    def heads(self, x: str, order: list[int], shrink: bool) -> str:
        turned = self.node("Transpose", self.node("Reshape", x, "parted"), perm=order)
        return self.node("Mul", turned, "shrink") if shrink else turned

    def feed_forward(self, name: str, x: str) -> str:
        up, down = f"{name}/linear_0", f"{name}/linear_1"
        normed = self.norm(f"{name}/layer_norm", x)
        wide = self.node("Gelu", self.linear(up, normed, self.weights[f"{up}/weight"], self.weights[f"{up}/bias"]))
        return self.node("Add", x, self.linear(down, wide, self.weights[f"{down}/weight"], self.weights[f"{down}/bias"]))

    def linear(self, name: str, x: str, matrix: Array, offset: Array) -> str:
        product = self.node("MatMul", x, self.array(f"{name} matrix", matrix.T))
        return self.node("Add", product, self.array(f"{name} offset", offset))

    def norm(self, name: str, x: str, out: str = "") -> str:
        scale = self.array(f"{name} scale", self.weights[f"{name}/gamma"])
        shift = self.array(f"{name} shift", self.weights[f"{name}/beta"])
        return self.node("LayerNormalization", x, scale, shift, out=out, **_NORM)
