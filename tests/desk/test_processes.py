"""A desk of several processes behind one address: what one of them is told, the others know."""

from __future__ import annotations

import json
import multiprocessing
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from urllib.parse import urlsplit

import httpx
import psutil
import pytest

from handsfree.desk import people, security_log
from handsfree.desk.configuration import Buckets, Desk, Rate, Rates
from handsfree.desk.refreshing import FolderReader
from handsfree.desk.serve import DeskOptions, judge, open_people
from handsfree.desk.signon import SignOn
from handsfree.errors import Trouble
from tests.desk.browsing import client
from tests.desk.conftest import PASSWORD, fresh
from tests.desk.made import Made
from tests.desk.test_sign_on import provider  # noqa: F401  # a fixture

#: The provider's own, of its own library.
pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")


@contextmanager
def started(visits: Path, url: str) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    """As a person starts it: its address and the process that holds the others."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "handsfree", "desk", "--visits", str(visits), "--port", str(port), "--database", url]
    process = subprocess.Popen([*command, "--processes", "2"], stderr=subprocess.PIPE, text=True, env=os.environ)
    try:
        assert process.stderr is not None
        said = ""
        while "The desk is at" not in said:
            line = process.stderr.readline()
            assert line, said
            said += line
        yield f"http://127.0.0.1:{port}", process
    finally:
        process.terminate()
        process.wait(30)


def asked(address: str, path: str, **more: object) -> httpx.Response:
    """On a connection of its own, so that either process may answer."""
    for _ in range(300):
        try:
            return httpx.get(f"{address}{path}", timeout=60, **more)  # type: ignore[arg-type]  # passed on
        except httpx.TransportError:
            time.sleep(0.1)
    raise AssertionError("nothing answers")


def serving(process: subprocess.Popen[str]) -> list[psutil.Process]:
    """Those that answer, without what `multiprocessing` keeps beside them."""
    found = []
    for one in psutil.Process(process.pid).children():
        with suppress(psutil.Error):  # ended a moment ago
            found += [one] * ("spawn_main" in " ".join(one.cmdline()))
    return found


def test_a_session_of_one_process_is_one_of_every_process(season: Made, tmp_path: Path, postgresql: str) -> None:
    visits = tmp_path / "visits"
    shutil.copytree(season.visits, visits)
    accounts = open_people(DeskOptions(visits))
    people.add(accounts, "Vera", "supervisor", "*", "", PASSWORD)
    accounts.dispose()
    with started(visits, fresh(postgresql)) as (address, process):
        asked(address, "/sign-in")
        browser = httpx.Client(base_url=address, headers={"origin": address}, timeout=60)
        done = browser.post("/sign-in", data={"name": "Vera", "password": PASSWORD, "to": "/"})
        assert done.status_code == 303
        cookies = dict(browser.cookies)
        pages = [asked(address, "/", cookies=cookies) for _ in range(30)]
        assert {page.status_code for page in pages} == {200}
        assert all("HK-9" in page.text for page in pages)
        token = re.search(r'name="token" value="([^"]+)"', pages[0].text)
        assert token is not None
        # A sentence that one process put into the address is shown by both; so is the end of the session.
        refreshed = browser.post("/refresh", data={"token": token[1]})
        where = refreshed.headers["location"]
        shown = [asked(address, where, cookies=cookies).text for _ in range(10)]
        assert all("The folders were read" in page for page in shown)
        two = serving(process)
        assert len(two) == 2
        # One that dies is replaced, and nobody is signed out.
        two[0].send_signal(signal.SIGKILL)
        for _ in range(300):
            if len([one for one in serving(process) if one.pid not in {two[0].pid}]) == 2:
                break
            time.sleep(0.1)
        assert len(serving(process)) == 2
        assert {asked(address, "/", cookies=cookies).status_code for _ in range(10)} == {200}
        browser.post("/sign-out", data={"token": token[1]})
        assert {asked(address, "/", cookies=cookies).status_code for _ in range(10)} == {303}
    for one in two:
        assert not psutil.pid_exists(one.pid) or psutil.Process(one.pid).status() == "zombie"


def test_processes_whose_parent_was_killed_end_too(season: Made, tmp_path: Path, postgresql: str) -> None:
    visits = tmp_path / "visits"
    shutil.copytree(season.visits, visits)
    accounts = open_people(DeskOptions(visits))
    people.add(accounts, "Vera", "supervisor", "*", "", PASSWORD)
    accounts.dispose()
    with started(visits, fresh(postgresql)) as (address, process):
        asked(address, "/sign-in")
        two = serving(process)
        process.kill()
        gone, alive = psutil.wait_procs(two, timeout=30)
    assert (len(gone), alive) == (2, [])


def test_several_processes_need_accounts_and_a_server_of_databases(tmp_path: Path) -> None:
    for options, accounts, why in (
        (DeskOptions(tmp_path, database="postgresql:///x", processes=2), 0, "accounts"),
        (DeskOptions(tmp_path, processes=2), 3, "PostgreSQL"),
    ):
        with pytest.raises(Trouble, match=why):
            judge(options, accounts)
    judge(DeskOptions(tmp_path, database="postgresql:///x", processes=2), 1)


def test_all_processes_together_allow_what_one_does() -> None:
    one, four = Rates(), Rates().shared_by(4)
    for name in ("address", "account", "device", "work"):
        whole: Rate = getattr(one, name)
        part: Rate = getattr(four, name)
        assert 4 * part.a_second == pytest.approx(whole.a_second)
        assert 4 * part.at_once == pytest.approx(whole.at_once)
    rate = Rates(address=Rate(1, 40)).shared_by(4).address
    several = [Buckets() for _ in range(4)]
    taken = sum(each.take("a", rate, now=0.0) == 0.0 for each in several for _ in range(40))
    assert taken == 40


def test_a_sign_in_begun_in_one_process_ends_in_another_and_once(desk: Desk, provider: str) -> None:  # noqa: F811
    people.add(desk.people, "Vera elsewhere", "supervisor", "*", "", "", "vera@firm.example")
    other = Desk(desk.visits, desk.engine, desk.people, desk.files, desk.origins)
    desk.sign_on, other.sign_on = (SignOn(provider, "the-desk", "its secret", "the firm") for _ in range(2))
    here, there = client(desk), client(other)
    begun = here.get("/elsewhere?to=/due")
    said = httpx.post(begun.headers["location"], data={"sub": "p-77"}, follow_redirects=False)
    there.cookies.update(here.cookies)
    back = urlsplit(said.headers["location"])
    assert there.get(f"{back.path}?{back.query}").status_code == 200
    assert here.get(f"{back.path}?{back.query}").status_code == 403, "once in all"


def test_one_process_alone_looks_through_the_folders(desk: Desk) -> None:
    desk.own.mkdir(exist_ok=True)
    first, second = FolderReader(desk), FolderReader(desk)
    with closing(first), closing(second):
        assert (first(), second(), first()) == (True, False, True)
        first.close()
        assert second(), "where the first ended another goes on"


def _write_notes(folder: Path, name: str, count: int) -> None:
    with security_log.kept_in(folder):
        for n in range(count):
            security_log.note("tried", who=name, n=str(n))


def test_two_processes_write_one_log_and_lose_no_line(tmp_path: Path) -> None:
    """Also while the file is full and another begins."""
    with multiprocessing.get_context("fork").Pool(2, _small) as pool:
        pool.starmap(_write_notes, [(tmp_path, "one", 300), (tmp_path, "two", 300)])
    lines = [json.loads(line) for path in tmp_path.glob(f"{security_log.FILE}*") if not path.name.endswith(".lock")
             for line in path.read_text().splitlines()]
    assert sorted((one["who"], int(one["n"])) for one in lines) == [(who, n) for who in ("one", "two") for n in range(300)]
    assert len(list(tmp_path.glob(f"{security_log.FILE}.[0-9]"))) >= 2


def _small() -> None:
    security_log.LARGEST, security_log.KEPT = 12_000, 20
