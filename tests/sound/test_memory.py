"""What the C library held on to is given back."""

from __future__ import annotations

import os
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
