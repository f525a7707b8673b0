"""A desk on a real socket, served by uvicorn as the program does."""

from __future__ import annotations

import socket
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import uvicorn

from handsfree.desk.app import build
from handsfree.desk.configuration import Desk


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
        return port


def said_until(process: subprocess.Popen[str], words: str) -> str:
    """What it says on standard error, up to the line with these words."""
    assert process.stderr is not None
    said = ""
    while words not in said:
        line = process.stderr.readline()
        assert line, said
        said += line
    return said


@contextmanager
def served(desk: Desk) -> Iterator[str]:
    """Its address, for as long as it is served; the desk goes by it."""
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    address = f"http://127.0.0.1:{listening.getsockname()[1]}"
    desk.origins = (address,)
    settings = uvicorn.Config(build(desk, read_every=None), log_level="error", access_log=False, server_header=False)
    server = uvicorn.Server(settings)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not server.started:
        assert thread.is_alive(), "the desk did not start"
        time.sleep(0.02)
    try:
        yield address
    finally:
        server.should_exit = True
        thread.join(timeout=20)
        listening.close()
