"""A desk of several processes behind one address: what one of them is told, the others know."""

from __future__ import annotations

import json
import multiprocessing
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from urllib.parse import urlsplit

import httpx
import psutil
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uvicorn.config import STARTUP_FAILURE

from handsfree.desk import people, security_log
from handsfree.desk.configuration import Buckets, Desk, Rate
from handsfree.desk.refreshing import FolderReader
from handsfree.desk.serve import DeskOptions, judge, one_of_several, open_people
from handsfree.desk.shared_buckets import SharedBuckets
from handsfree.desk.signon import SignOn
from handsfree.errors import Trouble
from tests.desk.browsing import client
from tests.desk.conftest import PASSWORD, fresh
from tests.desk.made import Made
from tests.desk.serving import free_port, said_until
from tests.desk.test_sign_on import provider  # noqa: F401  # a fixture

#: The provider's own, of its own library.
pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")


@contextmanager
def started(visits: Path, url: str) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    """As a person starts it: its address and the process that holds the others."""
    port = free_port()
    command = [sys.executable, "-m", "handsfree", "desk", "--visits", str(visits), "--port", str(port), "--database", url]
    process = subprocess.Popen([*command, "--processes", "2"], stderr=subprocess.PIPE, text=True, env=os.environ)
    try:
        said_until(process, "The desk is at")
        yield f"http://127.0.0.1:{port}", process
    finally:
        process.terminate()
        process.wait(30)


def with_vera(season: Made, tmp_path: Path) -> Path:
    """The season's visits, and one person who may see them."""
    visits = tmp_path / "visits"
    shutil.copytree(season.visits, visits)
    accounts = open_people(DeskOptions(visits))
    people.add(accounts, "Vera", "supervisor", "*", "", PASSWORD)
    accounts.dispose()
    return visits


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
    visits = with_vera(season, tmp_path)
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
    visits = with_vera(season, tmp_path)
    with started(visits, fresh(postgresql)) as (address, process):
        asked(address, "/sign-in")
        two = serving(process)
        process.kill()
        gone, alive = psutil.wait_procs(two, timeout=30)
    assert (len(gone), alive) == (2, [])


def test_a_process_that_cannot_start_ends_the_desk_and_says_why(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Started again and again it would fail again and again."""
    (tmp_path / ".desk" / "rates").mkdir(parents=True)
    with pytest.raises(SystemExit) as caught:
        one_of_several(DeskOptions(tmp_path), b"x")
    assert caught.value.code == STARTUP_FAILURE
    assert "cannot start" in capsys.readouterr().err


def test_several_processes_need_accounts_and_a_server_of_databases(tmp_path: Path) -> None:
    for options, accounts, why in (
        (DeskOptions(tmp_path, database="postgresql:///x", processes=2), 0, "accounts"),
        (DeskOptions(tmp_path, processes=2), 3, "PostgreSQL"),
    ):
        with pytest.raises(Trouble, match=why):
            judge(options, accounts)
    judge(DeskOptions(tmp_path, database="postgresql:///x", processes=2), 1)


def test_all_processes_together_allow_what_one_does(tmp_path: Path) -> None:
    several = [SharedBuckets(tmp_path / "rates") for _ in range(4)]
    taken = sum(each.take("a", Rate(1, 40), now=9.0) == 0.0 for _ in range(40) for each in several)
    assert taken == 40
    assert several[0].take("another", Rate(1, 40), now=9.0) == 0.0
    several[1].spend("work 1", Rate(0.2, 60), 70.0, now=9.0)
    assert several[2].wait("work 1", Rate(0.2, 60), now=9.0) == pytest.approx(50.0)
    assert several[3].wait("work 1", Rate(0.2, 60), now=64.0) == 0.0
    assert several[0].take("a", Rate(1, 40), now=1.0) == 0.0, "a machine that was started anew counts from zero"


@given(st.lists(st.tuples(st.integers(0, 400), st.floats(0.0, 3.0)), max_size=60))
def test_shared_buckets_are_as_those_of_one_process(asked: list[tuple[int, float]]) -> None:
    with tempfile.TemporaryDirectory() as place:
        shared, one, now = [SharedBuckets(Path(place) / "rates") for _ in range(2)], Buckets(), 5.0
        for n, (name, later) in enumerate(asked):
            now += later
            assert shared[n % 2].take(f"address {name}", Rate(0.5, 3), now) == one.take(f"address {name}", Rate(0.5, 3), now)


def test_a_full_row_forgets_who_asked_longest_ago(tmp_path: Path) -> None:
    buckets = SharedBuckets(tmp_path / "rates")
    names = [f"address {n}" for n in range(50_000)]
    for n, name in enumerate(names):
        buckets.take(name, Rate(0.0001, 1), now=float(n))
    known = [buckets._get(name) is not None for name in names]
    assert sum(known[-8_000:]) > 7_900
    assert sum(known[:8_000]) < 4_000


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


def test_a_disk_that_takes_no_lock_keeps_nobody_from_the_desk_and_loses_no_line(tmp_path: Path) -> None:
    (tmp_path / f"{security_log.FILE}.lock").mkdir()
    _write_notes(tmp_path, "one", 2)
    assert len((tmp_path / security_log.FILE).read_text().splitlines()) == 2


def _small() -> None:
    security_log.LARGEST, security_log.KEPT = 12_000, 20
