"""The process that stand-by waits for, a listener or a visit, and how it ends if stand-by is told to end.

Rules of this file:

- A signal handler raises nothing: an exception between two lines could lose sight of a process that has just begun.
- A listener ends with stand-by, however that ends: its standard input is a pipe that only stand-by holds open.
- A visit is interrupted, and has time to say that it stops. If stand-by is killed, a visit goes on: somebody may be at work.
"""

from __future__ import annotations

import os
import signal
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

PATIENCE = 20.0  # s for a visit to say that it stops; the unit leaves more to all together
SIGNALS = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))


class Watched:
    """One process after another. `ended_by`: the signal that ended stand-by, 0 for none yet."""

    def __init__(self) -> None:
        self.ended_by = 0
        self._process: subprocess.Popen[str] | None = None
        self._line: int | None = None  # our end of the listener's standard input

    @contextmanager
    def until_signalled(self) -> Iterator[None]:
        """In it, each of SIGNALS ends stand-by, unless whoever started it wants that signal ignored (`nohup`)."""
        before = {number: signal.getsignal(number) for number in SIGNALS}
        for number, handler in before.items():
            if handler is not signal.SIG_IGN:
                signal.signal(number, self._signalled)
        try:
            yield
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)

    def visit(self, command: list[str]) -> int:
        """Its exit status, once it has ended. It has the terminal: a dry hand may type."""
        self._process = subprocess.Popen(command, text=True)
        return self._waited(self._process).returncode

    def listener(self, command: list[str], own_input: bool) -> subprocess.CompletedProcess[str]:
        """What it told, once it has ended. `own_input`: standard input is its microphone, and no pipe of ours."""
        theirs, self._line = (None, None) if own_input else os.pipe()
        try:
            self._process = subprocess.Popen(
                command, stdin=theirs, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, errors="replace"
            )
            return self._waited(self._process)
        finally:
            if theirs is not None:
                os.close(theirs)
            self._hang_up()

    def rest(self, seconds: float) -> None:
        """Shorter, if a signal comes."""
        until = time.monotonic() + seconds
        while not self.ended_by and (left := until - time.monotonic()) > 0:
            time.sleep(min(left, 0.5))

    def _waited(self, process: subprocess.Popen[str]) -> subprocess.CompletedProcess[str]:
        if self.ended_by:  # the signal came while the process began
            self._end(process)
        out, errors = process.communicate()
        self._process = None
        return subprocess.CompletedProcess(process.args, process.returncode, out, errors)

    def _signalled(self, number: int, _: FrameType | None) -> None:
        again, self.ended_by = bool(self.ended_by), self.ended_by or number
        if self._process is not None:
            self._process.kill() if again else self._end(self._process)

    def _hang_up(self) -> None:
        line, self._line = self._line, None
        if line is not None:
            os.close(line)

    def _end(self, process: subprocess.Popen[str]) -> None:
        """An interrupt goes to all processes of a terminal, and of the unit. So a visit has had it, and a second would break
        off what it says. If it came to stand-by alone (`kill -INT`), the visit goes on after PATIENCE, and is told then."""
        self._hang_up()
        if self.ended_by == signal.SIGINT:
            _after_patience(lambda: self._interrupt(process))
        else:
            self._interrupt(process)

    def _interrupt(self, process: subprocess.Popen[str]) -> None:
        process.send_signal(signal.SIGINT)  # nothing, to one that has ended
        _after_patience(process.kill)


def _after_patience(act: Callable[[], None]) -> None:
    patience = threading.Timer(PATIENCE, act)
    patience.daemon = True
    patience.start()
