"""The pages that change something: signing in and out, the password, reading the folders again."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from urllib.parse import parse_qsl

from anyio import CapacityLimiter, from_thread, to_thread
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from handsfree.desk import factor, keyfobs, people, security_log
from handsfree.desk.factor import CodeWanted
from handsfree.desk.guesses import factor_judged
from handsfree.desk.refreshing import read_folders
from handsfree.desk.vouching import signed_in_elsewhere
from handsfree.desk.web import (
    LARGEST_FORM,
    FormFields,
    address_of,
    desk_of,
    for_roles,
    form_for_roles,
    page,
    read_form,
    sign_in_form,
    sorry,
    then,
)
from handsfree.errors import Trouble

SIGNED_IN = ("supervisor", "technician", "writer")
#: How many people may wait for their password to be checked; anybody after them is asked to come back. A check takes about
#: 0.1 s of one core, so on two cores the last of them waits about as many seconds as a browser's user would.
MOST_WAITING = 200


def inward(address: str) -> str:
    """Only to a page of this desk."""
    plain = address.startswith("/") and not address.startswith(("//", "/\\")) and address.isprintable()
    return address if plain and len(address) < 300 else "/"


def _open(request: Request, secret: str, to: str) -> Response:
    return _with_cookie(request, RedirectResponse(inward(to), 303), secret)


def _with_cookie(request: Request, answer: Response, secret: str) -> Response:
    desk = desk_of(request)
    answer.set_cookie(desk.cookie(), secret, httponly=True, samesite="strict", secure=desk.secure, path="/")
    return answer


async def sign_in_page(request: Request) -> Response:
    return sign_in_form(request, 200, inward(request.query_params.get("to", "/")))


async def sign_in(request: Request) -> Response:
    form = await read_form(request)
    if form is None:
        return sorry(request, 413, "The form is too large.")
    desk, name, to = desk_of(request), form.get("name", "").strip(), inward(form.get("to", "/"))
    again = partial(sign_in_form, request, name=name, kept=form.get("kept", ""), kept_to=inward(form.get("kept_to", "/")))
    hashing: CapacityLimiter = request.app.state.hashing
    if hashing.statistics().tasks_waiting >= MOST_WAITING:
        answer = again(503, to, "Too many people are signing in at this moment. Try again in a few seconds.")
        answer.headers["retry-after"] = "5"
        return answer
    try:
        judge = partial(people.sign_in, desk.people, name, form.get("password", ""), address_of(request))
        came = await to_thread.run_sync(judge, limiter=hashing)
    except Trouble as trouble:
        return again(429, to, trouble.sentence)
    if came is None:
        return again(401, to, "The name or the password is not right.")
    fields = {"to": to, "kept": form.get("kept", ""), "kept_to": inward(form.get("kept_to", "/"))}
    if isinstance(came, CodeWanted):
        return await run_in_threadpool(_code_page, request, came, fields)
    return await _come_in(request, came, fields)


async def _come_in(request: Request, secret: str, fields: dict[str, str]) -> Response:
    if request.state.secret:
        await run_in_threadpool(desk_of(request).leave, request.state.secret)
    return await opened(request, secret, fields["to"], fields["kept"], fields["kept_to"])


def _code_page(
    request: Request, waits: CodeWanted, fields: dict[str, str], status: int = 200, problem: str = ""
) -> Response:
    desk = desk_of(request)
    asked = keyfobs.challenge(desk.people, waits.person, waits.token, host_of(request))
    return page(
        request, "code.html", status, token=waits.token, problem=problem, asked=asked,
        coded=factor.wanted(desk.people, waits.person), **fields,
    )


async def code(request: Request) -> Response:
    """The second factor, after the password: a code, or what a security key answered."""
    form = await read_form(request)
    if form is None:
        return sorry(request, 413, "The form is too large.")
    desk, token = desk_of(request), form.get("pending", "")
    fields = {"to": inward(form.get("to", "/")), "kept": form.get("kept", ""), "kept_to": inward(form.get("kept_to", "/"))}
    judge = partial(factor.judge, desk.people, token, form.get("code", ""))
    if "answer" in form:
        judge = partial(factor.judge_key, desk.people, token, form["answer"], host_of(request), desk.origins)
    try:
        person = await run_in_threadpool(judge)
        if person is None:
            security_log.note("second factor wrong", address=address_of(request))
            waits = CodeWanted(token, await run_in_threadpool(factor.waits, desk.people, token))
            await run_in_threadpool(factor_judged, desk.people, waits.person, address_of(request), False)
            said = "That is not one of your keys." if "answer" in form else "That code is not right, or was used before."
            return await run_in_threadpool(_code_page, request, waits, fields, 401, said)
    except Trouble as trouble:
        kept = {"kept": fields["kept"], "kept_to": fields["kept_to"]}
        return sign_in_form(request, 401, fields["to"], trouble.sentence, **kept)
    security_log.note("second factor right", address=address_of(request))
    await run_in_threadpool(factor_judged, desk.people, person, address_of(request), True)
    return await _come_in(request, await run_in_threadpool(people.begin_session, desk.people, person), fields)


def host_of(request: Request) -> str:
    """The host that the browser asked for: one of the desk's own, otherwise the guard would have refused it."""
    return request.headers.get("host", "")


async def elsewhere(request: Request) -> Response:
    """To the provider's page."""
    desk = desk_of(request)
    if desk.sign_on is None:
        return sorry(request, 404, "This desk has no provider to sign in with.")
    to = inward(request.query_params.get("to", "/"))
    try:
        return await desk.sign_on.begin(
            request, desk.people, desk.origins[0], to, f"{desk.cookie()}-elsewhere", desk.secure
        )
    except Trouble as trouble:
        return sign_in_form(request, 503, to, trouble.sentence)


async def came_back(request: Request) -> Response:
    """From the provider's page."""
    desk = desk_of(request)
    if desk.sign_on is None:
        return sorry(request, 404, "This desk has no provider to sign in with.")
    try:
        found = await desk.sign_on.back(request, desk.people, request.cookies.get(f"{desk.cookie()}-elsewhere", ""))
        person = await run_in_threadpool(signed_in_elsewhere, desk.people, found)
    except Trouble as trouble:
        return sign_in_form(request, 403, "/", trouble.sentence)
    secret = await run_in_threadpool(people.begin_session, desk.people, person)
    # A page in between, as for the printed link: this answer is to a link from elsewhere.
    answer = _with_cookie(request, page(request, "entered.html", to=inward(found.to)), secret)
    answer.delete_cookie(f"{desk.cookie()}-elsewhere", path="/", secure=desk.secure, httponly=True, samesite="lax")
    return answer


async def opened(request: Request, secret: str, to: str, kept: str = "", kept_to: str = "/") -> Response:
    """Signed in: go where they were going, or back to the form they had filled in when their session ended."""
    fields = dict(parse_qsl(kept[:LARGEST_FORM], max_num_fields=150))
    if not fields:
        return _open(request, secret, to)
    account = await run_in_threadpool(desk_of(request).who, secret)
    request.state.account, request.state.secret = account, secret
    text = fields.pop("text", None)
    return _with_cookie(request, page(request, "kept.html", fields=fields, text=text, to=kept_to), secret)


async def enter(request: Request) -> Response:
    """The link printed at the start, if there are no accounts."""
    secret = desk_of(request).enter(request.path_params["door"])
    if secret is None:
        return sorry(request, 403, "That link was used already, or is another desk's. Start the desk again for a new one.")
    # A page in between: a Strict cookie set in answer to a link from elsewhere would not come back with a redirect.
    return _with_cookie(request, page(request, "entered.html", to="/"), secret)


@form_for_roles(*SIGNED_IN)
def sign_out(request: Request, form: FormFields) -> Response:
    desk = desk_of(request)
    security_log.note("signed out", name=request.state.account.name)
    desk.leave(request.state.secret)
    answer = then(request, "/sign-in", "You are signed out.")
    answer.delete_cookie(desk.cookie(), path="/", secure=desk.secure, httponly=True, samesite="strict")
    answer.headers["clear-site-data"] = '"cache"'
    return answer


def _account(request: Request, status: int = 200, problem: str = "") -> Response:
    desk, account = desk_of(request), request.state.account
    sessions = people.sessions_of(desk.people, account.id) if account.id else []
    coded = bool(account.id) and factor.wanted(desk.people, account.id)
    keys = keyfobs.keys_of(desk.people, account.id) if account.id else []
    must = account.role in desk.two_factors
    return page(
        request, "account.html", status, problem=problem, sessions=sessions, coded=coded, keys=keys, must=must,
        named=keyfobs.name_of(host_of(request)),
    )


@for_roles(*SIGNED_IN)
def account_page(request: Request) -> Response:
    return _account(request)


def _with_password(request: Request, change: Callable[[], None], said: str) -> Response:
    """A change to one's own account, which ends every session. Hashed in the same place as a sign-in, so that together they
    take no more memory."""
    if request.state.account.id == 0:
        return sorry(request, 403, "The person at this machine has no password; make one with 'handsfree desk people-add'.")
    try:
        from_thread.run(partial(to_thread.run_sync, limiter=request.app.state.hashing), change)
    except Trouble as trouble:
        return _account(request, 422, trouble.sentence)
    return then(request, "/sign-in", said)


@form_for_roles(*SIGNED_IN)
def change_password(request: Request, form: FormFields) -> Response:
    desk, account, new = desk_of(request), request.state.account, form.get("new", "")
    if new != form.get("again"):
        return _account(request, 422, "The two new passwords are not the same.")
    change = partial(people.change_password, desk.people, account, form.get("old", ""), new, address_of(request))
    return _with_password(request, change, "The password is changed, and every session has ended. Sign in with the new one.")


@form_for_roles(*SIGNED_IN)
def end_sessions(request: Request, form: FormFields) -> Response:
    desk, account = desk_of(request), request.state.account
    change = partial(people.end_all, desk.people, account, form.get("old", ""), address_of(request))
    return _with_password(request, change, "All your sessions have ended, here and everywhere.")


@form_for_roles(*SIGNED_IN)
def second_factor(request: Request, form: FormFields) -> Response:
    """Added and removed with the password, confirmed with a first code or by the key itself."""
    desk, account, do = desk_of(request), request.state.account, form.get("do", "")
    if account.id == 0:
        return sorry(request, 403, "The person at this machine has no password, and needs no second factor.")
    try:
        if do == "confirm":
            factor.confirm(desk.people, account.id, form.get("code", ""))
            return _added(request, "The second factor is on: a code is asked for at every sign-in.")
        if do == "put key":
            answer, name = form.get("answer", ""), form.get("name", "")
            keyfobs.add(desk.people, account.id, name, answer, host_of(request), desk.origins)
            return _added(request, "The security key is added: it is asked for at every sign-in.")
        judge = partial(people.owns, desk.people, account, form.get("old", ""), address_of(request))
        from_thread.run(partial(to_thread.run_sync, limiter=request.app.state.hashing), judge)
        if do in ("remove", "remove key"):
            return _taken_away(request, form)
        if do == "key":
            asked = keyfobs.begin(desk.people, account.id, account.name, host_of(request))
            return page(request, "key.html", asked=asked, name=form.get("name", "").strip())
        return page(request, "factor.html", shown=factor.begin(desk.people, account.id, account.name))
    except Trouble as trouble:
        return _account(request, 422, trouble.sentence)


def _added(request: Request, said: str) -> Response:
    security_log.note("second factor begun", name=request.state.account.name)
    return then(request, "/account", said)


def _taken_away(request: Request, form: FormFields) -> Response:
    """Never the last one if the role must have one: add another first."""
    desk, account = desk_of(request), request.state.account
    coded, keys = factor.wanted(desk.people, account.id), keyfobs.count(desk.people, account.id)
    if account.role in desk.two_factors and coded + keys < 2:
        raise Trouble(f"A {account.role} here needs a second factor. Add another first, then remove this one.")
    if form.get("do") == "remove":
        factor.remove(desk.people, account.id)
    else:
        number = form.get("key", "")
        keyfobs.remove(desk.people, account.id, int(number) if number.isascii() and number.isdigit() else 0)
    security_log.note("second factor taken away", name=account.name)
    return then(request, "/account", "It has been removed.")


@form_for_roles("supervisor")
def read_again(request: Request, form: FormFields) -> Response:
    desk = desk_of(request)
    done = read_folders(desk)
    said = f"The folders were read: {done.read} visits new or changed, {done.gone} removed, {done.same} unchanged."
    return then(request, "/", said)
