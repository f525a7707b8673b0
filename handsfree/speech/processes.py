"""Hearing in other processes."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from handsfree.speech.recogniser import Recogniser

_THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


@contextmanager
def arithmetic_threads(number: int) -> Iterator[None]:
    """Processes begun in this block have so many threads of arithmetic. They must be fresh ones: the library reads the
    number when it is loaded."""
    kept = {name: os.environ.get(name) for name in _THREADS}
    os.environ.update(dict.fromkeys(_THREADS, str(number)))
    try:
        yield
    finally:
        for name, value in kept.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


@cache
def recogniser_here(engine: str | None, language: str, models: str) -> Recogniser:
    """That of this process, built once. Trouble as of `build_recogniser`."""
    from handsfree.speech.recogniser import build_recogniser

    return build_recogniser(engine, language, Path(models))
