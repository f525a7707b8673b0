"""The pages for what the desk keeps besides the visits: saved searches, and the registry."""

from __future__ import annotations

from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import Response

from handsfree.desk import places, queries, registry, saved_searches, threads
from handsfree.desk.account_pages import inward
from handsfree.desk.lists import Columns, as_file
from handsfree.desk.pages import LOOKERS, file_kind
from handsfree.desk.queries import EVERYBODY
from handsfree.desk.tables import folded
from handsfree.desk.web import FormFields, asked_for, desk_of, for_roles, form_for_roles, page, scope_of, sorry, then

#: Names of a kind on one page.
SHOWN = 60
REGISTRY_COLUMNS: Columns = (("id", "label"), ("kind", "kind"), ("called", "name"), ("in records", "names_told"))


@form_for_roles(*LOOKERS)
def saved_search(request: Request, form: FormFields) -> Response:
    desk, person, name = desk_of(request), request.state.account.id, form.get("name", "").strip()
    if form.get("do") == "forget":
        saved_searches.forget(desk.people, person, name)
        return then(request, inward(form.get("address", "/visits")), f"The search {name} is forgotten.")
    address = inward(form.get("address", "/visits"))
    saved_searches.keep(desk.people, person, name, address)
    return then(request, address, f"The search is kept as {name}.")


@for_roles("supervisor")
def registry_page(request: Request) -> Response:
    """What is known, and names of the last visits that nothing known has."""
    desk, scope = desk_of(request), scope_of(request)
    kind = asked_for(request, "kind")
    kind = kind if kind in registry.KINDS else registry.CABINET
    things, part = registry.all_of(desk.people, kind), folded(asked_for(request, "q", 100))
    things = [one for one in things if part in folded(f"{one.label} {one.name} {one.names_told}")]
    if (file := file_kind(request)) is not None:
        return as_file(file, f"registry-{kind}", REGISTRY_COLUMNS, things)
    have = {name for thing in things for name in thing.names}
    unknown = sorted(_named(request, kind) - have)
    unknown = [one for one in unknown if part in folded(" ".join(one))]
    return page(
        request,
        "registry.html",
        kind=kind,
        kinds=registry.KINDS,
        things=things[:SHOWN],
        many=len(things),
        unknown=unknown[:SHOWN],
        left=len(unknown),
        q=asked_for(request, "q", 100),
        may_change=scope == EVERYBODY,
    )


def _named(request: Request, kind: str) -> set[tuple[str, str]]:
    """(under, name) in the last visits; devices by their accounts."""
    desk = desk_of(request)
    if kind == registry.DEVICE:
        from handsfree.desk.people import everybody

        return {("", one.name) for one in everybody(desk.people) if one.role == "device"}
    places = queries.places(desk.engine, scope_of(request))
    if kind == registry.CABINET:
        return {(p.site, p.cabinet) for p in places if p.cabinet}
    return {("", p.site if kind == registry.SITE else p.technician) for p in places} - {("", "")}


@form_for_roles("supervisor")
def change_registry(request: Request, form: FormFields) -> Response:
    desk = desk_of(request)
    if scope_of(request) != EVERYBODY:
        return sorry(request, 403, "Only somebody who sees every team can change the registry.")
    kind, name, under = form.get("kind", ""), form.get("name", "").strip(), form.get("under", "")
    number = form.get("id", "").strip().rpartition("-")[2]
    thing = int(number) if number.isascii() and number.isdigit() and len(number) < 10 else 0
    if form.get("do") == "put":
        registry.put(desk.people, kind, name, under)
        said = f"{name} is known now."
    elif form.get("do") == "put all":
        each = [(form[f"n{n}"].strip(), form.get(f"u{n}", "")) for n in range(1, SHOWN + 1) if form.get(f"n{n}", "").strip()]
        new = [one for one in each if registry.find(desk.people, kind, *one) is None]
        for one in new:
            registry.put(desk.people, kind, *one)
        said = f"{len(new)} are known now."
    elif form.get("do") == "also":
        registry.also(desk.people, thing, name, under)
        said = f"{name} now means the same."
    else:
        registry.rename(desk.people, thing, name)
        said = f"It is called {name} now."
    if kind in (registry.CABINET, registry.SITE):
        places.bring_up_to_date(desk.engine, registry.one_of_all(desk.people))
    if kind == registry.PERSON:
        threads.hear_again(desk.engine, desk.names_of)
    return then(request, f"/registry?{urlencode({'kind': kind})}", said)
