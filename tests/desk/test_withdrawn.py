"""A device's key withdrawn at the desk: its visits from before stay what they were, and new ones under it count no more,
whatever day they bear."""

from __future__ import annotations

import dataclasses
import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from handsfree.desk import people, queries
from handsfree.desk.configuration import Desk
from handsfree.desk.heads import FILE, Heads
from handsfree.desk.queries import EVERYBODY, Filter
from handsfree.desk.refreshing import read_folders
from handsfree.errors import Trouble
from handsfree.journal.canonical import as_line, canonical, entry_in
from handsfree.journal.events import Closed
from handsfree.journal.findings import NO_RIGHT, WITHDRAWN
from handsfree.journal.keys import DeviceKey, make, trust, withdraw
from handsfree.journal.prune import prune_visits
from tests.desk.browsing import signed_in
from tests.desk.conftest import PASSWORD
from tests.desk.test_hostile import record
from tests.desk.test_proofs import _write_again
from tests.desk.test_uploads import Device, empty
from tests.journal.made import TestClock, write_visit
from tests.journal.test_forged import taken_up

__all__ = ["empty"]


@dataclasses.dataclass
class Lost:
    desk: Desk
    device: Device
    key: DeviceKey
    keys: Path

    def withdraw(self, ago: timedelta = timedelta(0)) -> None:
        withdraw("van-1", (datetime.now().astimezone() - ago), self.keys)
        read_folders(self.desk)

    def standing(self) -> dict[str, str]:
        return {row.name: row.standing for row in queries.visits(self.desk.engine, EVERYBODY, Filter())}

    def send(self, folder: Path) -> str:
        answer = self.device.send(folder)
        assert answer is not None
        return str(answer.json()["quarantined"])


@pytest.fixture
def lost(tmp_path: Path, empty: Desk) -> Lost:
    key = make("van-1", tmp_path / "van")
    trust("van-1", key.public_key, tmp_path / "desk-keys")
    trust("van-2", make("van-2", tmp_path / "other").public_key, tmp_path / "desk-keys")
    empty.keys_folder, empty.signed_only = tmp_path / "desk-keys", True
    read_folders(empty)
    return Lost(empty, Device(empty), key, tmp_path / "desk-keys")


def dated_back(tmp_path: Path, lost: Lost) -> Path:
    """Of February by its own times, made with the stolen key now."""
    return record(tmp_path / "back", "2026-02-11-back", Closed("fixed"), key=lost.key)


def test_what_came_before_stays_and_what_comes_after_does_not_count(tmp_path: Path, lost: Lost) -> None:
    before = record(tmp_path / "a", "before", Closed("fixed"), key=lost.key)
    assert lost.send(before) == ""
    _noted_earlier(lost.desk, timedelta(hours=2))
    lost.withdraw(timedelta(hours=1))
    assert lost.standing() == {"before": "good"}
    people.add(lost.desk.people, "Vera", "supervisor", "*", "", PASSWORD)
    page = signed_in(lost.desk, "Vera").get("/visits/before").text
    assert "signed by a key withdrawn on" in page
    assert "before that" in page
    assert lost.send(before) == "", "sent again it is what it was"
    assert "withdrawn" in lost.send(dated_back(tmp_path, lost))
    assert sorted(lost.standing().values()) == ["good", "quarantine"]
    rules = {row.rule for row in queries.findings(lost.desk.engine, EVERYBODY)}
    assert WITHDRAWN in rules


def test_what_was_kept_only_after_the_theft_cannot_be_told(tmp_path: Path, lost: Lost) -> None:
    """The theft is noticed late: what arrived between is told as what it is, and counts in no figure."""
    assert lost.send(dated_back(tmp_path, lost)) == ""
    lost.withdraw(timedelta(hours=1))
    assert set(lost.standing().values()) == {"broken"}
    (row,) = [row for row in queries.findings(lost.desk.engine, EVERYBODY) if row.rule == WITHDRAWN]
    assert "nobody can tell" in row.sentence


def test_a_visit_from_before_that_grows_under_the_stolen_key(tmp_path: Path, lost: Lost) -> None:
    folder = record(tmp_path / "a", "before", Closed("fixed"), key=lost.key)
    assert lost.send(folder) == ""
    _noted_earlier(lost.desk, timedelta(hours=2))
    lost.withdraw(timedelta(hours=1))
    taken_up(folder, lost.key, 9000.0)
    assert "withdrawn" in lost.send(folder)
    assert lost.standing()["before"] == "good", "what was stored stays"


def test_a_clock_that_was_set_back_proves_nothing(tmp_path: Path) -> None:
    """A note behind another is not from before it, whatever the clock said."""
    heads = Heads(tmp_path)
    heads.note(("one", 1, "0" * 64), by="x")
    _rewritten(tmp_path, {0: datetime(2026, 5, 20, tzinfo=UTC).isoformat()})
    heads = Heads(tmp_path)
    heads.note(("two", 1, "1" * 64), by="x")
    _rewritten(tmp_path, {1: datetime(2026, 5, 1, tzinfo=UTC).isoformat()})
    (one,), (two,) = (Heads(tmp_path).kept_of(name) for name in ("one", "two"))
    assert two.wall == one.wall == "2026-05-20T00:00:00+00:00"


def _noted_earlier(desk: Desk, ago: timedelta) -> None:
    """The ledger as if it were so much older: nobody waits for that in a test."""
    wall = (datetime.now().astimezone() - ago).isoformat(timespec="seconds")
    lines = (desk.own / FILE).read_bytes().splitlines()
    _rewritten(desk.own, dict.fromkeys(range(len(lines)), wall))
    desk._heads = None


def _rewritten(own: Path, walls: dict[int, str]) -> None:
    out, prev = b"", ""
    for n, line in enumerate((own / FILE).read_bytes().splitlines(keepends=True)):
        data: dict[str, Any] = json.loads(entry_in(line) or b"{}")
        made = canonical({**data, "wall": walls.get(n, data["wall"]), "prev": prev})
        line, prev = as_line(made)
        out += line
    (own / FILE).write_bytes(out)
    _write_again(own)


def test_the_right_to_remove_sound_counts_from_when_it_is_given(tmp_path: Path, lost: Lost) -> None:
    """The visit is judged again, on the page and in the list of findings."""
    folder = write_visit(tmp_path / "2026-02-11-kiosk-4", key=lost.key)
    assert lost.send(folder) == ""
    there = lost.desk.visits / folder.name
    office = make("office", tmp_path / "office")
    trust("office", office.public_key, lost.keys)
    late = TestClock(began=TestClock().began + timedelta(days=100))
    list(prune_visits(there, timedelta(days=90), now=late.wall(), key=office, clock=late))
    read_folders(lost.desk)
    assert NO_RIGHT in {row.rule for row in queries.findings(lost.desk.engine, EVERYBODY)}
    people.add(lost.desk.people, "Vera", "supervisor", "*", "", PASSWORD)
    assert "with no right" in signed_in(lost.desk, "Vera").get(f"/visits/{folder.name}").text
    trust("office", office.public_key, lost.keys, may_remove=True)
    read_folders(lost.desk)
    assert NO_RIGHT not in {row.rule for row in queries.findings(lost.desk.engine, EVERYBODY)}
    assert "with no right" not in signed_in(lost.desk, "Vera").get(f"/visits/{folder.name}").text


@pytest.mark.parametrize("change", [{"wall": "yesterday"}, {"wall": "2026-05-19T08:00:00"}, {"wall": None}, {"by": None}])
def test_a_ledger_whose_line_is_no_note_is_told(tmp_path: Path, change: dict[str, Any]) -> None:
    heads = Heads(tmp_path)
    heads.note(("one", 1, "0" * 64), by="x")
    data = json.loads(entry_in((tmp_path / FILE).read_bytes()) or b"{}")
    data = {name: value for name, value in {**data, **change}.items() if value is not None}
    (tmp_path / FILE).write_bytes(as_line(canonical(data))[0])
    with pytest.raises(Trouble, match="broken at line 1"):
        Heads(tmp_path).kept_of("one")
