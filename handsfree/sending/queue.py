"""The queue of what is still to be sent, on the device's disk. It survives a restart, a crash or a battery that dies.

Rules of this file:

- A visit has a row for each desk it goes to, found by its folder. Its sound and words are not in here; nor is the key.
- The file may be deleted at any time: the desk stores a visit only once, even if it is sent again.
- `due` is in seconds of the epoch, so that it outlives the process; one that lies absurdly far ahead (the clock was set
  back) counts as due now.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from handsfree.desk.marks import mark_of
from handsfree.errors import Trouble

WAITING, STORED, REFUSED = "waiting", "stored", "refused"
#: No honest `due` lies so many seconds ahead.
_ABSURD = 86_400.0
_SHAPE = """
CREATE TABLE IF NOT EXISTS sends (
    id INTEGER PRIMARY KEY,
    folder TEXT NOT NULL,
    destination TEXT NOT NULL,
    mark TEXT NOT NULL,
    state TEXT NOT NULL,
    tries INTEGER NOT NULL DEFAULT 0,
    due REAL NOT NULL DEFAULT 0,
    why TEXT NOT NULL DEFAULT '',
    UNIQUE (folder, destination)
)
"""


@dataclass(frozen=True)
class QueueEntry:
    """`mark`: what the folder looked like when the visit was queued, or when it was stored. `tries`: failures in a row.
    `why`: a sentence on the last failure."""

    id: int
    folder: Path
    destination: str
    mark: str
    state: str
    tries: int
    due: float
    why: str


class Queue:
    """The queue in the file `place`. Trouble if the file cannot be made, or is something else."""

    def __init__(self, place: Path) -> None:
        self.place = place
        try:
            place.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise Trouble(f"The queue of visits to send cannot be kept in {place.parent}: {error.strerror}.") from None
        with self._change() as change:
            change.execute(_SHAPE)

    @contextmanager
    def _change(self) -> Iterator[sqlite3.Connection]:
        """One transaction, on disk when it is over. Each has its own connection: no thread or crash leaves one half open."""
        connection = None
        try:
            connection = sqlite3.connect(self.place, timeout=30)
            connection.row_factory = sqlite3.Row
            connection.execute("PRAGMA synchronous=FULL")
            with connection:
                yield connection
        except sqlite3.DatabaseError as error:
            raise Trouble(
                f"The queue {self.place} cannot be used ({error}). It holds no visit, only what is to be sent: check the "
                "disk, or delete the file and send again."
            ) from None
        finally:
            if connection is not None:
                connection.close()

    # ---- in ---------------------------------------------------------------------------------------------------------

    def settled(self, folder: Path, destination: str) -> QueueEntry | None:
        """The row of a visit that was stored or refused and has not changed since."""
        row = self.find(folder, destination)
        return row if row is not None and row.state != WAITING and row.mark == mark_of(folder) else None

    def add(self, folder: Path, destination: str) -> None:
        """Queues a visit to be sent now. One that waits already keeps its row, but is due at once."""
        with self._change() as change:
            change.execute(
                "INSERT INTO sends (folder, destination, mark, state) VALUES (?, ?, ?, ?) ON CONFLICT DO UPDATE SET "
                "mark = excluded.mark, state = excluded.state, tries = 0, due = 0",
                (str(folder.resolve()), destination, mark_of(folder), WAITING),
            )

    # ---- out --------------------------------------------------------------------------------------------------------

    def find(self, folder: Path, destination: str) -> QueueEntry | None:
        with self._change() as change:
            where = (str(folder.resolve()), destination)
            found = change.execute("SELECT * FROM sends WHERE folder = ? AND destination = ?", where).fetchone()
            return None if found is None else _row(found)

    def rows(self, destination: str | None = None) -> list[QueueEntry]:
        with self._change() as change:
            found = change.execute("SELECT * FROM sends ORDER BY id").fetchall()
        return [_row(each) for each in found if destination in (None, each["destination"])]

    def first(self, destination: str, now: float) -> QueueEntry | None:
        """The waiting one that is due first; its `due` may lie ahead. None where nothing waits."""
        with self._change() as change:
            found = change.execute(
                "SELECT id, folder, destination, mark, state, tries, iif(due > ?, 0.0, due) AS due, why FROM sends "
                "WHERE destination = ? AND state = ? ORDER BY 7, id LIMIT 1",
                (now + _ABSURD, destination, WAITING),
            ).fetchone()
            return None if found is None else _row(found)

    # ---- what came of it --------------------------------------------------------------------------------------------

    def stored(self, row: QueueEntry, mark: str, apart: str = "") -> None:
        """`mark`: the folder's mark before it was read to be sent. `apart`: why the desk keeps it in quarantine."""
        self._set(row, STORED, mark, 0, 0.0, apart)

    def refused(self, row: QueueEntry, mark: str, why: str) -> None:
        self._set(row, REFUSED, mark, row.tries, 0.0, why)

    def later(self, row: QueueEntry, tries: int, due: float, why: str, everyone: bool) -> None:
        """`everyone`: the line is bad, so nothing for this desk is tried before then."""
        self._set(row, WAITING, row.mark, tries, due, why)
        if everyone:
            with self._change() as change:
                change.execute(
                    "UPDATE sends SET due = max(due, ?) WHERE destination = ? AND state = ?", (due, row.destination, WAITING)
                )

    def _set(self, row: QueueEntry, state: str, mark: str, tries: int, due: float, why: str) -> None:
        with self._change() as change:
            change.execute(
                "UPDATE sends SET state = ?, mark = ?, tries = ?, due = ?, why = ? WHERE id = ?",
                (state, mark, tries, due, why, row.id),
            )


def _row(found: sqlite3.Row) -> QueueEntry:
    return QueueEntry(
        found["id"], Path(found["folder"]), found["destination"], found["mark"], found["state"], found["tries"],
        found["due"], found["why"],
    )  # fmt: skip
