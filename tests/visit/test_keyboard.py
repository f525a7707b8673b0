"""A visit from the keyboard where the keyboard or the terminal is not what it should be."""

from __future__ import annotations

import io
import os
import pty
import queue
import termios
import time
from collections.abc import Callable

import pytest

from handsfree.dialogue.keyboard import Keyboard, TypedEar
from handsfree.journal.events import Stamped, Utterance
from handsfree.language.meaning import Verdict
from handsfree.visit.commands import printer
from tests.visit import data
from tests.visit.scenes import ENGLISH, Scene, book


class NoClock:
    def now(self) -> float:
        return 0.0

    def wait(self, seconds: float) -> None: ...


def test_no_standard_input_is_the_end_of_the_lines() -> None:
    """Started by a service there may be none at all; a thread that dies without a word would leave the visit waiting."""
    with pytest.raises(EOFError):
        TypedEar(None, ENGLISH, NoClock()).next(5.0)


def test_bytes_that_are_no_text_are_the_end_of_the_lines() -> None:
    with pytest.raises(EOFError):
        TypedEar(io.TextIOWrapper(io.BytesIO(b"\xff\xfe\n"), "utf-8"), ENGLISH, NoClock()).next(5.0)


HEARD = Stamped(1, "2026-03-02T08:00:00+00:00", 1.0, Utterance(Verdict.ASKED_AGAIN, words="\u00fcbung \udcff"))


def test_a_terminal_of_few_signs_does_not_end_the_visit() -> None:
    raw = io.BytesIO()
    terminal = io.TextIOWrapper(raw, "ascii")
    printer(terminal)(HEARD, Scene(book(data.WHOLE)).state)
    assert b"\\xfcbung" in raw.getvalue()


def test_a_terminal_that_is_gone_does_not_end_the_visit() -> None:
    class Gone(io.StringIO):
        tried = 0

        def write(self, text: str) -> int:
            self.tried += 1
            raise BrokenPipeError

    gone = Gone()
    printer(gone)(HEARD, Scene(book(data.WHOLE)).state)
    assert gone.tried


def _until(so: Callable[[], object]) -> None:
    """A wait that ends: a test that hangs tells nothing."""
    last = time.monotonic() + 30
    while not so():
        assert time.monotonic() < last
        time.sleep(0.01)


def test_keys_are_read_without_an_echo_and_shown_as_they_come() -> None:
    """Under a screen that is drawn anew all the time; on a terminal of the system's own."""
    master, slave = pty.openpty()
    told: queue.Queue[str | None] = queue.Queue()
    shown: list[str] = []
    with os.fdopen(slave, encoding="utf-8") as terminal:
        Keyboard(terminal, told.put, shown.append)
        _until(lambda: not termios.tcgetattr(terminal.fileno())[3] & termios.ICANON)  # the thread has the terminal
        os.write(master, b"nexx")
        _until(lambda: shown[-1:] == ["nexx"])
        os.write(master, b"\x7ft step\n")
        assert told.get(timeout=10) == "next step"
        os.write(master, b"\x04")
        assert told.get(timeout=10) is None
    assert shown[-1] == ""
