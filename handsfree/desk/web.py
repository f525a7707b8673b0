"""What all pages share: templates, forms that are checked, who may open what."""

from __future__ import annotations

import functools
import hashlib
import hmac
from collections.abc import Awaitable, Callable, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, quote, urlencode

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from handsfree.desk import security_log
from handsfree.desk.configuration import Desk
from handsfree.desk.people import UserAccount
from handsfree.desk.queries import Scope
from handsfree.errors import Trouble
from handsfree.journal.rows import amount, clock, minutes, plainly, seen_as, span, unit

HERE = Path(__file__).parent
LARGEST_FORM = 64_000


def _shown(value: Any) -> Any:
    """What a page inserts: from a text, whoever wrote it, nothing that turns the direction of writing or cannot be seen.
    Markup was made by `journal.screen`, which does the same."""
    return seen_as(value) if isinstance(value, str) and not hasattr(value, "__html__") else value


_pages = Environment(loader=FileSystemLoader(HERE / "templates"), autoescape=True, undefined=StrictUndefined,
                     trim_blocks=True, lstrip_blocks=True, finalize=_shown)  # fmt: skip


#: What is written for a moment that no calendar has: a record may say anything.
NO_TIME = "no date"


def day(seconds: float | None) -> str:
    return moment(seconds)[:10]


def moment(seconds: float | None, like: str = "") -> str:
    """In the offset of the RFC 3339 time `like`, else in that of the desk."""
    if seconds is None:
        return ""
    try:
        zone = datetime.fromisoformat(like).tzinfo if like else None
        return f"{datetime.fromtimestamp(seconds).astimezone(zone):%Y-%m-%d %H:%M}"
    except (ValueError, OverflowError, OSError):
        return NO_TIME


def wall(text: str) -> str:
    """RFC 3339 as a person reads it, in the offset it was written in."""
    return text[:16].replace("T", " ")


_pages.filters |= {
    "day": day, "moment": moment, "wall": wall, "clock": clock, "span": span, "unit": unit, "amount": amount,
    "plainly": plainly, "minutes": minutes, "short": lambda text: clock(text).split(".")[0],
    "quoted": functools.lru_cache(4096)(lambda text: quote(str(text), safe="")), "query": urlencode,
}


def token(secret: str) -> str:
    """The form token of a session: it reveals nothing of the session's own secret."""
    return hmac.new(secret.encode(), b"form", hashlib.sha256).hexdigest()


#: role -> (address, words) of what it may open.
_LOOKING = (
    ("/", "Today"), ("/findings", "Findings"), ("/visits", "Visits"), ("/search", "Words"), ("/due", "Due"),
)
MENU = {
    "supervisor": (*_LOOKING, ("/digest", "Digest"), ("/measures", "Figures"), ("/people", "People")),
    "technician": (("/me", "Mine"), *_LOOKING),
    "writer": (("/writer", "Steps"),),
}


def page(request: Request, template: str, status: int = 200, /, **values: Any) -> HTMLResponse:
    account: UserAccount | None = request.state.account
    secret: str = request.state.secret
    menu = MENU.get(account.role, ()) if account is not None else ()
    common = {
        "account": account, "menu": menu, "here": request.url.path, "form_token": token(secret) if secret else "",
        "said": _said(request),
    }
    return HTMLResponse(_pages.get_template(template).render({**common, **values}), status)


def _said(request: Request) -> str:
    """The sentence `then` left in the address; '' for one that somebody else put there."""
    said, mark = request.query_params.get("said", ""), request.query_params.get("by", "")
    return said if hmac.compare_digest(mark.encode(), _mark(request, said).encode()) else ""


def _mark(request: Request, said: str) -> str:
    return hmac.new(desk_of(request).stamp, said.encode("utf-8", "replace"), hashlib.sha256).hexdigest()[:32]


def sorry(request: Request, status: int, sentence: str) -> Response:
    return page(request, "sorry.html", status, sentence=sentence)


def desk_of(request: Request) -> Desk:
    desk: Desk = request.app.state.desk
    return desk


def scope_of(request: Request) -> Scope:
    """Asked of the database once for a request."""
    if not hasattr(request.state, "scope"):
        request.state.scope = desk_of(request).scope(request.state.account)
    found: Scope = request.state.scope
    return found


View = Callable[[Request], Response]
Endpoint = Callable[[Request], Awaitable[Response]]


def for_roles(*roles: str) -> Callable[[View], Endpoint]:
    """A page only for these roles, made in a thread. Somebody not signed in is sent to sign in; another role is refused."""

    def wrap(view: View) -> Endpoint:
        @functools.wraps(view)
        async def endpoint(request: Request) -> Response:
            refusal = _refusal(request, roles)
            return refusal if refusal is not None else await run_in_threadpool(_safely, view, request)

        return endpoint

    return wrap


def _safely(view: View, request: Request) -> Response:
    try:
        return view(request)
    except Trouble as trouble:
        return sorry(request, 409, trouble.sentence)


#: What opens to somebody who must have a second factor and has none yet.
BEFORE_FACTOR = ("/account", "/account/factor", "/account/sessions", "/sign-out")


def _refusal(request: Request, roles: tuple[str, ...]) -> Response | None:
    account: UserAccount | None = request.state.account
    if account is None:
        if request.method in ("GET", "HEAD"):
            return RedirectResponse(f"/sign-in?{urlencode({'to': request.url.path})}", 303)
        return sorry(request, 401, "You are no longer signed in; nothing was changed.")
    if account.role not in roles:
        security_log.note("refused: not for that role", name=account.name, path=request.url.path)
        return sorry(request, 403, "Your role may not open this page.")
    if request.url.path not in BEFORE_FACTOR and request.state.lacks_factor:
        said = f"A {account.role} here needs a second factor. Add one first: until then nothing else opens."
        return then(request, "/account", said) if request.method in ("GET", "HEAD") else sorry(request, 403, said)
    return None


FormFields = dict[str, str]
FormView = Callable[[Request, FormFields], Response]


def form_for_roles(*roles: str) -> Callable[[FormView], Endpoint]:
    """A change only for these roles: its form must carry the session's token."""

    def wrap(view: FormView) -> Endpoint:
        @functools.wraps(view)
        async def endpoint(request: Request) -> Response:
            refusal = _refusal(request, roles)
            if refusal is not None and request.state.account is not None:
                return refusal
            form = await read_form(request)
            if form is None:
                return sorry(request, 413, "The form is too large; nothing was changed.")
            if refusal is not None:
                return _kept(request, form) or refusal
            if not hmac.compare_digest(form.get("token", "").encode(), token(request.state.secret).encode()):
                security_log.note("refused: form of another session", name=request.state.account.name, path=request.url.path)
                return sorry(request, 403, "The form was not made for this session; nothing was changed.")
            return await run_in_threadpool(_safely, lambda r: view(r, form), request)

        return endpoint

    return wrap


#: What is never kept of a form that came without a session.
_NOT_KEPT = ("token", "old", "new", "again", "password", "code")


def _kept(request: Request, form: FormFields) -> Response | None:
    """The session has ended: what was written comes back with the form to sign in, and is not lost. None if nothing was."""
    kept = {name: value for name, value in form.items() if name not in _NOT_KEPT and value}
    if not any(kept.get(name, "").strip() for name in ("text", "name", "note")) or desk_of(request).by_door:
        return None
    return sign_in_form(request, 401, "/", kept=urlencode(kept), kept_to=request.url.path)


def sign_in_form(
    request: Request, status: int, to: str, problem: str = "", name: str = "", *, kept: str = "", kept_to: str = ""
) -> Response:
    """`kept`: a form that came when the session was over, URL-encoded, and `kept_to` where it was going. Where there is
    nobody who could sign in, the printed link is the way in."""
    desk = desk_of(request)
    return page(
        request, "sign_in.html", status, to=to, problem=problem, name=name, accounts=not desk.by_door, kept=kept,
        kept_to=kept_to, elsewhere=desk.sign_on.label if desk.sign_on is not None else "",
    )


async def read_form(request: Request) -> FormFields | None:
    """URL-encoded alone, each field once; {} where it is anything else, None where it is too large."""
    body = b""
    async for chunk in request.stream():
        body += chunk
        if len(body) > LARGEST_FORM:
            return None
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() != "application/x-www-form-urlencoded":
        return {}
    try:
        pairs = parse_qsl(body.decode(), keep_blank_values=True, max_num_fields=150)
    except ValueError:
        return {}
    return {name: plain(value) for name, value in pairs} if len(dict(pairs)) == len(pairs) else {}


def plain(text: str) -> str:
    """Without characters that PostgreSQL accepts in no text."""
    return text.replace("\x00", "")


def asked_for(request: Request, name: str, most: int = 300) -> str:
    """The value under that name in the address, cut to this length; '' for none."""
    return plain(request.query_params.get(name, "")).strip()[:most]


def address_of(request: Request) -> str:
    return request.client.host if request.client else ""


def then(request: Request, address: str, said: str) -> RedirectResponse:
    """To another page of the desk, with a sentence to show there. The sentence is marked as the desk's own: nobody else's is
    shown, whatever link a person was sent."""
    path, _, rest = address.partition("#")
    asked = urlencode({"said": said, "by": _mark(request, said)})
    where = f"{path}{'&' if '?' in path else '?'}{asked}{'#' + rest if rest else ''}"
    return RedirectResponse(where, 303)


def seconds_of_day(text: str, *, end: bool = False) -> float | None:
    """'2026-02-11' as seconds of the epoch, its end with `end`; None for anything else."""
    try:
        begin = datetime.strptime(text, "%Y-%m-%d")
    except ValueError:
        return None
    if not 1970 < begin.year < 9999:  # no time zone can be worked out for others
        return None
    return (begin + timedelta(days=end)).astimezone().timestamp()  # a day on which the clock is changed has 23 or 25 hours


def bad_days(given: Mapping[str, str]) -> str:
    """A sentence on what is not a date in a form, '' where all are dates."""
    bad = [given[name] for name in ("since", "until") if given.get(name) and seconds_of_day(given[name]) is None]
    if bad:
        return f"{' and '.join(bad)}: not a date such as 2026-02-11. It was left out."
    since, until = (seconds_of_day(given.get(name, "")) for name in ("since", "until"))
    if since is not None and until is not None and since > until:
        return f"{given['since']} is after {given['until']}: nothing lies between them. Put the earlier day first."
    return ""


def now() -> float:
    return datetime.now(UTC).timestamp()
