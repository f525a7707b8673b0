"""Small graphs of ONNX, written as the bytes that ONNX Runtime reads.

Only what the neural engine needs of the format: float tensors, named operators, their attributes, arrays handed over beside
the graph. Field numbers are those of onnx.proto3 (onnx.ai, `onnx/onnx.proto`, IR version 9, from memory; the tests hold the
bytes to the `onnx` package's own reader and checker). Writing them takes these lines, the package that writes them 31 MB.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.float32]

Run = Callable[["Array"], "Array"]
_OPSET, _FORMAT = 20, 9  # Gelu is an operator from this set on
_FLOAT, _INT64, _EXTERNAL = 1, 7, 1
_IS_FLOAT, _IS_INT, _IS_INTS = 1, 2, 7  # kinds of attribute


@dataclass(frozen=True)
class Node:
    """One operator. `inputs` and `out` are names; an attribute is a float, a whole number or a list of them."""

    operator: str
    inputs: tuple[str, ...]
    out: str
    attributes: Mapping[str, float | int | list[int]] = field(default_factory=dict)


@dataclass(frozen=True)
class OnnxGraph:
    """`given`: arrays by name, handed to the session beside the graph. `shapes`: small lists of whole numbers by name, for
    operators that want a shape. `first`, `last`: name and dimensions of what goes in and comes out; a name stands for a
    dimension that may be anything."""

    nodes: Sequence[Node]
    given: Mapping[str, Array]
    first: tuple[str, tuple[int | str, ...]]
    last: tuple[str, tuple[int | str, ...]]
    shapes: Mapping[str, list[int]] = field(default_factory=dict)


def session(graph: OnnxGraph) -> Run:
    """What the graph makes of an array. One thread: the matrices are small. It keeps copies of the arrays.
    An array of another shape or precision raises the library's InvalidArgument."""
    import onnxruntime

    arrays = {name: np.ascontiguousarray(array, np.float32) for name, array in graph.given.items()}
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    # Copied here, and so the only copy: a graph that contains its arrays would hold them twice more.
    options.add_external_initializers(list(arrays), [onnxruntime.OrtValue.ortvalue_from_numpy(a) for a in arrays.values()])
    made = onnxruntime.InferenceSession(written(graph), options, providers=["CPUExecutionProvider"])
    name = graph.first[0]

    def run(x: Array) -> Array:
        out: Array = made.run(None, {name: x})[0]
        return out

    return run


def written(graph: OnnxGraph) -> bytes:
    """The graph as a ModelProto's bytes."""
    held = [_array(name, array) for name, array in graph.given.items()]
    held += [_shape(name, values) for name, values in graph.shapes.items()]
    inside = b"".join(
        [*(_part(1, _node(node)) for node in graph.nodes), _text(2, "graph"), *(_part(5, one) for one in held),
         _part(11, _end(*graph.first)), _part(12, _end(*graph.last))]
    )  # fmt: skip
    return _whole(1, _FORMAT) + _part(7, inside) + _part(8, _text(1, "") + _whole(2, _OPSET))


def _node(node: Node) -> bytes:
    named = b"".join(_text(1, name) for name in node.inputs) + _text(2, node.out) + _text(4, node.operator)
    return named + b"".join(_part(5, _attribute(name, value)) for name, value in node.attributes.items())


def _attribute(name: str, value: float | int | list[int]) -> bytes:
    if isinstance(value, list):
        return _text(1, name) + b"".join(_whole(8, one) for one in value) + _whole(20, _IS_INTS)
    if isinstance(value, float):
        return _text(1, name) + _key(2, 5) + struct.pack("<f", value) + _whole(20, _IS_FLOAT)
    return _text(1, name) + _whole(3, value) + _whole(20, _IS_INT)


def _array(name: str, array: Array) -> bytes:
    """Name, shape and size only."""
    told = (("location", name), ("offset", "0"), ("length", str(array.size * 4)))
    beside = b"".join(_part(13, _text(1, key) + _text(2, value)) for key, value in told)
    dims = b"".join(_whole(1, size) for size in array.shape)
    return dims + _whole(2, _FLOAT) + _text(8, name) + beside + _whole(14, _EXTERNAL)


def _shape(name: str, values: list[int]) -> bytes:
    raw = np.array(values, "<i8").tobytes()
    return _whole(1, len(values)) + _whole(2, _INT64) + _text(8, name) + _part(9, raw)


def _end(name: str, dims: tuple[int | str, ...]) -> bytes:
    sizes = b"".join(_part(1, _text(2, one) if isinstance(one, str) else _whole(1, one)) for one in dims)
    return _text(1, name) + _part(2, _part(1, _whole(1, _FLOAT) + _part(2, sizes)))


# Protocol buffers' wire format (protobuf.dev, "Encoding", from memory): a key, then a number or a length and its bytes.


def _key(number: int, kind: int) -> bytes:
    return _number(number << 3 | kind)


def _number(value: int) -> bytes:
    value &= (1 << 64) - 1  # a negative one as its two's complement
    out = bytearray()
    while True:
        low, value = value & 0x7F, value >> 7
        out.append(low | 0x80 if value else low)
        if not value:
            return bytes(out)


def _whole(number: int, value: int) -> bytes:
    return _key(number, 0) + _number(value)


def _part(number: int, inside: bytes) -> bytes:
    return _key(number, 2) + _number(len(inside)) + inside


def _text(number: int, text: str) -> bytes:
    return _part(number, text.encode())
