"""Disks that fail, in the place of `handsfree.journal.disk.RealDisk`.

Simulated, for nobody can cut the power of a test machine two thousand times. What the simulation allows is at least what a
file system may do with writes that were not synced: keep them, lose them, keep some sectors of them in any order, leave
zeros or old bytes where a sector was lost, cut anywhere.
"""

from __future__ import annotations

import errno
import os
import random
import signal
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from handsfree.journal.disk import RealDisk, RealFile

SECTOR = 128  # smaller than any real one, so that one append spans several


class PowerCut(BaseException):
    """Everything stops here."""


@dataclass
class _Held:
    durable: bytes = b""
    pending: list[bytes] = field(default_factory=list)
    named: bool = False  # its name has reached the folder on disk


class PowerDisk:
    """Keeps everything in memory; `cut_at`: the operation before which the power goes. `settle` puts on a real disk what may
    be found afterwards."""

    def __init__(self, cut_at: int) -> None:
        self.files: dict[Path, _Held] = {}
        self.folders: list[Path] = []
        self.cut_at = cut_at
        self.operations = 0

    def tick(self) -> None:
        if self.operations == self.cut_at:
            raise PowerCut
        self.operations += 1

    def make_folder(self, path: Path) -> None:
        path.mkdir(parents=True)  # the lock lives in it, for real
        self.folders.append(path)

    def append_to(self, path: Path, *, new: bool) -> PowerFile:
        held = self.files.setdefault(path, _Held() if new else _Held(path.read_bytes(), named=True))
        self.tick()
        held.named = True
        return PowerFile(self, held)

    def keep(self, path: Path, data: bytes) -> None:
        held = self.files[path] = _Held()
        self.tick()
        held.pending.append(data)
        self.tick()
        held.durable, held.pending = data, []
        self.tick()
        held.named = True

    def sync_folder(self, path: Path) -> None:
        self.tick()

    def settle(self, base: Path, onto: Path, keep: Callable[[list[bytes]], bytes]) -> None:
        """`base`: the visit's folder as the writer knew it; `onto`: where it is put."""
        for folder in self.folders:
            (onto / folder.relative_to(base)).mkdir(parents=True, exist_ok=True)
        for path, held in self.files.items():
            if held.named or random.random() < 0.5:
                (onto / path.relative_to(base)).write_bytes(held.durable + keep(held.pending))


class PowerFile:
    def __init__(self, disk: PowerDisk, held: _Held) -> None:
        self._disk, self._held = disk, held

    def write(self, data: bytes) -> None:
        self._disk.tick()
        self._held.pending.append(data)

    def sync(self) -> None:
        self._disk.tick()
        self._held.durable += b"".join(self._held.pending)
        self._held.pending = []
        self._disk.tick()

    def cut(self, size: int) -> None:
        self._disk.tick()
        self._held.durable, self._held.pending = self._held.durable[:size], []

    def close(self) -> None:
        """Nothing to let go."""


def nothing(pending: list[bytes]) -> bytes:
    return b""


def everything(pending: list[bytes]) -> bytes:
    return b"".join(pending)


def torn_at(share: float) -> Callable[[list[bytes]], bytes]:
    def keep(pending: list[bytes]) -> bytes:
        data = b"".join(pending)
        return data[: int(len(data) * share)]

    return keep


def reordered(chance: random.Random) -> Callable[[list[bytes]], bytes]:
    """Some sectors, any of them; where one is lost before one that was kept, zeros or bytes of something else."""

    def keep(pending: list[bytes]) -> bytes:
        data = b"".join(pending)
        sectors = [data[at : at + SECTOR] for at in range(0, len(data), SECTOR)]
        lost = chance.choice([lambda n: b"\x00" * n, lambda n: chance.randbytes(n), lambda n: b'{"old":1}\n'[:n].ljust(n)])
        kept = [sector if chance.random() < 0.5 else lost(len(sector)) for sector in sectors]
        return b"".join(kept[: chance.randint(0, len(kept))])

    return keep


class KillDisk(RealDisk):
    """The real disk; the process kills itself with SIGKILL before operation `kill_at`. A write is two operations, each half
    of the bytes. Syncs are counted, not done: SIGKILL loses nothing that the system was given."""

    def __init__(self, kill_at: int) -> None:
        self.kill_at = kill_at
        self.operations = 0

    def tick(self) -> None:
        if self.operations == self.kill_at:
            os.kill(os.getpid(), signal.SIGKILL)
        self.operations += 1

    def append_to(self, path: Path, *, new: bool) -> _KillFile:
        self.tick()
        return _KillFile(self, RealFile(path, new))

    def keep(self, path: Path, data: bytes) -> None:
        file = _KillFile(self, RealFile(path, new=True))
        file.write(data)
        file.sync()
        file.close()

    def sync_folder(self, path: Path) -> None:
        self.tick()


class _KillFile:
    def __init__(self, disk: KillDisk, file: RealFile) -> None:
        self._disk, self._file = disk, file

    def write(self, data: bytes) -> None:
        for half in (data[: len(data) // 2], data[len(data) // 2 :]):
            self._disk.tick()
            self._file.write(half)

    def sync(self) -> None:
        self._disk.tick()

    def cut(self, size: int) -> None:
        self._disk.tick()
        self._file.cut(size)

    def close(self) -> None:
        self._file.close()


class FailingDisk(RealDisk):
    """The real disk until operation `fail_at`; from then on every write or sync fails with `code`. `half`: the failing write
    leaves half of its bytes, as a disk does that fills up. `can_cut`: cutting a file still works (a full disk lets one; a
    read-only one does not)."""

    def __init__(self, fail_at: int, code: int, *, half: bool = False, can_cut: bool = True) -> None:
        self.fail_at, self.code, self.half, self.can_cut = fail_at, code, half, can_cut
        self.operations = 0

    def failing(self) -> bool:
        self.operations += 1
        return self.operations > self.fail_at

    def error(self) -> OSError:
        return OSError(self.code, errno.errorcode[self.code])

    def append_to(self, path: Path, *, new: bool) -> _FailingFile:
        return _FailingFile(self, RealFile(path, new))

    def keep(self, path: Path, data: bytes) -> None:
        file = _FailingFile(self, RealFile(path, new=True))
        try:
            file.write(data)
            file.sync()
        finally:
            file.close()


class _FailingFile:
    def __init__(self, disk: FailingDisk, file: RealFile) -> None:
        self._disk, self._file = disk, file

    def write(self, data: bytes) -> None:
        if self._disk.failing():
            if self._disk.half:
                self._file.write(data[: len(data) // 2])
            raise self._disk.error()
        self._file.write(data)

    def sync(self) -> None:
        if self._disk.failing():
            raise self._disk.error()

    def cut(self, size: int) -> None:
        if not self._disk.can_cut:
            raise self._disk.error()
        self._file.cut(size)

    def close(self) -> None:
        self._file.close()
