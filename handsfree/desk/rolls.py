"""Figures rolled up by day, so that a year's are read from some tens of thousands of short rows, whatever the archive holds.

Rules of this file:

- A visit's figures are added when it is put in, and subtracted before it changes or goes, in the same transaction: the rolls
  always match the visits, and a visit costs the same however many there are in a day.
- They are for people who see everybody. A team's year is a few thousand visits, which are queried directly.
- Returns are counted by cabinet, of which a fleet has more than it has days: so a row has BLOCKS blocks of BLOCK days side
  by side, and a year of a cabinet is one row or two. The days of a period outside whole blocks come from the visits.
- The same for technicians, one row per block. Teams and regions are summed from them on request: who belongs to which team
  changes, but what they did does not.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    Engine,
    Integer,
    Select,
    and_,
    bindparam,
    case,
    cast,
    delete,
    func,
    insert,
    literal,
    or_,
    select,
    true,
    union_all,
    update,
)
from sqlalchemy.dialects import postgresql, sqlite

from handsfree.desk.database import ROLLS, alone_at, look_up, put_alone
from handsfree.desk.returns import AGAIN_DAYS, DAY, MENDED, NOTHING
from handsfree.desk.tables import GOOD, RollDay, RollPlace, RollStep, RollTechnician, StepRow, Visit

REACH = AGAIN_DAYS * DAY
#: Outcomes of a visit that came to no end, or of which nothing is known.
UNENDED = ("not closed", "not readable", "stopped", "to be continued")
#: Days of a block, and blocks of a row of `roll_places`.
BLOCK, BLOCKS = 30, 12
#: Visits that are added up in one go.
SOME = 400


def is_return() -> ColumnElement[bool]:
    return Visit.since_last <= REACH


def is_first() -> ColumnElement[bool]:
    """A first visit that counts: see `measures`."""
    first = or_(Visit.since_last.is_(None), Visit.since_last > REACH)
    return and_(Visit.cabinet != "", first, or_(Visit.outcome != NOTHING, Visit.until_next <= REACH))


def is_fixed() -> ColumnElement[bool]:
    stayed = or_(Visit.until_next.is_(None), Visit.until_next > REACH)
    return and_(is_first(), Visit.outcome.in_(MENDED), Visit.trips == 1, stayed)


def is_single() -> ColumnElement[bool]:
    return and_(Visit.trips == 1, Visit.outcome.not_in(UNENDED))


def how_many(of: ColumnElement[bool]) -> ColumnElement[int]:
    return func.coalesce(func.sum(case((of, 1), else_=0)), 0)


#: What is added up in each table.
_OF_DAY = ("visits", "single", "firsts", "fixed", "returns", "heard", "again", "seconds")
_OF_STEP = ("stays", "visits", "heard", "again", "repeated", "back", "stood_by", "seconds")


def _days_of(where: ColumnElement[bool]) -> Select[Any]:
    seconds = func.coalesce(func.sum(case((is_single(), Visit.on_site), else_=0.0)), 0.0)
    of = (func.count(), how_many(is_single()), how_many(is_first()), how_many(is_fixed()), how_many(is_return()),
          func.sum(Visit.heard), func.sum(Visit.again), seconds)  # fmt: skip
    keys = (Visit.day, Visit.procedure, Visit.version, Visit.outcome)
    named = (column.label(name) for name, column in zip(_OF_DAY, of, strict=True))
    return select(*keys, *named).where(where, Visit.standing == GOOD).group_by(*keys)


def _steps_of(where: ColumnElement[bool]) -> Select[Any]:
    sums = (func.sum(getattr(StepRow, name)) for name in _OF_STEP[2:])
    of = (func.count(), func.count(func.distinct(StepRow.visit_id)), *sums)
    keys = (Visit.day, StepRow.procedure, StepRow.step)
    named = (column.label(name) for name, column in zip(_OF_STEP, of, strict=True))
    return select(*keys, *named).join(Visit, Visit.id == StepRow.visit_id).where(where).group_by(*keys)


_OF_PLACE = ("returns", *(f"b{n}" for n in range(BLOCKS)))


def _places_of(where: ColumnElement[bool]) -> Select[Any]:
    block = Visit.day // BLOCK
    named = [how_many(block % BLOCKS == n).label(name) for n, name in enumerate(_OF_PLACE[1:])]
    keys: tuple[Any, ...] = ((Visit.day // (BLOCK * BLOCKS)).label("span"), Visit.place)
    asked = select(*keys, func.count().label("returns"), *named).where(where, Visit.standing == GOOD, is_return())
    return asked.where(Visit.place != 0).group_by(*keys)


@dataclass(frozen=True)
class Covered:
    """A period as whole blocks, `begin` <= block < `end`, and days `since` to `until` that are added (1) or that the blocks
    have too many (-1): (sign, since, until)."""

    begin: int
    end: int
    edges: tuple[tuple[int, int, int], ...]


def covered(first: int, last: int) -> Covered:
    """The days `first` to `last`. Days are looked up one by one, blocks are not: so where the period begins early in a
    block, the whole block counts, without the fewer days before it."""
    begin, end = -(-first // BLOCK), (last + 1) // BLOCK
    before = first % BLOCK
    if before and 2 * before <= BLOCK and begin <= end:
        begin, edges = begin - 1, [(-1, first - before, first - 1)]
    else:
        edges = [(1, first, begin * BLOCK - 1)]
    if begin >= end:
        return Covered(begin, begin, ((1, first, last),))
    edges.append((1, end * BLOCK, last))
    return Covered(begin, end, tuple(one for one in edges if one[1] <= one[2]))


def without_end(engine: Engine, last: int) -> int:
    """The last day of the block of `last` if no visit was begun between the two, so that a period up to today ends with a
    whole block; else `last`."""
    end = (last // BLOCK + 1) * BLOCK - 1
    return last if look_up(engine, _BETWEEN, {"last": last, "end": end}) else end


_BETWEEN = select(Visit.id).where(Visit.day > bindparam("last"), Visit.day <= bindparam("end")).limit(1)


def returns_in(first: int, last: int) -> Any:
    """(place, returns) of the days `first` to `last`, each once."""
    of, counted = covered(first, last), (Visit.standing == GOOD, is_return(), Visit.place != 0)
    parts = [
        select(Visit.place, literal(sign).label("returns")).where(*counted, Visit.day >= since, Visit.day <= until)
        for sign, since, until in of.edges
    ]
    for span in range(of.begin // BLOCKS, (of.end - 1) // BLOCKS + 1) if of.begin < of.end else ():
        some = [getattr(RollPlace, f"b{n}") for n in range(BLOCKS) if of.begin <= span * BLOCKS + n < of.end]
        many: Any = sum(some[1:], some[0])
        parts.append(select(RollPlace.place, many.label("returns")).where(RollPlace.span == span))
    every = union_all(*parts).subquery("every")
    total = func.sum(every.c.returns).label("returns")
    return select(every.c.place, total).group_by(every.c.place).having(total > 0)


_OF_TECHNICIAN = ("visits", "firsts", "fixed", "returns", "heard", "again", "seconds")


def _sums(settled: ColumnElement[bool]) -> list[ColumnElement[Any]]:
    """Of visits, by the names of _OF_TECHNICIAN, and the last day; first visits where `settled`."""
    of: tuple[ColumnElement[Any], ...] = (
        func.count(), how_many(and_(settled, is_first())), how_many(and_(settled, is_fixed())), how_many(is_return()),
        func.sum(Visit.heard), func.sum(Visit.again), func.sum(Visit.on_site),
    )  # fmt: skip
    return [*(one.label(name) for name, one in zip(_OF_TECHNICIAN, of, strict=True)), func.max(Visit.day).label("last")]


def _technicians_of(where: ColumnElement[bool]) -> Select[Any]:
    block = (Visit.day // BLOCK).label("block")
    asked = select(block, Visit.technician, *_sums(true())).where(where, Visit.standing == GOOD)
    return asked.group_by(block, Visit.technician)


def _signed(sign: int, settled: ColumnElement[bool]) -> list[ColumnElement[Any]]:
    """Like `_sums`, as whole numbers so small that PostgreSQL adds them up without decimals. Subtracted days say nothing of
    the last day: the other days of that technician include a later one."""
    *counts, seconds, last = _sums(settled)
    whole = (cast(one, Integer).label(one.name) for one in counts)
    if sign > 0:
        return [*whole, seconds, last]
    return [*((-one).label(one.name) for one in whole), (-seconds).label("seconds"), literal(0).label("last")]


def settled_until(today: int) -> int:
    """The day before which first visits count: of each it is known by today whether somebody had to come again. It begins a
    block."""
    return (today - AGAIN_DAYS) // BLOCK * BLOCK


def technicians_in(first: int, last: int, settled: int, *which: ColumnElement[bool]) -> Select[Any]:
    """(technician, *_OF_TECHNICIAN, last) of the days `first` to `last`; first visits of those before the day `settled`,
    which begins a block. `which`: of the visits; if empty, everybody's, from the rolls."""
    of = covered(first, last) if not which else Covered(0, 0, ((1, first, last),))
    parts: list[Any] = []
    if of.begin < of.end:
        old = RollTechnician.block < settled // BLOCK
        sums = {name: getattr(RollTechnician, name) for name in (*_OF_TECHNICIAN, "last")}
        sums |= {name: case((old, sums[name]), else_=0).label(name) for name in ("firsts", "fixed")}
        kept = select(RollTechnician.technician, *sums.values())
        parts.append(kept.where(RollTechnician.block >= of.begin, RollTechnician.block < of.end))
    for sign, since, until in of.edges:
        days = (Visit.day >= since, Visit.day <= until)
        asked = select(Visit.technician, *_signed(sign, Visit.day < settled)).where(*which, Visit.standing == GOOD, *days)
        parts.append(asked.group_by(Visit.technician))
    every = union_all(*parts).subquery("every")
    counts = (func.sum(every.c[name]).label(name) for name in _OF_TECHNICIAN[:-1])
    totals = (*counts, func.sum(every.c.seconds).label("seconds"), func.max(every.c.last).label("last"))
    return select(every.c.technician, *totals).group_by(every.c.technician).having(func.sum(every.c.visits) > 0)


def put_in(connection: Connection, ids: Collection[int]) -> None:
    """What these visits make, on top of what is there."""
    _change(connection, ids, 1)


def take_out(connection: Connection, ids: Collection[int]) -> None:
    """What these visits made, as they stand now: before they are changed or go."""
    _change(connection, ids, -1)


def _change(connection: Connection, ids: Collection[int], sign: int) -> None:
    if not ids:
        return
    alone_at(connection, ROLLS)
    some = sorted(ids)
    for at in range(0, len(some), SOME):
        these = Visit.id.in_(some[at : at + SOME])
        _add(connection, RollDay, _OF_DAY, connection.execute(_days_of(these)).all(), sign)
        _add(connection, RollStep, _OF_STEP, connection.execute(_steps_of(these)).all(), sign)
        _add(connection, RollPlace, _OF_PLACE, connection.execute(_places_of(these)).all(), sign)
        theirs = connection.execute(_technicians_of(these)).all()
        _add(connection, RollTechnician, _OF_TECHNICIAN, theirs, sign, ("last",))
        if sign < 0:
            _last_without(connection, theirs, ids)


def _last_without(connection: Connection, rows: Sequence[Any], gone: Collection[int]) -> None:
    """The day of the last visit in these rows, which no sum has, without those that go."""
    for row in rows:
        days = Visit.day.between(row.block * BLOCK, row.block * BLOCK + BLOCK - 1)
        of = (Visit.technician == row.technician, Visit.standing == GOOD, days, Visit.id.not_in(gone))
        last = select(func.coalesce(func.max(Visit.day), 0)).where(*of).scalar_subquery()
        mine = (RollTechnician.block == row.block, RollTechnician.technician == row.technician)
        connection.execute(update(RollTechnician).where(*mine).values(last=last))


def _add(
    connection: Connection, table: Any, names: Sequence[str], rows: Sequence[Any], sign: int, greatest: Sequence[str] = ()
) -> None:
    """`names`: of the columns that are summed; `greatest`: of those of which the greater one stays."""
    if not rows:
        return
    build = postgresql.insert if connection.dialect.name == "postgresql" else sqlite.insert
    keys = [column.name for column in table.__table__.primary_key]
    new = build(table)
    summed = {name: table.__table__.c[name] + new.excluded[name] for name in names}
    kept = {name: _greater(table.__table__.c[name], new.excluded[name]) for name in greatest}
    upsert = new.on_conflict_do_update(index_elements=keys, set_={**summed, **kept})
    values = [
        {**{name: getattr(row, name) for name in (*keys, *greatest)}, **{name: sign * getattr(row, name) for name in names}}
        for row in rows
    ]
    connection.execute(upsert, values)
    if sign < 0:
        none, mine = table.__table__.c[names[0]] <= 0, [table.__table__.c[key] == bindparam(f"its_{key}") for key in keys]
        connection.execute(
            delete(table).where(none, *mine), [{f"its_{key}": getattr(row, key) for key in keys} for row in rows]
        )


def _greater(one: ColumnElement[Any], other: ColumnElement[Any]) -> ColumnElement[Any]:
    """Each database has a function for it, by another name."""
    return case((one < other, other), else_=one)


def rebuild(engine: Engine) -> None:
    """All of them, anew."""

    def work(connection: Connection) -> None:
        alone_at(connection, ROLLS)
        for table, names, of in (
            (RollDay, _OF_DAY, _days_of(true())), (RollStep, _OF_STEP, _steps_of(true())),
            (RollPlace, _OF_PLACE, _places_of(true())),
            (RollTechnician, (*_OF_TECHNICIAN, "last"), _technicians_of(true())),
        ):  # fmt: skip
            connection.execute(delete(table))
            keys = [column.name for column in table.__table__.primary_key]
            connection.execute(insert(table).from_select([*keys, *names], of))

    put_alone(engine, work)
