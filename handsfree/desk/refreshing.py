"""The folders read again while the desk runs."""

from __future__ import annotations

import threading
from typing import Any

from handsfree.desk import database, threads
from handsfree.desk.configuration import Desk
from handsfree.desk.ingest import Refreshed, refresh

_one_builds = threading.Lock()


def read_folders(desk: Desk) -> Refreshed:
    """The database as the folders are now; one that was deleted meanwhile is built again, with what was done about
    findings."""
    with _one_builds:
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
        removers=desk.removers, one_in=desk.one_in, one=desk.one, names_of=desk.names_of,
    )  # fmt: skip
