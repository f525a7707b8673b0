"""Visits for the tests of the desk, run through the real machine from typed lines. People, places and cabinets are invented
(the Hochgrat Mountain Railway)."""

from __future__ import annotations

import shutil
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from pathlib import Path

from handsfree.journal.keys import DeviceKey
from handsfree.journal.writer import Journal
from handsfree.visit import sessions
from tests.journal import visited
from tests.journal.made import TestClock
from tests.visit.data import DAYS

SUMMIT, VALLEY = "Hochgrat summit platform (invented)", "Talstation lower platform (invented)"
BRANDNER, FESSLER, HUBER = "A. Brandner (invented)", "K. Fessler (invented)", "M. Huber (invented)"
CET = timezone(timedelta(hours=1))
LOCK = "seven three nine"


def day(month: int, number: int, hour: int = 9) -> datetime:
    return datetime(2026, month, number, hour, 30, tzinfo=CET)


@dataclass(frozen=True)
class Made:
    """Where the visits are, and the folders by a name of their own."""

    visits: Path
    folders: dict[str, Path]


def visit(
    visits: Path,
    lines: Iterable[str | float],
    technician: str,
    site: str,
    cabinet: str,
    began: datetime,
    procedure: str | Path = "platform-check",
    key: DeviceKey | None = None,
) -> Path:
    clock = TestClock(began=began)
    who = sessions.Who(technician, site, cabinet)
    session = sessions.begin(sessions.provable(procedure), visits, who, "typed", clock=clock, key=key)
    visited.run(session, lines, clock)
    return session.folder


def season(visits: Path) -> Made:
    """A spring: a cabinet that came back in nine days, one visited once, one to be continued, one stopped half-way."""
    whole = visited.LINES
    days = visits.parent / "days.yaml"
    days.parent.mkdir(parents=True, exist_ok=True)
    days.write_text(DAYS, encoding="utf-8")
    unsure = (*whole[:3], "say again", "go back", "stand by", "go ahead")
    noted = ("note", "the gasket is torn at the lower hinge", *whole[2:])
    folders = {
        "first": visit(visits, whole, BRANDNER, SUMMIT, "HK-4", day(2, 11)),
        "back": visit(visits, (*whole[:2], *noted), FESSLER, SUMMIT, "HK-4", day(2, 20)),
        "once": visit(visits, whole, BRANDNER, VALLEY, "TK-1", day(3, 2)),
        "thaw": visit(visits, (LOCK, "affirm", "next step"), HUBER, VALLEY, "TK-2", day(3, 5), days),
        "stopped": visit(visits, unsure, HUBER, SUMMIT, "HK-9", day(3, 9)),
    }
    return Made(visits, folders)


def another_of(visit: Path, into: Path, without: int = 4) -> Path:
    """Another visit of the same name, without so many of the last events, and sealed after that."""
    other = into / visit.name
    shutil.copytree(visit, other)
    lines = (other / "journal.jsonl").read_bytes().splitlines(keepends=True)
    (other / "journal.jsonl").write_bytes(b"".join(lines[:-without]))
    with Journal.resume(other) as journal:
        journal.seal()
    return other
