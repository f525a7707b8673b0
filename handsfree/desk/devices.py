"""Devices that send: when each was last heard from, what waits on it, and which have fallen silent.

A device is silent after SILENT_DAYS without contact. Its queue is stale if visits wait on it, or are here half sent, and
none was stored for STALE_DAYS. Common practice, no source.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Engine, and_, case, delete, func, insert, not_, or_, select

from handsfree.desk.people_tables import DeviceSeen, User

SILENT_DAYS, STALE_DAYS, DAY = 7, 2, 86_400.0
WELL, SILENT, STALE, NEVER = "well", "silent", "queue is stale", "never heard of"


@dataclass(frozen=True)
class FieldDevice:
    """`seen`, `stored`: seconds of the epoch, None for never. `waiting`: visits on it, as it reports, -1 if it does not
    say. `unfinished`: uploads begun here and not finished."""

    name: str
    team: str
    seen: float | None
    stored: float | None
    waiting: int
    unfinished: int
    standing: str


def heard_of(engine: Engine, device: int, waiting: int) -> None:
    _put(engine, device, waiting=waiting)


def stored(engine: Engine, device: int) -> None:
    _put(engine, device, stored=True)


def _put(engine: Engine, device: int, *, waiting: int | None = None, stored: bool = False) -> None:
    now = time.time()
    with engine.begin() as connection:
        was = connection.execute(select(*DeviceSeen.__table__.columns).where(DeviceSeen.person_id == device)).first()
        left = was.waiting if was is not None else -1
        if stored and left > 0:
            left -= 1
        connection.execute(delete(DeviceSeen).where(DeviceSeen.person_id == device))
        connection.execute(insert(DeviceSeen), [{
            "person_id": device, "seen": now, "stored": now if stored else was.stored if was is not None else None,
            "waiting": left if waiting is None else waiting,
        }])  # fmt: skip


def all_of(engine: Engine, begun: Path, teams: tuple[str, ...] | None = None, now: float | None = None) -> list[FieldDevice]:
    """Those that need a look first. `begun`: where unfinished uploads are counted; `teams`: of these alone, None for all."""
    now = time.time() if now is None else now
    asked = (
        select(User.id, User.name, User.team, DeviceSeen.seen, DeviceSeen.stored, DeviceSeen.waiting)
        .outerjoin(DeviceSeen, DeviceSeen.person_id == User.id)
        .where(User.role == "device")
        .order_by(User.name)
    )
    if teams is not None:
        asked = asked.where(User.team.in_(teams))
    found = []
    with engine.connect() as connection:
        for row in connection.execute(asked):
            folder = begun / str(row.id)
            unfinished = sum(1 for _ in folder.iterdir()) if folder.is_dir() else 0
            waiting = row.waiting if row.waiting is not None else -1
            standing = _standing(row.seen, row.stored, max(waiting, 0) + unfinished, now)
            found.append(FieldDevice(row.name, row.team, row.seen, row.stored, waiting, unfinished, standing))
    order = (NEVER, SILENT, STALE, WELL)
    return sorted(found, key=lambda one: (order.index(one.standing), one.seen or 0.0, one.name))


def quiet(engine: Engine, teams: tuple[str, ...] | None = None, now: float | None = None) -> tuple[int, int]:
    """(how many are silent or were never heard from, how many have a stale queue), by one query."""
    now = time.time() if now is None else now
    silent = or_(DeviceSeen.seen.is_(None), DeviceSeen.seen < now - SILENT_DAYS * DAY)
    long_ago = or_(DeviceSeen.stored.is_(None), DeviceSeen.stored < now - STALE_DAYS * DAY)
    stale = and_(not_(silent), DeviceSeen.waiting > 0, long_ago)
    counted = (func.coalesce(func.sum(case((of, 1), else_=0)), 0) for of in (silent, stale))
    asked = select(*counted).select_from(User).outerjoin(DeviceSeen, DeviceSeen.person_id == User.id)
    asked = asked.where(User.role == "device")
    if teams is not None:
        asked = asked.where(User.team.in_(teams))
    with engine.connect() as connection:
        row = connection.execute(asked).one()
    return int(row[0]), int(row[1])


def _standing(seen: float | None, stored: float | None, waits: int, now: float) -> str:
    if seen is None:
        return NEVER
    if now - seen > SILENT_DAYS * DAY:
        return SILENT
    return STALE if waits and now - (stored or 0.0) > STALE_DAYS * DAY else WELL
