"""Technicians, their teams and regions, with figures rolled up from one to the next.

Rules of this file:

- A technician is a name in the records, or all names that the registry says are one person, under today's name. The team is
  that of their account, the region that of the team.
- Figures of everybody come from the rolls, which have one row per technician and 30 days; see `rolls`.
- First visits are counted here once it is known whether somebody had to come again, up to a whole block of the rolls.
- How often the program asked again is shown beside everything that was said, and beside everybody's figure: noise and
  accents are not the person's fault.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from datetime import date
from operator import itemgetter
from typing import Any, NamedTuple

from sqlalchemy import Engine, delete, func, insert, select

from handsfree.desk import registry
from handsfree.desk.database import look_up
from handsfree.desk.measures import Between, day_of
from handsfree.desk.people_tables import TeamRow, User
from handsfree.desk.queries import Scope
from handsfree.desk.rolls import settled_until, technicians_in, without_end
from handsfree.desk.tables import EPOCH, FindingRow, Visit
from handsfree.errors import Trouble

NO_TEAM, NO_REGION = "no team", "no region"
#: What is summed up for technicians.
_ADDED = itemgetter(*range(3, 11), 12)


class Crew(NamedTuple):
    """Figures of a technician, a team or a region; '' if it covers more than one. `minutes`: mean time on site; `again`:
    share of what was said to the program that it asked for again; None if there is nothing to count. `firsts`, `fixed`: see
    `firsts_until`. `last_day`: of the last visit, days since 1970-01-01. A tuple, since a fleet has thousands; the fields
    from `visits` on are in the order of `rolls.technicians_in`."""

    technician: str
    team: str
    region: str
    visits: int
    firsts: int
    fixed: int
    returns: int
    heard: int
    asked_again: int
    seconds: float
    open_findings: int
    last_day: int
    people: int = 1

    @property
    def last(self) -> str:
        return day(self.last_day)

    @property
    def minutes(self) -> float | None:
        return self.seconds / self.visits / 60 if self.visits else None

    @property
    def again(self) -> float | None:
        return self.asked_again / self.heard if self.heard else None

    @property
    def rate(self) -> float | None:
        return self.fixed / self.firsts if self.firsts else None


def regions(engine: Engine) -> dict[str, str]:
    """Team -> region."""
    return {row.team: row.region for row in look_up(engine, select(TeamRow.team, TeamRow.region))}


def put_region(engine: Engine, team: str, region: str) -> None:
    """'' removes the team from its region. Trouble for an invalid name."""
    if len(region) > 100 or not region.isprintable() or not team:
        raise Trouble("The name of a region has at most 100 visible characters. Nothing was changed.")
    with engine.begin() as connection:
        connection.execute(delete(TeamRow).where(TeamRow.team == team))
        if region:
            connection.execute(insert(TeamRow), [{"team": team, "region": region}])


def teams(engine: Engine, of: Collection[str] | None = None) -> dict[str, str]:
    """Technician, as the records have the name -> team. `of`: these alone, None for everybody."""
    asked = select(User.technician, User.team).where(User.role != "device", User.team != "*", User.team != "")
    if of is not None:
        asked = asked.where(User.technician.in_(of))
    return {row.technician: row.team for row in look_up(engine, asked)}


def technicians(
    engine: Engine, people: Engine, scope: Scope, between: Between, now: float, names: tuple[str, ...] = ()
) -> list[Crew]:
    """Each separately, by name. `names`: only the one person whom records call so. For a scope that does not see everybody,
    the visits themselves are queried, a few thousand a year."""
    theirs = names or scope.technicians
    which = () if theirs is None else (Visit.technician.in_([name for name in theirs if scope.has(name)]),)
    open_of = select(FindingRow.technician, func.count().label("many")).where(~FindingRow.closed)
    if theirs is not None:
        open_of = open_of.where(FindingRow.technician.in_(theirs))
    team_of, region_of = teams(people, theirs), regions(people)
    still = {row.technician: row.many for row in look_up(engine, open_of.group_by(FindingRow.technician))}
    called = dict.fromkeys(names, names[0]) if names else _names_today(people)
    first, last = between.days
    asked = technicians_in(first, last if which else without_end(engine, last), firsts_until(now), *which)
    found: dict[str, list[Crew]] = {}
    for row in look_up(engine, asked):
        one = _crew(row, team_of, region_of, still)
        found.setdefault(called.get(one.technician, one.technician), []).append(one)
    return [_person(name, found[name]) for name in sorted(found)]


def _names_today(people: Engine) -> dict[str, str]:
    """A name that records have -> what the person is called today."""
    return {name: one.name for one in registry.all_of(people, registry.PERSON) for _, name in one.names}


def firsts_until(now: float) -> int:
    """The day before which first visits are counted here, as days since 1970-01-01."""
    return settled_until(day_of(now))


def day(number: int) -> str:
    """'2026-02-11' for days since 1970-01-01."""
    return date.fromordinal(number + EPOCH).isoformat()


def _person(name: str, some: list[Crew]) -> Crew:
    """Under today's name; of the team of the first of their names that has one."""
    if len(some) == 1 and some[0].technician == name:
        return some[0]
    of = min((one for one in some if one.team != NO_TEAM), key=lambda one: one.technician, default=some[0])
    return _sum(of.region, of.team, some)._replace(technician=name, people=1)


def _crew(row: Any, team_of: dict[str, str], region_of: dict[str, str], still: dict[str, int]) -> Crew:
    name, *sums, last = row
    team = team_of.get(name, NO_TEAM)
    return Crew._make((name, team, region_of.get(team, NO_REGION), *sums, still.get(name, 0), last, 1))


def teams_of(crews: Iterable[Crew]) -> list[Crew]:
    """Technicians rolled up, by region and name; `people`: how many went into each."""
    return _rolled(crews, lambda one: (one.region, one.team))


def regions_of(crews: Iterable[Crew]) -> list[Crew]:
    """Technicians, or teams, rolled up by name."""
    return _rolled(crews, lambda one: (one.region, ""))


def _rolled(crews: Iterable[Crew], key: Callable[[Crew], tuple[str, str]]) -> list[Crew]:
    by: dict[tuple[str, str], list[Crew]] = {}
    for one in crews:
        by.setdefault(key(one), []).append(one)
    return [_sum(region, team, by[region, team]) for region, team in sorted(by)]


def _sum(region: str, team: str, some: list[Crew]) -> Crew:
    *sums, people = (sum(column) for column in zip(*map(_ADDED, some), strict=True))
    figures = (*sums, max(one.last_day for one in some), people)
    return Crew("", team, region, *figures)
