"""The pages that change something: signing in and out, signing off, the password, reading the folders anew."""

from __future__ import annotations

from functools import partial

from anyio import to_thread
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from handsfree.desk import people, queries, signoffs
from handsfree.desk.ingest import refresh
from handsfree.desk.signoffs import SignOff
from handsfree.desk.web import Form, desk_of, for_roles, form_for_roles, page, read_form, scope_of, sorry, then
from handsfree.errors import Trouble

SIGNED_IN = ("supervisor", "technician", "writer")
LONGEST_COMMENT = 2000


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
    return page(request, "sign_in.html", to=_inward(request.query_params.get("to", "/")), problem="", name="")


async def sign_in(request: Request) -> Response:
    form = await read_form(request)
    if form is None:
        return sorry(request, 413, "The form is too large.")
    desk, name = desk_of(request), form.get("name", "").strip()
    address = request.client.host if request.client else ""
    to = _inward(form.get("to", "/"))
    try:
        judge = partial(people.sign_in, desk.people, name, form.get("password", ""), address)
        secret = await to_thread.run_sync(judge, limiter=request.app.state.hashing)
    except Trouble as trouble:
        return page(request, "sign_in.html", 429, to=to, problem=trouble.sentence, name=name)
    if secret is None:
        return page(request, "sign_in.html", 401, to=to, problem="The name or the password is not right.", name=name)
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
    desk.leave(request.state.secret)
    answer = then("/sign-in", "You are signed out.")
    answer.delete_cookie(desk.cookie(), path="/", secure=desk.secure, httponly=True, samesite="strict")
    answer.headers["clear-site-data"] = '"cache"'
    return answer


@for_roles(*SIGNED_IN)
def account_page(request: Request) -> Response:
    return page(request, "account.html", problem="")


@form_for_roles(*SIGNED_IN)
def change_password(request: Request, form: Form) -> Response:
    desk, account = desk_of(request), request.state.account
    if account.id == 0:
        return sorry(request, 403, "The person at this machine has no password; make one with 'handsfree desk people-add'.")
    address = request.client.host if request.client else ""
    try:
        if form.get("new") != form.get("again"):
            raise Trouble("The two new passwords are not the same.")
        people.change_password(desk.people, account, form.get("old", ""), form.get("new", ""), address)
    except Trouble as trouble:
        return page(request, "account.html", 422, problem=trouble.sentence)
    return then("/sign-in", "The password is changed, and every session has ended. Sign in with the new one.")


@form_for_roles("supervisor")
def sign_off(request: Request, form: Form) -> Response:
    """Journalled first, then shown."""
    desk, account = desk_of(request), request.state.account
    found = queries.finding(desk.engine, scope_of(request), request.path_params["key"])
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
    back = form.get("back", "")
    return then(_inward(back) if back else "/findings", "The finding is signed off.")


@form_for_roles("supervisor")
def read_again(request: Request, form: Form) -> Response:
    desk = desk_of(request)
    done = refresh(desk.engine, desk.visits, desk.known, sound_elsewhere=desk.files.elsewhere)
    return then("/", f"The folders were read: {done.read} visits new or changed, {done.gone} gone, {done.same} as before.")
