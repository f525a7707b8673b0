"""Stand-by is ended while the process it waits for is running: nothing of it goes on. The processes are real. The listener
is the program's own but for what it hears, which is nothing; the visit is a script."""

from __future__ import annotations

import os
import select
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from handsfree.journal.events import Resumed
from handsfree.journal.writer import Journal

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals and named pipes of POSIX")

LIMIT = 120.0  # s: far more than any of it takes; whoever waits so long has failed

# The pipe is open for writing as long as the script runs, so whoever reads it learns of its end, however it ends.
PROGRAM = """
import os, sys, time
open_while_it_runs = os.open({pipe!r}, os.O_WRONLY)
def tell(word):
    os.write(open_while_it_runs, word.encode() + b"\\n")
def wait(*_):
    tell("here")
    time.sleep(600)
if sys.argv[1] == "handsfree.standby.listening":
    from handsfree.standby import listening
    listening.listen = wait
    sys.exit(listening.main(sys.argv[2:]))
try:
    wait()
except KeyboardInterrupt:
    time.sleep(1)  # a visit says why it stops
    tell("stopped")
"""

# A shell leaves the keyboard's signal ignored in what it starts in the background, and so in all that this starts.
STAND_BY = """
import signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)
from functools import partial
from handsfree.cli import main
from handsfree.standby import commands, watched
watched.PATIENCE = {patience!r} or watched.PATIENCE
commands.House = partial(commands.House, program=(sys.executable, {program!r}))
main(["stand-by", "--visits", {visits!r}])
"""


class Told:
    """What a process tells through a named pipe, line by line."""

    def __init__(self, place: Path) -> None:
        os.mkfifo(place)
        self._reads = os.open(place, os.O_RDONLY | os.O_NONBLOCK)

    def next(self) -> str:
        """The next line; '' once whoever could write it has ended."""
        line = b""
        while not line.endswith(b"\n"):
            ready, _, _ = select.select([self._reads], [], [], LIMIT)
            assert ready, "it went on"
            if not (read := os.read(self._reads, 1)):
                return ""
            line += read
        return line.decode().strip()

    def close(self) -> None:
        os.close(self._reads)


@contextmanager
def standing_by(tmp_path: Path, patience: float = 0.0) -> Iterator[tuple[subprocess.Popen[str], Told]]:
    """Stand-by in a group of its own, once the process that it waits for is running. `patience`: seconds that a visit has,
    0 for the program's own."""
    told = Told(tmp_path / "told")
    program = tmp_path / "program.py"
    program.write_text(PROGRAM.format(pipe=str(tmp_path / "told")))
    script = STAND_BY.format(program=str(program), visits=str(tmp_path / "visits"), patience=patience)
    parent = subprocess.Popen(
        [sys.executable, "-c", script], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        text=True, start_new_session=True,
    )  # fmt: skip
    try:
        assert told.next() == "here"
        yield parent, told
    finally:
        with suppress(ProcessLookupError):
            os.killpg(parent.pid, signal.SIGKILL)
        parent.communicate()
        told.close()


@pytest.fixture
def broken(tmp_path: Path) -> None:
    """A visit that broke off just now: stand-by takes it up at once."""
    Journal.create(tmp_path / "visits/one").append(Resumed("begun"))


STATUS = {signal.SIGINT: 0, signal.SIGTERM: 143, signal.SIGHUP: 129}


@pytest.mark.parametrize("number", STATUS)
def test_its_listener_ends_with_it(tmp_path: Path, number: signal.Signals) -> None:
    with standing_by(tmp_path) as (parent, told):
        parent.send_signal(number)
        out, errors = parent.communicate(timeout=LIMIT)
        assert told.next() == ""
    assert (out.splitlines()[-1], errors) == ("Stand-by has ended.", "")
    assert parent.returncode == STATUS[number]


def test_its_listener_ends_even_where_it_is_killed(tmp_path: Path) -> None:
    with standing_by(tmp_path) as (parent, told):
        parent.kill()
        assert told.next() == ""


@pytest.mark.usefixtures("broken")
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_visit_is_told_to_stop_and_has_time_to_say_so(tmp_path: Path, number: signal.Signals) -> None:
    with standing_by(tmp_path) as (parent, told):
        parent.send_signal(number)
        out, errors = parent.communicate(timeout=LIMIT)
        assert [told.next(), told.next()] == ["stopped", ""]
    assert (out.splitlines()[-1], errors) == ("Stand-by has ended.", "")
    assert parent.returncode == STATUS[number]


@pytest.mark.usefixtures("broken")
def test_an_interrupt_at_the_keyboard_reaches_a_visit_once(tmp_path: Path) -> None:
    """It goes to all processes of the terminal, as the one of the unit goes to all of the unit."""
    with standing_by(tmp_path) as (parent, told):
        os.killpg(parent.pid, signal.SIGINT)
        out, errors = parent.communicate(timeout=LIMIT)
        assert [told.next(), told.next()] == ["stopped", ""]
    assert (out.splitlines()[-1], errors) == ("Stand-by has ended.", "")
    assert parent.returncode == 0


@pytest.mark.usefixtures("broken")
def test_an_interrupt_that_reaches_stand_by_alone_is_handed_on_to_its_visit(tmp_path: Path) -> None:
    """As `kill -INT` sends it. The visit would else be killed in the middle of its work."""
    with standing_by(tmp_path, patience=5.0) as (parent, told):
        parent.send_signal(signal.SIGINT)
        out, errors = parent.communicate(timeout=LIMIT)
        assert [told.next(), told.next()] == ["stopped", ""]
    assert (out.splitlines()[-1], errors) == ("Stand-by has ended.", "")
    assert parent.returncode == 0
