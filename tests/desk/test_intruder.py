"""A second round of an adversary at the desk: with a device's key, a person's password, or the desk's own disk."""

from __future__ import annotations

import csv
import dataclasses
import io
import json
import re
import threading
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from sqlalchemy import update

from handsfree.desk import factor, people, quarantine, queries
from handsfree.desk.configuration import Desk
from handsfree.desk.heads import FILE, TREE, Heads
from handsfree.desk.lists import VISIT_COLUMNS, as_file
from handsfree.desk.people_tables import User
from handsfree.desk.protocol import LARGEST_JOURNAL, Manifest, VisitFile, manifest_of
from handsfree.desk.queries import EVERYBODY, Filter
from handsfree.desk.refreshing import read_folders
from handsfree.errors import Trouble
from handsfree.journal import events as ev
from handsfree.journal.events import Closed
from handsfree.journal.findings import ODD_NAME
from handsfree.journal.keys import make, trust
from handsfree.journal.odd_names import odd
from handsfree.journal.verify import verify
from handsfree.journal.writer import Journal
from handsfree.relisten import again
from tests.desk import made
from tests.desk.browsing import client, post, signed_in, token
from tests.desk.conftest import PASSWORD
from tests.desk.made import Made, another_of
from tests.desk.test_adversary import written_anew
from tests.desk.test_hostile import OPENED, record
from tests.desk.test_sign_on import turned_on, waiting
from tests.desk.test_uploads import Device, empty
from tests.journal.made import TestClock

__all__ = ["empty"]


# ---- by a device ------------------------------------------------------------------------------------------------------


def test_two_devices_send_two_journals_of_one_visit_at_once(empty: Desk, season: Made, tmp_path: Path) -> None:
    """One counts, whoever was first; the other is kept apart, and both are whole."""
    one = season.folders["once"]
    two = another_of(one, tmp_path, without=9)
    devices = [Device(empty), Device(empty)]
    answers: list[Any] = [None, None]

    def send(at: int) -> None:
        for _ in range(20):
            answers[at] = devices[at].send((one, two)[at])
            if answers[at].status_code != 503:
                return
            time.sleep(0.1)

    both = [threading.Thread(target=send, args=(at,)) for at in range(2)]
    for thread in both:
        thread.start()
    for thread in both:
        thread.join()
    told = [answer.json()["quarantined"] for answer in answers]
    assert sorted(map(bool, told)) == [False, True], told
    assert len(list(quarantine.quarantined_names(empty.visits))) == 1
    assert {row.standing for row in queries.visits(empty.engine, EVERYBODY, Filter())} == {"good", "quarantine"}


def test_a_key_withdrawn_while_the_desk_runs_counts_no_more(tmp_path: Path, empty: Desk) -> None:
    """Neither the key that sends nor the key that signs; what is there already is judged anew at the next look."""
    lost = make("van-1", tmp_path / "van")
    public = trust("van-1", lost.public_key, tmp_path / "desk-keys")
    trust("van-2", make("van-2", tmp_path / "other").public_key, tmp_path / "desk-keys")
    empty.keys_folder, empty.signed_only = tmp_path / "desk-keys", True
    read_folders(empty)
    device = Device(empty)
    answer = device.send(record(tmp_path / "a", "before", Closed("fixed"), key=lost))
    assert answer is not None
    assert answer.json()["quarantined"] == ""
    public.unlink()
    answer = device.send(record(tmp_path / "b", "after", Closed("fixed"), key=lost))
    assert answer is not None
    assert answer.status_code == 201
    assert "not known here" in answer.json()["quarantined"]
    read_folders(empty)
    assert {row.name: row.standing for row in queries.visits(empty.engine, EVERYBODY, Filter())}["before"] == "broken"
    name = next(one.name for one in people.everybody(empty.people) if one.role == "device")
    people.remove(empty.people, name)
    assert device.ask("POST", "/upload", b"{}").status_code == 401
    assert device.ask("GET", "/upload/questions").status_code == 401


def test_a_visit_that_another_team_sent_first_is_still_its_own(empty: Desk, tmp_path: Path) -> None:
    """A device of another team that has the files can end the upload before its own device does: that one's visit counts."""
    people.add(empty.people, "Anna", "technician", "summit", made.BRANDNER, PASSWORD)
    theirs, other = Device(empty), Device(empty)
    for device, team in ((theirs, "summit"), (other, "valley")):
        account = people.of_upload_key(empty.people, device.key)
        assert account is not None
        with empty.people.begin() as connection:
            connection.execute(update(User).where(User.id == account.id).values(team=team))
    folder = record(tmp_path, "hers", Closed("fixed"))
    manifest = manifest_of(folder)
    theirs.offer(manifest)
    theirs.put(manifest, manifest.parts[0], (folder / "journal.jsonl").read_bytes(), 0)
    ended = other.ask("POST", f"/upload/{manifest.upload}/commit")
    assert "is a device of team valley" in ended.json()["quarantined"]
    assert theirs.ask("POST", f"/upload/{manifest.upload}/commit").status_code == 409, "not: it is in quarantine"
    answer = theirs.send(folder)
    assert answer is not None
    assert (answer.status_code, answer.json()["quarantined"]) == (201, "")
    assert "quarantined" in other.ask("POST", f"/upload/{manifest.upload}/commit").json()
    assert verify(empty.visits / "hers").holds


@pytest.mark.parametrize("name", ["HK\u20114", "HK-4\u00a0", " HK-4", "HK-4\u200b", "ＨＫ-4", "НК-4", "HК-4"])
def test_a_cabinet_named_to_look_like_another_is_told(desk: Desk, name: str) -> None:
    """Under it a cabinet that came back would look fixed: its history is another's."""
    folder = record(desk.visits, "odd", Closed("fixed"), opened=dataclasses.replace(OPENED, cabinet=name))
    read_folders(desk)
    rules = [row.rule for row in queries.findings(desk.engine, EVERYBODY) if row.name == folder.name]
    assert ODD_NAME in rules


@pytest.mark.parametrize("name", [
    "HK-4", "Kühlregal 4", "Холодильник 4", "冷蔵庫 4", "Ψυγείο 4", "A. Brandner", "Mayor 3, 2º", "Nº 4",
    "Talstation \u2013 lower platform", "Zürich\u2013Basel", "Kiosk 3\u20134", "Station \u2014 East", "Murphy\u2019s Café",
    "Sant Feliu · Sud", "B&B Alm #2", "Gleis 9 ½", "Halle 40 m²", "Kühlraum 4 °C", "Caffè “Sole”", "Größe L/R",
    "Señor Ñandú", "L\u2019Œuf",
])  # fmt: skip
def test_a_name_of_any_alphabet_is_none_that_looks_like_another(name: str) -> None:
    assert odd(name) == ""


@pytest.mark.parametrize("name", [
    "HK\u20134", "4\u2014HK", "HK\u22124", "HK\u20104", "HK\u20124", "HK\u20154", "HK-4\u202e", "\u2066HK-4\u2069",
    "HK-4\u200d",     "HK\u00ad-4", "Taⅼstation", "Tаlstation", "HK\uff0d4", "Cafe\u0301", "Murphy\u200b\u2019s",
    "Zürich\u2013 Basel\u200f", "K\u0456osk",
])  # fmt: skip
def test_what_looks_like_a_plain_name_and_is_none_is_still_told(name: str) -> None:
    """A dash between a letter and a digit stands where a code has its hyphen."""
    assert odd(name) != ""


def test_a_huge_journal_is_not_taken(empty: Desk, tmp_path: Path) -> None:
    """Reading one holds all its events in memory."""
    folder = record(tmp_path, "huge", Closed("fixed"))
    part = manifest_of(folder).parts[0]
    answer = Device(empty).offer(Manifest("huge", (VisitFile(part.path, LARGEST_JOURNAL + 1, part.sha256),)))
    assert answer.status_code == 422
    assert "larger than" in answer.json()["problem"]


def test_a_valid_flac_of_hours_in_a_few_kilobytes_is_left_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An hour of silence is some ten kilobytes, and 230 MB when it is heard."""
    out = io.BytesIO()
    soundfile.write(out, np.zeros(16_000 * 3600, np.int16), 16_000, format="FLAC")
    heard: list[int] = []

    class Ear:
        name = "ear"

        def hear(self, samples: Any, listening: Any) -> Any:
            heard.append(len(samples))
            raise ValueError("no words")

    monkeypatch.setattr(again, "recogniser_here", lambda *_: Ear())
    folder = tmp_path / "v"
    with Journal.create(folder, clock=TestClock()) as journal:
        journal.append(OPENED)
        name, digest = journal.keep_sound(out.getvalue())
        journal.append(ev.Utterance("accepted", "phrase", "yes", clip=name, clip_sha256=digest))
        journal.seal()
    answer = again.hear_batch(again.Batch(str(folder), 0, 1, None, ""))
    assert heard == []
    assert "longer than" in answer.left_out[0][1]


@pytest.mark.parametrize(
    "wall", ["0001-01-01T00:00:00.000+14:00", "9999-12-31T23:59:59.000-12:00", "1969-12-31T23:00:00.000+00:00"]
)
def test_a_visit_at_the_edge_of_the_calendar_is_one_row(desk: Desk, wall: str) -> None:
    def move(entry: dict[str, Any]) -> None:
        entry["wall"] = wall

    source = record(desk.visits.parent / "made", "2026-02-11-edge-abcd", Closed("to be continued", 60.0))
    (source / "sound").mkdir(exist_ok=True)
    name = written_anew(source, desk.visits, move).name
    done = read_folders(desk)
    assert done.read == 1
    vera = signed_in(desk, "Vera")
    for address in ("/", "/visits", "/findings", "/due", "/measures", "/visits.csv", "/people", f"/visits/{name}"):
        assert vera.get(address).status_code == 200, address
    assert name in vera.get("/visits").text


# ---- by somebody at the desk's disk -------------------------------------------------------------------------------------


@pytest.mark.parametrize("how", ["rolled back", "root changed", "gone"])
def test_a_ledger_rolled_back_while_the_desk_was_down_is_told(tmp_path: Path, how: str) -> None:
    """Lines cut from the end leave a good ledger of an earlier day; what was written beside it says that there was more."""
    key = make("desk-1", tmp_path / "keys")
    heads = Heads(tmp_path / "own", key)
    for n in range(6):
        heads.note((f"visit-{n}", n, f"{n:064x}"), by="van-1")
    path, tree = tmp_path / "own" / FILE, tmp_path / "own" / TREE
    if how == "root changed":
        data = json.loads(tree.read_bytes())
        tree.write_text(json.dumps(data | {"root": "0" * 64}))
    elif how == "gone":
        path.unlink()
    else:
        path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:4]))
    with pytest.raises(Trouble, match="ledger") as caught:
        Heads(tmp_path / "own", key).last_of("visit-0")
    assert caught.value.status == 3


def test_a_crash_between_the_ledger_and_its_tree_head_is_none(tmp_path: Path) -> None:
    heads = Heads(tmp_path / "own")
    heads.note(("visit-0", 0, f"{0:064x}"), by="van-1")
    old = (tmp_path / "own" / TREE).read_bytes()
    heads.note(("visit-1", 1, f"{1:064x}"), by="van-1")
    (tmp_path / "own" / TREE).write_bytes(old)
    again_read = Heads(tmp_path / "own")
    assert all(map(again_read.last_of, ("visit-0", "visit-1")))
    again_read.note(("visit-2", 2, f"{2:064x}"), by="van-1")
    assert json.loads((tmp_path / "own" / TREE).read_bytes())["size"] == 3


def test_another_process_that_notes_while_the_ledger_is_first_read_took_nothing_away(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    other, read = Heads(tmp_path / "own"), Path.read_bytes
    for n in range(2):
        other.note((f"visit-{n}", n, f"{n:064x}"), by="van-1")

    def notes_first(path: Path) -> bytes:
        if path.name == TREE:
            other.note(("visit-2", 2, f"{2:064x}"), by="van-1")
        return read(path)

    monkeypatch.setattr(Path, "read_bytes", notes_first)
    again_read = Heads(tmp_path / "own")
    assert all(map(again_read.last_of, ("visit-0", "visit-1", "visit-2")))


# ---- by somebody with a browser -------------------------------------------------------------------------------------------


def test_a_session_is_neither_fixed_nor_replayed(desk: Desk) -> None:
    """One that the browser brings along is not taken up; one that ended stays ended, wherever it was copied to."""
    fixed = client(desk)
    fixed.cookies.set(desk.cookie(), "x" * 43)
    assert fixed.get("/").status_code == 303
    answer = post(fixed, "/sign-in", name="Vera", password=PASSWORD, to="/")
    assert answer.status_code == 303
    assert "x" * 43 not in answer.headers["set-cookie"]
    browser = signed_in(desk, "Toni")
    copied, old = dict(browser.cookies), client(desk)
    old.cookies.update(copied)
    assert old.get("/").status_code == 200, "the copy is good until then"
    # Signing in again in the same browser ends what was open there.
    assert post(browser, "/sign-in", name="Vera", password=PASSWORD, to="/").status_code == 303
    assert old.get("/").status_code == 303
    copied, form = dict(browser.cookies), token(browser)
    assert post(browser, "/sign-out", token=form).status_code == 303
    for address in ("/", "/visits", "/account"):
        late = client(desk)
        late.cookies.update(copied)
        assert late.get(address).status_code == 303
        assert post(late, "/account/sessions", token=form, password=PASSWORD).status_code in (401, 403)


def test_who_has_the_password_does_not_guess_the_code_by_signing_in_over_and_over(desk: Desk) -> None:
    _, codes = turned_on(desk)
    tried = 0
    for _ in range(12):
        browser = client(desk)
        answer = post(browser, "/sign-in", name="Vera", password=PASSWORD, to="/")
        if answer.status_code != 200:
            break
        pending = re.search(r'name="pending" value="([^"]+)"', answer.text)
        assert pending is not None
        for n in range(factor.TRIES):
            wrong = f"{(int(codes.now()) + 7 + n) % 1_000_000:06d}"
            assert post(browser, "/sign-in/code", pending=pending[1], code=wrong).status_code == 401
            tried += 1
    assert tried <= people.OF_NAME_ANYWHERE
    assert answer.status_code == 429 or "Too many" in answer.text


def test_a_code_is_not_replayed_in_another_sign_in(desk: Desk) -> None:
    _, codes = turned_on(desk)
    first, one = waiting(desk)
    second, two = waiting(desk)
    code = codes.now()
    assert post(first, "/sign-in/code", pending=one, code=code).status_code == 303
    assert post(second, "/sign-in/code", pending=two, code=code).status_code == 401
    later = codes.at(time.time() + 30)
    assert post(client(desk), "/sign-in/code", pending=one, code=later).status_code == 401, "that sign-in is over"


ELSEWHERE = (
    "//evil.example", "/\\evil.example", "/\t/evil.example", "https://evil.example", "javascript:alert(1)",
    "\\\\evil.example", "evil.example", "/\u2028/evil.example",
)  # fmt: skip


@pytest.mark.parametrize("to", ELSEWHERE)
def test_nobody_is_led_elsewhere_by_signing_in(desk: Desk, to: str) -> None:
    answer = post(client(desk), "/sign-in", name="Vera", password=PASSWORD, to=to)
    assert answer.headers["location"] == "/"


ASKED = ("%", "_", '"', "*", "' OR 1=1 --", "NEAR(a b)", "a AND", "-", "\\", "\x00", "(" * 200, "\ufffd", "a:b", "{x}")


@pytest.mark.parametrize("q", ASKED)
def test_no_search_is_a_pattern_or_an_error(desk: Desk, q: str) -> None:
    vera = signed_in(desk, "Vera")
    for address in ("/search", "/visits", "/findings"):
        for field in ("q", "site", "cabinet", "technician", "words"):
            answer = vera.get(address, params={field: q})
            assert answer.status_code == 200, (address, field)
    if q in ("%", "_"):
        assert 'href="/visits/2' not in vera.get("/visits", params={"cabinet": q}).text


@pytest.mark.parametrize("text", ["=1+1", " =1+1", "\n=1", "a;=1+1", "＝1", "\u00a0@SUM(A1)"])
def test_no_cell_of_a_list_is_a_formula(text: str) -> None:
    row = type("Row", (), {attribute: text for _, attribute in VISIT_COLUMNS} | {"on_site": 60.0})()
    made_csv = bytes(as_file("csv", "x", VISIT_COLUMNS, [row]).body).decode()
    for separator in (",", ";"):
        for cells in csv.reader(io.StringIO(made_csv, newline=""), delimiter=separator):
            assert not [cell for cell in cells if cell.strip()[:1] in set("=+-@＝＋－＠") - {""} and cell.strip()]


