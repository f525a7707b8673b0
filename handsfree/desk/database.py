"""The desk's database: opening it, bringing it up to date by its migrations, and telling the two kinds apart.

SQLite for one desk, PostgreSQL for a fleet; outside this module only full-text search knows which it is.
"""

from __future__ import annotations

import contextlib
import sqlite3
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, Executable, Row, create_engine, event, make_url, text
from sqlalchemy.exc import ArgumentError, DatabaseError, DBAPIError

from handsfree.errors import Trouble

OWN = ".desk"
MIGRATIONS = Path(__file__).parent / "migrations"
_one_at_a_time = threading.Lock()
#: Connections kept open, and of those to PostgreSQL the ones for work that changes something; looking is done over others.
KEPT, KEPT_FOR_WORK = 20, 5
LOOKS = "looks"


def sqlite_url(path: Path) -> str:
    return f"sqlite:///{path}"


def own_folder(visits: Path) -> Path:
    """The folder that the desk keeps for itself among the visits; created if missing. Trouble if it cannot be."""
    if not visits.is_dir():
        raise Trouble(f"There is no folder {visits}; name the folder of visits with --visits.")
    own = visits / OWN
    try:
        own.mkdir(mode=0o700, exist_ok=True)
    except OSError as error:
        raise Trouble(f"The desk cannot keep its folder {own} ({error.strerror}); see who may write there, and whether "
                      "something else has that name.") from None
    return own


def open_engine(url: str, *, pool: int = KEPT) -> Engine:
    """For PostgreSQL there are two. The one returned begins and ends a transaction for each piece of work, and checks its
    connection first. The one behind it, for `look_up`, does neither, which saves three of four round trips. Trouble if the
    address is invalid, or nothing answers there."""
    try:
        address = make_url(url)
    except ArgumentError:
        raise Trouble("That is not the address of a database; write postgresql://HOST/NAME or sqlite:///FILE.") from None
    if address.get_backend_name() == "postgresql":
        address = address.set(drivername="postgresql+psycopg")
        if not _near(address):  # libpq's own default falls back to a connection that can be read along
            address = address.update_query_dict({"sslmode": "require"} | dict(address.query))
        looks = create_engine(
            address, pool_size=pool, max_overflow=pool, pool_use_lifo=True, isolation_level="AUTOCOMMIT",
            hide_parameters=True,
        )  # fmt: skip
        works = create_engine(
            address, pool_size=min(pool, KEPT_FOR_WORK), max_overflow=2 * pool, pool_pre_ping=True, hide_parameters=True,
            execution_options={LOOKS: looks},
        )  # fmt: skip
        event.listen(works, "engine_disposed", lambda _: looks.dispose())
        return works
    if address.get_backend_name() != "sqlite":
        raise Trouble("The desk keeps its database in SQLite or PostgreSQL; write postgresql://HOST/NAME or sqlite:///FILE.")
    engine = create_engine(
        address, pool_size=pool, max_overflow=pool, connect_args={"timeout": 30}, hide_parameters=True
    )
    event.listen(engine, "connect", _sqlite_manners)
    return engine


def look_up(engine: Engine, asked: Executable, values: Mapping[str, Any] | None = None) -> Sequence[Row[Any]]:
    """The rows of one question that changes nothing. It is asked once more if the database was started anew since it was
    last asked anything."""
    looks: Engine = engine.get_execution_options().get(LOOKS, engine)
    try:
        return _rows(looks, asked, values)
    except DBAPIError as error:
        if not error.connection_invalidated:
            raise
    return _rows(looks, asked, values)


def _rows(engine: Engine, asked: Executable, values: Mapping[str, Any] | None) -> Sequence[Row[Any]]:
    with engine.connect() as connection:
        return connection.execute(asked, values).all()


def _near(address: URL) -> bool:
    """On this machine: by a socket file, or on loopback."""
    host = str(address.query.get("host", address.host or ""))
    return host == "" or host.startswith("/") or host in ("localhost", "127.0.0.1", "::1")


def _sqlite_manners(connection: Any, _: Any) -> None:
    cursor = connection.cursor()
    for manner in ("journal_mode=WAL", "synchronous=NORMAL", "foreign_keys=ON", "busy_timeout=30000", "cache_size=-65536"):
        cursor.execute(f"PRAGMA {manner}")
    cursor.close()


@contextmanager
def answering(engine: Engine) -> Iterator[None]:
    """Trouble if the database does not answer, is damaged, or is a different kind of file."""
    try:
        yield
    except DatabaseError as error:
        said = str(error.orig).strip().splitlines()[0]
        name = engine.url.render_as_string()
        if engine.dialect.name == "sqlite" and ("not a database" in said or "malformed" in said):
            raise Trouble(f"The database {name} is damaged, or is not a database ({said}). A desk's own desk.sqlite3 may "
                          "be deleted: it is built again. That of people cannot be: put a copy back.") from None
        raise Trouble(f"The database {name} does not answer: {said}. Start it, or see --database and --people.") from None


def migrate(engine: Engine) -> None:
    """Up to the newest migration, from any state, at one stroke: nobody sees the tables of a version between. Trouble if the
    database does not answer, or was made by a newer handsfree."""
    from alembic import command
    from alembic.config import Config
    from alembic.util.exc import CommandError

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    config.set_main_option("path_separator", "os")
    try:
        with answering(engine), engine.begin() as connection:
            if engine.dialect.name == "sqlite":  # whose driver begins no transaction before a table is made
                connection.exec_driver_sql("BEGIN IMMEDIATE")
            config.attributes["connection"] = connection
            command.upgrade(config, "head")
    except CommandError as error:
        name = engine.url.render_as_string()
        raise Trouble(f"The database {name} was made by another version of handsfree ({error}). Install the newer one, or "
                      "delete the database: it is built again from the visits.") from None


_NO_TABLE = "no such table"  # as SQLite says it


def gone(engine: Engine) -> bool:
    """An SQLite file that was deleted while the desk runs; a connection opened since has created an empty one with its
    name."""
    if engine.dialect.name != "sqlite":
        return False
    path = Path(engine.url.database or "").absolute()
    try:
        with contextlib.closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as file:
            return not file.execute("SELECT 1 FROM alembic_version").fetchall()  # written when the tables are made
    except sqlite3.DatabaseError as error:
        return not path.exists() or _NO_TABLE in str(error)


def without_tables(error: Exception) -> bool:
    """What asked met an SQLite file without its tables: it was deleted just before, and may be built again since."""
    return _NO_TABLE in str(getattr(error, "orig", ""))


def put_alone(engine: Engine, work: Callable[[Connection], None]) -> None:
    """`work` in a transaction. SQLite has one writer at a time anyhow; waiting here is fairer than there."""
    if engine.dialect.name == "sqlite":
        with _one_at_a_time, engine.begin() as connection:
            work(connection)
        return
    with engine.begin() as connection:
        work(connection)


#: What is done by one transaction at a time, in PostgreSQL: each has a number, which means nothing else.
ROLLS, THREADS, PLACES = 7_300_451, 7_300_452, 7_300_453


def alone_at(connection: Connection, what: int) -> None:
    """Until the transaction ends, nobody else is at `what`. SQLite has only one writer anyway."""
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(:of)"), {"of": what})
