"""A hundred signed-in readers at a desk of thousands of visits: `python -m tests.bench.desk_readers [--out FILE]`.

The desk is the program's own (`handsfree desk`), in a process of its own, over a PostgreSQL started here or SQLite. Every
visit is a folder: a season by the machine, and copies of it at other cabinets, by other people, on other days, each chained
anew so that it verifies. A reader comes from an address of their own (127/8), so all of the desk's limits stand. Signing in
is not counted. Each page a reader opens is drawn by lot. `--pauses`: seconds in the mean that a reader looks at a page
before the next; 0 is a hundred requests in flight at any moment, which no people make. All run on the same cores.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import json
import os
import random
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from urllib.parse import urlencode

import httpx
import psutil
from sqlalchemy import insert

from handsfree.desk import people
from handsfree.desk.people_tables import TeamRow, User
from handsfree.desk.serve import DeskOptions, open_people
from handsfree.journal.canonical import as_line, canonical
from tests.bench.desk_load import wait_for
from tests.bench.reported import Row, arguments, reported
from tests.desk import made, postgres
from tests.desk.conftest import PASSWORD

#: Invented: ten cabinets a site, ten technicians a team, five teams a region; two years up to today.
SITES, TECHNICIANS, TEAMS, DAYS = 60, 200, 20, 730
LARGEST_PAGE, LONGEST_WAIT = 200.0, 0.3


def technician(number: int) -> str:
    return f"Technician {number % TECHNICIANS} (invented)"


def place_of(number: int) -> tuple[str, str]:
    cabinet = number * 7919 % (10 * SITES)
    return f"Platform {cabinet // 10} (invented)", f"GK-{cabinet}"


def copied(folder: Path, visits: Path, number: int, began: datetime) -> None:
    """The visit of `folder` as if somebody else had made it elsewhere then: every event chained anew."""
    site, cabinet = place_of(number)
    name = f"{began:%Y-%m-%dT%H%M%S}-made-{number}"
    out, last, moved = [], "", None
    for line in (folder / "journal.jsonl").read_bytes().splitlines():
        entry = json.loads(line)["entry"]
        wall = datetime.fromisoformat(entry["wall"])
        moved = moved if moved is not None else began - wall
        entry["wall"], entry["prev"] = (wall + moved).isoformat(timespec="milliseconds"), last
        if entry["kind"] == "Opened":
            entry["event"] |= {"visit": name, "site": site, "cabinet": cabinet, "technician": technician(number)}
        if entry["kind"] == "Sealed":
            entry["event"]["head"] = last
        data, last = as_line(canonical(entry))
        out.append(data)
    (visits / name).mkdir()
    (visits / name / "journal.jsonl").write_bytes(b"".join(out))
    for part in ("sound", "attached"):
        if (folder / part).is_dir():
            shutil.copytree(folder / part, visits / name / part, copy_function=os.link)


def archive(visits: Path, count: int) -> None:
    folders = list(made.season(visits).folders.values())
    now = datetime.now().astimezone().replace(microsecond=0)
    for number in range(count - len(folders)):
        began = now - timedelta(days=DAYS * (count - number) / count, seconds=number % 3600)
        copied(folders[number % len(folders)], visits, number, began)


def accounts(asked: DeskOptions, readers: int) -> list[str]:
    """Half of the readers see everybody, half one team of ten."""
    (asked.visits / ".desk" / "people.sqlite3").unlink(missing_ok=True)
    engine = open_people(asked)
    names = [f"reader{n}" for n in range(readers)]
    people.add(engine, names[0], "supervisor", "*", "", PASSWORD)
    with engine.begin() as connection:
        hashed = connection.execute(User.__table__.select()).one().password
        rows = [
            {"name": name, "role": "supervisor", "team": f"team {n % TEAMS}" if n % 2 else "*", "technician": name,
             "password": hashed, "upload_key": ""} for n, name in enumerate(names) if n
        ]  # fmt: skip
        rows += [
            {"name": f"t{n}", "role": "technician", "team": f"team {n // 10}", "technician": technician(n), "password": "",
             "upload_key": ""} for n in range(TECHNICIANS)
        ]  # fmt: skip
        connection.execute(insert(User), rows)
        connection.execute(insert(TeamRow), [{"team": f"team {n}", "region": f"region {n // 5}"} for n in range(TEAMS)])
    engine.dispose()
    return names


@contextlib.contextmanager
def desk(asked: DeskOptions, processes: int = 1) -> Iterator[tuple[str, int]]:
    """Its address and its process, once it has read all visits."""
    command = [sys.executable, "-m", "handsfree", "desk", "--visits", str(asked.visits), "--port", str(asked.port)]
    command += ["--database", asked.database] if asked.database else []
    command += ["--processes", str(processes)] if processes > 1 else []
    address = f"http://127.0.0.1:{asked.port}"
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        try:
            wait_for(address, 1800)
            yield address, process.pid
        finally:
            process.terminate()
            process.wait(30)


def processor(pid: int) -> dict[str, float]:
    """Seconds of processor that the desk, PostgreSQL started from here, and the readers have had."""
    servers = [one for one in psutil.process_iter(["name", "username"]) if one.info["name"] == "postgres"]
    spent = {"desk": 0.0, "readers": time.process_time(), "database": 0.0}
    whole = psutil.Process(pid)
    for one in (whole, *whole.children(recursive=True)):
        spent["desk"] += sum(one.cpu_times()[:2])
    for one in servers:
        with contextlib.suppress(psutil.NoSuchProcess):
            spent["database"] += sum(one.cpu_times()[:4])  # and of those that ended
    return spent


#: Page -> seconds and bytes of each answer.
Took = dict[str, list[tuple[float, int]]]
#: What a reader opens, and how often of a hundred; the addresses of `visit`, `cabinet` and `technician` are of their lot.
PAGES = {
    "today": 15, "findings": 15, "visits": 10, "visits, a technician's": 5, "visits, the gravest first": 5, "visit": 20,
    "cabinet": 8, "technician": 5, "words": 7, "due": 3, "digest": 2, "figures": 3, "people": 2,
}  # fmt: skip


def address_of(page: str, visits: dict[int, str], lot: random.Random) -> str:
    number = lot.choice(list(visits))
    site, cabinet = place_of(number)
    return {
        "today": "/",
        "findings": "/findings",
        "visits": "/visits",
        "visits, a technician's": f"/visits?{urlencode({'technician': f'Technician {number % TECHNICIANS}'})}",
        "visits, the gravest first": "/visits?sort=gravest",
        "visit": f"/visits/{visits[number]}",
        "cabinet": f"/cabinet?{urlencode({'site': site, 'cabinet': cabinet})}",
        "technician": f"/technician?{urlencode({'name': technician(number)})}",
        "words": f"/search?{urlencode({'q': lot.choice(('gasket', 'isolated', 'lower hinge', 'fifty eight', 'warm'))})}",
        "due": "/due",
        "digest": "/digest?days=7",
        "figures": "/measures",
        "people": "/people",
    }[page]


async def reader(
    client: httpx.AsyncClient, visits: dict[int, str], pause: float, until: float, seed: int, took: Took
) -> None:
    """`visits`: those that this reader may see."""
    lot = random.Random(seed)
    await asyncio.sleep(lot.random() * pause)
    while time.monotonic() < until:
        page = lot.choices(list(PAGES), list(PAGES.values()))[0]
        address = address_of(page, visits, lot)
        began = time.perf_counter()
        answer = await client.get(address)
        spent = time.perf_counter() - began
        assert answer.status_code == 200, f"{address}: {answer.status_code}"
        took.setdefault(page, []).append((spent, len(answer.content)))
        await asyncio.sleep(lot.expovariate(1 / pause) if pause else 0)


async def signed_in(address: str, name: str, number: int) -> httpx.AsyncClient:
    transport = httpx.AsyncHTTPTransport(local_address=f"127.1.{number // 250}.{1 + number % 250}", retries=2)
    # A kept connection is given up before the desk does so: browsers ask again, httpx does not.
    client = httpx.AsyncClient(
        base_url=address, transport=transport, timeout=120, headers={"origin": address},
    )  # fmt: skip
    form = {"name": name, "password": PASSWORD, "to": "/"}
    answer = await client.post("/sign-in", data=form)
    assert answer.status_code == 303, answer.text
    return client


async def read(
    address: str, pid: int, readers: list[str], visits: dict[int, str], pause: float, seconds: float
) -> tuple[Took, dict[str, float]]:
    """(what each page took, seconds of processor of each part)."""
    clients = [await signed_in(address, name, n) for n, name in enumerate(readers)]
    teams = [{n: name for n, name in visits.items() if n % TECHNICIANS // 10 == team} for team in range(TEAMS)]
    took: Took = {}
    before, until = processor(pid), time.monotonic() + seconds
    async with asyncio.TaskGroup() as group:
        for n, client in enumerate(clients):
            theirs = teams[n % TEAMS] if n % 2 else visits
            group.create_task(reader(client, theirs, pause, until, n, took))
    after = processor(pid)
    for client in clients:
        await client.aclose()
    return took, {name: spent - before[name] for name, spent in after.items()}


def rows_of(processes: int, readers: int, pause: float, took: Took, alone: dict[str, float]) -> Iterator[Row]:
    every = [one for some in took.values() for one in some]
    for page, some in ({"every page": every} | {page: took[page] for page in PAGES if page in took}).items():
        times = sorted(seconds for seconds, _ in some)
        late = times[min(len(times) - 1, int(len(times) * 0.95))]
        row: Row = {
            "page": page, "processes": processes, "readers": readers, "pause_s": pause, "answers": len(some),
            "largest_kB": round(max(size for _, size in some) / 1000, 1),
            "median_ms": round(statistics.median(times) * 1000, 1), "p95_ms": round(late * 1000, 1),
        }  # fmt: skip
        if readers == 1 and processes == 1:
            alone.setdefault(page, row["p95_ms"])
        elif page in alone:
            row["p95_times_one_reader"] = round(row["p95_ms"] / alone[page], 1)
        yield row


def measured(given: argparse.Namespace) -> Iterator[Row]:
    with contextlib.ExitStack() as stack:
        place = given.archive or Path(stack.enter_context(tempfile.TemporaryDirectory()))
        url = stack.enter_context(postgres.server()) if given.database == "postgresql" else given.database
        visits = place / "desk" / "visits"
        if not visits.exists():
            archive(visits, given.visits)
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            asked = DeskOptions(visits, database=url, port=free.getsockname()[1])
        readers = accounts(asked, given.readers)
        names = {int(one.name.rsplit("-", 1)[1]): one.name for one in visits.glob("*-made-*")}
        yield {"what": "archive", "database": given.database.partition(":")[0], "visits": len(names)}
        alone: dict[str, float] = {}
        # All counts of processes at one pause, straight after each other: what else the machine does changes by the minute.
        for count, pause in [(1, 0.0), *((given.readers, float(one)) for one in given.pauses.split(","))]:
            for processes in (int(one) for one in given.processes.split(",")):
                with desk(asked, processes) as (address, pid):
                    # Each process puts its questions together, and compiles its pages, when they are first asked for.
                    asyncio.run(read(address, pid, readers[:count], names, 1.0, given.warm))
                    yield from one_run(address, pid, readers[:count], names, pause, processes, given.seconds, alone)


def one_run(
    address: str, pid: int, readers: list[str], names: dict[int, str], pause: float, processes: int, seconds: float,
    alone: dict[str, float],
) -> Iterator[Row]:
    busy, whole, began = os.getloadavg()[0], psutil.cpu_times(), time.monotonic()
    found, spent = asyncio.run(read(address, pid, readers, names, pause, seconds))
    answers, after = sum(map(len, found.values())), psutil.cpu_times()
    had = (after.user + after.system + after.nice) - (whole.user + whole.system + whole.nice)
    capacity = (time.monotonic() - began) * (os.cpu_count() or 1)
    # Signing in is in the machine's time and not in the parts': argon2 is most of what is called other work then.
    yield {
        "what": "run", "processes": processes, "readers": len(readers), "pause_s": pause,
        "answers_a_second": round(answers / seconds, 1),
        **{f"{name}_processor_ms_an_answer": round(1000 * one / answers, 1) for name, one in spent.items()},
        "readers_share_of_processor": round(spent["readers"] / sum(spent.values()), 2),
        "machine_busy": round(had / capacity, 2), "load_before": round(busy, 1), "load_after": round(os.getloadavg()[0], 1),
    }  # fmt: skip
    yield from rows_of(processes, len(readers), pause, found, alone)


def main() -> int:
    parser = arguments(__doc__)
    parser.add_argument("--database", default="postgresql", help="one started here, or the address of one that is there")
    parser.add_argument("--readers", type=int, default=100)
    parser.add_argument("--visits", type=int, default=3000)
    parser.add_argument("--seconds", type=float, default=40.0, help="of each run")
    parser.add_argument("--warm", type=float, default=15.0, help="seconds before each run, not counted")
    parser.add_argument("--pauses", default="10,5,2,1,0", help="seconds in the mean between two pages of a reader")
    parser.add_argument("--processes", default="1,2", help="of the desk; each count in its turn at every pause")
    parser.add_argument("--archive", type=Path, help="a folder for the visits, made where it is not there, and kept")
    asked = parser.parse_args()
    return reported("tests.bench.desk_readers", asked, lambda: measured(asked))


if __name__ == "__main__":
    sys.exit(main())
