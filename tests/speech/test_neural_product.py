"""Products by the library against numpy's."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from pathlib import Path
from threading import Thread

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import erf

from handsfree.errors import Trouble
from handsfree.speech.neural_product import feed_forward, product
from handsfree.speech.recogniser import build_recogniser

Numbers = Callable[..., np.ndarray]


def numbers_of(seed: int) -> Numbers:
    random = np.random.default_rng(seed)
    return lambda *shape: random.standard_normal(shape).astype(np.float32)


numbers = numbers_of(4)
SIZES = st.integers(1, 70)


@given(rows=st.integers(0, 40), size=SIZES, width=SIZES, offset=st.booleans(), tall=st.booleans(), seed=st.integers(0, 999))
def test_it_is_the_product_and_the_sum(rows: int, size: int, width: int, offset: bool, tall: bool, seed: int) -> None:
    drawn = numbers_of(seed)
    matrix = drawn(width, size).T if tall else drawn(size, width)
    more, x = drawn(width) if offset else None, drawn(rows, size)
    wanted = x.astype(np.float64) @ matrix + (more if more is not None else 0)
    assert np.allclose(product(matrix, more)(x), wanted, rtol=0, atol=1e-4)


def test_feeding_forward_is_norm_product_gelu_and_product() -> None:
    norm, up, down = (numbers(24), numbers(24)), (numbers(24, 96), numbers(96)), (numbers(96, 24), numbers(24))
    x = numbers(7, 24)
    x[3] *= 0.003  # hardly any variance: what stands under the root shows
    wide = x.astype(np.float64)
    normed = (wide - wide.mean(1, keepdims=True)) / np.sqrt(wide.var(1, keepdims=True) + 1e-5) * norm[0] + norm[1]
    between = normed @ up[0] + up[1]
    wanted = 0.5 * between * (1 + erf(between / np.sqrt(2))) @ down[0] + down[1]
    assert np.abs(feed_forward(norm, up, down)(x) - wanted).max() < 1e-4


def test_what_is_done_to_the_arrays_afterwards_does_nothing() -> None:
    matrix, offset, x = numbers(64, 48), numbers(48), numbers(5, 64)
    times = product(matrix, offset)
    before = times(x)
    matrix[:], offset[:] = 0, 0
    assert np.array_equal(times(x), before)


def test_threads_may_share_one() -> None:
    times, sounds = product(numbers(256, 300)), [numbers(rows, 256) for rows in range(1, 9)]
    wanted, right = [times(x) for x in sounds], []

    def work(number: int) -> None:
        right.extend(np.array_equal(times(sounds[number]), wanted[number]) for _ in range(50))

    threads = [Thread(target=work, args=(number,)) for number in range(len(sounds))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert right == [True] * 50 * len(sounds)


def test_what_is_missing_is_told_before_anything_is_heard(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """And not by an engine that fails at every word."""
    there = importlib.util.find_spec
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None if name == "onnxruntime" else there(name))
    with pytest.raises(Trouble, match="need onnxruntime, not installed"):
        build_recogniser(None, "en", tmp_path)
    assert build_recogniser("pocketsphinx", "en", tmp_path).name == "pocketsphinx"
