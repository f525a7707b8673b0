"""Readers and senders at once, a small number of them; the hundred and the twenty are in `tests/bench/desk_load.py`."""

from __future__ import annotations

import asyncio
import hashlib
from pathlib import Path

import pytest
from sqlalchemy import select

from handsfree.desk import database, people
from handsfree.desk.configuration import Desk, Rate, Rates
from handsfree.desk.ingest import refresh
from handsfree.desk.tables import Visit
from handsfree.journal.verify import verify
from tests.desk import made
from tests.desk.conftest import PASSWORD, fresh
from tests.desk.crowd import crowd
from tests.desk.made import Made
from tests.desk.serving import served


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_readers_and_senders_at_once_lose_nothing(
    kind: str, desk: Desk, season: Made, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    """All readers come from one address here, so its limit is raised; the limit of an account stays."""
    if kind == "postgresql":
        desk.engine = database.open_engine(fresh(request.getfixturevalue("postgresql")))
        database.migrate(desk.engine)
        refresh(desk.engine, desk.visits)
    desk.rates = Rates(address=Rate(1000, 5000))
    days = season.visits.parent / "days.yaml"
    names = [f"reader{n}" for n in range(6)]
    for name in names:
        people.add(desk.people, name, "supervisor", "*", "", PASSWORD)
    folders = [
        made.visit(
            tmp_path / "out", ("seven three nine", "affirm"), made.HUBER, made.VALLEY, f"TK-{n}", made.day(5, 1, n), days
        )
        for n in range(6)
    ]
    keys = [people.add(desk.people, f"device{n}", "device", "", "", "") for n in range(4)]
    # Each visit is sent by two devices at once: it must be stored once, whoever wins.
    sends = {key: folders[n % 2 :: 2] for n, key in enumerate(keys)}
    with served(desk) as address:
        tally = asyncio.run(crowd(address, names, 4, sends))
    assert tally.wrong == []
    assert sorted(tally.stored) == sorted(2 * [folder.name for folder in folders])
    for folder in folders:
        there = desk.visits / folder.name
        assert verify(there).holds
        assert _sum(there / "journal.jsonl") == _sum(folder / "journal.jsonl")
    with desk.engine.connect() as connection:
        assert {folder.name for folder in folders} <= set(connection.scalars(select(Visit.name)))


def _sum(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
