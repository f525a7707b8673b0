"""Figures over many visits: what comes back, what is misheard, how long it takes, what is mended at the first visit.

Rules of this file:

- A *return* is a visit to a cabinet within `AGAIN_DAYS` after the one before it. Common practice, no source.
- A *first visit* is one that is no return itself. It *fixed* the cabinet where it ended as fixed or done, took one trip, and
  no return followed. One that found no fault had nothing to fix: it counts only where a return followed. First visits
  younger than `AGAIN_DAYS` do not count yet: nobody can know.
- Askings-again are counted against all that was said to the program in the step, so that a busy step is not blamed for it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Engine, Select, and_, case, func, not_, or_, select

from handsfree.desk.queries import Rows, Scope, _all
from handsfree.desk.tables import GOOD, StepRow, Visit

DAY = 86_400.0
AGAIN_DAYS = 30
MENDED, NOTHING = ("fixed", "done"), "no fault found"


@dataclass(frozen=True)
class Between:
    """Seconds of the epoch."""

    since: float
    until: float


@dataclass(frozen=True)
class FirstFix:
    firsts: int
    fixed: int

    @property
    def rate(self) -> float | None:
        return self.fixed / self.firsts if self.firsts else None


def _chained(scope: Scope, between: Between) -> Any:
    """Visits with the beginning of the one before and after at the same cabinet. Whoever came, it is the same cabinet: the
    scope is applied outside."""
    cabinet = (Visit.site, Visit.cabinet)
    reach = AGAIN_DAYS * DAY
    return (
        select(
            Visit.site, Visit.cabinet, Visit.technician, Visit.began, Visit.outcome, Visit.trips,
            func.lag(Visit.began).over(partition_by=cabinet, order_by=Visit.began).label("before"),
            func.lead(Visit.began).over(partition_by=cabinet, order_by=Visit.began).label("after"),
        )
        .where(Visit.standing == GOOD, Visit.cabinet != "")
        .where(Visit.began >= between.since - reach, Visit.began < between.until + reach)
        .subquery("chained")
    )


def _mine(chained: Any, scope: Scope) -> Any:
    return chained.c.technician.in_(scope.technicians) if scope.technicians is not None else True


def returns(engine: Engine, scope: Scope, between: Between, most: int = 30) -> Rows:
    """(site, cabinet, visits, returns, last) of the cabinets that came back, the most often first."""
    one = _chained(scope, between)
    back = case((one.c.began - one.c.before <= AGAIN_DAYS * DAY, 1), else_=0)
    count = func.sum(back).label("returns")
    asked = (
        select(one.c.site, one.c.cabinet, func.count().label("visits"), count, func.max(one.c.began).label("last"))
        .where(one.c.began >= between.since, one.c.began < between.until, _mine(one, scope))
        .group_by(one.c.site, one.c.cabinet)
        .having(func.sum(back) > 0)
        .order_by(count.desc(), func.max(one.c.began).desc(), one.c.cabinet)
        .limit(most)
    )
    return _all(engine, asked)


def first_fix(engine: Engine, scope: Scope, between: Between, now: float) -> FirstFix:
    one = _chained(scope, between)
    reach = AGAIN_DAYS * DAY
    first = and_(
        (one.c.before.is_(None)) | (one.c.began - one.c.before > reach),
        one.c.began >= between.since, one.c.began < between.until, one.c.began <= now - reach,
    )
    stayed = (one.c.after.is_(None)) | (one.c.after - one.c.began > reach)
    fixed = case((and_(one.c.outcome.in_(MENDED), one.c.trips == 1, stayed), 1), else_=0)
    asked: Any = select(func.count().label("firsts"), func.coalesce(func.sum(fixed), 0).label("fixed"))
    counted = or_(one.c.outcome != NOTHING, not_(stayed))
    row = _all(engine, asked.where(first, counted, _mine(one, scope)))[0]
    return FirstFix(int(row.firsts), int(row.fixed))


def _steps(scope: Scope, between: Between, *columns: Any) -> Select[Any]:
    asked = select(StepRow.procedure, StepRow.step, *columns)
    if scope.technicians is not None:
        asked = asked.join(Visit, Visit.id == StepRow.visit_id).where(scope.where())
    asked = asked.where(StepRow.began >= between.since, StepRow.began < between.until)
    return asked.group_by(StepRow.procedure, StepRow.step)


def misheard(engine: Engine, scope: Scope, between: Between, most: int = 30) -> Rows:
    """(procedure, step, heard, again) of the steps where the program asked again most."""
    again, heard = func.sum(StepRow.again).label("again"), func.sum(StepRow.heard).label("heard")
    asked = _steps(scope, between, heard, again).having(func.sum(StepRow.again) > 0)
    return _all(engine, asked.order_by(again.desc(), StepRow.procedure, StepRow.step).limit(most))


def minutes_by_step(engine: Engine, scope: Scope, between: Between) -> Rows:
    """(procedure, step, stays, minutes)."""
    asked = _steps(scope, between, func.count().label("stays"), (func.avg(StepRow.seconds) / 60).label("minutes"))
    return _all(engine, asked.order_by(StepRow.procedure, StepRow.step).limit(1000))


def minutes_by_procedure(engine: Engine, scope: Scope, between: Between) -> Rows:
    """(procedure, visits, minutes) of visits that came to an end in one trip."""
    asked = (
        select(Visit.procedure, func.count().label("visits"), (func.avg(Visit.on_site) / 60).label("minutes"))
        .where(scope.where(), Visit.began >= between.since, Visit.began < between.until)
        .where(Visit.standing == GOOD)
        .where(Visit.trips == 1, Visit.outcome.not_in(("not closed", "not readable", "stopped", "to be continued")))
        .group_by(Visit.procedure)
    )
    return _all(engine, asked.order_by(Visit.procedure))


def for_the_writer(engine: Engine, between: Between) -> Rows:
    """By step, without names: (procedure, step, stays, visits, heard, again, repeated, back, stood_by, minutes), the most
    trouble for each stay first."""
    from handsfree.desk.queries import EVERYBODY

    stays = func.count()
    trouble = func.sum(StepRow.again + StepRow.repeated + StepRow.back + StepRow.stood_by)
    asked = _steps(
        EVERYBODY, between, stays.label("stays"), func.count(func.distinct(StepRow.visit_id)).label("visits"),
        func.sum(StepRow.heard).label("heard"), func.sum(StepRow.again).label("again"),
        func.sum(StepRow.repeated).label("repeated"), func.sum(StepRow.back).label("back"),
        func.sum(StepRow.stood_by).label("stood_by"), (func.avg(StepRow.seconds) / 60).label("minutes"),
    )
    return _all(engine, asked.order_by((trouble * 1.0 / stays).desc(), StepRow.procedure, StepRow.step).limit(500))
