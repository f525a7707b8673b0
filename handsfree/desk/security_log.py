"""The desk's log of who signed in, who was refused and what was changed, for whoever must find out later.

Rules of this file:

- A line is one JSON object with its time in UTC; whatever came from outside is in quotes and ASCII, so that it cannot pass
  for a line of its own.
- No password, no session, no key, and no unknown name: people type their password into the wrong field.
- The file is its owner's alone and never larger than `KEPT` times `LARGEST` bytes.
- Several processes may write it: one at a time, and each looks first whether another has begun a new file.
"""

from __future__ import annotations

import contextlib
import json
import logging
import os
from collections.abc import Iterator
from datetime import UTC, datetime
from logging.handlers import RotatingFileHandler
from pathlib import Path

from filelock import FileLock

FILE = "access.log"
LARGEST, KEPT = 10 << 20, 6
log = logging.getLogger("handsfree.desk.access")


def note(what: str, **of: str) -> None:
    """One thing that happened. `of`: who, from where, what of."""
    at = datetime.now(UTC).isoformat(timespec="milliseconds")
    log.info(json.dumps({"at": at, "what": what} | {name: value[:200] for name, value in of.items()}))


class _Own(RotatingFileHandler):
    def emit(self, record: logging.LogRecord) -> None:
        with contextlib.ExitStack() as alone:
            with contextlib.suppress(OSError):  # a line out of its turn is better than none, or than nobody signed in
                alone.enter_context(FileLock(f"{self.baseFilename}.lock"))
            if self.stream is not None and not _still(self.stream.fileno(), self.baseFilename):
                self.close()  # and is opened anew by what follows
            super().emit(record)

    def _open(self):  # type: ignore[no-untyped-def]  # as the class it extends
        stream = super()._open()
        with contextlib.suppress(OSError):
            os.chmod(self.baseFilename, 0o600)
        return stream


def _still(file: int, path: str) -> bool:
    """Is the open file the one that has this name?"""
    try:
        return os.path.samestat(os.fstat(file), os.stat(path))
    except OSError:
        return False


@contextlib.contextmanager
def kept_in(folder: Path) -> Iterator[None]:
    """All notes go to a file in `folder` for as long as this lasts."""
    folder.mkdir(mode=0o700, exist_ok=True)
    handler = _Own(folder / FILE, maxBytes=LARGEST, backupCount=KEPT - 1, encoding="ascii")
    handler.setFormatter(logging.Formatter("%(message)s"))
    log.addHandler(handler)
    log.setLevel(logging.INFO)
    before, log.propagate = log.propagate, False
    try:
        yield
    finally:
        log.propagate = before
        log.removeHandler(handler)
        handler.close()
