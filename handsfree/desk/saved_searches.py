"""Searches that a person saves under a name. Kept with the people, because they cannot be worked out again."""

from __future__ import annotations

from sqlalchemy import Engine, bindparam, delete, func, insert, select

from handsfree.desk.database import look_up
from handsfree.desk.people_tables import SavedSearch
from handsfree.errors import Trouble

#: Of one person.
MOST = 50


def of(engine: Engine, person: int) -> list[tuple[str, str]]:
    """(name, address) in the order of the names."""
    return [(row.name, row.address) for row in look_up(engine, _OF, {"of": person})]


_OF = (
    select(SavedSearch.name, SavedSearch.address)
    .where(SavedSearch.person_id == bindparam("of"))
    .order_by(SavedSearch.name)
)


def keep(engine: Engine, person: int, name: str, address: str) -> None:
    """Under a name, in place of what was there. Trouble for a name that cannot be, or too many."""
    if not 1 <= len(name) <= 60 or not name.isprintable():
        raise Trouble("Give the search a name of 1 to 60 characters. Nothing was kept.")
    with engine.begin() as connection:
        connection.execute(delete(SavedSearch).where(SavedSearch.person_id == person, SavedSearch.name == name))
        there = connection.scalar(select(func.count()).select_from(SavedSearch).where(SavedSearch.person_id == person)) or 0
        if there >= MOST:
            raise Trouble(f"You have kept {MOST} searches already; forget one first.")
        connection.execute(insert(SavedSearch), [{"person_id": person, "name": name, "address": address[:2000]}])


def forget(engine: Engine, person: int, name: str) -> None:
    with engine.begin() as connection:
        connection.execute(delete(SavedSearch).where(SavedSearch.person_id == person, SavedSearch.name == name))
