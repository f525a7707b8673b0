"""A visit's page is worked out once while nothing of the visit changes, and anew at once where anything does."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from handsfree.desk import visit_screen
from handsfree.desk.configuration import Desk
from handsfree.desk.refreshing import read_folders
from tests.desk.browsing import signed_in
from tests.desk.made import Made


@pytest.fixture
def own(desk: Desk, season: Made, tmp_path: Path) -> Desk:
    """Visits that may be changed."""
    desk.visits = tmp_path / "changed"
    shutil.copytree(season.visits, desk.visits)
    read_folders(desk)
    return desk


def changed(journal: Path) -> None:
    """A byte of an event, with the file's size and times put back."""
    was = journal.stat()
    data = bytearray(journal.read_bytes())
    data[len(data) // 2] ^= 1
    with journal.open("r+b") as stream:
        stream.write(data)
    os.utime(journal, ns=(was.st_atime_ns, was.st_mtime_ns))


def test_looked_at_again_it_does_not_read_the_record_again(
    own: Desk, season: Made, monkeypatch: pytest.MonkeyPatch
) -> None:
    read: list[str] = []
    account = visit_screen.account
    noted = lambda folder, *how, **more: read.append(folder.name) or account(folder, *how, **more)  # noqa: E731
    monkeypatch.setattr(visit_screen, "account", noted)
    vera, name = signed_in(own, "Vera"), season.folders["once"].name
    first = vera.get(f"/visits/{name}").text
    assert vera.get(f"/visits/{name}").text == first
    assert read == [name]
    monkeypatch.setattr(visit_screen, "KEPT_LAST", 2)
    for other in season.folders.values():  # those looked at last are kept, and not for ever
        vera.get(f"/visits/{other.name}")
    assert len(own.seen_last) == 2
    read.clear()
    monkeypatch.setattr(visit_screen, "LARGEST_KEPT", 300)
    own.seen_last.clear()
    for _ in range(2):
        vera.get(f"/visits/{name}")
    assert read.count(name) == 2, "a large record is not kept"


def test_a_change_that_hides_itself_is_seen_at_once(own: Desk, season: Made) -> None:
    vera, folder = signed_in(own, "Vera"), own.visits / season.folders["once"].name
    assert "BROKEN" not in vera.get(f"/visits/{folder.name}").text
    changed(folder / "journal.jsonl")
    assert "unverified" in vera.get(f"/visits/{folder.name}").text
