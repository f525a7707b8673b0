"""What the C library held on to is given back."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from handsfree.sound.memory import give_back


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="resident memory is read from /proc")
def test_memory_freed_between_pieces_still_held_is_given_back() -> None:
    """Small blocks, so that they come from the heap, every hundredth kept, so that the heap cannot shrink from its top."""

    def resident() -> int:
        return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")

    blocks = [bytes([1]) * 30_000 for _ in range(4000)]
    kept = blocks[::100]
    del blocks
    before = resident()
    give_back()
    assert len(kept) == 40
    assert resident() < before - 50_000_000


RESERVES = """
import ctypes, sys, threading
from handsfree.sound.memory import share
if sys.argv[1] == "shared":
    share()
libc = ctypes.CDLL(None)
libc.malloc.restype = ctypes.c_void_p
together = threading.Barrier(6)
def work():
    together.wait()
    for _ in range(20):
        libc.malloc(20_000)
    together.wait()
threads = [threading.Thread(target=work) for _ in range(6)]
[thread.start() for thread in threads]
[thread.join() for thread in threads]
libc.malloc_info(0, ctypes.c_void_p.in_dll(libc, "stdout"))
libc.fflush(None)
"""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="glibc's malloc_info")
def test_threads_share_their_reserves() -> None:
    def heaps(how: str) -> int:
        done = subprocess.run([sys.executable, "-c", RESERVES, how], capture_output=True, text=True, check=True)
        return done.stdout.count("<heap nr=")

    assert heaps("shared") <= 2 < heaps("each its own")
