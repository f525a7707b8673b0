"""An archive of hundreds, cheaply: the season's visits put in again under other names, days and cabinets. Their rows are
whole; their folders are not there."""

from __future__ import annotations

import copy
import hashlib
from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta

from handsfree.desk.configuration import Desk
from handsfree.desk.ingest import put
from handsfree.desk.readout import ReadOut, machine, read_out
from tests.desk.made import Made

DAY = 86_400.0


def outs_of(season: Made) -> list[ReadOut]:
    return [read_out(folder, None, machine()) for folder in season.folders.values()]


def multiplied(outs: Sequence[ReadOut], count: int) -> Iterator[ReadOut]:
    """`count` visits, one a day into the past, ten cabinets a site."""
    for number in range(count):
        yield copied(outs[number % len(outs)], number, -(1 + number), f"MK-{number % 50}")


def copied(out: ReadOut, number: int, days: int, cabinet: str) -> ReadOut:
    """The same visit so many days later at another cabinet, under a name of its own."""
    found = copy.deepcopy(out)
    back = days * DAY
    found.visit["name"] = f"2025-made-{number}"
    found.visit["cabinet"] = cabinet
    found.visit["cabinet_folded"] = cabinet.lower()
    found.visit["began"] += back
    found.visit["day"] += days
    found.visit["began_text"] = _moved(found.visit["began_text"], back)
    for table, some in found.rows.items():
        for row in some:
            row.update({name: row[name] + back for name in ("began", "taken") if name in row})
            if table == "findings":
                row["key"] = hashlib.sha256(f"{number}{row['key']}".encode()).hexdigest()
            if table == "readings":
                row["cabinet"] = cabinet
    return found


def _moved(text: str, seconds: float) -> str:
    return (datetime.fromisoformat(text) + timedelta(seconds=seconds)).isoformat()


def fill(desk: Desk, season: Made, count: int) -> None:
    put(desk.engine, list(multiplied(outs_of(season), count)))
