"""Products of a few rows with one fixed matrix, over and over: what a text decoder does nearly all of its time.

numpy hands each product to a library that lays the whole matrix out anew before it multiplies; with three to sixteen rows
that takes longer than the multiplying. ONNX Runtime lays it out once, when the product is made. Measured with the base model
on two cores: a matrix of 512 by 2048 and eight rows 0.3 ms where numpy takes 0.6; an utterance at a gate heard by both
engines in two thirds to three quarters of the time (`tests.bench.products`). Results differ in the last digits.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from onnx import TensorProto

    Array = NDArray[np.float32]

Product = Callable[["Array"], "Array"]


def product(matrix: Array, offset: Array | None = None) -> Product:
    """x -> x @ matrix + offset, in single precision; `matrix` (m, n), `offset` (n,), x (rows, m). Of neither is the array
    given kept in the form it has. One thread: the matrices are small."""
    import onnxruntime
    from onnx import TensorProto, helper

    given = {"matrix": np.ascontiguousarray(matrix, np.float32)}
    nodes = [helper.make_node("MatMul", ["x", "matrix"], ["product"])]
    if offset is not None:
        given["offset"] = np.ascontiguousarray(offset, np.float32)
        nodes.append(helper.make_node("Add", ["product", "offset"], ["sum"]))
    graph = helper.make_graph(
        nodes, "product",
        [helper.make_tensor_value_info("x", TensorProto.FLOAT, ["rows", matrix.shape[0]])],
        [helper.make_tensor_value_info(nodes[-1].output[0], TensorProto.FLOAT, ["rows", matrix.shape[1]])],
        _outside(given),
    )  # fmt: skip
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 17)], ir_version=8)
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    options.add_external_initializers(list(given), [onnxruntime.OrtValue.ortvalue_from_numpy(a) for a in given.values()])
    session = onnxruntime.InferenceSession(model.SerializeToString(), options, providers=["CPUExecutionProvider"])

    def of(x: Array) -> Array:
        out: Array = session.run(None, {"x": x})[0]
        return out

    return of


def _outside(given: Mapping[str, Array]) -> list[TensorProto]:
    """As kept outside of the model, which is handed the arrays themselves: within it they would be held twice more (250 MB
    for the two models)."""
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
