"""Products by the library against numpy's."""

from __future__ import annotations

from threading import Thread

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import erf

pytest.importorskip("onnxruntime")

from handsfree.speech.neural_product import feed_forward, product

RANDOM = np.random.default_rng(4)


def numbers(*shape: int) -> np.ndarray:
    return RANDOM.standard_normal(shape).astype(np.float32)


@given(rows=st.integers(1, 40), size=st.integers(1, 70), width=st.integers(1, 70), offset=st.booleans(), tall=st.booleans())
def test_it_is_the_product_and_the_sum(rows: int, size: int, width: int, offset: bool, tall: bool) -> None:
    matrix = numbers(width, size).T if tall else numbers(size, width)
    more, x = numbers(width) if offset else None, numbers(rows, size)
    wanted = x.astype(np.float64) @ matrix + (more if more is not None else 0)
    assert np.abs(product(matrix, more)(x) - wanted).max() < 1e-4


def test_feeding_forward_is_norm_product_gelu_and_product() -> None:
    norm, up, down = (numbers(24), numbers(24)), (numbers(24, 96), numbers(96)), (numbers(96, 24), numbers(24))
    x = numbers(7, 24)
    wide = x.astype(np.float64)
    normed = (wide - wide.mean(1, keepdims=True)) / np.sqrt(wide.var(1, keepdims=True) + 1e-5) * norm[0] + norm[1]
    between = normed @ up[0] + up[1]
    wanted = 0.5 * between * (1 + erf(between / np.sqrt(2))) @ down[0] + down[1]
    assert np.abs(feed_forward(norm, up, down)(x) - wanted).max() < 1e-3


def test_what_is_done_to_the_arrays_afterwards_does_nothing() -> None:
    matrix, offset, x = numbers(64, 48), numbers(48), numbers(5, 64)
    times = product(matrix, offset)
    before = times(x)
    matrix[:], offset[:] = 0, 0
    assert np.array_equal(times(x), before)


def test_threads_may_share_one() -> None:
    times, given = product(numbers(256, 300)), [numbers(rows, 256) for rows in range(1, 9)]
    wanted, wrong = [times(x) for x in given], []

    def work(number: int) -> None:
        wrong.extend(number for _ in range(50) if not np.array_equal(times(given[number]), wanted[number]))

    threads = [Thread(target=work, args=(number,)) for number in range(len(given))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not wrong
