"""The real program in a process of its own, forked from one that has read its modules already: what a command does is the
same, and the tests that call very many commands do not read some thousand modules for each of them.

    python -m tests.forked        serves: a line of JSON in, a line out
"""

from __future__ import annotations

import atexit
import json
import os
import signal
import subprocess
import sys
import tempfile
import traceback
from contextlib import suppress
from importlib import import_module
from pathlib import Path
from typing import Any

TOP = Path(__file__).resolve().parents[1]


class Forks:
    """Processes of the program, one after another."""

    def __init__(self) -> None:
        self._server = subprocess.Popen(
            [sys.executable, "-m", "tests.forked"], cwd=TOP, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
            env={**os.environ, "PYTHONPATH": str(TOP)},
        )  # fmt: skip
        atexit.register(self._server.communicate)

    def run(
        self, words: list[str], folder: Path, typed: str, environment: dict[str, str]
    ) -> subprocess.CompletedProcess[str]:
        """As `subprocess.run` of `python -m handsfree WORDS`, text captured."""
        assert self._server.stdin is not None
        assert self._server.stdout is not None
        with tempfile.TemporaryDirectory() as place:
            streams = [Path(place) / name for name in ("in", "out", "err")]
            streams[0].write_text(typed, encoding="utf-8")
            asked = {"words": words, "folder": str(folder), "environment": environment, "streams": [str(s) for s in streams]}
            print(json.dumps(asked), file=self._server.stdin, flush=True)
            status = json.loads(self._server.stdout.readline())
            out, err = (stream.read_text(encoding="utf-8") for stream in streams[1:])
        return subprocess.CompletedProcess(words, status, out, err)


def _serve() -> None:
    for package in ("authoring", "desk", "journal", "pack", "procedure", "relisten", "sending", "sound", "visit"):
        import_module(f"handsfree.{package}.commands")
    import_module("handsfree.desk.serve")
    for line in sys.stdin:
        asked = json.loads(line)
        child = os.fork()
        if not child:
            _become(asked)
        print(json.dumps(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])), flush=True)


def _become(asked: dict[str, Any]) -> None:
    """The command, in this process; never returns."""
    from handsfree.cli import main

    for number, (name, flags) in enumerate(zip(asked["streams"], (os.O_RDONLY, _WRITE, _WRITE), strict=True)):
        os.dup2(os.open(name, flags, 0o600), number)
    sys.stdin, sys.stdout, sys.stderr = open(0), open(1, "w"), open(2, "w", errors="backslashreplace")  # noqa: SIM115
    signal.alarm(LONGEST)  # a command that hangs is killed, and its status says so
    os.environ.clear()
    os.environ.update(asked["environment"])
    os.chdir(asked["folder"])
    sys.argv = ["handsfree", *asked["words"]]
    status: Any = 1
    try:
        status = main()
    except SystemExit as stopped:
        status = stopped.code
        if isinstance(status, str):
            print(status, file=sys.stderr)
    except BaseException:
        traceback.print_exc()
    finally:
        with suppress(OSError, ValueError):
            sys.stdout.flush()
            sys.stderr.flush()
        os._exit(status if isinstance(status, int) else 0 if status is None else 1)  # taking all apart takes half a second


LONGEST = 120  # seconds
_WRITE = os.O_WRONLY | os.O_CREAT | os.O_TRUNC

if __name__ == "__main__":
    _serve()
