"""How the tests are shared out where several processes run them (`pytest -n 3`): a file's tests stay together, and what
needs the sound card of software is one group, which begins first, in a process that does nothing before, for it mostly
waits for sound to be played. The others give way to it, as a busy machine would make sound late; so there is one process
more than cores. The longest files come next: whoever began one last would end alone."""

from __future__ import annotations

import gc
import os
from collections.abc import Generator
from functools import cache
from pathlib import Path

import pytest
from hypothesis import settings

_TESTS = Path(__file__).parent
_LIVE = _TESTS / "live"
#: Those measured to take long, by processor time; the first are the longest. Nobody has measured those of the desk.
LONGEST = tuple(
    _TESTS / name
    for name in (
        "shipped/test_walks.py", "test_readme.py", "test_wrong_uses.py", "relisten/test_relisten.py",
        "handbook/test_handbook.py", "test_house.py", "sending/test_send_faults.py", "trades/test_trades.py",
        "speech/test_pocketsphinx.py", "authoring/test_dictation.py", "faults/test_tamper.py",
        "authoring/test_record_voice.py", "faults/test_running.py", "speech/test_evaluate.py", "faults/test_visit.py",
        "faults/test_crash.py", "language/test_numbers.py", "trade/test_scenarios.py", "authoring/test_second_ear.py",
        "sending/test_send.py", "visit/test_demo.py", "pack/test_pack.py", "language/test_spanish_numbers.py",
        "test_platforms.py",
    )
)


def pytest_configure(config: pytest.Config) -> None:
    settings.register_profile("untimed", deadline=None)  # a first example may load tables; no test is a timed one
    settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "untimed"))


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Generator[None, object, object]:
    """What is read while collecting stays until the end: looking through it for garbage took a third of the time."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.enable()
        gc.freeze()


@cache
def _give_way() -> None:
    os.nice(19)


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item: pytest.Item) -> None:
    """Which process gets the sound card's tests is not known before: each gives way from its first other test on."""
    if "PYTEST_XDIST_WORKER" in os.environ and _LIVE not in item.path.parents:
        _give_way()


@pytest.hookimpl(tryfirst=True)  # before pytest-xdist reads the groups
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    rank = {path: at for at, path in enumerate(LONGEST)}
    items.sort(key=lambda item: (_LIVE not in item.path.parents, rank.get(item.path, len(rank))))
    for item in items:
        group = "live" if _LIVE in item.path.parents else str(item.path)
        item.add_marker(pytest.mark.xdist_group(group))
