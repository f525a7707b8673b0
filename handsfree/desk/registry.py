"""Sites, cabinets, people and devices as the firm knows them: each has a permanent id, whatever it is called. Records
contain names, and names change: every name that records have for a thing is kept with it.

Rules of this file:

- A record is never changed: the registry says which names mean one thing.
- One name means one thing of a kind; for a cabinet, one name at one site.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, Engine, bindparam, delete, insert, select, update
from sqlalchemy.orm import aliased

from handsfree.desk.database import look_up
from handsfree.desk.people_tables import KnownName, RegistryEntry
from handsfree.desk.tables import folded
from handsfree.errors import Trouble

PERSON, DEVICE, SITE, CABINET = "person", "device", "site", "cabinet"
KINDS = (CABINET, SITE, PERSON, DEVICE)
LONGEST = 300
#: Names that one search looks under.
MOST_NAMES = 500


@dataclass(frozen=True)
class Thing:
    """`name`: what it is called today. `names`: (under, name) as records have them; `under` is a cabinet's site, else ''."""

    id: int
    kind: str
    name: str
    team: str
    names: tuple[tuple[str, str], ...]

    @property
    def label(self) -> str:
        """'C-12': for speech and writing."""
        return f"{self.kind[0].upper()}-{self.id}"

    @property
    def names_told(self) -> str:
        return "; ".join(f"{name} at {under}" if under else name for under, name in self.names)


def all_of(engine: Engine, kind: str) -> list[Thing]:
    with engine.connect() as connection:
        return _things(connection, kind)


def _things(connection: Connection, kind: str, ids: tuple[int, ...] | None = None) -> list[Thing]:
    those = select(*RegistryEntry.__table__.columns).where(RegistryEntry.kind == kind)
    asked = those.order_by(RegistryEntry.name, RegistryEntry.id)
    names = select(*KnownName.__table__.columns).where(KnownName.kind == kind).order_by(KnownName.id)
    if ids is not None:
        asked, names = asked.where(RegistryEntry.id.in_(ids)), names.where(KnownName.thing_id.in_(ids))
    by: dict[int, list[tuple[str, str]]] = {}
    for row in connection.execute(names):
        by.setdefault(row.thing_id, []).append((row.under, row.name))
    return [Thing(r.id, r.kind, r.name, r.team, tuple(by.get(r.id, ()))) for r in connection.execute(asked)]


def _of_name(connection: Connection, kind: str, under: str, name: str) -> int | None:
    asked = select(KnownName.thing_id).where(KnownName.kind == kind, KnownName.under == under, KnownName.name == name)
    found: int | None = connection.scalar(asked)
    return found


def find(engine: Engine, kind: str, name: str, under: str = "") -> Thing | None:
    """What records mean by a name; None if it is unknown."""
    with engine.connect() as connection:
        of = _of_name(connection, kind, under, name)
        return _things(connection, kind, (of,))[0] if of is not None else None


def one_of(engine: Engine) -> Callable[[str, str], tuple[str, str]]:
    """(site, cabinet) as a record has it -> the registry's first name for that cabinet. A site with several names is one
    site, and its cabinets are the same under each; an unknown cabinet keeps its name. Each is looked up."""

    def one(site: str, name: str) -> tuple[str, str]:
        with engine.connect() as connection:

            def first(under: str) -> tuple[str, str] | None:
                thing = _of_name(connection, CABINET, under, name)
                return None if thing is None else _things(connection, CABINET, (thing,))[0].names[0]

            return _first(site, name, _names(connection, SITE, "", site), first)

    return one


def one_of_all(engine: Engine) -> Callable[[str, str], tuple[str, str]]:
    """Like `one_of`, with one reading of the registry: for a whole fleet's names."""
    sites = {name: [each for _, each in thing.names] for thing in all_of(engine, SITE) for _, name in thing.names}
    cabinets = {pair: thing.names[0] for thing in all_of(engine, CABINET) for pair in thing.names}

    def one(site: str, name: str) -> tuple[str, str]:
        return _first(site, name, sites.get(site, [site]), lambda under: cabinets.get((under, name)))

    return one


def _first(
    site: str, name: str, sites: Sequence[str], of: Callable[[str], tuple[str, str] | None]
) -> tuple[str, str]:
    """`of`: the first name of the cabinet under a site's name, None if it is not known."""
    found = (of(under) for under in sorted(sites, key=lambda each: each != site))
    return next((pair for pair in found if pair is not None), (sites[0], name))


def _names(connection: Connection, kind: str, under: str, name: str) -> list[str]:
    """All names that records have for the thing of that name, in the order in which they became known; the name itself if
    it is unknown."""
    thing = _of_name(connection, kind, under, name)
    if thing is None:
        return [name]
    return list(connection.scalars(select(KnownName.name).where(KnownName.thing_id == thing).order_by(KnownName.id)))


def names_of_person(engine: Engine, name: str) -> tuple[str, ...]:
    """Every name that records have for the person whom they call so; this one first. Today's name does not count: other
    people may have it too, and it decides what somebody may see."""
    return names_of_people(engine, (name,))


def names_of_people(engine: Engine, names: Sequence[str]) -> tuple[str, ...]:
    """Like `names_of_person`, of all of them together: these first."""
    rows = look_up(engine, _NAMES_TOGETHER, {"of": list(names)})
    return tuple(dict.fromkeys((*names, *(row.name for row in rows))))


_called, _also = aliased(KnownName), aliased(KnownName)
_NAMES_TOGETHER = (
    select(_also.name)
    .join(_called, _called.thing_id == _also.thing_id)
    .where(_called.kind == PERSON, _called.under == "", _called.name.in_(bindparam("of", expanding=True)))
    .order_by(_also.id)
)


def names_of_called(engine: Engine, name: str) -> tuple[str, ...]:
    """Like `names_of_person`; if records call nobody so, the person who is called so today."""
    found = names_of_person(engine, name)
    if found != (name,):
        return found
    today = select(KnownName.name).join(RegistryEntry, RegistryEntry.id == KnownName.thing_id).order_by(KnownName.id)
    with engine.connect() as connection:
        named = connection.scalars(today.where(RegistryEntry.kind == PERSON, RegistryEntry.name == name))
        return tuple(dict.fromkeys((name, *named)))


def called(engine: Engine, kind: str, part: str) -> list[tuple[str, str]]:
    """(under, name), as in the records, of the things whose present name contains this, or that have this id; capitals and
    accents do not matter."""
    wanted = folded(part.strip())
    if not wanted:
        return []
    return [name for one in all_of(engine, kind) if wanted == folded(one.label) or wanted in folded(one.name)
            for name in one.names][:MOST_NAMES]


def put(engine: Engine, kind: str, name: str, under: str = "", team: str = "") -> int:
    """Make it known under the name in the records; returns its id. Trouble if it is known already, or cannot be."""
    _judge(kind, name, under)
    with engine.begin() as connection:
        if (there := _of_name(connection, kind, under, name)) is not None:
            raise Trouble(f"{name} is known already, as {kind} {there}. Nothing was changed.")
        made = connection.execute(
            insert(RegistryEntry).returning(RegistryEntry.id), [{"kind": kind, "name": name, "team": team}]
        ).scalar_one()
        connection.execute(insert(KnownName), [{"thing_id": made, "kind": kind, "under": under, "name": name}])
        return int(made)


def rename(engine: Engine, thing: int, name: str) -> None:
    """Its present name; the names in the records stay. Trouble if there is no such thing."""
    with engine.begin() as connection:
        kind = connection.scalar(select(RegistryEntry.kind).where(RegistryEntry.id == thing))
        if kind is None:
            raise Trouble("There is no such thing in the registry. Nothing was changed.")
        _judge(kind, name, "")
        connection.execute(update(RegistryEntry).where(RegistryEntry.id == thing).values(name=name))


def also(engine: Engine, thing: int, name: str, under: str = "") -> None:
    """Records have this name for it too. A thing known under that name is merged with it. Trouble if there is no such
    thing."""
    with engine.begin() as connection:
        kind = connection.scalar(select(RegistryEntry.kind).where(RegistryEntry.id == thing))
        if kind is None:
            raise Trouble("There is no such thing in the registry. Nothing was changed.")
        _judge(kind, name, under)
        there = _of_name(connection, kind, under, name)
        if there == thing:
            return
        if there is None:
            connection.execute(insert(KnownName), [{"thing_id": thing, "kind": kind, "under": under, "name": name}])
            return
        connection.execute(update(KnownName).where(KnownName.thing_id == there).values(thing_id=thing))
        connection.execute(delete(RegistryEntry).where(RegistryEntry.id == there))


def _judge(kind: str, name: str, under: str) -> None:
    if kind not in KINDS:
        raise Trouble(f"There is no kind '{kind}'; use {', '.join(KINDS[:-1])} or {KINDS[-1]}.")
    for text in (name, under):
        if len(text) > LONGEST or not text.isprintable():
            raise Trouble(f"A name has at most {LONGEST} visible characters. Nothing was changed.")
    if not name:
        raise Trouble("Give it a name. Nothing was changed.")
