"""Copying a model out of a zip or a folder that somebody else made.

Rules of this file:

- Nothing is written outside the folder given, no link is followed or made, and only what was asked for is kept.
- A zip bomb is stopped by what actually comes out, not only by what the archive says about itself.
"""

from __future__ import annotations

import shutil
import stat
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from handsfree.errors import Trouble

_BLOCK = 1 << 20


@dataclass(frozen=True)
class UnpackLimits:
    """Generous for speech models (the largest in use are near 3 GB), far below a bomb. `ratio`: unpacked over packed,
    looked at for members of more than a megabyte."""

    files: int = 5_000
    total: int = 6 << 30
    ratio: float = 200.0


def _safe_path(name: str) -> PurePosixPath:
    """Trouble for a name that is absolute, climbs, or means something else on another system."""
    path = PurePosixPath(name)
    bad = not path.parts or path.is_absolute() or ".." in path.parts or "\\" in name or ":" in name or "\0" in name
    if bad or len(name) > 400:
        raise Trouble(f"The archive holds the name {name[:80]!r}, which points outside its own folder; it was not unpacked.")
    return path


def _checked_members(archive: zipfile.ZipFile, limits: UnpackLimits) -> Iterator[tuple[zipfile.ZipInfo, PurePosixPath]]:
    members = archive.infolist()
    if len(members) > limits.files:
        raise Trouble(f"The archive holds {len(members)} files, more than any model ({limits.files}); it was not unpacked.")
    if sum(member.file_size for member in members) > limits.total:
        raise Trouble(f"The archive would unpack to more than {limits.total >> 20} MB; it was not unpacked.")
    seen: set[str] = set()
    for member in members:
        path = _safe_path(member.filename)
        kind = stat.S_IFMT(member.external_attr >> 16)
        if kind not in (0, stat.S_IFREG, stat.S_IFDIR):
            raise Trouble(f"The archive holds a link or a device ({member.filename[:80]}); it was not unpacked.")
        if member.flag_bits & 1:
            raise Trouble("The archive is encrypted; unpack it first and add the folder.")
        if member.file_size > _BLOCK and member.file_size > limits.ratio * max(member.compress_size, 1):
            raise Trouble(f"{member.filename[:80]} in the archive is far too large when unpacked; it was not unpacked.")
        folded = str(path).casefold()
        if folded in seen:
            raise Trouble(f"The archive holds {member.filename[:80]} twice; it was not unpacked.")
        seen.add(folded)
        yield member, path


def unzip(source: Path, target: Path, limits: UnpackLimits | None = None) -> None:
    """Unpack into the folder `target`, which exists and is empty. Trouble for anything odd; the caller then deletes it."""
    limits = limits or UnpackLimits()
    try:
        with zipfile.ZipFile(source) as archive:
            members = list(_checked_members(archive, limits))
            _room(sum(member.file_size for member, _ in members), target)
            for member, path in members:
                place = target.joinpath(*path.parts)
                if member.is_dir():
                    place.mkdir(parents=True, exist_ok=True)
                    continue
                place.parent.mkdir(parents=True, exist_ok=True)
                _write(archive, member, place)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError) as error:
        raise Trouble(f"{source.name} is not a complete zip archive ({error}); fetch it again.") from None
    except OSError as error:
        raise Trouble(f"{source.name} could not be unpacked: {error.strerror or error}.") from None


def _write(archive: zipfile.ZipFile, member: zipfile.ZipInfo, place: Path) -> None:
    written = 0
    with archive.open(member) as packed, place.open("xb") as file:
        while block := packed.read(_BLOCK):
            written += len(block)
            if written > member.file_size:
                raise Trouble(f"{member.filename[:80]} is larger than the archive says; it was not unpacked.")
            file.write(block)


def copy_folder(source: Path, target: Path, limits: UnpackLimits | None = None) -> None:
    """Copy plain files into `target`. Trouble for links, devices and more than a model has."""
    limits = limits or UnpackLimits()
    total = 0
    for count, path in enumerate(sorted(source.rglob("*")), 1):
        if path.is_symlink() or not (path.is_file() or path.is_dir()):
            raise Trouble(f"{path} is a link or a device; a model folder holds plain files only.")
        total += path.stat().st_size if path.is_file() else 0
        if count > limits.files or total > limits.total:
            raise Trouble(f"{source} holds more than a model can; name the model's own folder.")
    _room(total, target)
    try:
        shutil.copytree(source, target, dirs_exist_ok=True)
    except (OSError, shutil.Error) as error:
        raise Trouble(f"{source} could not be copied: {error}.") from None


def _room(needed: int, folder: Path) -> None:
    free = shutil.disk_usage(folder).free
    if needed > free:
        raise Trouble(f"The model needs {needed >> 20} MB and the disk has {free >> 20} MB free; make room first.")
