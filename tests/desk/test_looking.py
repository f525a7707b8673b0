"""What looking costs the databases, counted and not timed; and that nothing old is shown for it."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from psycopg.pq import TransactionStatus
from sqlalchemy import Engine, event, insert, text

from handsfree.desk import database, ingest, people, queries, registry, rolls
from handsfree.desk.configuration import Desk
from handsfree.desk.files import Files
from handsfree.desk.people_tables import User
from handsfree.desk.queries import EVERYBODY, Filter
from tests.desk import many
from tests.desk.browsing import post, signed_in, token
from tests.desk.conftest import fresh, people_in
from tests.desk.made import BRANDNER, FESSLER, HUBER, Made

PAGES = ("/", "/findings", "/visits", "/visits?sort=gravest", "/due", "/search?q=gasket", "/measures", "/people", "/digest")
#: Questions to either database for one page: the session, whose visits may be seen, and what the page shows.
MOST = 14


@pytest.fixture
def both(engine: Engine, season: Made, tmp_path: Path) -> Iterator[Desk]:
    """A desk over each kind of database, its visits of today as far as the desk's clock goes."""
    visits = tmp_path / "desk" / "visits"
    shutil.copytree(season.visits, visits)
    ingest.refresh(engine, visits)
    accounts = people_in(tmp_path / "desk")
    yield Desk(visits, engine, accounts, Files(visits), ("http://desk.test",))
    accounts.dispose()


@contextmanager
def asked(*engines: Engine) -> Iterator[list[str]]:
    """Every statement; on PostgreSQL outside a transaction, or else it is marked."""
    found: list[str] = []

    def note(connection: Any, cursor: Any, statement: str, *_: Any) -> None:
        info = getattr(cursor.connection, "info", None)
        begun = info is not None and info.transaction_status != TransactionStatus.IDLE
        found.append(("IN A TRANSACTION " if begun else "") + statement)

    every = [one for engine in engines for one in (engine, engine.get_execution_options().get(database.LOOKS)) if one]
    for one in every:
        event.listen(one, "after_cursor_execute", note)
    yield found
    for one in every:
        event.remove(one, "after_cursor_execute", note)


def test_a_page_asks_few_questions_and_no_more_for_a_large_team(both: Desk, season: Made) -> None:
    toni = signed_in(both, "Toni")
    pages = (*PAGES, f"/visits/{season.folders['thaw'].name}", "/cabinet?cabinet=TK-2", f"/technician?name={HUBER}")

    def counted() -> dict[str, int]:
        counts = {}
        for address in pages:
            toni.get(address)  # what fields offer is kept a minute
            with asked(both.engine, both.people) as found:
                assert toni.get(address).status_code == 200, address
            assert not [one for one in found if one.startswith("IN A")], address
            counts[address] = len(found)
        return counts

    small = counted()
    rows = [{"name": f"v{n}", "role": "technician", "team": "valley", "technician": f"V. Huber {n} (invented)",
             "password": "", "upload_key": ""} for n in range(40)]  # fmt: skip
    with both.people.begin() as connection:
        connection.execute(insert(User), rows)
    assert counted() == small
    assert max(small.values()) <= MOST, small


def test_a_database_started_anew_is_asked_again(postgresql: str) -> None:
    engine = database.open_engine(fresh(postgresql))
    database.migrate(engine)
    end_all = text("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = current_database() "
                   "AND pid <> pg_backend_pid()")  # fmt: skip
    assert queries.visits(engine, EVERYBODY, Filter()) == []
    with engine.begin() as connection:
        connection.execute(end_all)
    assert queries.visits(engine, EVERYBODY, Filter()) == []
    database.look_up(engine, end_all)
    with engine.begin() as connection:
        assert connection.scalar(text("SELECT 1")) == 1
    engine.dispose()


def test_what_is_new_is_seen_at_once(both: Desk, season: Made) -> None:
    """A visit, an act, another name, another team, signing out: on pages that were asked for just before."""
    vera, toni = signed_in(both, "Vera"), signed_in(both, "Toni")
    today = datetime.now().astimezone()
    with_it = ("/", "/visits", "/visits?sort=gravest", "/visits?technician=fessler", "/search?q=gasket",
               "/cabinet?cabinet=MK-7&site=Hochgrat+summit+platform+(invented)", f"/technician?name={FESSLER}")  # fmt: skip
    mark = "2025-made-7"
    assert not any(mark in vera.get(address).text for address in with_it)
    before = {address: numbers(vera.get(address).text) for address in ("/people", "/measures", "/digest")}
    (out,) = [one for one in many.outs_of(season) if one.visit["name"] == season.folders["back"].name]
    began = datetime.fromisoformat(out.visit["began_text"])
    new = many.copied(out, 7, (today - began).days, "MK-7")
    ingest.put(both.engine, [new])
    for address in with_it:
        assert mark in vera.get(address).text, address
    for address, was in before.items():
        assert numbers(vera.get(address).text) != was, address
    assert mark not in toni.get("/visits").text, "it is of no team of Toni's"
    with both.people.begin() as connection:
        connection.execute(insert(User), [{"name": "Kai", "role": "technician", "team": "valley", "technician": FESSLER,
                                           "password": "", "upload_key": ""}])  # fmt: skip
    assert mark in toni.get("/visits").text, "they are of the team now"
    people.remove(both.people, "Kai")
    assert mark not in toni.get("/visits").text
    person = registry.put(both.people, registry.PERSON, HUBER)
    registry.also(both.people, person, FESSLER)
    assert mark in toni.get("/visits").text, "records have two names for one of the team"

    found = queries.findings(both.engine, EVERYBODY)[0]
    assert found.key in vera.get("/findings").text
    post(vera, f"/findings/{found.key}", token=token(vera), what="signed off", text="Looked at.")
    assert found.key not in vera.get("/findings").text
    assert found.key in vera.get("/findings?signed=yes").text

    post(vera, "/sign-out", token=token(vera))
    for address in PAGES:
        assert vera.get(address).status_code == 303, address


def numbers(text_of: str) -> list[str]:
    return re.findall(r">\s*(\d+)\b", text_of)


def test_a_period_up_to_today_is_whole_blocks_unless_something_comes_after_it(engine: Engine, season: Made) -> None:
    ingest.refresh(engine, season.visits)
    last = max(row.day for row in queries.visits(engine, EVERYBODY, Filter()))
    end = (last // rolls.BLOCK + 1) * rolls.BLOCK - 1
    assert rolls.without_end(engine, last) == end
    assert rolls.without_end(engine, last - 1) == last - 1
    assert rolls.without_end(engine, end) == end
    (out,) = [one for one in many.outs_of(season) if one.visit["technician"] == BRANDNER][:1]
    ingest.put(engine, [many.copied(out, 1, last + 2 - out.visit["day"], "K-1")])
    assert rolls.without_end(engine, last) == (last if last + 2 <= end else end)


def test_the_days_covered_are_the_days_of_the_period() -> None:
    for first in range(300, 395):
        for last in range(first, first + 130):
            of = rolls.covered(first, last)
            days = list(range(of.begin * rolls.BLOCK, of.end * rolls.BLOCK))
            for sign, since, until in of.edges:
                if sign > 0:
                    days += range(since, until + 1)
                else:
                    assert until < first, "what is taken off lies before: nobody's last day is among it"
                    days = [day for day in days if not since <= day <= until]
            assert sorted(days) == list(range(first, last + 1)), (first, last)
            looked_up = sum(until - since + 1 for _, since, until in of.edges)
            assert looked_up <= 15 + 29, (first, last)
