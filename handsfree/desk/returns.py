"""*Fixed* that came back: a finding of the visit that said so, found when the next visit to the cabinet is put in.

Rules of this file:

- A cabinet came back where a visit followed within `AGAIN_DAYS` days of one that ended as fixed or done; see `measures`.
- It is worked out for the cabinets of each batch anew, so that it does not matter which of the two is read first.
- Only visits that count are looked at: a copy, or one that does not hold, is no return.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime
from itertools import pairwise
from typing import Any

from sqlalchemy import Connection, delete, insert, select, update

from handsfree.desk.measures import AGAIN_DAYS, DAY, MENDED
from handsfree.desk.readout import finding_row
from handsfree.desk.tables import GOOD, FindingRow, SignOffRow, Visit
from handsfree.journal.findings import CAME_BACK

#: Visits of one cabinet that are looked at, the newest: a cabinet has a few a year.
MOST = 200


def note(connection: Connection, ids: Collection[int]) -> None:
    """The findings of the cabinets that these visits are of."""
    of = select(Visit.site, Visit.cabinet).where(Visit.id.in_(ids), Visit.cabinet != "", Visit.standing == GOOD).distinct()
    for site, cabinet in connection.execute(of).all():
        asked = select(Visit).with_only_columns(
            Visit.id, Visit.name, Visit.began, Visit.began_text, Visit.lasted, Visit.events, Visit.outcome, Visit.rank
        )
        asked = asked.where(Visit.site == site, Visit.cabinet == cabinet, Visit.standing == GOOD)
        _put(connection, connection.execute(asked.order_by(Visit.began.desc()).limit(MOST)).all()[::-1])


def _put(connection: Connection, visits: Sequence[Any]) -> None:
    ids = [visit.id for visit in visits]
    connection.execute(delete(FindingRow).where(FindingRow.visit_id.in_(ids), FindingRow.rule == CAME_BACK))
    rows = []
    for one, after in pairwise(visits):
        if one.outcome in MENDED and after.began - one.began <= AGAIN_DAYS * DAY:
            days = max(1, round((after.began - one.began) / DAY))
            day = datetime.fromisoformat(after.began_text).date()
            sentence = f"It ended as {one.outcome}, and somebody had to come again after {days} days, on {day}."
            row = finding_row(one.name, one.began, CAME_BACK, max(one.events - 1, 0), one.lasted, sentence)
            rows.append({**row, "visit_id": one.id})
            if row["rank"] < one.rank:
                connection.execute(update(Visit).where(Visit.id == one.id).values(rank=row["rank"]))
    if rows:
        keys = [row["key"] for row in rows]
        signed = set(connection.scalars(select(SignOffRow.key).where(SignOffRow.key.in_(keys))))
        connection.execute(insert(FindingRow), [{**row, "signed": row["key"] in signed} for row in rows])
