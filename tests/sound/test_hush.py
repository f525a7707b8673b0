"""What C libraries print is kept off standard error while sound is open, what the program prints is not."""

from __future__ import annotations

import subprocess
import sys

NESTED = """
import os, sys
from handsfree.sound.hush import hush, unhush
library = lambda text: os.write(2, text)  # as ALSA does: to the descriptor
print("ours before", file=sys.stderr)
library(b"theirs before\\n")
hush()
library(b"theirs hushed\\n")
hush()
unhush()
library(b"theirs still hushed\\n")
print("ours hushed", file=sys.stderr)
unhush()
library(b"theirs after\\n")
print("ours after", file=sys.stderr)
"""


def printed(code: str) -> list[str]:
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return done.stderr.splitlines()


def test_only_the_libraries_are_silenced_and_only_meanwhile() -> None:
    assert printed(NESTED) == ["ours before", "theirs before", "ours hushed", "theirs after", "ours after"]


def test_an_error_that_ends_the_program_is_told() -> None:
    lines = printed(
        "from handsfree.sound.hush import hush\nimport threading\nhush()\n"
        "thread = threading.Thread(target=lambda: 1 / 0)\nthread.start()\nthread.join()"
    )
    assert lines[-1] == "ZeroDivisionError: division by zero"


def test_without_standard_error_nothing_breaks() -> None:
    code = "from handsfree.sound.hush import hush, unhush\nhush()\nunhush()\nprint('fine')"
    done = subprocess.run(
        ["sh", "-c", 'exec "$@" 2>&-', "sh", sys.executable, "-c", code], stdout=subprocess.PIPE, text=True, check=True
    )
    assert done.stdout == "fine\n"
