"""How the visits to one cabinet follow one another, and cabinets that came back after *fixed*: a finding on the visit that
said so, made when the next visit to the cabinet is put in.

Rules of this file:

- A cabinet came back if a visit followed within `AGAIN_DAYS` days of one that ended as fixed or done; see `measures`.
- It is worked out again for the cabinets of each batch, so that it does not matter which of the two is read first.
- Only visits that count are looked at: a copy, or a broken one, is not a return.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from datetime import datetime
from itertools import pairwise
from typing import Any

from sqlalchemy import Connection, delete, insert, select, update

from handsfree.desk.readout import finding_row
from handsfree.desk.tables import GOOD, FindingRow, ThreadRow, Visit
from handsfree.journal.findings import CAME_BACK

DAY = 86_400.0
AGAIN_DAYS = 30
#: Outcomes that say the work mended it; one that found nothing to mend.
MENDED, NOTHING = ("fixed", "done"), "no fault found"
#: Visits of one cabinet that are looked at, the newest: a cabinet has a few a year.
MOST = 200


#: What is done with visits before and after they are changed.
Changing = Callable[[Connection, Collection[int]], None]


def cabinets_of(connection: Connection, ids: Collection[int]) -> list[int]:
    """The places of these visits."""
    return list(connection.scalars(select(Visit.place).where(Visit.id.in_(ids), Visit.place != 0).distinct()))


def note(
    connection: Connection, cabinets: Iterable[int], new: Collection[int], before: Changing, after: Changing
) -> None:
    """Of these cabinets, by their places. Visits that are changed and not `new` are given to `before` and `after`."""
    for place in cabinets:
        asked = select(Visit).with_only_columns(
            Visit.id,
            Visit.name,
            Visit.technician,
            Visit.began,
            Visit.began_text,
            Visit.lasted,
            Visit.events,
            Visit.outcome,
            Visit.rank,
            Visit.day,
            Visit.since_last,
            Visit.until_next,
        )
        asked = asked.where(Visit.place == place, Visit.standing == GOOD)
        some = connection.execute(asked.order_by(Visit.began.desc(), Visit.id.desc()).limit(MOST)).all()[::-1]
        moved = _moved(some)
        others = moved.keys() - set(new)
        before(connection, others)
        for one, values in moved.items():
            connection.execute(update(Visit).where(Visit.id == one).values(**values))
        after(connection, others)
        _came_back(connection, some)


def _moved(visits: Sequence[Any]) -> dict[int, dict[str, float | None]]:
    """Those whose neighbours before and after differ from what is stored about them."""
    found = {}
    for before, one, after in zip([None, *visits], visits, [*visits[1:], None], strict=False):
        since = one.began - before.began if before is not None else None
        until = after.began - one.began if after is not None else None
        if (since, until) != (one.since_last, one.until_next):
            found[one.id] = {"since_last": since, "until_next": until}
    return found


def _came_back(connection: Connection, visits: Sequence[Any]) -> None:
    ids = [visit.id for visit in visits]
    connection.execute(delete(FindingRow).where(FindingRow.visit_id.in_(ids), FindingRow.rule == CAME_BACK))
    rows = []
    for one, after in pairwise(visits):
        if one.outcome in MENDED and after.began - one.began <= AGAIN_DAYS * DAY:
            days = max(1, round((after.began - one.began) / DAY))
            day = datetime.fromisoformat(after.began_text).date()
            sentence = f"It ended as {one.outcome}, and somebody had to come again after {days} days, on {day}."
            row = finding_row(one.name, one.began, CAME_BACK, max(one.events - 1, 0), one.lasted, sentence)
            rows.append({**row, "visit_id": one.id, "technician": one.technician})
            if row["rank"] < one.rank:
                connection.execute(update(Visit).where(Visit.id == one.id).values(rank=row["rank"]))
    if rows:
        keys = [row["key"] for row in rows]
        closed = set(connection.scalars(select(ThreadRow.key).where(ThreadRow.closed, ThreadRow.key.in_(keys))))
        connection.execute(insert(FindingRow), [{**row, "closed": row["key"] in closed} for row in rows])
