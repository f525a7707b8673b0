"""Figures rolled up by day, so that a year's are read from some tens of thousands of short rows, whatever the archive holds.

Rules of this file:

- A day is rolled up anew, from the visits that count, whenever one of its visits is put in, changed or taken out, in the
  same transaction: the rolls never part from the visits.
- They are for who sees everybody. A team's year is a few thousand visits, which are asked themselves.
"""

from __future__ import annotations

from collections.abc import Collection

from sqlalchemy import ColumnElement, Connection, Engine, and_, case, delete, func, insert, or_, select

from handsfree.desk.database import ROLLS, alone_at, put_alone
from handsfree.desk.returns import AGAIN_DAYS, DAY, MENDED, NOTHING
from handsfree.desk.tables import GOOD, RollDay, RollStep, StepRow, Visit

REACH = AGAIN_DAYS * DAY
#: Outcomes of a visit that came to no end, or of which nothing is known.
UNENDED = ("not closed", "not readable", "stopped", "to be continued")
#: Days that are rolled up in one go.
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


def count(of: ColumnElement[bool]) -> ColumnElement[int]:
    return func.coalesce(func.sum(case((of, 1), else_=0)), 0)


def fill(connection: Connection, days: Collection[int]) -> None:
    """These days anew."""
    alone_at(connection, ROLLS)
    some = sorted(days)
    for at in range(0, len(some), SOME):
        _fill(connection, some[at : at + SOME])


def _fill(connection: Connection, days: list[int]) -> None:
    connection.execute(delete(RollDay).where(RollDay.day.in_(days)))
    connection.execute(delete(RollStep).where(RollStep.day.in_(days)))
    seconds = func.coalesce(func.sum(case((is_single(), Visit.on_site), else_=0.0)), 0.0)
    visits = (
        select(
            Visit.day,
            Visit.procedure,
            Visit.version,
            Visit.outcome,
            func.count(),
            count(is_single()),
            count(is_first()),
            count(is_fixed()),
            count(is_return()),
            func.sum(Visit.heard),
            func.sum(Visit.again),
            seconds,
        )
        .where(Visit.day.in_(days), Visit.standing == GOOD)
        .group_by(Visit.day, Visit.procedure, Visit.version, Visit.outcome)
    )
    names = ["day", "procedure", "version", "outcome", "visits", "single", "firsts", "fixed", "returns", "heard", "again",
             "seconds"]  # fmt: skip
    connection.execute(insert(RollDay).from_select(names, visits))
    of_steps = (StepRow.heard, StepRow.again, StepRow.repeated, StepRow.back, StepRow.stood_by, StepRow.seconds)
    steps = (
        select(
            Visit.day,
            StepRow.procedure,
            StepRow.step,
            func.count(),
            func.count(func.distinct(StepRow.visit_id)),
            *(func.sum(column) for column in of_steps),
        )
        .join(Visit, Visit.id == StepRow.visit_id)
        .where(Visit.day.in_(days))
        .group_by(Visit.day, StepRow.procedure, StepRow.step)
    )
    names = ["day", "procedure", "step", "stays", "visits", "heard", "again", "repeated", "back", "stood_by", "seconds"]
    connection.execute(insert(RollStep).from_select(names, steps))


def rebuild(engine: Engine) -> None:
    """All of them, anew."""

    def work(connection: Connection) -> None:
        connection.execute(delete(RollDay))
        connection.execute(delete(RollStep))
        fill(connection, set(connection.scalars(select(Visit.day).distinct())))

    put_alone(engine, work)
