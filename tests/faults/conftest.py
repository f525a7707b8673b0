from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

COUNTS: dict[str, tuple[int, int]] = {}


@pytest.fixture
def fast() -> Iterator[Path]:
    """A folder in memory where the machine has one: thousands of visits are written there."""
    shm = Path("/dev/shm")
    folder = Path(tempfile.mkdtemp(prefix="handsfree-faults-", dir=shm if shm.is_dir() else None))
    yield folder
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def counted() -> Callable[[str, int, int], None]:
    """Note (what, how many tried, how many missed) for the summary; the caller asserts that none was missed."""

    def note(what: str, tried: int, missed: int) -> None:
        COUNTS[what] = (tried, missed)

    return note


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    if COUNTS:
        terminalreporter.section("faults")
        for what, (tried, missed) in COUNTS.items():
            terminalreporter.write_line(f"{tried:>7} {what}, {missed} missed")
