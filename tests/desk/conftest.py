from __future__ import annotations

import itertools
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine, make_url, text

from handsfree.desk import database, people
from handsfree.desk.configuration import Desk
from handsfree.desk.files import Files
from handsfree.desk.ingest import refresh
from tests.desk import made, postgres
from tests.desk.made import BRANDNER, Made

PASSWORD = "snow lamps over twelve sheds"
_numbers = itertools.count()


@pytest.fixture(autouse=True)
def _keys(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No key of the machine the tests run on."""
    monkeypatch.setenv("HANDSFREE_KEYS", str(tmp_path / "no-keys"))


@pytest.fixture(scope="session")
def season(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """Not to be changed by a test."""
    return made.season(tmp_path_factory.mktemp("season") / "visits")


@pytest.fixture(scope="session")
def postgresql() -> Iterator[str]:
    if postgres.binaries() is None:
        pytest.skip("PostgreSQL is not installed: apt-get install postgresql")
    with postgres.server() as url:
        yield url


def fresh(url: str, like: str = "template1") -> str:
    """A new database on the server of `url`, a copy of the one named `like`; if that is left out, an empty one."""
    name = f"desk{next(_numbers)}"
    engine = database.open_engine(url)
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text(f"CREATE DATABASE {name} TEMPLATE {like}"))
    engine.dispose()
    return make_url(url).set(database=name).render_as_string(hide_password=False)


def migrated(url: str) -> str:
    """The address given, of an empty database that was migrated: to be copied, as migrating takes longer."""
    engine = database.open_engine(url)
    database.migrate(engine)
    engine.dispose()
    return url


@pytest.fixture(scope="session")
def migrated_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("migrated") / "desk.sqlite3"
    migrated(database.sqlite_url(place))
    return place


@pytest.fixture(scope="session")
def migrated_name(postgresql: str) -> str:
    return str(make_url(migrated(fresh(postgresql))).database)


@pytest.fixture(params=["sqlite", "postgresql"])
def engine(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Engine]:
    """An empty database, migrated; each test runs on both kinds."""
    if request.param == "postgresql":
        url = fresh(request.getfixturevalue("postgresql"), request.getfixturevalue("migrated_name"))
    else:
        url = database.sqlite_url(shutil.copy(request.getfixturevalue("migrated_file"), tmp_path))
    found = database.open_engine(url)
    yield found
    found.dispose()


def people_in(place: Path) -> Engine:
    """One of each role, and a device."""
    found = database.open_engine(database.sqlite_url(place / "people.sqlite3"))
    people.make_tables(found)
    people.add(found, "Vera", "supervisor", "*", "", PASSWORD)
    people.add(found, "Toni", "supervisor", "valley", "", PASSWORD)
    people.add(found, "Anna", "technician", "summit", BRANDNER, PASSWORD)
    people.add(found, "Max", "technician", "valley", made.HUBER, PASSWORD)
    people.add(found, "Wilma", "writer", "", "", PASSWORD)
    return found


@pytest.fixture(scope="session")
def template(season: Made, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The season read into a database, and people: to be copied, for reading and hashing take their time."""
    place = tmp_path_factory.mktemp("template")
    shutil.copytree(season.visits, place / "visits")
    found = database.open_engine(database.sqlite_url(place / "desk.sqlite3"))
    database.migrate(found)
    refresh(found, place / "visits")
    found.dispose()
    people_in(place).dispose()
    return place


@pytest.fixture
def desk(template: Path, tmp_path: Path) -> Iterator[Desk]:
    """Over a copy of the season, with people."""
    place = tmp_path / "desk"
    shutil.copytree(template, place)
    found, accounts = (database.open_engine(database.sqlite_url(place / f"{name}.sqlite3")) for name in ("desk", "people"))
    one = Desk(place / "visits", found, accounts, Files(place / "visits"), ("http://desk.test",))
    yield one
    found.dispose()
    accounts.dispose()
