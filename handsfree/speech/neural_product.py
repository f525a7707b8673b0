"""Products of a few rows with one fixed matrix, over and over: what a text decoder does nearly all of its time.

numpy hands each product to a library that lays the whole matrix out anew before it multiplies; with three to sixteen rows
that takes longer than the multiplying. ONNX Runtime lays it out once, when the product is made. Measured on two cores
(`tests.bench.products`): a matrix of 512 by 2048 and eight rows 0.3 ms where numpy takes 0.7. With it an utterance at a gate
is heard by both engines in seven tenths of the time (tests/bench/results/hearing-log.md). Results differ in the last digits.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

from handsfree.speech.graphs import Node, OnnxGraph, session

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Array = NDArray[np.float32]

Product = Callable[["Array"], "Array"]
Linear = tuple["Array", "Array"]  # a matrix and its offset

EPSILON = 1e-5  # under the root of a norm: as Whisper was trained
_ATTRIBUTES: dict[str, dict[str, float | int | list[int]]] = {"LayerNormalization": {"epsilon": EPSILON}}


def product(matrix: Array, offset: Array | None = None) -> Product:
    """x -> x @ matrix + offset; `matrix` (m, n), `offset` (n,), x (rows, m), all float32. It keeps copies of the
    arrays. One thread: the matrices are small. An x of another shape or precision raises the library's
    InvalidArgument."""
    given, steps = {"matrix": matrix}, [("MatMul", ("x", "matrix"))]
    if offset is not None:
        given["offset"] = offset
        steps.append(("Add", ("", "offset")))
    return _chain(steps, given, matrix.shape)


def feed_forward(norm: Linear, up: Linear, down: Linear) -> Product:
    """x -> gelu(normed(x) @ up + its offset) @ down + its offset, x (rows, m): the part of a transformer's layer that looks
    at one place alone. `norm`: scale and offset, (m,); `up` (m, n), `down` (n, m), each with its offset. Gelu by the error
    function. As `product` for the rest."""
    given = {
        "scale": norm[0], "shift": norm[1], "up": up[0], "up offset": up[1], "down": down[0], "down offset": down[1],
    }  # fmt: skip
    steps = [
        ("LayerNormalization", ("x", "scale", "shift")), ("MatMul", ("", "up")), ("Add", ("", "up offset")), ("Gelu", ("",)),
        ("MatMul", ("", "down")), ("Add", ("", "down offset")),
    ]  # fmt: skip
    return _chain(steps, given, (up[0].shape[0], down[0].shape[1]))


def _chain(steps: Sequence[tuple[str, tuple[str, ...]]], given: Mapping[str, Array], shape: tuple[int, ...]) -> Product:
    """Operators of ONNX one after the other, '' for what came of the one before; (rows, shape[0]) to (rows, shape[1])."""
    nodes, last = [], "x"
    for number, (operator, inputs) in enumerate(steps):
        out = f"after {number}"
        nodes.append(Node(operator, tuple(name or last for name in inputs), out, _ATTRIBUTES.get(operator, {})))
        last = out
    return session(OnnxGraph(nodes, given, ("x", ("rows", shape[0])), (last, ("rows", shape[1]))))
