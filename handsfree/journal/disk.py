"""Everything the journal asks of the file system, in one place, so that tests can replace it by a failing disk.

Rules of this file:

- What was written is on disk only after `sync` returns; a new name only after the folder's `sync_folder`.
- After a failed `sync` nobody knows what was written before it: the journal is not written any further.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Protocol

from handsfree.outputs import sync_folder


class AppendFile(Protocol):
    def write(self, data: bytes) -> None: ...

    def sync(self) -> None: ...

    def cut(self, size: int) -> None:
        """Keep only the first `size` bytes; durable when it returns."""

    def close(self) -> None: ...


class Disk(Protocol):
    """Raises OSError, as the system does."""

    def make_folder(self, path: Path) -> None: ...

    def append_to(self, path: Path, *, new: bool) -> AppendFile: ...

    def keep(self, path: Path, data: bytes) -> None:
        """A complete new file, durable with its name when it returns. FileExistsError if there is one."""

    def sync_folder(self, path: Path) -> None: ...


class RealFile:
    def __init__(self, path: Path, new: bool) -> None:
        flags = os.O_RDWR | os.O_APPEND | getattr(os, "O_BINARY", 0) | (os.O_CREAT | os.O_EXCL if new else 0)
        self._fd = os.open(path, flags, 0o644)

    def write(self, data: bytes) -> None:
        left = memoryview(data)
        while left:
            left = left[os.write(self._fd, left) :]

    def sync(self) -> None:
        os.fsync(self._fd)

    def cut(self, size: int) -> None:
        os.ftruncate(self._fd, size)
        os.fsync(self._fd)

    def close(self) -> None:
        os.close(self._fd)


class RealDisk:
    def make_folder(self, path: Path) -> None:
        path.mkdir(parents=True)
        self.sync_folder(path.parent)

    def append_to(self, path: Path, *, new: bool) -> AppendFile:
        file = RealFile(path, new)
        if new:
            self.sync_folder(path.parent)
        return file

    def keep(self, path: Path, data: bytes) -> None:
        file = RealFile(path, new=True)
        try:
            file.write(data)
            file.sync()
        finally:
            file.close()
        self.sync_folder(path.parent)

    def sync_folder(self, path: Path) -> None:
        sync_folder(path)
