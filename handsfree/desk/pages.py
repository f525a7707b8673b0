"""The pages that look, one function each. What they may show is in `web.for_roles` and the scope of the account."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from itertools import groupby
from typing import Any
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import Response

from handsfree.desk import measures, queries
from handsfree.desk.drawing import Point, over_time
from handsfree.desk.lists import FINDING_COLUMNS, MOST_EXPORTED, VISIT_COLUMNS, as_csv
from handsfree.desk.quarantine import folder_of, why_of
from handsfree.desk.queries import Filter
from handsfree.desk.readout import LARGEST_VALUE
from handsfree.desk.shown import shown_of
from handsfree.desk.web import asked_for, bad_days, desk_of, for_roles, now, page, plain, scope_of, seconds_of_day, sorry
from handsfree.errors import Trouble
from handsfree.journal import screen
from handsfree.journal.findings import LEVELS
from handsfree.journal.rows import unit

LOOKERS = ("supervisor", "technician")
#: Of a visit and of an event: what the databases count to.
LARGEST_ID, LARGEST_N = 2**63 - 1, 2**31 - 1


@for_roles("supervisor", "technician", "writer")
def home(request: Request) -> Response:
    if request.state.account.role == "writer":
        return _writer(request)
    engine, scope = desk_of(request).engine, scope_of(request)
    return page(
        request, "home.html", visits=queries.visits(engine, scope, Filter(), most=12)[:12],
        due=queries.due(engine, scope)[:8], open_findings=queries.open_findings(engine, scope),
        findings=queries.findings(engine, scope, signed=False, most=8), now=now(),
    )


@for_roles(*LOOKERS)
def visits(request: Request) -> Response:
    engine, scope = desk_of(request).engine, scope_of(request)
    given, want, sort = _wanted(request)
    skip = _number(asked_for(request, "skip"))
    found = queries.visits(engine, scope, want, _after(asked_for(request, "after")), sort=sort, skip=skip)
    more, kept = "", {k: v for k, v in given.items() if v}
    if len(found) > queries.PAGE:
        last = found[queries.PAGE - 1]
        on = {"skip": skip + queries.PAGE} if sort else {"after": f"{last.began!r}_{last.id}"}
        more = urlencode({**kept, **on})
    places = queries.places(engine, scope)
    return page(
        request, "visits.html", visits=found[: queries.PAGE], more=more, given=given, problem=bad_days(given),
        asked=urlencode(kept), outcomes=queries.outcomes(engine, scope), procedures=queries.procedures(engine, scope),
        levels=LEVELS, sorts=queries.SORTS,
        sites=sorted({p.site for p in places if p.site}), cabinets=sorted({p.cabinet for p in places if p.cabinet}),
        technicians=sorted({p.technician for p in places if p.technician}), faults=queries.faults(engine, scope),
    )


_FILTERS = ("site", "cabinet", "technician", "fault", "outcome", "procedure", "level", "open", "since", "until", "sort")


def _wanted(request: Request) -> tuple[dict[str, str], Filter, str]:
    """(what the form holds, the filter it makes, what to sort by)."""
    given = {name: asked_for(request, name) for name in _FILTERS}
    want = Filter(
        given["site"], given["cabinet"], given["technician"], given["fault"], seconds_of_day(given["since"]),
        seconds_of_day(given["until"], end=True), given["outcome"], given["procedure"], given["level"],
        given["open"] == "yes",
    )
    return given, want, given["sort"] if given["sort"] in queries.SORTS else ""


def _number(text: str) -> int:
    return min(int(text), 10**9) if text.isascii() and text.isdigit() and len(text) < 10 else 0


@for_roles(*LOOKERS)
def visits_csv(request: Request) -> Response:
    """The list as asked for, as RFC 4180, at most MOST_EXPORTED rows of it."""
    _, want, sort = _wanted(request)
    found = queries.visits(desk_of(request).engine, scope_of(request), want, most=MOST_EXPORTED, sort=sort)
    return as_csv("visits.csv", VISIT_COLUMNS, found[:MOST_EXPORTED])


@for_roles(*LOOKERS)
def findings_csv(request: Request) -> Response:
    signed, rule, level = _asked_findings(request)
    found = queries.findings(desk_of(request).engine, scope_of(request), signed=signed, rule=rule, level=level,
                             most=MOST_EXPORTED)
    return as_csv("findings.csv", FINDING_COLUMNS, found)


def _asked_findings(request: Request) -> tuple[bool, str, str]:
    return asked_for(request, "signed") == "yes", asked_for(request, "rule", 100), asked_for(request, "level", 10)


def _after(text: str) -> tuple[float, int] | None:
    began, _, number = text.partition("_")
    try:
        found = float(began), int(number)
    except ValueError:
        return None
    return found if math.isfinite(found[0]) and 0 <= found[1] <= LARGEST_ID else None


@for_roles(*LOOKERS)
def visit(request: Request) -> Response:
    """The one screen of the visit, and under it the story with its sound."""
    desk, name = desk_of(request), plain(request.path_params["name"])
    found = queries.visit(desk.engine, scope_of(request), name)
    if found is None:
        return sorry(request, 404, "There is no such visit, or it is not for you.")
    at = asked_for(request, "at")
    shown = shown_of(desk, found, _number(asked_for(request, "part")), _number(at) if at else None)
    return page(
        request, "visit.html", visit=found, shown=shown, findings=queries.findings_of(desk.engine, found.id),
        may_sign=request.state.account.role == "supervisor", why=why_of(folder_of(desk.visits, name)).sentence,
        noted=desk.heads.last_of(name),
    )


#: What a browser may show by itself, and how its content begins. Everything else is handed over as a download, and so is
#: what is not what its name says. (It is no reason to refuse a visit: phones call pictures what they like.)
_SHOWN = {
    ".flac": ("audio/flac", b"fLaC"), ".wav": ("audio/wav", b"RIFF"), ".png": ("image/png", b"\x89PNG\r\n\x1a\n"),
    ".jpg": ("image/jpeg", b"\xff\xd8\xff"), ".jpeg": ("image/jpeg", b"\xff\xd8\xff"),
}


@for_roles(*LOOKERS)
def sound(request: Request) -> Response:
    """The file that an event binds, held against its hash."""
    desk, name, n = desk_of(request), plain(request.path_params["name"]), request.path_params["n"]
    bound = queries.file(desk.engine, scope_of(request), name, n) if n <= LARGEST_N else None
    if bound is None:
        return sorry(request, 404, "There is no such file, or it is not for you.")
    try:
        data = desk.files.fetch(name, bound.path, bound.sha256)
    except Trouble as trouble:
        return sorry(request, 404 if trouble.status == 2 else 409, trouble.sentence)
    last = bound.path.rsplit("/", 1)[-1]  # of letters, digits, '.', '_' and '-' alone: `journal.shapes.file_allowed`
    kind, begins = _SHOWN.get(f".{last.rsplit('.', 1)[-1].lower()}", ("", b""))
    shown = kind != "" and data.startswith(begins)
    how = f'{"inline" if shown else "attachment"}; filename="{last}"'
    return Response(data, media_type=kind if shown else "application/octet-stream", headers={"content-disposition": how})


@for_roles(*LOOKERS)
def proof(request: Request) -> Response:
    """That a visit's head is in the desk's ledger (RFC 6962), for somebody who trusts only the tree's root."""
    desk, name = desk_of(request), plain(request.path_params["name"])
    known = queries.visit(desk.engine, scope_of(request), name)
    found = desk.heads.proof(name) if known is not None else None
    if found is None:
        return sorry(request, 404, "Nothing was noted of such a visit, or it is not for you.")
    headers = {"content-disposition": 'attachment; filename="proof.json"'}
    return Response(json.dumps(found, indent=1), media_type="application/json", headers=headers)


def screen_css(request: Request) -> Response:
    """The look of a visit's screen, one for the exported page and the desk."""
    return Response(screen.css(), media_type="text/css; charset=utf-8")


@for_roles(*LOOKERS)
def search(request: Request) -> Response:
    text, who = asked_for(request, "q", 200), asked_for(request, "who")
    who = who if who in ("technician", "program", "note") else ""
    found = queries.search(desk_of(request).engine, scope_of(request), text, who) if text else []
    return page(request, "search.html", q=text, who=who, found=found)


@for_roles(*LOOKERS)
def due(request: Request) -> Response:
    return page(request, "due.html", visits=queries.due(desk_of(request).engine, scope_of(request)), now=now())


@for_roles(*LOOKERS)
def cabinet(request: Request) -> Response:
    engine, scope = desk_of(request).engine, scope_of(request)
    site, name = asked_for(request, "site"), asked_for(request, "cabinet")
    taken = queries.readings(engine, scope, site, name)
    if not name:
        return sorry(request, 404, "Say which cabinet: open it from a visit.")
    charts = [_chart(quantity, list(some)) for quantity, some in groupby(taken, key=lambda row: row.quantity)]
    seen = queries.visits(engine, scope, Filter(site=site, cabinet=name))[: queries.PAGE]
    return page(request, "cabinet.html", site=site, cabinet=name, charts=charts, visits=seen)


def _chart(quantity: str, taken: Sequence[Any]) -> dict[str, Any]:
    """Drawn in the unit of the latest; readings in another unit are in the table alone."""
    name = taken[-1].unit
    drawn = [r for r in taken if r.value is not None and abs(r.value) < LARGEST_VALUE and r.unit == name]
    points = [Point(r.taken, r.value, r.low, r.high, r.where, r.name) for r in drawn]
    drawing = over_time(quantity, unit(name), points)
    return {"quantity": quantity, "unit": unit(name), "drawing": drawing, "readings": list(reversed(taken))}


@for_roles(*LOOKERS)
def findings(request: Request) -> Response:
    engine, scope = desk_of(request).engine, scope_of(request)
    signed, rule, level = _asked_findings(request)
    kept = {"signed": "yes" if signed else "", "rule": rule, "level": level}
    return page(
        request, "findings.html", signed=signed, rule=rule, level=level, levels=LEVELS, rules=queries.rules(engine, scope),
        asked=urlencode({k: v for k, v in kept.items() if v}),
        findings=queries.findings(engine, scope, signed=signed, rule=rule, level=level),
        open_findings=queries.open_findings(engine, scope),
        may_sign=request.state.account.role == "supervisor", signs_with=getattr(desk_of(request).key, "device", ""),
    )


def _between(request: Request) -> tuple[measures.Between, dict[str, str]]:
    """The last year where nothing else is asked for."""
    given = {name: asked_for(request, name, 10) for name in ("since", "until")}
    until = seconds_of_day(given["until"], end=True) or now()
    since = seconds_of_day(given["since"])
    return measures.Between(since if since is not None else until - 365 * measures.DAY, until), given


@for_roles("supervisor")
def figures(request: Request) -> Response:
    engine, scope = desk_of(request).engine, scope_of(request)
    between, given = _between(request)
    return page(
        request, "figures.html", given=given, between=between, again_days=measures.AGAIN_DAYS,
        returns=measures.returns(engine, scope, between), fix=measures.first_fix(engine, scope, between, now()),
        misheard=measures.misheard(engine, scope, between), procedures=measures.minutes_by_procedure(engine, scope, between),
        steps=measures.minutes_by_step(engine, scope, between),
    )


@for_roles("writer", "supervisor")
def writer(request: Request) -> Response:
    return _writer(request)


def _writer(request: Request) -> Response:
    between, given = _between(request)
    steps = measures.for_the_writer(desk_of(request).engine, between)
    return page(request, "writer.html", given=given, between=between, steps=steps)
