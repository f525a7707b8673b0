"""The receiving end of uploads, spoken to as `protocol` says, and badly."""

from __future__ import annotations

import json
import random
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import fsspec
import httpx
import pytest
from starlette.testclient import TestClient

from handsfree.desk import database, people, quarantine, queries
from handsfree.desk.app import build
from handsfree.desk.configuration import Desk
from handsfree.desk.files import Files
from handsfree.desk.measures import Between, by_version, first_fix
from handsfree.desk.protocol import (
    PIECE,
    Manifest,
    VisitFile,
    content_range,
    manifest_of,
    parse_manifest,
    parse_range,
    parse_state,
    parse_stored,
)
from handsfree.desk.queries import EVERYBODY, Filter
from handsfree.journal import keys
from handsfree.journal.verify import verify
from tests.desk import made
from tests.desk.made import Made, another_of


@pytest.fixture
def empty(tmp_path: Path, migrated_file: Path) -> Desk:
    """A desk that has no visit yet, and a device."""
    visits = tmp_path / "at-the-desk"
    visits.mkdir()
    engine = database.open_engine(database.sqlite_url(shutil.copy(migrated_file, tmp_path)))
    accounts = database.open_engine(database.sqlite_url(tmp_path / "people.sqlite3"))
    people.make_tables(accounts)
    return Desk(visits, engine, accounts, Files(visits), ("http://desk.test",))


class Device:
    """A sender that does as `protocol` says, a piece at a time."""

    def __init__(self, desk: Desk, piece: int = 4000) -> None:
        self.key = people.add(desk.people, f"device-{random.randrange(10**9)}", "device", "", "", "")
        self.http = TestClient(build(desk, read_every=None), base_url="http://desk.test")
        self.piece = piece

    def ask(self, method: str, address: str, content: bytes = b"", **headers: str) -> httpx.Response:
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        return self.http.request(method, address, content=content, headers={"authorization": f"Bearer {self.key}", **named})

    def offer(self, manifest: Manifest) -> httpx.Response:
        return self.ask("POST", "/upload", manifest.to_json())

    def put(self, manifest: Manifest, part: VisitFile, data: bytes, begin: int) -> httpx.Response:
        address = f"/upload/{manifest.upload}/{part.sha256}"
        return self.ask("PUT", address, data, content_range=content_range(begin, len(data), part.size))

    def send(self, folder: Path, manifest: Manifest | None = None, stop_after: int | None = None) -> httpx.Response | None:
        """None where it stopped in the middle."""
        manifest = manifest or manifest_of(folder)
        state = parse_state(self.offer(manifest).content)
        pieces = 0
        for part in manifest.parts if state.state == "open" else ():
            at = state.have[part.sha256]
            while at < part.size:
                if stop_after is not None and pieces >= stop_after:
                    return None
                data = (folder / part.path).read_bytes()[at : at + self.piece]
                answer = self.put(manifest, part, data, at)
                pieces += 1
                if answer.status_code != 200:
                    return answer
                state = parse_state(answer.content)
                at = state.have[part.sha256]
        return self.ask("POST", f"/upload/{manifest.upload}/commit")


def same(one: Path, other: Path) -> bool:
    def files(folder: Path) -> dict[str, bytes]:
        found = folder.rglob("*")
        return {str(p.relative_to(folder)): p.read_bytes() for p in found if p.is_file() and not p.name.endswith(".lock")}

    return files(one) == files(other)


def test_a_visit_sent_is_stored_verified_and_shown(empty: Desk, season: Made) -> None:
    answer = Device(empty).send(season.folders["first"])
    assert answer is not None
    assert answer.status_code == 201
    stored = parse_stored(answer.content)
    there = empty.visits / stored.visit
    assert same(there, season.folders["first"])
    assert verify(there).head == stored.head
    assert [row.name for row in queries.visits(empty.engine, EVERYBODY, Filter())] == [stored.visit]
    upload = manifest_of(season.folders["first"]).upload
    left = {path.name for path in (empty.incoming.place / upload).iterdir()}
    assert left == {"manifest.json", "stored.json"}, "no part is left of the upload"


def test_an_answer_that_was_lost_is_given_again(empty: Desk, season: Made) -> None:
    device, folder = Device(empty), season.folders["first"]
    manifest = manifest_of(folder)
    first = device.send(folder)
    assert first is not None
    again = device.ask("POST", f"/upload/{manifest.upload}/commit")
    assert (again.status_code, again.json()) == (200, first.json())
    assert parse_state(device.ask("GET", f"/upload/{manifest.upload}").content).state == "stored"
    late = device.put(manifest, manifest.parts[0], (folder / "journal.jsonl").read_bytes()[:10], 0)
    assert parse_state(late.content).state == "stored"
    shutil.rmtree(empty.visits / folder.name)
    assert parse_state(device.offer(manifest).content).have[manifest.parts[0].sha256] == 0, "gone since: sent anew"


def test_the_same_visit_twice_is_stored_once(empty: Desk, season: Made) -> None:
    device, other = Device(empty), Device(empty)
    assert [device.send(season.folders["first"]), other.send(season.folders["first"])] != [None, None]
    again = device.offer(manifest_of(season.folders["first"]))
    assert parse_state(again.content).state == "stored"
    assert len(queries.visits(empty.engine, EVERYBODY, Filter())) == 1


def test_a_visit_half_sent_is_not_there_and_goes_on_where_it_was(empty: Desk, season: Made) -> None:
    folder = season.folders["first"]
    pieces = sum(-(-size // 4000) for size in manifest_of(folder).sizes.values())
    for _ in range(pieces - 1):
        assert Device(empty).send(folder, stop_after=1) is None, "each with a new connection, one piece each"
        assert [path.name for path in empty.visits.iterdir()] == [".desk"]
    answer = Device(empty).send(folder, stop_after=1)
    assert answer is not None, "one piece was left to send"
    assert answer.status_code == 201
    assert same(empty.visits / folder.name, folder)


def test_a_range_that_begins_elsewhere_changes_nothing(empty: Desk, season: Made) -> None:
    device, folder = Device(empty), season.folders["first"]
    manifest = manifest_of(folder)
    part = manifest.parts[0]
    data = (folder / part.path).read_bytes()
    device.offer(manifest)
    assert device.put(manifest, part, data[:1000], 0).status_code == 200
    for begin in (0, 500, 1500):
        answer = device.put(manifest, part, data[begin : begin + 100], begin)
        assert answer.status_code == 409
        assert parse_state(answer.content).have[part.sha256] == 1000
    assert device.ask("POST", f"/upload/{manifest.upload}/commit").status_code == 409, "parts are missing"


def test_a_part_with_the_wrong_bytes_begins_again(empty: Desk, season: Made) -> None:
    device, folder = Device(empty), season.folders["first"]
    manifest = manifest_of(folder)
    part = manifest.parts[1]
    device.offer(manifest)
    answer = device.put(manifest, part, bytes(part.size), 0)
    assert answer.status_code == 422
    assert parse_state(answer.content).have[part.sha256] == 0
    finished = device.send(folder)
    assert finished is not None
    assert finished.status_code == 201


@pytest.mark.parametrize("change", ["edited", "cut", "clip swapped", "renamed", "unsealed", "no journal of ours"])
def test_what_does_not_verify_is_kept_apart_shown_first_and_never_counted(
    empty: Desk, season: Made, tmp_path: Path, change: str
) -> None:
    folder = tmp_path / season.folders["first"].name
    shutil.copytree(season.folders["first"], folder)
    journal = folder / "journal.jsonl"
    lines = journal.read_bytes().splitlines(keepends=True)
    if change == "edited":
        journal.write_bytes(b"".join(lines).replace(b"fifty eight", b"forty eight", 1))
    elif change == "cut":
        journal.write_bytes(b"".join(lines[1:]))
    elif change == "clip swapped":
        shutil.copyfile(folder / "sound" / "00001.flac", folder / "sound" / "00002.flac")
    elif change == "renamed":
        folder = folder.rename(tmp_path / "another-name")
    elif change == "unsealed":
        journal.write_bytes(b"".join(lines[:-1]))
    else:
        journal.write_bytes(b"#!/bin/sh\n")
    device = Device(empty)
    device.send(season.folders["once"])
    answer = device.send(folder)
    assert answer is not None
    assert answer.status_code == 201
    assert answer.json()["quarantined"]
    assert [path.name for path in empty.visits.iterdir() if path.name[0] != "."] == [season.folders["once"].name]
    (name,) = quarantine.quarantined_names(empty.visits)
    first = queries.findings(empty.engine, EVERYBODY)[0]
    assert (first.name, first.standing, first.level) == (name, "quarantine", "grave")
    shown = queries.visits(empty.engine, EVERYBODY, Filter(), sort="gravest")[0]
    assert (shown.name, shown.rank) == (name, 0 if change != "renamed" else shown.rank)
    year = Between(0.0, 4e9)
    assert first_fix(empty.engine, EVERYBODY, year, 4e9).firsts == 1
    assert sum(row.visits for row in by_version(empty.engine, EVERYBODY, year)) == 1
    assert Device(empty).send(folder).json()["quarantined"] == answer.json()["quarantined"]  # type: ignore[union-attr]  # it has answered
    assert len(list(quarantine.quarantined_names(empty.visits))) == 1


def test_a_visit_taken_up_again_takes_the_place_of_its_beginning(empty: Desk, season: Made, tmp_path: Path) -> None:
    from tests.journal import visited

    folder = tmp_path / season.folders["thaw"].name
    shutil.copytree(season.folders["thaw"], folder)
    device = Device(empty)
    device.send(folder)
    before = manifest_of(folder)
    visited.resume(folder, ("seven three nine", "affirm", "next step"), at=1000.0 + 30 * 86_400)
    answer = device.send(folder)
    assert answer is not None
    assert answer.status_code == 201
    assert same(empty.visits / folder.name, folder)
    assert queries.visits(empty.engine, EVERYBODY, Filter())[0].trips == 2
    assert parse_state(device.offer(before).content).state == "stored", "its beginning is part of it"


def test_another_visit_of_the_same_name_is_kept_beside(empty: Desk, season: Made, tmp_path: Path) -> None:
    device = Device(empty)
    device.send(season.folders["thaw"])
    other = another_of(season.folders["thaw"], tmp_path)
    answer = device.send(other)
    assert answer is not None
    assert answer.status_code == 201
    assert "is another from event" in answer.json()["quarantined"]
    assert same(empty.visits / other.name, season.folders["thaw"])


def test_unsigned_visits_are_refused_where_only_signed_ones_are_taken(empty: Desk, season: Made, tmp_path: Path) -> None:
    key = keys.make("device-1", tmp_path / "device-keys")
    stranger = keys.make("device-2", tmp_path / "stranger-keys")
    empty.known, empty.signed_only = {key.public_key: "device-1"}, True
    device = Device(empty)
    days = season.visits.parent / "days.yaml"

    def sent(by: keys.DeviceKey | None) -> tuple[int, str]:
        where = (made.HUBER, made.VALLEY, "TK-3", made.day(4, 1), days)
        folder = made.visit(tmp_path / "out", ("seven three nine", "affirm", "next step"), *where, key=by)
        answer = device.send(folder)
        assert answer is not None
        said = answer.json()
        return answer.status_code, said.get("problem", "") + said.get("quarantined", "")

    status, why = sent(None)
    assert (status, "not signed" in why) == (422, True)
    status, why = sent(stranger)
    assert (status, "key is not known here" in why) == (201, True), "kept apart: its key can be trusted yet"
    assert sent(key) == (201, "")


def test_sound_goes_to_the_store_and_is_taken_from_there(empty: Desk, season: Made) -> None:
    empty.files = Files(empty.visits, "memory://sounds")
    folder = season.folders["first"]
    answer = Device(empty).send(folder)
    assert answer is not None
    assert answer.status_code == 201
    assert sorted(path.name for path in (empty.visits / folder.name / "sound").iterdir()) == []
    (row,) = queries.visits(empty.engine, EVERYBODY, Filter())
    assert row.problem == ""
    named = queries.all_files(empty.engine)
    said: list[str] = []
    assert empty.files.check(named, said.append) == 0
    assert len(named) == len(list((folder / "sound").iterdir()))
    system: Any = fsspec.filesystem("memory")
    system.pipe_file(f"/sounds/{named[0][0]}/{named[0][1]}", b"another")
    assert empty.files.check(named, said.append) == 1
    assert "its hash differs" in said[0]
    assert parse_state(Device(empty).offer(manifest_of(folder)).content).state == "stored"


def test_without_a_key_nothing_is_taken(empty: Desk, season: Made) -> None:
    device = Device(empty)
    for key in ("", "x", "Bearer", device.key[:-1]):
        device.key = key
        assert device.offer(manifest_of(season.folders["first"])).status_code == 401
    people.add(empty.people, "Vera", "supervisor", "*", "", "snow lamps over twelve sheds")
    assert people.of_upload_key(empty.people, "") is None


GOOD = {"format": 1, "visit": "v", "parts": [{"path": "journal.jsonl", "size": 1, "sha256": "0" * 64}]}


@pytest.mark.parametrize(
    "bad",
    [
        b"",
        b"[]",
        b"{}",
        b"\xff",
        b"[" * 5000,
        b'{"format":1,"visit":"v","parts":[]}',
        {**GOOD, "format": 2},
        {**GOOD, "visit": "../v"},
        {**GOOD, "visit": ".desk"},
        {**GOOD, "visit": "a/b"},
        {**GOOD, "parts": [*GOOD["parts"], *GOOD["parts"]]},  # type: ignore[misc]  # of parts
        *(
            {**GOOD, "parts": [*GOOD["parts"], {"path": path, "size": 1, "sha256": "1" * 64}]}  # type: ignore[misc]  # of parts
            for path in ("../x", "/etc/passwd", "sound/../../x", "attached/..", "sound/00001.flac/x", "journal.lock", "")
        ),
        {**GOOD, "parts": [{"path": "journal.jsonl", "size": -1, "sha256": "0" * 64}]},
        {**GOOD, "parts": [{"path": "journal.jsonl", "size": 1 << 60, "sha256": "0" * 64}]},
        {**GOOD, "parts": [{"path": "journal.jsonl", "size": 1, "sha256": "../../../x"}]},
        {**GOOD, "parts": [{"path": "journal.jsonl", "size": True, "sha256": "0" * 64}]},
    ],
)
def test_a_manifest_that_is_none_is_refused(empty: Desk, bad: Any) -> None:
    data = bad if isinstance(bad, bytes) else json.dumps(bad).encode()
    with pytest.raises(ValueError, match=r"not a manifest|format|name|size|hash|no file"):
        parse_manifest(data)
    assert Device(empty).ask("POST", "/upload", data).status_code == 422
    assert not empty.incoming.place.exists() or list(empty.incoming.place.iterdir()) == []


def test_names_that_lead_elsewhere_are_no_uploads(empty: Desk, season: Made) -> None:
    device, manifest = Device(empty), manifest_of(season.folders["first"])
    device.offer(manifest)
    for address in ("/upload/%2e%2e%2f%2e%2e", f"/upload/{'a' * 64}"):
        assert device.ask("GET", address).status_code in (404, 405)
    crooked = replace(manifest.parts[0], sha256="manifest.json")
    assert device.put(manifest, crooked, b"x", 0).status_code == 422
    assert device.ask("PUT", f"/upload/{manifest.upload}/{manifest.parts[0].sha256}", b"x").status_code == 400
    too_long = content_range(0, PIECE + 1, PIECE + 1)
    address = f"/upload/{manifest.upload}/{manifest.parts[0].sha256}"
    assert device.ask("PUT", address, b"x", content_range=too_long).status_code == 413
    more = content_range(0, 1, manifest.parts[0].size)
    assert device.ask("PUT", address, b"xyz", content_range=more).status_code == 400
    for wrong in ("bytes 1-0/5", "bytes 0-5/5", "bytes */5", "0-1/2", ""):
        with pytest.raises(ValueError, match="Content-Range"):
            parse_range(wrong)


def test_an_upload_that_nobody_goes_on_with_is_thrown_away(empty: Desk, season: Made) -> None:
    Device(empty).send(season.folders["first"], stop_after=3)
    assert empty.incoming.sweep() == 0
    assert empty.incoming.sweep(now=4e9) == 1
    assert Device(empty).ask("GET", f"/upload/{manifest_of(season.folders['first']).upload}").status_code == 404
