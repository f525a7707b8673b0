"""The pages that change something: signing in and out, signing off, the password, reading the folders anew."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from anyio import CapacityLimiter, from_thread, to_thread
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from handsfree.desk import people, queries, signoffs, watch
from handsfree.desk.rereading import read_folders
from handsfree.desk.signoffs import SignOff
from handsfree.desk.web import (
    Form,
    address_of,
    desk_of,
    for_roles,
    form_for_roles,
    page,
    plain,
    read_form,
    scope_of,
    sorry,
    then,
)
from handsfree.errors import Trouble

SIGNED_IN = ("supervisor", "technician", "writer")
LONGEST_COMMENT = 2000
#: People who may wait to have their password judged; who comes after is told to come again. Judging takes about 0.1 s of one
#: core, so on two cores the last of them waits about as many seconds as a browser's user would.
MOST_WAITING = 200


def _inward(address: str) -> str:
    """Only to a page of this desk."""
    plain = address.startswith("/") and not address.startswith(("//", "/\\")) and address.isprintable()
    return address if plain and len(address) < 300 else "/"


def _open(request: Request, secret: str, to: str) -> Response:
    answer = RedirectResponse(_inward(to), 303)
    desk = desk_of(request)
    answer.set_cookie(desk.cookie(), secret, httponly=True, samesite="strict", secure=desk.secure, path="/")
    return answer


async def sign_in_page(request: Request) -> Response:
    return _sign_in(request, 200, _inward(request.query_params.get("to", "/")))


def _sign_in(request: Request, status: int, to: str, problem: str = "", name: str = "") -> Response:
    """`accounts`: there is somebody who could; where nobody is, the printed link is the way in."""
    accounts = not desk_of(request).by_door
    return page(request, "sign_in.html", status, to=to, problem=problem, name=name, accounts=accounts)


async def sign_in(request: Request) -> Response:
    form = await read_form(request)
    if form is None:
        return sorry(request, 413, "The form is too large.")
    desk, name, to = desk_of(request), form.get("name", "").strip(), _inward(form.get("to", "/"))
    hashing: CapacityLimiter = request.app.state.hashing
    if hashing.statistics().tasks_waiting >= MOST_WAITING:
        answer = _sign_in(request, 503, to, "Very many are signing in at this moment. Try again in a few seconds.", name)
        answer.headers["retry-after"] = "5"
        return answer
    try:
        judge = partial(people.sign_in, desk.people, name, form.get("password", ""), address_of(request))
        secret = await to_thread.run_sync(judge, limiter=hashing)
    except Trouble as trouble:
        return _sign_in(request, 429, to, trouble.sentence, name)
    if secret is None:
        return _sign_in(request, 401, to, "The name or the password is not right.", name)
    if request.state.secret:
        await run_in_threadpool(desk.leave, request.state.secret)
    return _open(request, secret, to)


async def enter(request: Request) -> Response:
    """The link printed at the start, where there are no accounts."""
    secret = desk_of(request).enter(request.path_params["door"])
    if secret is None:
        return sorry(request, 403, "That link was used already or is another desk's. Start the desk again for a new one.")
    # A page in between: a Strict cookie set in answer to a link from elsewhere would not come back with a redirect.
    answer = page(request, "entered.html")
    desk = desk_of(request)
    answer.set_cookie(desk.cookie(), secret, httponly=True, samesite="strict", secure=desk.secure, path="/")
    return answer


@form_for_roles(*SIGNED_IN)
def sign_out(request: Request, form: Form) -> Response:
    desk = desk_of(request)
    watch.note("signed out", name=request.state.account.name)
    desk.leave(request.state.secret)
    answer = then(request, "/sign-in", "You are signed out.")
    answer.delete_cookie(desk.cookie(), path="/", secure=desk.secure, httponly=True, samesite="strict")
    answer.headers["clear-site-data"] = '"cache"'
    return answer


def _account(request: Request, status: int = 200, problem: str = "") -> Response:
    desk, account = desk_of(request), request.state.account
    sessions = people.sessions_of(desk.people, account.id) if account.id else []
    return page(request, "account.html", status, problem=problem, sessions=sessions)


@for_roles(*SIGNED_IN)
def account_page(request: Request) -> Response:
    return _account(request)


def _with_password(request: Request, change: Callable[[], None], said: str) -> Response:
    """A change to one's own account, under which every session ends. Hashed where signing in is, so that together they take
    no more memory than that."""
    if request.state.account.id == 0:
        return sorry(request, 403, "The person at this machine has no password; make one with 'handsfree desk people-add'.")
    try:
        from_thread.run(partial(to_thread.run_sync, limiter=request.app.state.hashing), change)
    except Trouble as trouble:
        return _account(request, 422, trouble.sentence)
    return then(request, "/sign-in", said)


@form_for_roles(*SIGNED_IN)
def change_password(request: Request, form: Form) -> Response:
    desk, account, new = desk_of(request), request.state.account, form.get("new", "")
    if new != form.get("again"):
        return _account(request, 422, "The two new passwords are not the same.")
    change = partial(people.change_password, desk.people, account, form.get("old", ""), new, address_of(request))
    return _with_password(request, change, "The password is changed, and every session has ended. Sign in with the new one.")


@form_for_roles(*SIGNED_IN)
def end_sessions(request: Request, form: Form) -> Response:
    desk, account = desk_of(request), request.state.account
    change = partial(people.end_all, desk.people, account, form.get("old", ""), address_of(request))
    return _with_password(request, change, "Every session of yours has ended, here and everywhere.")


@form_for_roles("supervisor")
def sign_off(request: Request, form: Form) -> Response:
    """Journalled first, then shown."""
    desk, account = desk_of(request), request.state.account
    found = queries.finding(desk.engine, scope_of(request), plain(request.path_params["key"]))
    if found is None:
        return sorry(request, 404, "There is no such finding, or it is not for you.")
    comment = form.get("comment", "").strip()
    if not comment:
        return sorry(request, 422, "A finding is signed off with a comment: say what you found out. Nothing was signed off.")
    if len(comment) > LONGEST_COMMENT:
        return sorry(request, 422, f"A comment has at most {LONGEST_COMMENT} characters. Nothing was signed off.")
    off = SignOff(found.key, found.name, found.n, found.rule, found.sentence, found.head, account.name, comment)
    kept = signoffs.append(desk.own, off, desk.key)
    signoffs.note(desk.engine, kept)
    watch.note("finding signed off", name=account.name, visit=found.name, rule=found.rule)
    back = form.get("back", "")
    return then(request, _inward(back) if back else "/findings", "The finding is signed off.")


@form_for_roles("supervisor")
def read_again(request: Request, form: Form) -> Response:
    desk = desk_of(request)
    done = read_folders(desk)
    said = f"The folders were read: {done.read} visits new or changed, {done.gone} gone, {done.same} as before."
    return then(request, "/", said)
