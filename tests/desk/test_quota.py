"""What one sender may leave unfinished at the desk."""

from __future__ import annotations

import contextlib
import hashlib
import shutil
from dataclasses import replace

import pytest

from handsfree.desk.configuration import Desk
from handsfree.desk.protocol import Manifest, VisitFile, parse_state
from handsfree.desk.quota import Quota
from handsfree.sending.line import Destination, Later, Uplink, transfer
from tests.desk.made import Made
from tests.desk.serving import served
from tests.desk.test_uploads import Device, empty

__all__ = ["empty"]


def pretended(number: int, size: int = 100) -> Manifest:
    digest = hashlib.sha256(str(number).encode()).hexdigest()
    return Manifest(f"visit-{number}", (VisitFile("journal.jsonl", size, digest),))


def test_a_sender_has_a_number_of_unfinished_visits_and_no_more(empty: Desk, season: Made) -> None:
    empty.quota = Quota(uploads=3)
    one, other = Device(empty), Device(empty)
    assert [one.offer(pretended(n)).status_code for n in range(4)] == [200, 200, 200, 507]
    over = one.offer(pretended(3))
    assert "half-sent visits here" in over.json()["problem"]
    assert not (empty.incoming.place / pretended(3).upload).exists(), "nothing is kept of it"
    assert one.offer(pretended(1)).status_code == 200, "what is begun goes on"
    assert other.offer(pretended(3)).status_code == 200, "another's count is their own"
    assert one.offer(pretended(3)).status_code == 200, "and goes on, whoever sends it"
    shutil.rmtree(empty.incoming.place / pretended(0).upload)
    assert one.offer(pretended(4)).status_code == 200, "what was swept away counts no more"


def test_what_is_stored_or_kept_apart_counts_no_more(empty: Desk, season: Made) -> None:
    empty.quota = Quota(uploads=1)
    device = Device(empty)
    for name in ("first", "once"):
        answer = device.send(season.folders[name])
        assert answer is not None
        assert answer.status_code == 201
    data = b"no journal at all\n"
    lie = Manifest("lie", (VisitFile("journal.jsonl", len(data), hashlib.sha256(data).hexdigest()),))
    assert parse_state(device.offer(lie).content).state == "open"
    device.put(lie, lie.parts[0], data, 0)
    assert device.ask("POST", f"/upload/{lie.upload}/commit").json()["quarantined"]
    assert device.offer(pretended(1)).status_code == 200


def test_a_sender_has_so_many_bytes_unfinished_and_the_disk_its_spare_room(empty: Desk) -> None:
    empty.quota = Quota(size=1000)
    device = Device(empty)
    assert device.offer(pretended(1, 5000)).status_code == 200, "one visit may be larger: it has to go somehow"
    assert device.offer(pretended(2, 10)).status_code == 507
    empty.quota = replace(empty.quota, spare=1 << 60)
    full = Device(empty).offer(pretended(3, 10))
    assert full.status_code == 507
    assert "disk" in full.json()["problem"]


def test_the_senders_own_program_is_told_why_and_keeps_it_waiting(empty: Desk, season: Made) -> None:
    empty.quota = Quota(uploads=0)
    with served(empty) as address, Uplink(Destination(address, Device(empty).key)) as line:
        with pytest.raises(Later, match="half-sent visits here") as told:
            transfer(line, season.folders["first"])
        assert not told.value.everyone, "the others go on"
        empty.quota = Quota()
        transfer(line, season.folders["first"])
    assert (empty.visits / season.folders["first"].name).is_dir()


def test_locks_do_not_grow_with_what_is_sent(empty: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    from handsfree.desk import incoming

    taken: set[str] = set()
    monkeypatch.setattr(incoming, "FileLock", lambda path, timeout: taken.add(path.name) or contextlib.nullcontext())
    for number in range(20_000):
        with incoming._hand(empty.incoming.place, "visit", f"visit-{number}"):
            pass
    assert len(taken) <= 4096
