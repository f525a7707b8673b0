"""Figures over many visits: what comes back, what is misheard, how long it takes, what is fixed at the first visit.

Rules of this file:

- A *return* is a visit to a cabinet within `AGAIN_DAYS` after the one before it. Common practice, no source.
- A *first visit* is one that is not a return. It *fixed* the cabinet if it ended as fixed or done, took one trip, and no
  return followed. One that found no fault had nothing to fix: it counts only if a return followed. First visits younger than
  `AGAIN_DAYS` do not count yet: nobody can know.
- How often the program asked again is counted relative to everything said to it in the step, so that a busy step is not
  blamed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Engine, Select, func, select, text
from sqlalchemy.orm import aliased

from handsfree.desk.database import look_up
from handsfree.desk.queries import EVERYBODY, Rows, Scope
from handsfree.desk.returns import AGAIN_DAYS, DAY, MENDED, NOTHING
from handsfree.desk.rolls import REACH, how_many, is_first, is_fixed, is_return, is_single, returns_in, without_end
from handsfree.desk.tables import EPOCH, GOOD, RollDay, RollStep, StepRow, Visit

__all__ = ["AGAIN_DAYS", "DAY", "MENDED", "NOTHING", "Between", "FirstFix"]


@dataclass(frozen=True)
class Between:
    """Seconds of the epoch."""

    since: float
    until: float

    @property
    def days(self) -> tuple[int, int]:
        """The first day and the last, as the rolls count them."""
        return day_of(self.since), day_of(self.until - 1)


def day_of(seconds: float) -> int:
    """Days since 1970-01-01, by the desk's clock."""
    return datetime.fromtimestamp(min(max(seconds, 86_400.0), 4e9)).date().toordinal() - EPOCH


@dataclass(frozen=True)
class FirstFix:
    firsts: int
    fixed: int

    @property
    def rate(self) -> float | None:
        return self.fixed / self.firsts if self.firsts else None


def _visits(scope: Scope, between: Between, *columns: Any) -> Select[Any]:
    """Visits that count, in a scope that does not see everybody: a few thousand a year."""
    return select(*columns).where(
        scope.where(), Visit.standing == GOOD, Visit.began >= between.since, Visit.began < between.until
    )


def _days(between: Between, *columns: Any) -> Select[Any]:
    first, last = between.days
    return select(*columns).where(RollDay.day >= first, RollDay.day <= last)


def returns(engine: Engine, scope: Scope, between: Between, most: int = 30) -> Rows:
    """(site, cabinet, visits, returns, last) of the cabinets that came back, the most often first. A cabinet of several
    names is one, under the name it had last."""
    if scope == EVERYBODY:
        begin, end = between.days
        back = returns_in(begin, without_end(engine, end)).subquery("back")
    else:
        many = func.count().label("returns")
        asked = _visits(scope, between, Visit.place, many).where(is_return(), Visit.place != 0)
        back = asked.group_by(Visit.place).subquery("back")
    top = select(back).order_by(back.c.returns.desc(), back.c.place.desc()).limit(most).subquery("top")
    here = (Visit.place == top.c.place, Visit.standing == GOOD)
    then = (*here, Visit.began >= between.since, Visit.began < between.until)
    visits = select(func.count()).where(*then).scalar_subquery()
    last = select(func.max(Visit.began)).where(*then).scalar_subquery()
    newest = select(Visit.id).where(*here).order_by(Visit.began.desc()).limit(1).correlate(top).scalar_subquery()
    named = aliased(Visit)
    rows = select(
        named.site, named.cabinet, visits.label("visits"), top.c.returns, last.label("last")
    ).join_from(top, named, named.id == newest)
    return look_up(engine, rows.order_by(top.c.returns.desc(), text("last DESC"), named.cabinet))


def first_fix(engine: Engine, scope: Scope, between: Between, now: float) -> FirstFix:
    """Of first visits old enough to know whether somebody had to come again."""
    between = Between(between.since, min(between.until, now - REACH))
    if scope == EVERYBODY:
        sums = (func.coalesce(func.sum(column), 0) for column in (RollDay.firsts, RollDay.fixed))
        row: Any = look_up(engine, _days(between, *sums))[0]
    else:
        row = look_up(engine, _visits(scope, between, how_many(is_first()), how_many(is_fixed())))[0]
    return FirstFix(int(row[0]), int(row[1]))


#: More than any firm's procedures have.
MOST_STEPS = 5000
_STEPS = ("stays", "visits", "heard", "again", "repeated", "back", "stood_by", "seconds")


def _steps(scope: Scope, between: Between) -> Any:
    """(procedure, step, *_STEPS) as a subquery."""
    if scope == EVERYBODY:
        first, last = between.days
        asked = select(RollStep.procedure, RollStep.step, *(func.sum(getattr(RollStep, n)).label(n) for n in _STEPS))
        asked = asked.where(RollStep.day >= first, RollStep.day <= last)
        return asked.group_by(RollStep.procedure, RollStep.step).subquery("steps")
    asked = (
        select(
            StepRow.procedure, StepRow.step, func.count().label("stays"),
            func.count(func.distinct(StepRow.visit_id)).label("visits"),
            *(func.sum(getattr(StepRow, name)).label(name) for name in _STEPS[2:]),
        )
        .join(Visit, Visit.id == StepRow.visit_id)
        .where(scope.where(), StepRow.began >= between.since, StepRow.began < between.until)
    )
    return asked.group_by(StepRow.procedure, StepRow.step).subquery("steps")


def steps(engine: Engine, scope: Scope, between: Between) -> Rows:
    """(procedure, step, stays, heard, again, minutes) of the steps in which somebody was most often, by their names."""
    one = _steps(scope, between).c
    asked = select(one.procedure, one.step, one.stays, one.heard, one.again, (one.seconds / one.stays / 60).label("minutes"))
    found = look_up(engine, asked.order_by(one.stays.desc(), one.procedure, one.step).limit(MOST_STEPS))
    return sorted(found, key=lambda row: (row.procedure, row.step))


def misheard(of: Rows, most: int = 30) -> Rows:
    """Those of `steps` where the program asked again most."""
    return sorted((row for row in of if row.again), key=lambda row: -row.again)[:most]


def for_the_writer(engine: Engine, between: Between) -> Rows:
    """By step, without names: (procedure, step, stays, visits, heard, again, repeated, back, stood_by, minutes), the most
    trouble for each stay first."""
    one = _steps(EVERYBODY, between).c
    trouble = (one.again + one.repeated + one.back + one.stood_by) * 1.0 / one.stays
    columns = (one.procedure, one.step, one.stays, one.visits, one.heard, one.again, one.repeated, one.back, one.stood_by)
    asked = select(*columns, (one.seconds / one.stays / 60).label("minutes"))
    return look_up(engine, asked.order_by(trouble.desc(), one.procedure, one.step).limit(500))


def again_share(engine: Engine, between: Between) -> float | None:
    """How much of everything said to the program it asked for again; None if nothing was said."""
    row: Any = look_up(engine, _days(between, func.sum(RollDay.heard), func.sum(RollDay.again)))[0]
    return row[1] / row[0] if row[0] else None


@dataclass(frozen=True)
class Version:
    """Results of visits opened with one version of a procedure. `minutes`: on site, of those in one trip, None for none;
    `outcomes`: how many ended in which way; `again`: share of everything said to the program that it asked for again."""

    procedure: str
    version: str
    visits: int
    minutes: float | None
    firsts: int
    fixed: int
    again: float | None
    outcomes: tuple[tuple[str, int], ...]


def by_version(engine: Engine, scope: Scope, between: Between) -> list[Version]:
    """Each procedure and version, the procedure's most used version first."""
    if scope == EVERYBODY:
        sums = (RollDay.visits, RollDay.single, RollDay.firsts, RollDay.fixed, RollDay.heard, RollDay.again, RollDay.seconds)
        keys: tuple[Any, ...] = (RollDay.procedure, RollDay.version, RollDay.outcome)
        asked = _days(between, *keys, *(func.sum(one).label(one.key) for one in sums)).group_by(*keys)
    else:
        seconds = func.sum(Visit.on_site).filter(is_single())
        keys = (Visit.procedure, Visit.version, Visit.outcome)
        asked = _visits(
            scope, between, *keys, func.count().label("visits"), how_many(is_single()).label("single"),
            how_many(is_first()).label("firsts"), how_many(is_fixed()).label("fixed"), func.sum(Visit.heard).label("heard"),
            func.sum(Visit.again).label("again"), func.coalesce(seconds, 0.0).label("seconds"),
        ).group_by(*keys)
    by: dict[tuple[str, str], list[Any]] = {}
    for row in look_up(engine, asked):
        by.setdefault((row.procedure, row.version), []).append(row)
    found = [_version(*of, rows) for of, rows in by.items()]
    return sorted(found, key=lambda one: (one.procedure, -one.visits, one.version))


def _version(procedure: str, version: str, rows: Sequence[Any]) -> Version:
    def total(name: str) -> Any:
        return sum(getattr(row, name) for row in rows)

    single, heard = total("single"), total("heard")
    outcomes = tuple(sorted(((row.outcome, int(row.visits)) for row in rows), key=lambda one: (-one[1], one[0])))
    return Version(
        procedure, version, int(total("visits")), total("seconds") / single / 60 if single else None, int(total("firsts")),
        int(total("fixed")), total("again") / heard if heard else None, outcomes,
    )
