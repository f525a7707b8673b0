"""The pages: what each shows, to whom, and signing off."""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import quote

import pytest

from handsfree.desk import acts, people, queries, threads
from handsfree.desk.configuration import Desk
from handsfree.desk.queries import EVERYBODY
from handsfree.errors import Trouble
from handsfree.journal import keys
from tests.desk.browsing import client, post, signed_in, token
from tests.desk.made import SUMMIT, Made


def test_each_page_shows_what_it_is_for(desk: Desk, season: Made) -> None:
    browser = signed_in(desk, "Vera")
    first, thaw = season.folders["first"].name, season.folders["thaw"].name
    for address, words in {
        "/": ("open finding", "HK-4", "TK-2"),
        "/visits": (first, thaw, "delivery air cold after cleaning", "to be continued"),
        "/visits?cabinet=TK-1": ("TK-1",),
        "/search?q=gasket": ("the gasket is torn at the lower hinge",),
        "/due": (thaw, "2026-03-06"),
        "/findings": ("Step skipped", "Sign off", "/findings.csv", "/findings.parquet"),
        f"/cabinet?cabinet=HK-4&site={quote(SUMMIT)}": ("<svg", "2 readings from 58 to 58 °F, 2 out of range", "58 °F"),
        "/measures": ("HK-4", "unplug", "of 4 first visits"),
        "/writer": ("clean condenser", "Stood by"),
        f"/visits/{first}": ("isolated lock", "asked again", "What needs a look", "data-sound="),
    }.items():
        answer = browser.get(address)
        assert answer.status_code == 200, address
        for word in words:
            assert word in answer.text, f"{address} lacks {word}"
    for address in (f"/visits/{first}", "/search?q=seven", "/search.csv?q=three", "/search?q=nine"):  # nobody's to read
        text = browser.get(address).text.lower()
        assert "seven three one" not in text
        assert "seven three nine" not in text
    assert "HK-4" not in re.sub(r"(?s)<datalist.*", "", browser.get("/visits?cabinet=TK-1").text)


def test_sound_is_the_sound_that_was_recorded_or_none(desk: Desk, season: Made) -> None:
    browser, name = signed_in(desk, "Vera"), season.folders["first"].name
    address = re.findall(r'data-sound="([^"]+)"', browser.get(f"/visits/{name}").text)[0]
    answer = browser.get(address)
    assert answer.headers["content-type"] == "audio/flac"
    clip = sorted((desk.visits / name / "sound").iterdir())[0]
    assert answer.content == clip.read_bytes()
    clip.write_bytes(clip.read_bytes()[:-1] + b"\0")
    swapped = browser.get(address)
    assert swapped.status_code == 409
    assert "its hash differs" in swapped.text
    clip.unlink()
    assert browser.get(address).status_code == 404


def test_a_technician_sees_their_own_a_supervisor_their_team_a_writer_no_names(desk: Desk, season: Made) -> None:
    names = {folder.name: name for name, folder in season.folders.items()}

    def seen(who: str) -> set[str]:
        text = signed_in(desk, who).get("/visits").text
        return {name for folder, name in names.items() if folder in text}

    assert seen("Vera") == set(names.values())
    assert seen("Anna") == {"first", "once"}
    assert seen("Toni") == {"thaw", "stopped"}, "the valley's team is Max"
    anna = signed_in(desk, "Anna")
    for address in (f"/visits/{season.folders['thaw'].name}", f"/visits/{season.folders['thaw'].name}/file/3"):
        assert anna.get(address).status_code == 404
    assert "gasket" not in re.sub(r'value="gasket"', "", anna.get("/search?q=gasket").text)
    assert "Sign off" not in anna.get("/findings").text
    assert anna.get("/technician?name=x").status_code == 403
    assert anna.get("/measures").status_code == 403
    wilma = signed_in(desk, "Wilma")
    everything = wilma.get("/").text + wilma.get("/writer").text
    assert "clean condenser" in everything
    assert not any(name in everything for name in ("Brandner", "Fessler", "Huber", "HK-4", *names))
    for address in ("/visits", "/search?q=isolated", "/due", "/findings", "/measures", "/cabinet?cabinet=HK-4"):
        assert wilma.get(address).status_code == 403


def key_of(desk: Desk) -> str:
    return str(queries.findings(desk.engine, EVERYBODY)[0].key)


def test_a_finding_is_signed_off_with_a_comment_in_the_journal_and_the_visit_stays(desk: Desk, tmp_path: Path) -> None:
    desk.key = keys.make("desk-1", tmp_path / "keys")
    browser, key = signed_in(desk, "Vera"), key_of(desk)
    visit = queries.findings(desk.engine, EVERYBODY)[0].name
    before = {path: path.read_bytes() for path in (desk.visits / visit).rglob("*") if path.is_file()}
    empty = post(browser, f"/findings/{key}", token=token(browser), text=" ")
    assert empty.status_code == 422
    assert list(acts.read(desk.own)) == []
    done = post(browser, f"/findings/{key}", token=token(browser), text="Asked her: the door stood open. <b>fine</b>")
    assert done.status_code == 303
    (kept,) = acts.read(desk.own, {desk.key.public_key: "desk-1"})
    assert (kept.act.key, kept.act.by, kept.device) == (key, "Vera", "desk-1")
    assert {path: path.read_bytes() for path in (desk.visits / visit).rglob("*") if path.is_file()} == before
    assert key not in browser.get("/findings").text
    assert "the door stood open. &lt;b&gt;fine&lt;/b&gt;" in browser.get("/findings?signed=yes").text


def test_sign_offs_outlive_the_database(desk: Desk, season: Made) -> None:
    from handsfree.desk.ingest import refresh

    browser, key = signed_in(desk, "Vera"), key_of(desk)
    post(browser, f"/findings/{key}", token=token(browser), text="seen")
    from sqlalchemy import delete

    from handsfree.desk.tables import ThreadRow, Visit

    with desk.engine.begin() as connection:
        connection.execute(delete(Visit))
        connection.execute(delete(ThreadRow))
    refresh(desk.engine, desk.visits)
    assert len(queries.findings(desk.engine, EVERYBODY, queries.FindingQuery(closed=True))) == 0
    assert threads.rebuild(desk.engine, desk.own) == 1
    assert [row.key for row in queries.findings(desk.engine, EVERYBODY, queries.FindingQuery(closed=True))] == [key]


def test_every_byte_of_the_desks_journal_is_guarded(tmp_path: Path) -> None:
    key = keys.make("desk-1", tmp_path / "keys")
    for number in range(3):
        acts.append(tmp_path, [acts.DeskAct(f"k{number}", "v", number, "r", "s", "h", "Vera", "fine")], key)
    path = tmp_path / acts.FILE
    whole = path.read_bytes()
    missed = 0
    for at in range(len(whole) - 1):
        path.write_bytes(whole[:at] + bytes([whole[at] ^ 1]) + whole[at + 1 :])
        try:
            missed += len(list(acts.read(tmp_path))) == 3
        except Trouble:
            continue
    assert missed == 0
    lines = whole.splitlines(keepends=True)
    for broken in (lines[1:], [lines[0], lines[2]], [lines[1], lines[0], lines[2]]):
        path.write_bytes(b"".join(broken))
        with pytest.raises(Trouble, match="is broken"):
            list(acts.read(tmp_path))
    path.write_bytes(whole)
    with pytest.raises(Trouble, match="not known here"):
        list(acts.read(tmp_path, {"00": "somebody else"}))


def test_a_line_that_a_crash_left_half_written_is_no_obstacle(tmp_path: Path) -> None:
    off = acts.DeskAct("k", "v", 1, "r", "s", "h", "Vera", "fine")
    acts.append(tmp_path, [off], None)
    path = tmp_path / acts.FILE
    whole = path.read_bytes()
    for cut in range(1, len(whole)):
        path.write_bytes(whole + whole[:cut])
        assert len(list(acts.read(tmp_path))) == 1
        acts.append(tmp_path, [off], None)
        assert [kept.n for kept in acts.read(tmp_path)] == [0, 1]
        path.write_bytes(whole)


def test_the_folders_are_read_again_on_request(desk: Desk, season: Made) -> None:
    import shutil

    browser = signed_in(desk, "Vera")
    shutil.rmtree(desk.visits / season.folders["once"].name)
    assert post(browser, "/refresh", token=token(browser)).status_code == 303
    assert "TK-1" not in browser.get("/").text


def test_the_queue_is_told_by_kind_and_each_visit_leads_on_to_the_next(desk: Desk, season: Made) -> None:
    vera, max_ = signed_in(desk, "Vera"), signed_in(desk, "Max")
    home = vera.get("/").text
    for level, rule, many in queries.tally(desk.engine, EVERYBODY):
        assert f"{many} {rule}</a>" in home, level
    first, *others = queries.findings(desk.engine, EVERYBODY)
    onward = next(row for row in others if row.name != first.name)
    assert f"/visits/{onward.name}?at={onward.n}" in vera.get(f"/visits/{first.name}").text
    assert f"/visits/{first.name}?at={first.n}" in vera.get(f"/visits/{onward.name}").text
    assert "Next to look at" not in max_.get(f"/visits/{season.folders['stopped'].name}").text
    assert "days over" in home, "how long it has been due"
    digest = vera.get("/digest?days=7").text
    assert "Nothing under:" in digest
    assert "None." not in digest


def test_a_list_of_findings_is_kept_and_all_names_of_a_page_are_made_known_at_once(desk: Desk) -> None:
    vera = signed_in(desk, "Vera")
    address = "/findings?rule=step+skipped"
    kept = post(vera, "/saved", token=token(vera), name="skipped", address=address, do="keep")
    assert kept.headers["location"].startswith(f"{address}&said=")
    assert f'<a href="{address}">skipped</a>' in vera.get("/findings").text
    names = {"n1": "HK-4", "u1": SUMMIT, "n2": "HK-9", "u2": SUMMIT, "n3": " "}
    for known in ("2 are known now.", "0 are known now."):
        done = post(vera, "/registry", token=token(vera), kind="cabinet", do="put all", **names)
        assert known in vera.get(done.headers["location"]).text


def test_no_account_and_on_loopback_the_printed_link_opens_once(desk: Desk) -> None:
    desk.door = "a-door-that-is-long-enough"
    browser = client(desk)
    assert browser.get("/enter/another").status_code == 403
    assert browser.get(f"/enter/{desk.door}").status_code == 200
    assert "Last visits" in browser.get("/").text
    assert client(desk).get("/enter/a-door-that-is-long-enough").status_code == 403


def test_a_changed_password_ends_every_session(desk: Desk) -> None:
    one, other = signed_in(desk, "Vera"), signed_in(desk, "Vera")
    new = "eleven goats upon a ridge"
    wrong = post(one, "/account", token=token(one), old="not it at all", new=new, again=new)
    assert wrong.status_code == 422
    done = post(one, "/account", token=token(one), old="snow lamps over twelve sheds", new=new, again=new)
    assert done.status_code == 303
    assert one.get("/").status_code == other.get("/").status_code == 303
    assert people.sign_in(desk.people, "Vera", new, "x") is not None
