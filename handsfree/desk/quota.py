"""How much of the desk's disk one sender may use for visits that it has begun to send and not finished.

Rules of this file:

- It counts what was announced, not what arrived: a sender cannot exceed it half-way through a visit.
- The count needs no upkeep: an upload that was stored, refused or deleted no longer counts, because its folder says so.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Quota:
    """`uploads`: unfinished ones of a sender at once; `size`: bytes they announce together; `spare`: bytes that stay free on
    the disk whatever is sent."""

    uploads: int = 50
    size: int = 16 << 30
    spare: int = 256 << 20

    def over(self, begun: UploadsBegun, size: int) -> str:
        """Why `size` more bytes may not be begun, as a sentence for a person; '' if they may."""
        there = begun.sizes()
        if len(there) >= self.uploads:
            return (f"This device has {len(there)} half-sent visits here, and may have {self.uploads}; finish sending one "
                    "of those first.")
        if there and sum(there) + size > self.size:
            return (f"This device has {_gb(sum(there))} of half-sent visits here; with this one it would exceed the "
                    f"{_gb(self.size)} it may have. Finish sending one of those first.")
        # Twice: while a visit is verified, it is there as parts and as a folder.
        if shutil.disk_usage(begun.disk).free < 2 * size + self.spare:
            return "The desk's disk has too little space for this visit; somebody at the desk must free some."
        return ""


@dataclass(frozen=True)
class UploadsBegun:
    """What one sender has begun: a file for each upload in `folder`, holding the bytes it announced. `disk`: a folder on the
    disk they go to. `unfinished` says whether an upload still is."""

    folder: Path
    disk: Path
    unfinished: Callable[[str], bool]

    def sizes(self) -> list[int]:
        found = []
        for path in self.folder.iterdir() if self.folder.is_dir() else ():
            if self.unfinished(path.name):
                found.append(int(path.read_text() or 0))
            else:
                path.unlink(missing_ok=True)
        return found

    def add(self, upload: str, size: int) -> None:
        self.folder.mkdir(parents=True, exist_ok=True)
        (self.folder / upload).write_text(str(size))


def _gb(size: int) -> str:
    return f"{size / 1e9:.1f} GB"
