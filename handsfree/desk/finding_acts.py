"""Acting on findings: one at a time from a visit, or many from the list. Journalled first, then shown.

Rules of this file:

- A supervisor may do everything in `acts.WHAT`; a technician may only answer what they were asked.
- All of them or none: the acts of one form are one append.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from handsfree.desk import acts, people, queries, registry, security_log, threads
from handsfree.desk.account_pages import inward
from handsfree.desk.acts import ANSWERED, ASKED, ASSIGNED, FOLLOW_UP, WHAT, DeskAct
from handsfree.desk.web import FormFields, desk_of, form_for_roles, plain, scope_of, seconds_of_day, sorry, then

#: Findings of one form.
MOST = 100
#: What a box of a list is called in its form, before the finding's key.
BOX = "k:"


@form_for_roles("supervisor", "technician")
def act(request: Request, form: FormFields) -> Response:
    """On one finding."""
    return _done(request, form, [plain(request.path_params["key"])], form.get("back", ""))


@form_for_roles("supervisor")
def act_on_many(request: Request, form: FormFields) -> Response:
    """On every finding whose box is ticked."""
    keys = [name.removeprefix(BOX) for name in form if name.startswith(BOX)][:MOST]
    if not keys:
        return sorry(request, 422, "First tick the findings that it is about. Nothing was done.")
    return _done(request, form, keys, form.get("back", ""))


def _done(request: Request, form: FormFields, keys: list[str], back: str) -> Response:
    desk, account = desk_of(request), request.state.account
    found = [queries.finding(desk.engine, scope_of(request), key) for key in keys]
    if not all(found):
        return sorry(request, 404, "There is no such finding, or it is not for you. Nothing was done.")
    given = {name: form.get(name, "").strip() for name in ("what", "text", "to", "due")}
    given["what"] = given["what"] or acts.SIGNED_OFF
    made = [_act(request, row, given) for row in found if row is not None]
    if account.role == "technician" and not all(
        one.what == ANSWERED and _asked(request, row) for one, row in zip(made, found, strict=True)
    ):
        return sorry(request, 403, "Here you can only answer questions that were put to you. Nothing was done.")
    for one in made:
        if lack := acts.missing(one) or _wrong(request, one):
            said = f"{WHAT[one.what].words}: {lack}. Nothing was done." if one.what in WHAT else f"{lack}. Nothing was done."
            return sorry(request, 422, said[0].upper() + said[1:])
    kept = acts.append(desk.own, made, desk.key)
    threads.note(desk.engine, kept, desk.names_of)
    for one in made:
        security_log.note(f"finding {one.what}", name=account.name, visit=one.visit, rule=one.rule)
    what = f"Each of {len(made)} findings" if len(made) > 1 else "The finding"
    return then(request, inward(back) if back else "/findings", f"{what} {WHAT[given['what']].done}.")


def _asked(request: Request, row: Any) -> bool:
    names = registry.names_of_person(desk_of(request).people, request.state.account.technician)
    return row is not None and row.asked != "" and row.asked in names


def _act(request: Request, row: Any, given: dict[str, str]) -> DeskAct:
    one = DeskAct(row.key, row.name, row.n, row.rule, row.sentence, row.head, request.state.account.name, **given)
    if one.what == ASKED:  # whoever made the visit: nobody else may see it
        return replace(one, to=row.technician)
    return one if one.what == ASSIGNED else replace(one, to="")


def _wrong(request: Request, one: DeskAct) -> str:
    """What is wrong with the input, as the end of a sentence."""
    if one.what == FOLLOW_UP and seconds_of_day(one.due) is None:
        return f"{one.due} is not a day such as 2026-02-11"
    desk = desk_of(request)
    if one.what == ASSIGNED and not desk.by_door and one.to not in people.supervisors(desk.people):
        return f"there is no supervisor called {one.to}"
    return ""
