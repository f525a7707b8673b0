"""A cabinet over the years: its visits and faults first, one pull-down curve per visit laid over one another, readings that
drift, parts changed, what is due; then each quantity by itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from statistics import correlation, linear_regression
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from handsfree.desk import places, queries, registry, threads
from handsfree.desk.drawing import TrendPoint, VisitCurve, over_time, overlaid
from handsfree.desk.lists import READING_COLUMNS, VISIT_COLUMNS, as_file
from handsfree.desk.pages import LOOKERS, file_kind
from handsfree.desk.queries import Filter
from handsfree.desk.readout import LARGEST_VALUE
from handsfree.desk.web import asked_for, desk_of, for_roles, now, page, scope_of, sorry
from handsfree.journal.rows import amount, unit

YEAR = 365.25 * 86_400
#: A drift is shown from this many visits on, over at least this long, if chance alone would show one as steep less often
#: than once in a hundred. Common practice, no source.
LEAST_VISITS, LEAST_SPAN = 4, 60 * 86_400.0
#: Student's t that chance alone passes once in a hundred, both ways, by degrees of freedom; those between have the next
#: fewer's.
STUDENT = {2: 9.925, 3: 5.841, 4: 4.604, 5: 4.032, 6: 3.707, 7: 3.499, 8: 3.355, 10: 3.169, 15: 2.947, 20: 2.845, 30: 2.750,
           60: 2.660}  # fmt: skip
#: Curves laid over one another, the newest.
MOST_CURVES = 8
#: Quantities drawn at once, the most read, points of one, and rows of its table; the rest are a link away.
CHARTS, POINTS, ROWS = 3, 60, 40


@dataclass(frozen=True)
class Drift:
    """`a_year`: how much it changes, in `unit`; `visits`: how many it is based on; `leaves`: the years until it leaves the
    expected range, None if it is not heading there."""

    quantity: str
    unit: str
    a_year: float
    visits: int
    last: float
    leaves: float | None

    @property
    def words(self) -> str:
        how = "rises" if self.a_year > 0 else "falls"
        said = f"{self.quantity.capitalize()} {how} by {amount(round(abs(self.a_year), 2), '')} {self.unit} a year"
        when = "" if self.leaves is None else f"; so it leaves its range in {self.leaves:.1f} years"
        return f"{said}, over {self.visits} visits; it is {amount(round(self.last, 2), '')} {self.unit} now{when}."


@for_roles(*LOOKERS)
def cabinet(request: Request) -> Response:
    desk, scope = desk_of(request), scope_of(request)
    site, name = asked_for(request, "site"), asked_for(request, "cabinet")
    if not name:
        return sorry(request, 404, "Say which cabinet: open it from a visit.")
    at = places.names_of(desk.engine, site, name)
    known = registry.find(desk.people, registry.CABINET, *reversed(desk.one(site, name)))
    seen = queries.visits(desk.engine, scope, Filter(at=tuple(at)), most=queries.PAGE)[: queries.PAGE]
    taken = queries.readings(desk.engine, scope, at)
    if (kind := file_kind(request)) is not None:
        if asked_for(request, "what") == "visits":
            return as_file(kind, "visits", VISIT_COLUMNS, seen)
        return as_file(kind, "readings", READING_COLUMNS, taken)
    by = [(quantity, list(some)) for quantity, some in groupby(taken, key=lambda row: row.quantity)]
    asked, most_read = asked_for(request, "quantity"), sorted(by, key=lambda one: -len(one[1]))
    shown = [asked] if asked else [quantity for quantity, _ in most_read[:CHARTS]]
    return page(
        request,
        "cabinet.html",
        site=site,
        cabinet=name,
        known=known,
        others_called=at[1:],
        visits=seen,
        curve=_pull_down(by),
        drifts=sorted(filter(None, (drift(q, some) for q, some in by)), key=lambda one: -abs(one.a_year))[:10],
        charts=[_chart(quantity, some) for quantity, some in by if quantity in shown],
        others=[(quantity, len(some)) for quantity, some in by if quantity not in shown][:60],
        changed_parts=[(v, v.parts) for v in seen if v.parts],
        due=[v for v in seen if v.due is not None and v == seen[0]],
        follow_ups=[row for row in threads.follow_ups(desk.engine, scope) if (row.site, row.cabinet) in at],
        now=now(),
    )


def _chart(quantity: str, taken: Sequence[Any]) -> dict[str, Any]:
    """Drawn in the unit of the latest reading; readings in other units are only in the table."""
    name = taken[-1].unit
    drawn = [r for r in taken if r.value is not None and abs(r.value) < LARGEST_VALUE and r.unit == name][-POINTS:]
    points = [TrendPoint(r.taken, r.value, r.low, r.high, r.where, r.name) for r in drawn]
    drawing = over_time(quantity, unit(name), points)
    return {
        "quantity": quantity,
        "unit": unit(name),
        "drawing": drawing,
        "readings": list(reversed(taken))[:ROWS],
        "count": len(taken),
    }


def _pull_down(by: Sequence[tuple[str, list[Any]]]) -> str:
    """The quantity for which most visits have a curve: three readings or more, in one unit."""
    best: tuple[str, str, list[VisitCurve]] = ("", "", [])
    for quantity, taken in by:
        name = taken[-1].unit
        runs = []
        for _, some in groupby(sorted(taken, key=lambda r: (r.began, r.name, r.taken)), key=lambda r: r.name):
            visit = [r for r in some if r.value is not None and abs(r.value) < LARGEST_VALUE and r.unit == name]
            if len(visit) >= 3:
                points = tuple(((r.taken - visit[0].taken) / 60, float(r.value)) for r in visit[-60:])
                runs.append(VisitCurve(visit[0].began_text[:10], visit[0].name, points))
        if len(runs) > len(best[2]):
            best = (quantity, unit(name), runs)
    return overlaid(*best[:2], best[2][-MOST_CURVES:]) if best[2] else ""


def is_steep(along: float, visits: int) -> bool:
    """Is the correlation (Pearson) of so many points more than chance? Student's t compared with the table."""
    free = visits - 2
    least = STUDENT[max(one for one in STUDENT if one <= free)]
    return abs(along) >= 1.0 or abs(along) * (free / (1 - along * along)) ** 0.5 > least


def drift(quantity: str, taken: Sequence[Any]) -> Drift | None:
    """From the last reading of each visit, by least squares; None if it may be chance."""
    name = taken[-1].unit
    last: dict[str, Any] = {}
    for r in sorted(taken, key=lambda row: row.taken):
        if r.value is not None and abs(r.value) < LARGEST_VALUE and r.unit == name:
            last[r.name] = r
    points = list(last.values())
    if len(points) < LEAST_VISITS or points[-1].taken - points[0].taken < LEAST_SPAN:
        return None
    x = [(r.taken - points[0].taken) / YEAR for r in points]
    y = [float(r.value) for r in points]
    if len(set(y)) == 1 or len(set(x)) == 1:
        return None
    slope, level = linear_regression(x, y)
    if slope == 0.0 or not is_steep(correlation(x, y), len(points)):
        return None
    now_at = level + slope * x[-1]
    low, high = points[-1].low, points[-1].high
    edge = high if slope > 0 else low
    inside = low is not None and high is not None and low <= now_at <= high
    leaves = (edge - now_at) / slope if inside and edge is not None else None
    return Drift(quantity, unit(name), slope, len(points), y[-1], leaves if leaves is None or leaves < 20 else None)
