"""Whether anything in a visit's folder was written since: seen by names, sizes and times, without reading it."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Mapping
from pathlib import Path

from handsfree.journal.reader import ATTACHED, JOURNAL, SOUND
from handsfree.journal.rights import NO_RIGHTS, Rights


def mark_of(folder: Path, *, moved: bool = True) -> str:
    """Names, sizes and times of a visit's files as one hash: it changes if anything was written. Without `moved` it also
    changes if the files were copied or linked, or somebody set their time back: nobody can set the time of such a change
    (ctime)."""
    found = hashlib.sha256()
    for kind, names in (("", [JOURNAL]), *((kind, _names(f"{folder}/{kind}")) for kind in (SOUND, ATTACHED))):
        for name in names:
            try:
                stat = os.stat(f"{folder}/{kind}/{name}")  # not `Path`: a fleet's desk looks at millions, over and over
            except OSError:
                continue
            since = "" if moved else stat.st_ctime_ns
            found.update(f"{name}\0{stat.st_size}\0{stat.st_mtime_ns}\0{since}".encode())
    return found.hexdigest()


def _names(place: str) -> list[str]:
    try:
        return sorted(os.listdir(place))
    except OSError:
        return []


def judged_by(folder: Path, known: Mapping[str, str] | None, rights: Rights = NO_RIGHTS) -> int:
    """The mark together with the keys that signatures are checked with, as a number of 63 bits: the database's copy of a
    visit is valid as long as this does not change."""
    keys = "".join(f"{key}\0{device}\0" for key, device in sorted((known or {}).items()))
    keys += "".join(f"{key}\0{gone.device}\0{gone.wall}\0" for key, gone in sorted(rights.withdrawn.items()))
    keys += "".join(f"{key}\0may remove\0" for key in sorted(rights.removers))
    return int.from_bytes(hashlib.sha256(f"{mark_of(folder)}\0{keys}".encode()).digest()[:8]) >> 1
