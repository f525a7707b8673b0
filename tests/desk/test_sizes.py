"""Pages stay small at a busy desk: five hundred teams, devices and cabinets, a cabinet of many quantities, long names."""

from __future__ import annotations

import copy
import hashlib
import time
from typing import Any
from urllib.parse import quote

import pytest
from sqlalchemy import insert

from handsfree.desk import measures, registry
from handsfree.desk.configuration import Desk
from handsfree.desk.ingest import put
from handsfree.desk.people_tables import TeamRow, User
from handsfree.desk.tables import ActRow, FindingRow, ThreadRow
from tests.desk import many
from tests.desk.browsing import signed_in
from tests.desk.made import SUMMIT, Made

LARGEST_PAGE = 200_000
COUNT = 450
LONG = "a long name of a place in the mountains (invented)"


@pytest.fixture
def busy(desk: Desk, season: Made) -> Desk:
    outs = list(many.multiplied(many.outs_of(season), COUNT))
    for number, out in enumerate(outs):
        began = time.time() - number * 3600
        out.visit.update({"technician": f"Technician {number} {LONG}", "site": f"{LONG} {number}", "began": began})
        out.visit["day"] = measures.day_of(began)
        out.visit.update({"due": out.visit["began"] + 60, "outcome": "to be continued", "parts": "A new fan. " * 20})
    one = copy.deepcopy(outs[0])
    one.visit.update({"name": "many-quantities", "site": SUMMIT, "cabinet": "HK-4"})
    row = next(row for out in outs for row in out.rows.get("readings", ()))
    one.rows["findings"] = []
    here = {"site": SUMMIT, "cabinet": "HK-4"}
    one.rows["readings"] = [
        {**row, **here, "n": n, "quantity": f"quantity {n % 40} {LONG}", "value": float(n), "unit": "degC"}
        for n in range(1900)
    ]
    put(desk.engine, [*outs, one])
    with desk.people.begin() as connection:
        shared: dict[str, Any] = {"password": "", "upload_key": ""}
        for n in range(COUNT):
            of = {"team": f"team {n} {LONG}", "technician": f"Technician {n} {LONG}", "role": "technician", "name": f"t{n}"}
            device = {"name": f"van {n} {LONG}", "role": "device", "team": LONG, "technician": ""}
            connection.execute(insert(User), [{**shared, **of}, {**shared, **device, "upload_key": f"{n:064x}"}])
        connection.execute(insert(TeamRow), [{"team": f"team {n} {LONG}", "region": f"region {n}"} for n in range(COUNT)])
    _threads(desk)
    for number in range(80):
        registry.put(desk.people, "cabinet", f"GK-{number} {LONG}", LONG)
    return desk


def _threads(desk: Desk) -> None:
    """Every finding asked of one technician, assigned, and to be followed up."""
    with desk.engine.begin() as connection:
        rows = connection.execute(FindingRow.__table__.select()).all()
        wall = "2026-03-01T09:00:00+01:00"
        empty = {"assigned": "Vera", "asked": "somebody", "by": "", "comment": "", "wall": wall, "device": ""}
        connection.execute(insert(ThreadRow), [
            {**empty, "key": row.key, "visit": "x", "state": "asked", "closed": False, "due": "2026-04-01"} for row in rows
        ])  # fmt: skip
        connection.execute(insert(ActRow), [
            {"n": n, "key": row.key, "visit": "x", "what": "asked", "by": "Vera", "text": "Why? " * 400, "to": "somebody",
             "due": "", "wall": empty["wall"], "at": 1e9, "device": ""} for n, row in enumerate(rows)
        ])  # fmt: skip


def test_no_page_of_a_busy_desk_is_large(busy: Desk) -> None:
    vera = signed_in(busy, "Vera")
    pages = [
        "/", "/visits", "/visits?sort=gravest", "/findings", "/findings?signed=mine", "/findings?signed=asked", "/due",
        "/search?q=isolated", "/measures", "/writer", "/digest?days=7", "/people", "/devices", "/registry",
        "/registry?kind=person",
        f"/cabinet?cabinet=HK-4&site={quote(SUMMIT)}", f"/people?team={quote('team 3 ' + LONG)}", "/account",
        f"/technician?name={quote('Technician 3 ' + LONG)}",
    ]  # fmt: skip
    sizes = {}
    for path in pages:
        answer = vera.get(path)
        assert answer.status_code == 200, path
        sizes[path] = len(answer.content)
    assert {path: size for path, size in sizes.items() if size > LARGEST_PAGE} == {}
    assert "the file has" in vera.get("/people").text
    assert hashlib.sha256(vera.get("/people.csv").content).digest() != b""
    assert vera.get("/people.csv").text.count("\r\n") > COUNT
    another = vera.get(f"/cabinet?cabinet=HK-4&site={quote(SUMMIT)}&quantity={quote('quantity 7 ' + LONG)}")
    assert "Quantity 7" in another.text
