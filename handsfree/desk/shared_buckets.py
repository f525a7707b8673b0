"""How often somebody may ask, counted by several processes together: in a file that all of them map."""

from __future__ import annotations

import fcntl
import hashlib
import mmap
import os
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from handsfree.desk.configuration import Buckets

#: The beginning of a name's hash, what was left, and when (the monotonic clock, which all processes of a machine share).
_SLOT = struct.Struct("<Qdd")
#: A name has its place in one row; where a row is full, the one that asked longest ago gives way.
ROWS, WAYS = 4096, 8


class SharedBuckets(Buckets):
    def __init__(self, path: Path) -> None:
        super().__init__()
        self._file = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
        os.ftruncate(self._file, ROWS * WAYS * _SLOT.size)
        self._map = mmap.mmap(self._file, ROWS * WAYS * _SLOT.size)

    @contextmanager
    def _alone(self) -> Iterator[None]:
        """Not `filelock`, which takes longer: this is passed twice with every request."""
        with self._lock:
            fcntl.flock(self._file, fcntl.LOCK_EX)
            try:
                yield
            finally:
                fcntl.flock(self._file, fcntl.LOCK_UN)

    def _get(self, name: str) -> tuple[float, float] | None:
        key, row = self._place(name)
        for way in range(WAYS):
            found, left, since = _SLOT.unpack_from(self._map, row + way * _SLOT.size)
            if found == key:
                return left, since
        return None

    def _put(self, name: str, left: float, since: float) -> None:
        key, row = self._place(name)
        slots = [(row + way * _SLOT.size, _SLOT.unpack_from(self._map, row + way * _SLOT.size)) for way in range(WAYS)]
        at = next((at for at, slot in slots if slot[0] == key), None)
        if at is None:
            at = min(slots, key=lambda one: (one[1][0] != 0, one[1][2]))[0]
        _SLOT.pack_into(self._map, at, key, left, since)

    def _place(self, name: str) -> tuple[int, int]:
        digest = hashlib.sha256(name.encode("utf-8", "replace")).digest()
        row = int.from_bytes(digest[8:12]) % ROWS
        return int.from_bytes(digest[:8]) or 1, row * WAYS * _SLOT.size
