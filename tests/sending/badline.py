"""A desk served on loopback by the real server, and a line to it that fails in all the ways lines do, by a seed."""

from __future__ import annotations

import contextlib
import random
import shutil
import socket
import threading
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import uvicorn

from handsfree.desk import database, heads, people, quarantine
from handsfree.desk.app import build
from handsfree.desk.configuration import Desk, Rate, Rates
from handsfree.desk.files import Files

FAST = Rates(Rate(1e6, 1e6), Rate(1e6, 1e6), Rate(1e6, 1e6))


@dataclass
class Served:
    """`key`: of a device. `statuses`: of the answers to commits, whether or not anybody heard them."""

    desk: Desk
    port: int
    key: str
    statuses: list[int]
    under_way: list[int]

    @property
    def address(self) -> str:
        return self.desk.origins[0]

    @property
    def visits(self) -> list[str]:
        return sorted(path.name for path in self.desk.visits.iterdir() if not path.name.startswith("."))


    def quiet(self) -> None:
        """Waits until the desk has done all that it was asked for: it goes on when a line is cut."""
        while self.under_way[0]:
            time.sleep(0.002)

    def emptied(self) -> None:
        """As if nothing had ever been sent."""
        self.quiet()
        self.statuses.clear()
        for path in self.desk.visits.iterdir():
            if not path.name.startswith("."):
                shutil.rmtree(path)
        for kept in (self.desk.incoming.place, quarantine.place(self.desk.visits)):
            shutil.rmtree(kept, ignore_errors=True)
        for name in (heads.FILE, heads.TREE):
            (self.desk.own / name).unlink(missing_ok=True)
        self.desk._heads = None


def _counted(app: Any, statuses: list[int], under_way: list[int]) -> Any:
    async def counted(scope: Any, receive: Any, send: Any) -> None:
        async def seen(message: Any) -> None:
            if message["type"] == "http.response.start" and scope["path"].endswith("/commit"):
                statuses.append(message["status"])
            await send(message)

        counts = scope["type"] == "http"
        under_way[0] += counts
        try:
            await app(scope, receive, seen)
        finally:
            under_way[0] -= counts

    return counted


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@contextlib.contextmanager
def served(place: Path, *ports: int, tls: Path | None = None) -> Iterator[Served]:
    """`ports`: those of lines, by which names the desk goes, too. `tls`: a PEM file of certificate and key."""
    visits = place / "at-the-desk"
    visits.mkdir(parents=True)
    engine = database.open_engine(database.sqlite_url(place / "desk.sqlite3"))
    database.migrate(engine)
    accounts = database.open_engine(database.sqlite_url(place / "people.sqlite3"))
    people.make_tables(accounts)
    key = people.add(accounts, "device-1", "device", "", "", "")
    port = free_port()
    origins = tuple(f"{'https' if tls else 'http'}://127.0.0.1:{each}" for each in (port, *ports))
    desk = Desk(visits, engine, accounts, Files(visits), origins, rates=FAST)
    statuses: list[int] = []
    under_way = [0]
    app = _counted(build(desk, read_every=None), statuses, under_way)
    config = uvicorn.Config(app, host="127.0.0.1", port=port, log_level="critical", access_log=False, ssl_certfile=tls)
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    yield Served(desk, port, key, statuses, under_way)
    server.should_exit = True
    thread.join(20)
    engine.dispose()
    accounts.dispose()


#: fault -> how often, against the others.
FAULTS = {
    "cut before": 2,  # the line is gone before anything reached the desk
    "cut in the middle": 6,  # some of the body reached it
    "answer lost": 4,  # it did it and nobody heard
    "answer cut": 4,
    "answer garbled": 2,
    "too busy": 2,  # 503 without doing it
    "bad gateway": 3,  # 502 after doing it
    "twice": 4,  # the same request reaches the desk twice
    "once more, late": 4,  # an old request reaches it again later
    "sign-in page": 2,  # 200 with a page, as a station's network has it
    "sent elsewhere": 1,
}
PAGE = b"<!DOCTYPE html><title>Platform network (invented)</title><p>Please agree to our terms."


@dataclass
class BadLine:
    """Takes one request a connection. `bad`: the share that fails; `counts`: what happened, by fault; `rest`: seconds that
    each request takes longer."""

    desk_port: int
    chance: random.Random = field(default_factory=random.Random)
    bad: float = 0.5
    rest: float = 0.0
    counts: Counter[str] = field(default_factory=Counter)
    port: int = field(default_factory=free_port)
    _old: list[tuple[bytes, bytes]] = field(default_factory=list)
    _over: threading.Event = field(default_factory=threading.Event)

    def __enter__(self) -> BadLine:
        self._listener = socket.create_server(("127.0.0.1", self.port), backlog=50)
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()
        self._listener.close()

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def again(self, seed: int, bad: float) -> None:
        """Another schedule; what waited to arrive late is forgotten."""
        self.chance, self.bad = random.Random(seed), bad
        self._old.clear()

    def _serve(self) -> None:
        while not self._over.is_set():
            try:
                there, _ = self._listener.accept()
            except OSError:
                return
            with contextlib.suppress(OSError), there:
                there.settimeout(20)
                self._one(there)

    def _one(self, there: socket.socket) -> None:
        head, body = _request(there)
        if not head:
            return
        fault = "none"
        if self.chance.random() < self.bad:
            fault = self.chance.choices(list(FAULTS), list(FAULTS.values()))[0]
        if self.rest:
            time.sleep(self.rest)
        self.counts[fault] += 1
        answer = self._answer(fault, head, body)
        if answer:
            there.sendall(answer)
            there.shutdown(socket.SHUT_WR)

    def _answer(self, fault: str, head: bytes, body: bytes) -> bytes:
        if fault == "cut before":
            return b""
        if fault == "cut in the middle":
            self._to_desk(head, body[: self.chance.randrange(len(body) + 1)], whole=False)
            return b""
        if fault == "too busy":
            return _made(503, b"", b"retry-after: 0\r\n")
        if fault == "sign-in page":
            return _made(200, PAGE, b"content-type: text/html\r\n")
        if fault == "sent elsewhere":
            return _made(302, b"", b"location: http://127.0.0.1:9/sign-in\r\n")
        if self._old and self.chance.random() < 0.3:
            self._to_desk(*self._old.pop(self.chance.randrange(len(self._old))))
        if fault == "once more, late":
            self._old.append((head, body))
        answer = self._to_desk(head, body)
        if fault == "twice":
            answer = self._to_desk(head, body)
        if fault == "answer lost":
            return b""
        if fault == "bad gateway":
            return _made(502, PAGE)
        if fault == "answer cut":
            return answer[: self.chance.randrange(1, len(answer))]
        if fault == "answer garbled":
            at = answer.find(b"\r\n\r\n") + 4
            return answer[:at] + bytes(self.chance.randrange(256) for _ in answer[at:])
        return answer

    def _to_desk(self, head: bytes, body: bytes, whole: bool = True) -> bytes:
        with socket.create_connection(("127.0.0.1", self.desk_port), timeout=20) as desk:
            desk.sendall(head + body)
            if not whole:
                time.sleep(0.002)  # or the desk sees the end before the bytes
                return b""
            answer = b""
            while block := desk.recv(65536):
                answer += block
        return answer


def _made(status: int, body: bytes, headers: bytes = b"") -> bytes:
    return b"HTTP/1.1 %d X\r\n%scontent-length: %d\r\nconnection: close\r\n\r\n%s" % (status, headers, len(body), body)


def _request(there: socket.socket) -> tuple[bytes, bytes]:
    """(head with its empty line, body); the head asks the desk to close when it has answered. Empty where none came."""
    data = b""
    while b"\r\n\r\n" not in data:
        block = there.recv(65536)
        if not block:
            return b"", b""
        data += block
    head, _, body = data.partition(b"\r\n\r\n")
    lines = [line for line in head.split(b"\r\n") if not line.lower().startswith(b"connection:")]
    length = next((int(line.split(b":")[1]) for line in lines if line.lower().startswith(b"content-length:")), 0)
    while len(body) < length:
        block = there.recv(65536)
        if not block:
            return b"", b""
        body += block
    return b"\r\n".join([*lines, b"connection: close"]) + b"\r\n\r\n", body
