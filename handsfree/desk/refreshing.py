"""The folders read again while the desk runs."""

from __future__ import annotations

from typing import Any

from filelock import FileLock, Timeout

from handsfree.desk import database, threads
from handsfree.desk.configuration import Desk
from handsfree.desk.ingest import Refreshed, refresh
from handsfree.desk.secret_hash import hash_of


class FolderReader:
    """Of several processes of one desk one looks through the folders; where it ends, another goes on. Another desk, with its
    own database, looks for itself."""

    def __init__(self, desk: Desk) -> None:
        desk.own.mkdir(mode=0o700, exist_ok=True)
        of = hash_of(str(desk.engine.url))[:16]
        self._lock = FileLock(desk.own / f"reader-{of}.lock", timeout=0, thread_local=False)

    def __call__(self) -> bool:
        """Is it this process?"""
        try:
            if not self._lock.is_locked:
                self._lock.acquire()
        except Timeout:
            return False
        return True

    def close(self) -> None:
        self._lock.release()


def read_folders(desk: Desk) -> Refreshed:
    """The database as the folders are now; one that was deleted meanwhile is built again, with what was done about
    findings."""
    desk.own.mkdir(mode=0o700, exist_ok=True)
    with FileLock(desk.own / "reading.lock"):
        desk.look_at_keys()
        anew = database.gone(desk.engine)
        if anew:
            desk.engine.dispose()  # connections that still have the file that is no more
            database.migrate(desk.engine)
        done = refreshed(desk)
        if anew:
            threads.rebuild(desk.engine, desk.own, desk.known, desk.names_of)
    return done


def refreshed(desk: Desk, tell: Any = None) -> Refreshed:
    """The database as the folders are now, read with all that this desk knows. `tell`: as of `refresh`."""
    return refresh(
        desk.engine, desk.visits, desk.known, tell, sound_elsewhere=desk.files.elsewhere, heads=desk.heads,
        rights=desk.rights, one_in=desk.one_in, one=desk.one, names_of=desk.names_of,
    )  # fmt: skip
