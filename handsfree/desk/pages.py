"""The pages that look, one function each. What they may show is in `web.for_roles` and the scope of the account."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from handsfree.desk import acts, devices, people, queries, registry, saved_searches, threads
from handsfree.desk.lists import (
    DUE_COLUMNS,
    FINDING_COLUMNS,
    FOLLOW_UP_COLUMNS,
    KINDS,
    MOST_EXPORTED,
    SAID_COLUMNS,
    VISIT_COLUMNS,
    as_file,
)
from handsfree.desk.quarantine import folder_of, why_of
from handsfree.desk.queries import Filter, FindingQuery
from handsfree.desk.visit_screen import shown_of
from handsfree.desk.web import asked_for, bad_days, desk_of, for_roles, now, page, plain, scope_of, seconds_of_day, sorry
from handsfree.errors import Trouble
from handsfree.journal import screen
from handsfree.journal.findings import LEVELS

LOOKERS = ("supervisor", "technician")
#: Of a visit and of an event: what the databases count to.
LARGEST_ID, LARGEST_N = 2**63 - 1, 2**31 - 1


@for_roles("supervisor", "technician", "writer")
def home(request: Request) -> Response:
    account = request.state.account
    if account.role == "writer":
        return RedirectResponse("/writer", 303)
    engine, scope = desk_of(request).engine, scope_of(request)
    return page(
        request, "home.html", visits=queries.visits(engine, scope, Filter(), most=12)[:12],
        due=queries.due(engine, scope)[:8], tally=queries.tally(engine, scope),
        findings=queries.findings(engine, scope, most=8), now=now(),
        mine=queries.findings(engine, scope, FindingQuery(assigned=account.name), most=8),
        questions=threads.questions(engine, _names(request)) if account.role == "technician" else [],
        answers=queries.findings(engine, scope, FindingQuery(state=acts.ANSWERED), most=8)
        if account.role == "supervisor" else [],
        follow_ups=[row for row in threads.follow_ups(engine, scope) if row.went is None][:8], quiet=_quiet(request),
    )


def _names(request: Request) -> tuple[str, ...]:
    """Every name that records have for who is signed in."""
    return registry.names_of_person(desk_of(request).people, request.state.account.technician)


def _quiet(request: Request) -> tuple[int, int]:
    """Devices that are silent, and queues that are stale, of who looks after them."""
    account = request.state.account
    if account.role != "supervisor":
        return 0, 0
    return devices.quiet(desk_of(request).people, None if account.team == "*" else (account.team,))


@for_roles(*LOOKERS)
def visits(request: Request) -> Response:
    """The list, or as a file: `/visits.csv`, `/visits.parquet`."""
    engine, scope = desk_of(request).engine, scope_of(request)
    given, want, sort = wanted(request)
    if (kind := file_kind(request)) is not None:
        found = queries.visits(engine, scope, want, most=MOST_EXPORTED, sort=sort)
        return as_file(kind, "visits", VISIT_COLUMNS, found)
    skip = _number(asked_for(request, "skip"))
    found = queries.visits(engine, scope, want, _after(asked_for(request, "after")), sort=sort, skip=skip)
    more, kept = "", {k: v for k, v in given.items() if v}
    if len(found) > queries.PAGE:
        last = found[queries.PAGE - 1]
        on = {"skip": skip + queries.PAGE} if sort else {"after": f"{last.began!r}_{last.id}"}
        more = urlencode({**kept, **on})
    return page(
        request, "visits.html", visits=found[: queries.PAGE], more=more, given=given, problem=bad_days(given),
        asked=urlencode(kept), **choices(request), sorts=queries.SORTS,
        kept=saved_searches.of(desk_of(request).people, request.state.account.id),
    )


def choices(request: Request) -> dict[str, Any]:
    """What the fields of a form offer."""
    return {**desk_of(request).choices(scope_of(request)), "levels": LEVELS}


FILTERS = ("site", "cabinet", "technician", "fault", "words", "outcome", "procedure", "version", "level", "open", "since",
           "until", "sort")  # fmt: skip


def wanted(request: Request) -> tuple[dict[str, str], Filter, str]:
    """(what the form holds, the filter it makes, what to sort by)."""
    given = {name: asked_for(request, name) for name in FILTERS}
    things = desk_of(request).people
    sites, cabinets, persons = (
        registry.called(things, kind, given[name])
        for kind, name in ((registry.SITE, "site"), (registry.CABINET, "cabinet"), (registry.PERSON, "technician"))
    )
    want = Filter(
        given["site"], given["cabinet"], given["technician"], given["fault"], seconds_of_day(given["since"]),
        seconds_of_day(given["until"], end=True), given["outcome"], given["procedure"], given["level"],
        given["open"] == "yes", given["version"], given["words"], sites=tuple(name for _, name in sites),
        cabinets=tuple(cabinets), technicians=tuple(name for _, name in persons),
    )
    return given, want, given["sort"] if given["sort"] in queries.SORTS else ""


def file_kind(request: Request) -> str | None:
    """Which kind of file the address asks for, None for a page."""
    kind = request.path_params.get("kind")
    return kind if kind in KINDS else None


def _number(text: str) -> int:
    return min(int(text), 10**9) if text.isascii() and text.isdigit() and len(text) < 10 else 0


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
    part, in_words = _number(asked_for(request, "part")), asked_for(request, "head") == "words"
    shown = shown_of(desk, found, part, _number(at) if at else None, in_words=in_words)
    account = request.state.account
    return page(
        request, "visit.html", visit=found, shown=shown, findings=queries.findings_of(desk.engine, found.id),
        threads=threads.of_visit(desk.engine, name), may_act=account.role == "supervisor", what=acts.WHAT,
        after=_after_this(request, name), supervisors=_supervisors(request),
        why=why_of(folder_of(desk.visits, name)).sentence, noted=desk.heads.last_of(name),
    )


def _after_this(request: Request, name: str) -> Any:
    """The gravest open finding of another visit: what a supervisor goes on with. None where there is none."""
    if request.state.account.role != "supervisor":
        return None
    some = queries.findings(desk_of(request).engine, scope_of(request), most=12)
    return next((row for row in some if row.name != name), None)


#: What a browser may show by itself, and how its content begins. Everything else is handed over as a download, and so is
#: what is not what its name says. (It is no reason to refuse a visit: phones call pictures what they like.)
_SHOWN = {
    ".flac": ("audio/flac", b"fLaC"), ".wav": ("audio/wav", b"RIFF"), ".png": ("image/png", b"\x89PNG\r\n\x1a\n"),
    ".jpg": ("image/jpeg", b"\xff\xd8\xff"), ".jpeg": ("image/jpeg", b"\xff\xd8\xff"),
}


@for_roles(*LOOKERS)
def sound(request: Request) -> Response:
    """The file that an event binds, compared with its hash."""
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
        return sorry(request, 404, "Nothing was noted about such a visit, or it is not for you.")
    headers = {"content-disposition": 'attachment; filename="proof.json"'}
    return Response(json.dumps(found, indent=1), media_type="application/json", headers=headers)


def screen_css(request: Request) -> Response:
    """The look of a visit's screen, one for the exported page and the desk."""
    return Response(screen.css(), media_type="text/css; charset=utf-8")


@for_roles(*LOOKERS)
def search(request: Request) -> Response:
    text, who = asked_for(request, "q", 200), asked_for(request, "who")
    who = who if who in ("technician", "program", "note") else ""
    kind = file_kind(request)
    most = queries.PAGE if kind is None else MOST_EXPORTED
    found = queries.search(desk_of(request).engine, scope_of(request), text, who, most) if text else []
    if kind is not None:
        return as_file(kind, "words", SAID_COLUMNS, found)
    return page(request, "search.html", q=text, who=who, found=found, asked=urlencode({"q": text, "who": who}))


@for_roles(*LOOKERS)
def due(request: Request) -> Response:
    """Visits to be continued, and findings that somebody must go back for."""
    engine, scope = desk_of(request).engine, scope_of(request)
    later, follow_ups = queries.due(engine, scope), threads.follow_ups(engine, scope)
    if (kind := file_kind(request)) is not None:
        if asked_for(request, "what") == "follow-ups":
            return as_file(kind, "follow-ups", FOLLOW_UP_COLUMNS, follow_ups)
        return as_file(kind, "to-be-continued", DUE_COLUMNS, later)
    return page(request, "due.html", visits=later[:100], follow_ups=follow_ups[:100], now=now(), today=f"{_today()}")


def _today() -> str:
    return f"{datetime.now().astimezone():%Y-%m-%d}"


#: What the list of findings can be of: in the address, in words.
WHICH = {
    "": "open", "mine": "assigned to me", "asked": "asked, no answer yet", "answered": "answered", "yes": "closed",
}  # fmt: skip


@for_roles(*LOOKERS)
def findings(request: Request) -> Response:
    engine, scope, account = desk_of(request).engine, scope_of(request), request.state.account
    given, of, _ = wanted(request)
    which, rule = asked_for(request, "signed", 10), asked_for(request, "rule", 100)
    which = which if which in WHICH else ""
    want = FindingQuery(
        closed=which == "yes", rule=rule, level=given["level"], state=which if which in (acts.ASKED, acts.ANSWERED) else "",
        assigned=account.name if which == "mine" else "", of=replace(of, level="", open=False),
    )
    kept = {k: v for k, v in {**given, "signed": which, "rule": rule}.items() if v}
    if (kind := file_kind(request)) is not None:
        return as_file(kind, "findings", FINDING_COLUMNS, queries.findings(engine, scope, want, most=MOST_EXPORTED + 1))
    skip = _number(asked_for(request, "skip"))
    found = queries.findings(engine, scope, want, most=queries.PAGE + 1, skip=skip)
    more = urlencode({**kept, "skip": skip + queries.PAGE}) if len(found) > queries.PAGE else ""
    here, tally = f"/findings?{urlencode(kept)}" if kept else "/findings", queries.tally(engine, scope)
    desk = desk_of(request)
    return page(
        request, "findings.html", which=which, rule=rule, tally=tally, given=given, which_words=WHICH,
        asked=urlencode(kept), findings=found[: queries.PAGE], open_findings=sum(many for _, _, many in tally), more=more,
        may_act=account.role == "supervisor", signs_with=getattr(desk.key, "device", ""), back=here, problem=bad_days(given),
        what=acts.WHAT, supervisors=_supervisors(request), kept=saved_searches.of(desk.people, account.id),
        **choices(request),
    )


def _supervisors(request: Request) -> list[str]:
    desk = desk_of(request)
    return [] if desk.by_door else people.supervisors(desk.people)
