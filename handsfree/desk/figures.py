"""The pages about many visits: figures, versions compared, steps, the digest, technicians and teams, devices."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import Response

from handsfree.desk import crews, devices, measures, queries, registry, threads
from handsfree.desk.digest import SPANS, digest_for, markdown, sections, title
from handsfree.desk.incoming import BEGUN
from handsfree.desk.lists import (
    DEVICE_COLUMNS,
    PEOPLE_COLUMNS,
    RETURN_COLUMNS,
    STEP_COLUMNS,
    VERSION_COLUMNS,
    Columns,
    as_file,
)
from handsfree.desk.pages import file_kind
from handsfree.desk.queries import EVERYBODY, Filter
from handsfree.desk.web import (
    FormFields,
    asked_for,
    bad_days,
    desk_of,
    for_roles,
    form_for_roles,
    now,
    page,
    scope_of,
    seconds_of_day,
    sorry,
    then,
)

#: Rows of one table on a page; the file has them all.
MOST = 200
MOST_REGIONS = 60


def between_of(request: Request) -> tuple[measures.Between, dict[str, str]]:
    """The last year, unless something else is asked for."""
    given = {name: asked_for(request, name, 10) for name in ("since", "until")}
    until = seconds_of_day(given["until"], end=True) or now()
    since = seconds_of_day(given["since"])
    return measures.Between(since if since is not None else until - 365 * measures.DAY, until), given


def _kept(given: dict[str, str]) -> str:
    return urlencode({name: value for name, value in given.items() if value})


@for_roles("supervisor")
def figures(request: Request) -> Response:
    engine, scope = desk_of(request).engine, scope_of(request)
    between, given = between_of(request)
    if (kind := file_kind(request)) is not None:
        what = asked_for(request, "what")
        if what == "versions":
            return as_file(kind, "versions", VERSION_COLUMNS, measures.by_version(engine, scope, between))
        return as_file(kind, "returns", RETURN_COLUMNS, measures.returns(engine, scope, between, 10_000))
    steps = measures.steps(engine, scope, between)
    return page(
        request,
        "figures.html",
        given=given,
        between=between,
        again_days=measures.AGAIN_DAYS,
        asked=_kept(given),
        problem=bad_days(given),
        returns=measures.returns(engine, scope, between),
        fix=measures.first_fix(engine, scope, between, now()),
        misheard=measures.misheard(steps),
        versions=measures.by_version(engine, scope, between)[:100],
        steps=steps[:400],
    )


@for_roles("writer", "supervisor")
def writer(request: Request) -> Response:
    return writers_page(request)


def writers_page(request: Request) -> Response:
    between, given = between_of(request)
    steps = measures.for_the_writer(desk_of(request).engine, between)
    if (kind := file_kind(request)) is not None:
        return as_file(kind, "steps", STEP_COLUMNS, steps)
    return page(
        request, "writer.html", given=given, between=between, steps=steps[:250], asked=_kept(given), problem=bad_days(given)
    )


@for_roles("supervisor")
def digest_page(request: Request) -> Response:
    """As a page; `/digest.md` as a file."""
    days = 7 if asked_for(request, "days") == "7" else 1
    made = digest_for(desk_of(request).engine, scope_of(request), days)
    if request.url.path.endswith(".md"):
        headers = {"content-disposition": f'attachment; filename="digest-{SPANS[days]}.md"'}
        text = markdown(made, desk_of(request).origins[0])
        return Response(text.encode(), media_type="text/markdown; charset=utf-8", headers=headers)
    return page(request, "digest.html", title=title(made), sections=sections(made), days=days, spans=SPANS)


@for_roles("supervisor")
def crew(request: Request) -> Response:
    """Regions and teams; with `region` its teams, with `team` its technicians. Only someone who sees every team
    sees regions: one team is not enough to make a figure of a region."""
    desk, scope = desk_of(request), scope_of(request)
    between, given = between_of(request)
    team, region, by = (asked_for(request, name, 100) for name in ("team", "region", "by"))
    everybody = scope == EVERYBODY
    if not everybody and (region or by == "region"):
        return sorry(request, 403, "Only someone who sees every team sees regions.")
    people = crews.technicians(desk.engine, desk.people, scope, between, now())
    people = [one for one in people if team in ("", one.team) and region in ("", one.region)]
    if (kind := file_kind(request)) is not None:
        rolled = {"team": crews.teams_of, "region": crews.regions_of}.get(by)
        return as_file(kind, f"{by}s" if rolled else "people", _columns(by), rolled(people) if rolled else people)
    rows = people if team else crews.teams_of(people)
    regions = crews.regions_of(rows) if everybody and not team and not region else []
    return page(
        request,
        "crew.html",
        team=team,
        region=region,
        rows=rows[:MOST],
        left=max(0, len(rows) - MOST),
        given=given,
        between=between,
        asked=_kept({**given, "team": team, "region": region}),
        dates=_kept(given),
        firsts_until=crews.day(crews.firsts_until(now())),
        regions=regions[:MOST_REGIONS],
        regions_left=max(0, len(regions) - MOST_REGIONS),
        team_region=crews.regions(desk.people).get(team, ""),
        may_change=everybody and bool(team),
        problem=bad_days(given),
    )


def _columns(by: str) -> Columns:
    """The columns of a file: a team's names nobody, a region's names no team."""
    without = {"team": ("technician",), "region": ("technician", "team")}.get(by, ("people",))
    return tuple(one for one in PEOPLE_COLUMNS if one[1] not in without)


@form_for_roles("supervisor")
def put_region(request: Request, form: FormFields) -> Response:
    if scope_of(request) != EVERYBODY:
        return sorry(request, 403, "Only somebody who sees every team can say which region a team belongs to.")
    team = form.get("team", "").strip()
    crews.put_region(desk_of(request).people, team, form.get("region", "").strip())
    return then(request, f"/people?{urlencode({'team': team})}", "The region is changed.")


@for_roles("supervisor")
def technician(request: Request) -> Response:
    return _technician(request, asked_for(request, "name"))


@for_roles("technician")
def me(request: Request) -> Response:
    return _technician(request, request.state.account.technician)


def _technician(request: Request, name: str) -> Response:
    """Own visits, how often they are asked again beside everybody's, and the supervisor's questions."""
    desk, scope = desk_of(request), scope_of(request)
    between, given = between_of(request)
    names = tuple(each for each in registry.names_of_called(desk.people, name) if each and scope.has(each))
    seen = queries.visits(desk.engine, scope, Filter(exactly=names), most=queries.PAGE) if names else []
    if not seen and request.state.account.technician not in names:
        return sorry(request, 404, "There is no such technician, or they are not of your team.")
    own = crews.technicians(desk.engine, desk.people, scope, between, now(), names) if names else []
    return page(
        request,
        "technician.html",
        name=name,
        own=own[0] if own else None,
        all_again=measures.again_share(desk.engine, between),
        visits=seen[: queries.PAGE],
        firsts_until=crews.day(crews.firsts_until(now())),
        others_called=[each for each in names if each != name],
        questions=threads.questions(desk.engine, names)[:40],
        given=given,
        between=between,
        answered=threads.questions(desk.engine, names, answered=True)[:20],
        may_answer=request.state.account.technician in names,
        worst=measures.misheard(measures.steps(desk.engine, queries.Scope(names), between), 5),
        problem=bad_days(given),
    )


@for_roles("supervisor")
def device_list(request: Request) -> Response:
    """Which have fallen silent, and on which visits wait."""
    desk, account = desk_of(request), request.state.account
    teams = None if account.team == "*" else (account.team,)
    found = devices.all_of(desk.people, desk.incoming.place / BEGUN, teams)
    if (kind := file_kind(request)) is not None:
        return as_file(kind, "devices", DEVICE_COLUMNS, found)
    counts: dict[str, Any] = {}
    for one in found:
        counts[one.standing] = counts.get(one.standing, 0) + 1
    return page(
        request, "devices.html", devices=found[:MOST], left=max(0, len(found) - MOST), counts=counts,
        silent=devices.SILENT_DAYS, stale=devices.STALE_DAYS,
    )
