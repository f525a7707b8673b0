"""A hundred readers and twenty senders on one desk: `python -m tests.bench.desk_load [--database postgresql]`.

The desk runs in a process of its own, as the program serves it; all readers and senders are tasks of this one, on the same
cores.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import multiprocessing
import socket
import tempfile
import time
from pathlib import Path

import httpx
from sqlalchemy import select

from handsfree.desk import database, people
from handsfree.desk.serve import DeskOptions, open_desk, open_people
from handsfree.desk.tables import Visit
from handsfree.journal.verify import verify
from tests.desk import made, postgres
from tests.desk.conftest import PASSWORD
from tests.desk.crowd import crowd


def run(asked: DeskOptions) -> None:
    """The desk's process. One address is everybody here, so its limit is raised; those of accounts and devices stay."""
    import uvicorn

    from handsfree.desk.app import build
    from handsfree.desk.configuration import Rate, Rates

    desk, _ = open_desk(asked)
    desk.rates = Rates(address=Rate(10_000, 50_000))
    uvicorn.run(build(desk), host=asked.host, port=asked.port, log_level="error", access_log=False, timeout_keep_alive=10)


def wait_for(address: str, seconds: int = 60) -> None:
    for _ in range(10 * seconds):
        with contextlib.suppress(httpx.HTTPError):
            if httpx.get(f"{address}/sign-in").status_code == 200:
                return
        time.sleep(0.1)
    raise SystemExit("the desk did not start")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--database", choices=("sqlite", "postgresql"), default="sqlite")
    parser.add_argument("--readers", type=int, default=100)
    parser.add_argument("--senders", type=int, default=20)
    parser.add_argument("--pages", type=int, default=8, help="pages each reader opens before a replay")
    parser.add_argument("--visits", type=int, default=30, help="visits sent, each by two devices")
    given = parser.parse_args()
    with contextlib.ExitStack() as stack:
        place = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        url = stack.enter_context(postgres.server()) if given.database == "postgresql" else None
        load(given, place, url)


def load(given: argparse.Namespace, place: Path, url: str | None) -> None:
    season = made.season(place / "desk" / "visits")
    days = season.visits.parent / "days.yaml"
    lines = ("seven three nine", "affirm")
    folders = [
        made.visit(place / "out", lines, made.HUBER, made.VALLEY, f"TK-{n}", made.day(5, 1 + n // 20, n % 20), days)
        for n in range(given.visits)
    ]
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        asked = DeskOptions(season.visits, database=url, port=free.getsockname()[1])
    accounts = open_people(asked)
    names = [f"reader{n}" for n in range(given.readers)]
    for name in names:
        people.add(accounts, name, "supervisor", "*", "", PASSWORD)
    keys = [people.add(accounts, f"device{n}", "device", "", "", "") for n in range(given.senders)]
    half = max(1, given.senders // 2)
    sends = {key: folders[n % half :: half] for n, key in enumerate(keys)}
    process = multiprocessing.get_context("spawn").Process(target=run, args=(asked,), daemon=True)
    process.start()
    try:
        address = f"http://127.0.0.1:{asked.port}"
        wait_for(address)
        began = time.perf_counter()
        tally = asyncio.run(crowd(address, names, given.pages, sends))
        took = time.perf_counter() - began
    finally:
        process.terminate()
        process.join(20)
    report(given, asked, folders, tally, took)


def report(given, asked, folders, tally, took) -> None:  # type: ignore[no-untyped-def]  # of a bench
    answers = sum(len(times) for times in tally.took.values())
    print(
        f"{given.readers} readers and {given.senders} senders on {given.database}: {answers} answers in {took:.1f} s, "
        f"{answers / took:.0f} a second; {tally.waited} told to wait and came again, {tally.broken} connections made anew"
    )
    for what in tally.took:
        print("  " + tally.line(what))
    engine = database.open_engine(asked.database_url)
    with engine.connect() as connection:
        shown = set(connection.scalars(select(Visit.name)))
    lost = [f.name for f in folders if not (asked.visits / f.name).is_dir() or not verify(asked.visits / f.name).holds]
    unseen = [f.name for f in folders if f.name not in shown]
    print(f"  wrong answers: {len(tally.wrong)} {tally.wrong[:3]}")
    print(f"  acknowledged {len(tally.stored)} sendings of {len(folders)} visits; lost {len(lost)}, not shown {len(unseen)}")


if __name__ == "__main__":
    main()
