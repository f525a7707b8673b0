"""Throws away what C libraries write to standard error while a stream is open. The program's own lines still get through.

ALSA prints a line for each underrun, PortAudio one for each failed attempt. The program counts both and tells them in better
ways, and such a line in the middle of the status screen, or of what a visit prints, helps nobody. The libraries write to the
file descriptor, Python to an object. So the object is moved to a copy of the descriptor, and the descriptor leads nowhere.
"""

from __future__ import annotations

import io
import os
import sys
import threading
from typing import Any

_lock = threading.Lock()
_wanted = 0  # how many want it
_kept: tuple[int, Any, Any] | None = None  # copy of the descriptor, Python's stream before, and meanwhile


def hush() -> None:
    """Hush the libraries until `unhush` has been called as often. Does nothing where there is no standard error."""
    global _wanted, _kept
    with _lock:
        _wanted += 1
        if _wanted > 1:
            return
        try:
            copy = os.dup(2)
        except OSError:
            return
        ours = _moved(copy)
        _kept = (copy, sys.stderr, ours)
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 2)
        os.close(nowhere)
        if ours is not None:
            sys.stderr = ours


def unhush() -> None:
    global _wanted, _kept
    with _lock:
        _wanted -= 1
        if _wanted or _kept is None:
            return
        copy, before, ours = _kept
        _kept = None
        os.dup2(copy, 2)
        if ours is not None:
            ours.flush()
            if sys.stderr is ours:
                sys.stderr = before
        os.close(copy)


def _moved(copy: int) -> Any:
    """Python's standard error on the copy; None where it does not write to the descriptor anyway (the status screen's)."""
    now = sys.stderr
    try:
        if not isinstance(now, io.TextIOWrapper) or now.fileno() != 2:
            return None
        now.flush()
    except (OSError, ValueError):
        return None
    return open(copy, "w", buffering=1, encoding=now.encoding, errors=now.errors, closefd=False)
