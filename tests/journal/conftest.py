from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.journal.account import Account, account
from tests.journal.visited import MACHINE, visit


@pytest.fixture(scope="session")
def done(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A whole visit through the real machine."""
    return visit(tmp_path_factory.mktemp("visits"))


@pytest.fixture(scope="session")
def told(done: Path) -> Account:
    return account(done, MACHINE)
