"""Spreads work over the cores of this machine or over a Dask cluster: same function, same answers, in any order."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from importlib import import_module
from itertools import islice
from typing import Any, TypeVar
from urllib.parse import urlsplit

from handsfree.errors import Trouble
from handsfree.speech.processes import arithmetic_threads

W = TypeVar("W")
A = TypeVar("A")
#: Tasks per thread given to a cluster ahead of its answers: enough to keep it busy, few enough to hold in memory.
AHEAD = 8
#: Seconds within which a scheduler must answer, and within which a worker must be there.
WAIT = 20.0


def on_cores(do: Callable[[W], A], work: Sequence[W], jobs: int | None = None) -> Iterator[A]:
    """Works in `jobs` fresh processes, by default one a core, each with one thread of arithmetic. Trouble if one dies."""
    from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
    from concurrent.futures.process import BrokenProcessPool
    from multiprocessing import get_context

    jobs = jobs or os.cpu_count() or 1
    todo, few = iter(work), min(jobs, max(1, len(work)))
    try:
        with arithmetic_threads(1), ProcessPoolExecutor(few, mp_context=get_context("spawn")) as pool:
            waiting = {pool.submit(do, each) for each in islice(todo, 2 * jobs)}
            while waiting:
                done, waiting = wait(waiting, return_when=FIRST_COMPLETED)
                for future in done:
                    yield future.result()
                    waiting |= {pool.submit(do, each) for each in islice(todo, 1)}
    except BrokenProcessPool:
        raise Trouble("One of the processes was killed, perhaps because memory ran out; try again with --jobs 1.") from None


def on_cluster(do: Callable[[W], A], work: Sequence[W], address: str) -> Iterator[A]:
    """Works on the workers of the Dask scheduler at `address`. If a worker is lost, others do its work. Trouble where the
    scheduler cannot be reached or has no worker."""
    try:
        distributed: Any = import_module("distributed")
    except ImportError:
        raise Trouble("A cluster needs the package distributed; install it with: pip install 'handsfree[cluster]'") from None
    if urlsplit(address).scheme not in ("tcp", "tls"):
        raise Trouble(f"'{address[:100]}' is not the address of a scheduler; give one like tcp://192.0.2.1:8786 or tls://…")
    try:
        client = distributed.Client(address, timeout=WAIT, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        raise Trouble(f"The scheduler at {address} cannot be reached ({type(error).__name__}); is it running?") from None
    with client:
        threads = _threads(client, address)
        todo = iter(work)

        def given(count: int) -> list[Any]:
            return [client.submit(do, each, pure=False) for each in islice(todo, count)]

        waiting = distributed.as_completed(given(AHEAD * threads), loop=client.loop)
        for future in waiting:
            yield _result(future)
            future.release()
            waiting.update(given(1))


def _threads(client: Any, address: str) -> int:
    """The threads of all workers together, at least 1."""
    try:
        client.wait_for_workers(1, timeout=WAIT)
    except TimeoutError:
        raise Trouble(f"The scheduler at {address} has no worker; start one: dask worker {address} --nthreads 1") from None
    return max(1, int(sum(client.nthreads().values())))


def _result(future: Any) -> Any:
    from distributed import KilledWorker
    from distributed.client import FutureCancelledError

    try:
        return future.result()
    except KilledWorker:
        raise Trouble("One task crashed several workers, perhaps because memory ran out; see the logs.") from None
    except (FutureCancelledError, OSError) as error:
        raise Trouble(f"The scheduler is gone ({type(error).__name__}); start again when it is back.") from None
