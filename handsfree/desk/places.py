"""Cabinets by what they are, not by what they are called: visits to one cabinet are one history, whatever name they have.

Rules of this file:

- A record keeps its names. The registry says which of them mean one cabinet (`registry.one_of`); a name that it does not
  know is its own cabinet.
- The table is made from visits and registry, and brought up to date when either changes: a figure asks no other database.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from sqlalchemy import Connection, Engine, insert, select, update

from handsfree.desk import returns, rolls
from handsfree.desk.database import PLACES, alone_at, look_up, put_alone
from handsfree.desk.tables import CabinetName, Visit

#: (site, cabinet) as a record has it.
WrittenName = tuple[str, str]
#: What a record has -> the name by which that cabinet is told from others.
One = Callable[[str, str], WrittenName]


def as_written(site: str, cabinet: str) -> WrittenName:
    """For a desk without a registry."""
    return site, cabinet


def ids_of(connection: Connection, pairs: Iterable[WrittenName], one: One = as_written) -> dict[WrittenName, int]:
    """The id of each cabinet; 0 for one without a name. New cabinets are put in."""
    found: dict[WrittenName, int] = {}
    for pair in sorted(set(pairs)):
        if not pair[1]:
            found[pair] = 0
            continue
        there = _row(connection, pair)
        found[pair] = there if there is not None else _new(connection, pair, one(*pair))
    return found


def _row(connection: Connection, pair: WrittenName) -> int | None:
    asked = select(CabinetName.one).where(CabinetName.site == pair[0], CabinetName.cabinet == pair[1])
    found: int | None = connection.scalar(asked)
    return found


def _new(connection: Connection, pair: WrittenName, name: WrittenName) -> int:
    alone_at(connection, PLACES)
    if (there := _row(connection, pair)) is not None:  # another transaction was first
        return there
    one = 0 if name == pair else ids_of(connection, [name])[name]
    row = {"site": pair[0], "cabinet": pair[1], "one": one}
    made = connection.execute(insert(CabinetName).returning(CabinetName.id), [row]).scalar_one()
    if not one:
        connection.execute(update(CabinetName).where(CabinetName.id == made).values(one=made))
    return one or int(made)


def bring_up_to_date(engine: Engine, one: One) -> int:
    """After a change of the registry: returns how many names now mean another cabinet. Returns to cabinets are worked out
    again."""
    moved: list[int] = []

    def work(connection: Connection) -> None:
        alone_at(connection, PLACES)
        rows = connection.execute(select(*CabinetName.__table__.columns).order_by(CabinetName.id)).all()
        own = {(row.site, row.cabinet): row.id for row in rows}
        for row in rows:
            pair = row.site, row.cabinet
            name = one(*pair)
            now = own.get(name) or ids_of(connection, [name])[name]
            if now == row.one:
                continue
            moved.append(row.id)
            connection.execute(update(CabinetName).where(CabinetName.id == row.id).values(one=now))
            theirs = (Visit.site == row.site, Visit.cabinet == row.cabinet)
            ids = list(connection.scalars(select(Visit.id).where(*theirs)))
            rolls.take_out(connection, ids)
            connection.execute(update(Visit).where(*theirs).values(place=now))
            rolls.put_in(connection, ids)
            returns.note(connection, (row.one, now), (), rolls.take_out, rolls.put_in)

    put_alone(engine, work)
    return len(moved)


def names_of(engine: Engine, site: str, cabinet: str) -> Sequence[WrittenName]:
    """Every name that visits have for this cabinet, this one first."""
    mine = select(CabinetName.one).where(CabinetName.site == site, CabinetName.cabinet == cabinet).scalar_subquery()
    asked = select(CabinetName.site, CabinetName.cabinet).where(CabinetName.one == mine).order_by(CabinetName.id)
    found = [(row.site, row.cabinet) for row in look_up(engine, asked)]
    return sorted(found, key=lambda pair: pair != (site, cabinet)) or [(site, cabinet)]
