"""Graphs as bytes, read by the package that defines the format."""

from __future__ import annotations

import numpy as np
import onnx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.speech.graphs import Node, OnnxGraph, session, written

NODES = (
    Node("Conv", ("x", "kernel"), "a", {"strides": [2], "pads": [1, 1]}),
    Node("Transpose", ("a",), "b", {"perm": [0, 2, 1]}),
    Node("LayerNormalization", ("b", "scale", "shift"), "c", {"epsilon": 1e-5, "axis": -1}),
    Node("Reshape", ("c", "flat"), "y"),
)


def graph(bands: int = 3, width: int = 4) -> OnnxGraph:
    random = np.random.default_rng(bands)
    given = {
        "kernel": random.standard_normal((width, bands, 3)).astype(np.float32), "scale": np.ones(width, np.float32),
        "shift": np.zeros(width, np.float32),
    }
    return OnnxGraph(NODES, given, ("x", (1, bands, "frames")), ("y", ("rows", width)), {"flat": [-1, width]})


def test_the_reader_of_the_format_finds_what_was_written() -> None:
    model = onnx.load_model_from_string(written(graph()))
    assert model.ir_version == 9
    assert model.opset_import[0].version == 20
    assert [node.op_type for node in model.graph.node] == [node.operator for node in NODES]
    told = {one.name: onnx.helper.get_attribute_value(one) for node in model.graph.node for one in node.attribute}
    assert told == {"strides": [2], "pads": [1, 1], "perm": [0, 2, 1], "epsilon": pytest.approx(1e-5), "axis": -1}
    arrays = {one.name: list(one.dims) for one in model.graph.initializer}
    assert arrays == {"kernel": [4, 3, 3], "scale": [4], "shift": [4], "flat": [2]}
    flat = next(one for one in model.graph.initializer if one.name == "flat")
    assert onnx.numpy_helper.to_array(flat).tolist() == [-1, 4]
    dims = [dim.dim_param or dim.dim_value for dim in model.graph.input[0].type.tensor_type.shape.dim]
    assert dims == [1, 3, "frames"]


def test_the_checker_of_the_format_has_nothing_to_say() -> None:
    """It wants arrays inside the model: they are put there for it."""
    model = onnx.load_model_from_string(written(graph()))
    for one in model.graph.initializer:
        if one.name in graph().given:
            one.CopyFrom(onnx.numpy_helper.from_array(graph().given[one.name], one.name))
    onnx.checker.check_model(model, full_check=True)


@given(frames=st.integers(2, 60), bands=st.integers(1, 5))
def test_it_computes_what_its_operators_say(frames: int, bands: int) -> None:
    made = graph(bands)
    x = np.random.default_rng(frames).standard_normal((1, bands, frames)).astype(np.float32)
    padded = np.pad(x[0], ((0, 0), (1, 1)))
    windows = np.lib.stride_tricks.sliding_window_view(padded, 3, axis=1)[:, ::2]  # bands, places, 3
    wide = np.einsum("bpk,wbk->pw", windows, made.given["kernel"]).astype(np.float64)
    wanted = (wide - wide.mean(1, keepdims=True)) / np.sqrt(wide.var(1, keepdims=True) + 1e-5)
    assert np.abs(session(made)(x) - wanted).max() < 1e-3
