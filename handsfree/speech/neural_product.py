"""Products of a few rows with one fixed matrix, over and over: what a text decoder does nearly all of its time.

numpy hands each product to a library that lays the whole matrix out anew before it multiplies; with three to sixteen rows
that takes longer than the multiplying. ONNX Runtime lays it out once, when the product is made. Measured on two cores
(`tests.bench.products`): a matrix of 512 by 2048 and eight rows 0.3 ms where numpy takes 0.7. With it an utterance at a gate
is heard by both engines in seven tenths of the time (tests/bench/results/hearing-log.md). Results differ in the last digits.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from onnx import TensorProto

    Array = NDArray[np.float32]

Product = Callable[["Array"], "Array"]
Linear = tuple["Array", "Array"]  # a matrix and its offset

_OPSET, _FORMAT = 20, 9  # of ONNX: Gelu is an operator from the first on
EPSILON = 1e-5  # under the root of a norm: as Whisper was trained
_ATTRIBUTES = {"LayerNormalization": {"epsilon": EPSILON}}


def product(matrix: Array, offset: Array | None = None) -> Product:
    """x -> x @ matrix + offset; `matrix` (m, n), `offset` (n,), x (rows, m), all float32. What is done to the arrays later
    does nothing to it. One thread: the matrices are small. An x of another shape or precision raises the library's
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
    import onnxruntime
    from onnx import TensorProto, helper

    arrays = {name: np.ascontiguousarray(array, np.float32) for name, array in given.items()}
    nodes, last = [], "x"
    for number, (operator, inputs) in enumerate(steps):
        out = f"after {number}"
        attributes: dict[str, Any] = _ATTRIBUTES.get(operator, {})
        nodes.append(helper.make_node(operator, [name or last for name in inputs], [out], **attributes))
        last = out
    ends = zip(("x", last), shape, strict=True)
    first, final = (helper.make_tensor_value_info(name, TensorProto.FLOAT, ["rows", width]) for name, width in ends)
    graph = helper.make_graph(nodes, "product", [first], [final], _external(arrays))
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", _OPSET)], ir_version=_FORMAT)
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    # Copied here, and so the only copy: a test changes the arrays afterwards.
    options.add_external_initializers(list(arrays), [onnxruntime.OrtValue.ortvalue_from_numpy(a) for a in arrays.values()])
    session = onnxruntime.InferenceSession(model.SerializeToString(), options, providers=["CPUExecutionProvider"])

    def multiply(x: Array) -> Array:
        out: Array = session.run(None, {"x": x})[0]
        return out

    return multiply


def _external(given: Mapping[str, Array]) -> list[TensorProto]:
    """Names, shapes and sizes only, for a model whose arrays are handed to the session beside it: a model that contains them
    would hold them twice more (250 MB for the two decoders)."""
    from onnx import TensorProto

    tensors = []
    for name, array in given.items():
        tensor = TensorProto(
            name=name, data_type=TensorProto.FLOAT, dims=array.shape, data_location=TensorProto.EXTERNAL
        )
        for key, value in (("location", name), ("offset", "0"), ("length", str(array.nbytes))):
            tensor.external_data.add(key=key, value=value)
        tensors.append(tensor)
    return tensors
