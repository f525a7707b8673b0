"""How the desk's database grows: `python -m tests.bench.desk --sizes 10000,100000 [--database sqlite] [--figures]`.

A few real visits are run through the machine and read out as the desk does. Their rows are then multiplied inside the
database (other cabinets, technicians and days; one visit in 200 with a note of its own), and at each size the desk's own
questions are asked and its own way of putting visits in is tried. What is measured is processor time, without parallel
workers. PostgreSQL is started here, on a socket of its own. With `--figures` only what the figures of a period are made
of is multiplied (visits, stays in steps), and only they are asked; with `--people` only what those of technicians, teams
and regions are made of (visits, findings).
"""

from __future__ import annotations

import argparse
import copy
import hashlib
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, insert, text

from handsfree.desk import crews, database, measures, queries, rolls
from handsfree.desk.ingest import put, refresh
from handsfree.desk.measures import DAY, Between
from handsfree.desk.people import make_tables
from handsfree.desk.people_tables import TeamRow, User
from handsfree.desk.queries import EVERYBODY, Filter, Scope
from handsfree.desk.readout import ReadOut, machine, read_out
from handsfree.desk.tables import OF_VISIT, FindingRow, StepRow, TranscriptLine, Visit
from tests.desk import made, postgres

SETTINGS = (
    "listen_addresses=''",
    "shared_buffers=1GB",
    "work_mem=64MB",
    "maintenance_work_mem=512MB",
    "max_wal_size=8GB",
    "wal_level=minimal",
    "max_wal_senders=0",
    "effective_cache_size=6GB",
    "max_connections=120",
    "checkpoint_timeout=30min",
    "max_parallel_workers_per_gather=0",
)
#: Ten cabinets a site, twenty thousand cabinets;
#: five thousand technicians in five hundred teams and twenty regions; three years of visits up to BEGIN + SPAN.
BEGIN, SPAN = 1_700_000_000.0, 3 * 365 * DAY
ROUNDS = 5
TECHNICIANS = 5000


def grow(engine: Engine, templates: int, first: int, last: int, tables: Sequence[type[Any]] = OF_VISIT) -> None:
    """Visits first..last by multiplying the first `templates` visits, each with all its rows in `tables`. The same cabinet
    comes again after twenty thousand visits, three weeks later; there are twenty procedures of each, in three versions."""
    series = "generate_series(CAST(:first AS bigint), CAST(:last AS bigint)) AS g(id)"
    if engine.dialect.name == "sqlite":
        series = (
            "(WITH RECURSIVE g(id) AS (SELECT :first UNION ALL SELECT id + 1 FROM g WHERE id < :last) SELECT id FROM g) g"
        )
    day = f"({BEGIN} + g.id * :apart) / 86400"
    names = [column.name for column in Visit.__table__.columns]
    cabinet = "(g.id * 7919) % 20000"
    changed = {
        "id": "g.id",
        "name": "'generated-' || g.id",
        "began": f"{BEGIN} + g.id * :apart",
        "cabinet": f"'GK-' || ({cabinet})",
        "place": f"1000 + {cabinet}",
        "site": f"'Platform ' || (({cabinet}) / 10) || ' (invented)'",
        "technician": f"'Technician ' || (g.id % {TECHNICIANS}) || ' (invented)'",
        "procedure": "t.procedure || '-' || (g.id % 20)",
        "version": "(g.id % 3) || ' (abc123)'",
        "day": f"CAST({day} AS integer)" if engine.dialect.name == "sqlite" else f"floor({day})",  # PostgreSQL's cast rounds
        "since_last": "CASE WHEN g.id > 20000 THEN 20000 * :apart END",
        "until_next": "20000 * :apart",
        "due": f"CASE WHEN g.id % 400 = 0 THEN {BEGIN} + g.id * :apart + 86400 END",
    }
    values = ", ".join(changed.get(name, f't."{name}"') for name in names)
    columns = ", ".join(f'"{name}"' for name in names)
    one = {"first": first, "last": last, "apart": SPAN / 1_000_000}
    source = f"{series} JOIN visits t ON t.id = 1 + g.id % {templates}"
    with engine.begin() as connection:
        if engine.dialect.name == "postgresql":  # the rows are right as they are made: no key is looked up for each of them
            connection.execute(text("SET LOCAL session_replication_role = replica"))
        connection.execute(text(f"INSERT INTO visits ({columns}) SELECT {values} FROM {source}"), one)
        for table in tables:
            connection.execute(text(_multiplied(engine, table.__tablename__, templates)), {"first": first, "last": last})
        if TranscriptLine in tables:
            _notes(connection, first, last)


@contextmanager
def without_indexes(engine: Engine) -> Iterator[None]:
    """PostgreSQL's second indexes are dropped and then built anew, which is much faster than to keep them while rows are
    multiplied. What is asked and put in afterwards finds them as the migrations made them."""
    if engine.dialect.name != "postgresql":
        yield
        return
    asked = (
        "SELECT indexname, indexdef FROM pg_indexes WHERE schemaname = 'public' AND indexdef NOT LIKE '%UNIQUE%' "
        "AND tablename <> 'sayings'"
    )
    with engine.begin() as connection:
        found = list(connection.execute(text(asked)))
        for name, _ in found:
            connection.execute(text(f'DROP INDEX "{name}"'))
    yield
    with engine.begin() as connection:
        for _, definition in found:
            connection.exec_driver_sql(definition)


def _multiplied(engine: Engine, table: str, templates: int) -> str:
    model = next(one for one in OF_VISIT if one.__tablename__ == table)
    names = [column.name for column in model.__table__.columns]
    key = "md5(v.id || t.key) || md5(t.key || v.id)" if engine.dialect.name == "postgresql" else "lower(hex(randomblob(32)))"
    changed = {
        "visit_id": "v.id",
        "began": "v.began",
        "taken": "v.began",
        "site": "v.site",
        "cabinet": "v.cabinet",
        "key": key,
        "procedure": "t.procedure || '-' || (v.id % 20)",
        "closed": "v.id % 20 <> 0",
        "technician": "v.technician",
    }
    values = ", ".join(changed.get(name, f't."{name}"') for name in names)
    columns = ", ".join(f'"{name}"' for name in names)
    return (
        f"INSERT INTO {table} ({columns}) SELECT {values} FROM visits v JOIN {table} t "
        f"ON t.visit_id = 1 + v.id % {templates} WHERE v.id BETWEEN :first AND :last"
    )


def _notes(connection, first: int, last: int) -> None:  # type: ignore[no-untyped-def]  # of a bench
    """One visit in 200 has a note that nobody else said."""
    words = "'hinge ' || v.id || ' squeaks behind panel ' || (v.id % 977)"
    digest = "'note-' || v.id"
    connection.execute(
        text(
            f"INSERT INTO sayings (digest, text) SELECT {digest}, {words} FROM visits v "
            "WHERE v.id BETWEEN :first AND :last AND v.id % 200 = 0"
        ),
        {"first": first, "last": last},
    )
    connection.execute(
        text(
            "INSERT INTO lines (visit_id, n, began, at, who, verdict, reason, sure, procedure, step, saying_id) "
            "SELECT v.id, 100000, v.began, 60, 'note', '', '', 0, '', '', s.id FROM visits v JOIN sayings s "
            f"ON s.digest = {digest} WHERE v.id BETWEEN :first AND :last AND v.id % 200 = 0"
        ),
        {"first": first, "last": last},
    )


def questions(size: int) -> dict[str, Callable[[Engine], object]]:
    """What the pages ask, at their worst: a supervisor of everybody."""
    until = BEGIN + size * SPAN / 1_000_000
    month = Between(until - 30 * DAY, until)
    cabinet = (size // 2 * 7919) % 20000
    site = f"Platform {cabinet // 10} (invented)"
    team = Scope(tuple(f"Technician {n} (invented)" for n in range(10)))
    return {
        "newest visits": lambda e: queries.visits(e, EVERYBODY, Filter()),
        "newest visits of a team of ten": lambda e: queries.visits(e, team, Filter()),
        "visits to a cabinet": lambda e: queries.visits(e, EVERYBODY, Filter(cabinet=f"GK-{cabinet}")),
        "visits with a fault": lambda e: queries.visits(e, EVERYBODY, Filter(fault="delivery-air-cold-after-cleaning")),
        "visits of a month": lambda e: queries.visits(e, EVERYBODY, Filter(since=month.since, until=month.until)),
        "search: a rare note": lambda e: queries.search(e, EVERYBODY, f"hinge {size // 2 // 200 * 200}"),
        "search: said in most visits": lambda e: queries.search(e, EVERYBODY, "isolated lock"),
        "search: nothing": lambda e: queries.search(e, EVERYBODY, "zeppelin"),
        "to be continued": lambda e: queries.due(e, EVERYBODY),
        "open findings, first 100": lambda e: queries.findings(e, EVERYBODY),
        "open findings, counted": lambda e: queries.tally(e, EVERYBODY),
        "readings of a cabinet": lambda e: queries.readings(e, EVERYBODY, [(site, f"GK-{cabinet}")]),
    }


def figures(size: int) -> dict[str, Callable[[Engine], object]]:
    """What counts over a period: for who sees everybody, out of the rolls."""
    until = BEGIN + size * SPAN / 1_000_000
    year, month = Between(until - 365 * DAY, until), Between(until - 30 * DAY, until)
    return {
        "returns, a month": lambda e: measures.returns(e, EVERYBODY, month),
        "returns, a year": lambda e: measures.returns(e, EVERYBODY, year),
        "first fix, a year": lambda e: measures.first_fix(e, EVERYBODY, year, until + 60 * DAY),
        "misheard, a month": lambda e: measures.misheard(measures.steps(e, EVERYBODY, month)),
        "misheard, a year": lambda e: measures.misheard(measures.steps(e, EVERYBODY, year)),
        "writer, a month": lambda e: measures.for_the_writer(e, month),
        "versions, a year": lambda e: measures.by_version(e, EVERYBODY, year),
        "share asked again, a year": lambda e: measures.again_share(e, year),
        "writer, a year": lambda e: measures.for_the_writer(e, year),
        "the page of figures, a year": lambda e: page_of_figures(e, year, until),
        "the page of figures, a month": lambda e: page_of_figures(e, month, until),
    }


def page_of_figures(engine: Engine, between: Between, now: float) -> object:
    steps = measures.steps(engine, EVERYBODY, between)
    return (
        measures.returns(engine, EVERYBODY, between), measures.first_fix(engine, EVERYBODY, between, now),
        measures.misheard(steps), measures.by_version(engine, EVERYBODY, between), steps,
    )  # fmt: skip


def of_people(size: int, people: Engine) -> dict[str, Callable[[Engine], object]]:
    """What counts by technician, team and region, as the page of a supervisor of everybody and of one team have it."""
    until = BEGIN + size * SPAN / 1_000_000
    year, month = Between(until - 365 * DAY, until), Between(until - 30 * DAY, until)
    team = Scope(tuple(f"Technician {n} (invented)" for n in range(10)))

    def asked(scope: Scope, between: Between) -> Callable[[Engine], object]:
        def ask(engine: Engine) -> object:
            found = crews.technicians(engine, people, scope, between, until)
            return crews.regions_of(crews.teams_of(found))

        return ask

    def sums(engine: Engine) -> object:
        first, last = year.days
        with engine.connect() as connection:
            whole = rolls.without_end(engine, last)
            return connection.execute(rolls.technicians_in(first, whole, crews.firsts_until(until))).all()

    return {
        "teams and regions, a year": asked(EVERYBODY, year),
        "teams and regions, a month": asked(EVERYBODY, month),
        "one team of ten, a year": asked(team, year),
        "of the first, what the sums take": sums,
    }


def accounts(place: Path) -> Engine:
    engine = database.open_engine(database.sqlite_url(place / "people.sqlite3"))
    make_tables(engine)
    rows = [
        {"name": f"t{n}", "role": "technician", "team": f"team {n // 10}", "technician": f"Technician {n} (invented)",
         "password": "", "upload_key": ""} for n in range(TECHNICIANS)
    ]  # fmt: skip
    with engine.begin() as connection:
        connection.execute(insert(User), rows)
        connection.execute(insert(TeamRow), [{"team": f"team {n}", "region": f"region {n // 25}"} for n in range(500)])
    return engine


def processor(engine: Engine) -> float:
    """Milliseconds of processor that this process and, in PostgreSQL, the server's processes for it (one for work, one for
    looking) have had: what waits for a core does not count, so that a busy machine gives the same figures. (Linux:
    /proc/PID/schedstat, nanoseconds first.)"""
    own = time.process_time() * 1000
    if engine.dialect.name != "postgresql":
        return own
    asked = text("SELECT pg_backend_pid()")
    with engine.connect() as connection:
        pids = {connection.scalar(asked), database.look_up(engine, asked)[0][0]}
    return own + sum(int(Path(f"/proc/{pid}/schedstat").read_text().split()[0]) / 1e6 for pid in pids)


def timed(engine: Engine, ask: Callable[[Engine], object]) -> float:
    """Median milliseconds of processor of ROUNDS, after one that fills the caches; one round where it takes over ten
    seconds. The pool has one connection, so that it is the same server process throughout."""
    times = []
    for _ in range(ROUNDS + 1):
        began = processor(engine)
        ask(engine)
        times.append(processor(engine) - began)
        if times[-1] > 10_000:
            return times[-1]
    return statistics.median(times[1:])


def renamed(out: ReadOut, number: int) -> ReadOut:
    """The same visit under another name: `put` cannot know that it is one."""
    found = copy.deepcopy(out)
    found.visit["name"] = f"put-{number}"
    for finding in found.rows["findings"]:
        finding["key"] = hashlib.sha256(f"{number}{finding['key']}".encode()).hexdigest()
    return found


@contextmanager
def databases(kind: str) -> Iterator[Engine]:
    if kind == "sqlite":
        with tempfile.TemporaryDirectory() as folder:
            yield database.open_engine(database.sqlite_url(Path(folder) / "desk.sqlite3"))
        return
    with postgres.server(settings=SETTINGS) as url:
        yield database.open_engine(url, pool=1)


def bytes_of(engine: Engine) -> float:
    asked = "SELECT pg_database_size(current_database())"
    if engine.dialect.name == "sqlite":
        asked = "SELECT page_count * page_size FROM pragma_page_count(), pragma_page_size()"
    with engine.connect() as connection:
        return float(connection.scalar(text(asked)) or 0)


def events(engine: Engine) -> int:
    with engine.connect() as connection:
        return int(connection.scalar(text("SELECT sum(events) FROM visits")) or 0)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sizes", default="1000,10000")
    parser.add_argument("--figures", action="store_true", help="only what the figures of a period are made of")
    parser.add_argument("--people", action="store_true", help="only what technicians, teams and regions are made of")
    parser.add_argument("--database", choices=("postgresql", "sqlite"), default="postgresql")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as place, databases(asked.database) as engine:
        season, people = made.season(Path(place) / "visits"), accounts(Path(place))
        database.migrate(engine)
        began = time.process_time()
        outs = [read_out(folder, None, machine()) for _ in range(4) for folder in season.folders.values()]
        each = (time.process_time() - began) / len(outs)
        print(
            f"Reading a folder out (verified, followed by the machine): {each * 1000:.0f} ms of one core a visit, "
            f"{sum(out.visit['events'] for out in outs) / len(outs):.0f} events in the mean.",
            flush=True,
        )
        refresh(engine, season.visits)
        if asked.database == "postgresql":  # ids of visits put in later, out of the way of the multiplied ones
            with engine.begin() as connection:
                connection.execute(text("SELECT setval('visits_id_seq', 100000000)"))
        done, templates, number = 10, len(season.folders), 0
        table: dict[str, list[float]] = {}
        tables = (StepRow,) if asked.figures else (FindingRow,) if asked.people else OF_VISIT
        sizes = [int(size) for size in asked.sizes.split(",")]
        for size in sizes:
            began = time.perf_counter()
            with without_indexes(engine):
                for first in range(done + 1, size + 1, 20_000):
                    grow(engine, templates, first, min(first + 19_999, size), tables)
            began_rolls = processor(engine)
            rolls.rebuild(engine)
            table.setdefault("rolled up anew, a visit", []).append((processor(engine) - began_rolls) / size)
            with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
                connection.execute(text("ANALYZE"))
            done = size
            print(
                f"\n{size} visits, {events(engine)} events, {bytes_of(engine) / 1e9:.2f} GB; multiplied in "
                f"{time.perf_counter() - began:.0f} s",
                flush=True,
            )
            more = [[renamed(out, (number := number + 1)) for out in outs] for _ in range(4)]
            began = processor(engine)
            for batch in more:
                put(engine, batch)
            took = (processor(engine) - began) / (4 * len(outs))
            table.setdefault("put in, a visit", []).append(took)
            print(f"  put in: {took:.1f} ms a visit", flush=True)
            asks = {} if asked.figures or asked.people else questions(size)
            asks |= {} if asked.people else figures(size)
            asks |= {} if asked.figures else of_people(size, people)
            for name, ask in asks.items():
                took = timed(engine, ask)
                table.setdefault(name, []).append(took)
                print(f"  {name}: {took:.1f} ms", flush=True)
            with engine.begin() as connection:
                connection.execute(text("DELETE FROM visits WHERE name LIKE 'put-%'"))
        print("\n| milliseconds of processor, median | " + " | ".join(f"{size} visits" for size in sizes) + " |")
        print("| --- |" + " --- |" * len(sizes))
        for name, values in table.items():
            print(f"| {name} | " + " | ".join(f"{value:.1f}" for value in values) + " |")


if __name__ == "__main__":
    main()
