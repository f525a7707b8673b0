"""What may be made again, and what may not: a fault of the program must not pass for one of the machine."""

from __future__ import annotations

import time
from collections.abc import Callable

import psutil
import pytest

from .conftest import Pulse, undisturbed


def failing(times: int, meanwhile: Callable[[], None]) -> tuple[list[int], Callable[[], int]]:
    """An attempt that fails so often; and a list, as long as the times it was made."""
    made: list[int] = []

    def attempt() -> int:
        made.append(len(made))
        meanwhile()
        assert len(made) > times
        return len(made)

    return made, attempt


def still(pulse: Pulse) -> None:
    """What only sleeps stands still, as it does with all the machine."""
    process = psutil.Process(pulse.process.pid)
    process.suspend()
    time.sleep(0.3)
    process.resume()


def hold_the_interpreter() -> None:
    """Nothing else of this process runs for some tenths of a second."""
    sorted(range(3_000_000), key=lambda number: -number)


@pytest.mark.filterwarnings("ignore:made again")
def test_a_failure_while_the_machine_stood_still_is_made_again(pulse: Pulse) -> None:
    _, attempt = failing(2, lambda: still(pulse))
    assert undisturbed(attempt, pulse) == 3
    made, attempt = failing(9, lambda: still(pulse))
    with pytest.raises(AssertionError):
        undisturbed(attempt, pulse)
    assert len(made) == 3


@pytest.mark.filterwarnings("ignore:made again")
def test_a_failure_of_the_program_is_one(pulse: Pulse, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Pulse, "LATE", 60.0)  # how much at rest the machine is that runs this is not known
    made, attempt = failing(1, lambda: None)
    with pytest.raises(AssertionError):
        undisturbed(attempt, pulse)
    assert made == [0]
    torn = iter(range(9))
    made, attempt = failing(1, lambda: None)
    assert undisturbed(attempt, pulse, torn=lambda: next(torn)) == 2


def test_a_program_that_holds_itself_up_does_not_hold_up_the_pulse(pulse: Pulse) -> None:
    late = []
    for _ in range(5):  # the machine itself may stand still once
        pulse.latest()
        hold_the_interpreter()
        late.append(pulse.latest())
    assert min(late) < Pulse.LATE
