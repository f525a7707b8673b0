"""Files that are written whole or not at all; those that a person names, never over a part of a visit's record."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from handsfree.errors import Trouble

_JOURNAL = "journal.jsonl"
_BESIDE = ("sound", "attached")


def spare_the_record(to: Path) -> None:
    """Trouble where `to` is, or would stand among, what a visit's record is made of."""
    place = Path(os.path.realpath(to))
    visit = place.parent.parent if place.parent.name in _BESIDE else place.parent
    part = place.parent.name in _BESIDE or place.name.startswith("journal.")
    if part and (visit / _JOURNAL).is_file():
        raise Trouble(f"{to} belongs to the record of a visit, which must not be overwritten; give another name.")


def save(to: Path, make: Callable[[], bytes | Iterable[bytes]]) -> None:
    """Whole or not at all. Trouble as of `save_by`."""

    def write(path: Path) -> None:
        made = make()
        with path.open("wb") as out:
            for part in [made] if isinstance(made, bytes) else made:
                out.write(part)

    save_by(to, write)


def save_by(to: Path, write: Callable[[Path], Any]) -> None:
    """`write` is given a file beside `to` that takes its place when it is whole. Trouble where that cannot be."""
    if not to.name or to.is_dir():
        raise Trouble(f"{to} is a folder, not a file. Give the name of the file to write.")
    if to.exists() and not to.is_file():  # a device or a pipe: a file would take its place
        raise Trouble(f"{to} is not an ordinary file. Give the name of the file to write.")
    spare_the_record(to)
    part = to.with_name(f".{to.name}.part")
    try:
        write(part)
        os.replace(part, to)
    except OSError as error:
        raise Trouble(f"{to} cannot be written: {error.strerror or error}. Choose another place.") from None
    finally:
        with contextlib.suppress(OSError):  # also where the folder it should stand in is a file
            part.unlink()


def kind_of(to: Path, known: tuple[str, ...], what: str) -> str:
    """The ending of the name, in small letters. Trouble where it is none of `known`."""
    if to.suffix.lower() not in known:
        raise Trouble(f"{what} can be written as {' or '.join(known)}; give the file such a name, not '{to.name}'.")
    return to.suffix.lower()


def replace_file(path: Path, data: bytes, mode: int = 0o644) -> None:
    """The whole new content or the whole old one, whatever happens in between. OSError where it cannot be written."""
    handle, part = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(part, mode)
        os.replace(part, path)
    except BaseException:
        Path(part).unlink(missing_ok=True)
        raise
    sync_folder(path.parent)


def sync_folder(path: Path) -> None:
    """A name that was put into it is on disk when this returns. OSError where the system cannot."""
    if os.name == "nt":  # Windows has no handle of a folder to flush; NTFS journals the name itself
        return
    fd = os.open(path, os.O_RDONLY)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)
