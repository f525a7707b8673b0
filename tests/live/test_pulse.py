"""What may be made again, and what may not: a fault of the program must not pass for one of the machine."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from .conftest import Pulse, undisturbed


def failing(times: int, still: bool) -> tuple[list[int], object]:
    """An attempt that fails so often, the machine standing still meanwhile or not; and how often it was made."""
    made: list[int] = []

    def attempt() -> int:
        made.append(len(made))
        if still:
            stand_still(0.1)
        assert len(made) > times
        return len(made)

    return made, attempt


def stand_still(seconds: float) -> None:
    """Another process stops this one, every thread of it, and lets it go on."""
    code = f"import os, signal, time; os.kill({os.getpid()}, signal.SIGSTOP); time.sleep({seconds}); "
    subprocess.run([sys.executable, "-c", code + f"os.kill({os.getpid()}, signal.SIGCONT)"], check=True)


def test_a_failure_while_the_machine_stood_still_is_made_again() -> None:
    made, attempt = failing(2, still=True)
    assert undisturbed(attempt) == 3
    made, attempt = failing(9, still=True)
    with pytest.raises(AssertionError):
        undisturbed(attempt, times=3)
    assert len(made) == 3


def test_a_failure_on_a_machine_at_rest_is_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Pulse, "LATE", 60.0)  # how much at rest the machine is that runs this is not known
    made, attempt = failing(1, still=False)
    with pytest.raises(AssertionError):
        undisturbed(attempt)
    assert made == [0]
