"""A few rows by one fixed matrix, by numpy and as the decoders do it, side by side: `python -m tests.bench.products`.

The shapes are those of the base model's decoder: into and out of a layer, and the tokens that may be written. One thread
each, in turns; printed are the medians and their ratio, and the greatest difference of the results.
"""

from __future__ import annotations

import time
from functools import partial
from typing import Any

import numpy as np
from threadpoolctl import threadpool_limits

from handsfree.speech.neural_product import Product, product

SHAPES = ((512, 512), (512, 1536), (512, 2048), (2048, 512), (512, 20_000))
ROWS = (3, 8, 16, 200)  # the free decode alone, a usual level, the widest, the frames of a sound
TURNS = 30
MATRICES = 60e6  # bytes of them in turn: one alone would stay in the processor's memory, as it does not in a decoder


def multiplied(matrix: Any, x: Any) -> Any:
    return x @ matrix


def milliseconds(times: Product, x: Any) -> float:
    began = time.perf_counter()
    times(x)
    return 1000 * (time.perf_counter() - began)


def main() -> None:
    random = np.random.default_rng(1)
    threadpool_limits(1, user_api="blas")
    print("    matrix  rows   numpy      here   ratio  difference")
    for size, width in SHAPES:
        count = round(MATRICES / (4 * size * width))
        matrices = [random.standard_normal((size, width)).astype(np.float32) for _ in range(count)]
        theirs: list[Product] = [partial(multiplied, matrix) for matrix in matrices]
        ours = [product(matrix) for matrix in matrices]
        for rows in ROWS:
            x = random.standard_normal((rows, size)).astype(np.float32)
            pairs = list(zip(theirs, ours, strict=True))
            turns = [(milliseconds(a, x), milliseconds(b, x)) for _ in range(TURNS) for a, b in pairs]
            numpy, here = np.median(np.array(turns), axis=0)
            off = max(float(np.abs(a(x) - b(x)).max()) for a, b in pairs)
            print(f"{size:5}x{width:5} {rows:4} {numpy:7.3f} ms {here:7.3f} ms {here / numpy:6.2f} {off:10.1e}", flush=True)


if __name__ == "__main__":
    main()
