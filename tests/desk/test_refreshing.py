"""What happens under a desk that runs: its database deleted, sound lost, keys known since; and databases not its own."""

from __future__ import annotations

import sqlite3
import time
from pathlib import Path

import pytest
from sqlalchemy import event, select, text
from starlette.testclient import TestClient

from handsfree.desk import database, ingest, queries
from handsfree.desk.app import build
from handsfree.desk.configuration import Desk
from handsfree.desk.files import Files
from handsfree.desk.queries import EVERYBODY
from handsfree.desk.readout import BROKEN, finding_key
from handsfree.desk.refreshing import read_folders
from handsfree.desk.tables import Visit
from handsfree.errors import Trouble
from handsfree.journal.words import words_of
from tests.desk.browsing import ORIGIN, post, signed_in, token
from tests.desk.made import Made


def delete_database(desk: Desk) -> None:
    place = Path(str(desk.engine.url.database))
    for path in place.parent.glob(f"{place.name}*"):
        path.unlink()


def broken(desk: Desk) -> set[str]:
    found = queries.findings(desk.engine, EVERYBODY)
    return {row.name for row in found if row.rule == "record does not hold"}


def test_a_database_deleted_under_the_desk_is_built_again_with_its_sign_offs(desk: Desk) -> None:
    browser = signed_in(desk, "Vera")
    finding = queries.findings(desk.engine, EVERYBODY)[0]
    assert post(browser, f"/findings/{finding.key}", token=token(browser), text="Looked at.").status_code == 303
    visits = queries.visits(desk.engine, EVERYBODY, queries.Filter())
    delete_database(desk)
    assert database.gone(desk.engine)
    answer = post(browser, "/refresh", token=token(browser))
    assert answer.status_code == 303
    assert not database.gone(desk.engine)
    assert [row.name for row in queries.visits(desk.engine, EVERYBODY, queries.Filter())] == [row.name for row in visits]
    assert finding.key in {row.key for row in queries.findings(desk.engine, EVERYBODY, queries.FindingQuery(closed=True))}


def test_a_page_asked_for_in_between_says_so_and_has_the_database_built(desk: Desk, season: Made) -> None:
    signed = signed_in(desk, "Vera")
    with TestClient(build(desk, read_every=3600.0), base_url=ORIGIN, follow_redirects=False) as browser:
        browser.cookies.update(signed.cookies)
        name = season.folders["first"].name
        assert name in browser.get("/visits").text
        desk.engine.dispose()
        delete_database(desk)
        answer = browser.get("/visits")
        assert (answer.status_code, answer.headers["retry-after"]) == (503, "5")
        assert "built again from the visits" in answer.text
        until = time.monotonic() + 60
        while name not in browser.get("/visits").text and time.monotonic() < until:
            time.sleep(0.1)
        assert name in browser.get("/visits").text


def test_nobody_meets_a_database_that_is_half_made(tmp_path: Path) -> None:
    """A page asked for while the tables were made met those of an older version, and failed."""
    engine = database.open_engine(database.sqlite_url(tmp_path / "desk.sqlite3"))
    seen: set[int] = set()

    def look(*_: object) -> None:
        with sqlite3.connect(tmp_path / "desk.sqlite3") as other:
            seen.add(len(other.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()))

    event.listen(engine, "after_cursor_execute", look)
    database.migrate(engine)
    assert seen == {0}
    assert not database.gone(engine)
    engine.dispose()


def test_sound_that_is_lost_or_changed_later_is_a_finding(desk: Desk, season: Made) -> None:
    assert broken(desk) == set()
    clips = sorted(path for path in desk.visits.glob("*/sound/*.flac"))
    clips[0].unlink()
    assert read_folders(desk).read == 1
    assert broken(desk) == {clips[0].parents[1].name}
    other = next(clip for clip in clips if clip.parents[1] != clips[0].parents[1])
    other.write_bytes(other.read_bytes()[:-1])
    read_folders(desk)
    assert broken(desk) == {clips[0].parents[1].name, other.parents[1].name}
    assert read_folders(desk).read == 0


def test_a_key_known_since_judges_every_visit_anew(desk: Desk) -> None:
    before = read_folders(desk)
    assert before.read == 0
    desk.known = {"00" * 32: "van-7"}
    assert read_folders(desk).read == before.same


def test_another_fault_of_a_record_is_not_signed_off_with_the_first() -> None:
    first, second = (finding_key("v", 0, BROKEN, sentence) for sentence in ("It is not signed.", "There is no event in it."))
    assert first != second
    assert finding_key("v", 3, "wait cut short", "a") == finding_key("v", 3, "wait cut short", "b")


def test_a_database_of_a_newer_program_and_one_that_is_none_are_told(tmp_path: Path) -> None:
    place = tmp_path / "desk.sqlite3"
    engine = database.open_engine(database.sqlite_url(place))
    database.migrate(engine)
    with engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = 'ffff'"))
    with pytest.raises(Trouble, match="made by another version of handsfree"):
        database.migrate(engine)
    engine.dispose()
    place.write_bytes(b"no database at all, and long enough to be looked at" * 100)
    with pytest.raises(Trouble, match=r"is damaged, or is not a database .*desk\.sqlite3 may be deleted"):
        database.migrate(database.open_engine(database.sqlite_url(place)))


def test_a_store_that_takes_nothing_is_found_before_the_desk_starts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("AWS_EC2_METADATA_DISABLED", "true")
    for name in ("AWS_ACCESS_KEY_ID", "AWS_SECRET_ACCESS_KEY", "AWS_PROFILE"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("AWS_SHARED_CREDENTIALS_FILE", str(tmp_path / "none"))
    nobody = Files(tmp_path, "s3://hochgrat-nobody/x", {"endpoint_url": "http://127.0.0.1:9"})
    with pytest.raises(Trouble, match=r"The store s3://hochgrat-nobody/x cannot be used"):
        nobody.try_out()
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(Trouble, match="cannot be used"):
        Files(tmp_path, (tmp_path / "file" / "store").as_uri()).try_out()
    Files(tmp_path, (tmp_path / "store").as_uri()).try_out()
    assert not [path for path in (tmp_path / "store").rglob("*") if path.is_file()]
    Files(tmp_path).try_out()


def test_the_last_day_asked_for_is_the_last_day_told(desk: Desk) -> None:
    browser = signed_in(desk, "Vera")
    for page in ("/measures", "/writer"):
        assert "until 2026-02-28" in browser.get(f"{page}?since=2026-02-01&until=2026-02-28").text


def test_nothing_is_read_twice_by_a_look_at_the_same_folders(desk: Desk) -> None:
    assert ingest.refresh(desk.engine, desk.visits).read == 0


def test_the_words_of_a_head_are_worked_out_when_somebody_asks_first(desk: Desk) -> None:
    with desk.engine.connect() as connection:
        name, head, words = connection.execute(select(Visit.name, Visit.head, Visit.words).limit(1)).one()
    assert words == "", "they are slow by design"
    vera, ask = signed_in(desk, "Vera"), "?part=0&amp;head=words#worth"
    without = vera.get(f"/visits/{name}").text
    assert ask in without
    assert head in without
    assert words_of(head) not in without
    assert words_of(head) in vera.get(f"/visits/{name}?part=0&head=words").text
    with desk.engine.connect() as connection:
        assert connection.scalar(select(Visit.words).where(Visit.name == name)) == words_of(head)
    known = vera.get(f"/visits/{name}").text
    assert words_of(head) in known, "from then on they are shown"
    assert ask not in known
