"""Accounts changed and sessions ended, what is asked for in bad shape, and what is kept of who came in."""

from __future__ import annotations

import io
import json
import sys
import time
from pathlib import Path
from urllib.parse import quote, urlencode

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from handsfree.desk import account_pages, commands, database, factor, people, queries, security_log
from handsfree.desk.app import build
from handsfree.desk.configuration import Desk
from handsfree.desk.ingest import refresh
from handsfree.desk.serve import DeskOptions
from handsfree.errors import Trouble
from tests.desk.browsing import FORM, ORIGIN, client, post, signed_in, token
from tests.desk.conftest import PASSWORD, fresh
from tests.desk.made import Made


def test_a_changed_role_or_team_ends_every_session(desk: Desk) -> None:
    for change in ({"role": "technician", "team": "valley"}, {"role": "supervisor"}, {"team": "*"}, {"technician": "X"}):
        browser = signed_in(desk, "Toni")
        people.alter(desk.people, "Toni", **change)
        assert browser.get("/").status_code == 303, change
    assert [(a.role, a.team, a.technician) for a in people.everybody(desk.people) if a.name == "Toni"] == [
        ("supervisor", "*", "X")
    ]


def test_what_an_account_cannot_be(desk: Desk) -> None:
    people.add(desk.people, "phone", "device", "", "", "")
    for name, change in (
        ("Toni", {"role": "king"}),
        ("Toni", {"team": ""}),
        ("Anna", {"team": "*"}),
        ("Toni", {"role": "device"}),
        ("phone", {"role": "technician"}),
        ("Nobody", {"team": "valley"}),
    ):
        with pytest.raises(Trouble):
            people.alter(desk.people, name, **change)
    with pytest.raises(Trouble, match="team"):
        people.add(desk.people, "Sepp", "supervisor", "", "", PASSWORD)
    assert people.technicians_of(desk.people, "") == []


def test_a_password_is_reset_by_who_runs_the_desk(desk: Desk) -> None:
    browser = signed_in(desk, "Vera")
    for number in range(people.OF_NAME):
        people.sign_in(desk.people, "Vera", f"forgotten {number}", "x")
    new = "eleven goats upon a ridge"
    waits = factor.wait_for(desk.people, next(one.id for one in people.everybody(desk.people) if one.name == "Vera"))
    people.reset_password(desk.people, "Vera", new)
    assert browser.get("/").status_code == 303
    with pytest.raises(Trouble):  # who came by the old password has no code left to give
        factor.waits(desk.people, waits.token)
    assert people.sign_in(desk.people, "Vera", new, "x") is not None, "failures count anew"
    with pytest.raises(Trouble):
        people.reset_password(desk.people, "Vera", "short")


def test_an_account_is_changed_from_the_command_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    lines = io.StringIO(f"{PASSWORD}\neleven goats upon a ridge\n")
    monkeypatch.setattr(sys, "stdin", lines)
    commands.people_add(tmp_path, "Vera", "supervisor", "*", "")
    assert "restart a desk that is already running" in capsys.readouterr().out
    commands.people_change(tmp_path, "Vera", "technician", "valley", None, True)
    engine = database.open_engine(DeskOptions(tmp_path).people_url)
    assert [(a.role, a.team) for a in people.everybody(engine)] == [("technician", "valley")]
    assert people.sign_in(engine, "Vera", PASSWORD, "x") is None
    assert people.sign_in(engine, "Vera", "eleven goats upon a ridge", "x") is not None
    with pytest.raises(Trouble, match="what is to change"):
        commands.people_change(tmp_path, "Vera", None, None, None, False)
    text = (tmp_path / ".desk" / security_log.FILE).read_text()
    assert [json.loads(line)["what"] for line in text.splitlines()] == ["account made", "account changed", "password reset"]
    assert "goats" not in text + capsys.readouterr().out


def test_a_person_sees_their_sessions_and_ends_all_with_their_password(desk: Desk) -> None:
    one, other, anna = signed_in(desk, "Vera"), signed_in(desk, "Vera"), signed_in(desk, "Anna")
    assert one.get("/account").text.count("<li>since") == 2
    wrong = post(one, "/account/sessions", token=token(one), old="not it at all")
    assert wrong.status_code == 422
    assert other.get("/").status_code == 200
    assert post(one, "/account/sessions", token=token(one), old=PASSWORD).status_code == 303
    assert one.get("/").status_code == other.get("/").status_code == 303
    assert anna.get("/").status_code == 200


def test_passwords_of_before_are_hashed_anew_at_the_next_sign_in(desk: Desk) -> None:
    from argon2 import PasswordHasher
    from sqlalchemy import select, update

    from handsfree.desk.people_tables import User

    with desk.people.begin() as connection:
        connection.execute(update(User).where(User.name == "Vera").values(password=PasswordHasher().hash(PASSWORD)))
    signed_in(desk, "Vera")
    with desk.people.connect() as connection:
        kept = str(connection.scalar(select(User.password).where(User.name == "Vera")))
    assert kept.startswith(f"$argon2id$v=19$m={people.MEMORY},t={people.PASSES},p={people.LANES}$")


def test_too_many_at_the_door_are_told_to_come_again(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(account_pages, "MOST_WAITING", 0)
    answer = post(client(desk), "/sign-in", name="Vera", password=PASSWORD)
    assert answer.status_code == 503
    assert int(answer.headers["retry-after"]) > 0
    assert "Try again" in answer.text


def test_a_sentence_that_the_desk_did_not_say_is_not_shown(desk: Desk) -> None:
    browser = signed_in(desk, "Vera")
    lie = "Your password is over; ring the number below."
    for asked in ({"said": lie}, {"said": lie, "by": "0" * 32}, {"said": lie, "by": ""}):
        assert lie not in browser.get(f"/?{urlencode(asked)}").text
    moved = post(browser, "/refresh", token=token(browser)).headers["location"]
    assert "The folders were read" in browser.get(moved).text
    assert "The folders were read" not in browser.get(moved.replace("read", "READ")).text


def test_the_session_without_an_account_ends_and_the_next_link_is_told(desk: Desk) -> None:
    told: list[str] = []
    desk.door, desk.tell = "a-door-that-is-long-enough", told.append
    secret = desk.enter(desk.door)
    assert secret is not None
    now = time.time()
    assert desk.who(secret, now + people.IDLE - 5) == people.LOCAL
    assert desk.who(secret, now + 2 * people.IDLE) is None
    assert "no accounts" in client(desk).get("/sign-in").text
    again = told[0].split("/enter/")[1].split()[0]
    secret = desk.enter(again)
    assert secret is not None
    desk.leave(secret)
    assert desk.who(secret) is None
    assert len(told) == 2


def test_an_address_of_ipv6_is_counted_by_its_network() -> None:
    places = {people.place_of(address) for address in ("2001:db8::1", "2001:db8::ffff:1", "2001:db8:0:0:9::")}
    assert places == {"2001:db8::/64"}
    assert people.place_of("2001:db8:0:1::1") != "2001:db8::/64"
    assert people.place_of("::ffff:192.0.2.7") == people.place_of("192.0.2.7") == "192.0.2.7"


def test_the_lists_to_choose_from_are_of_what_one_may_see(desk: Desk) -> None:
    anna, toni, vera = (signed_in(desk, name).get("/visits").text for name in ("Anna", "Toni", "Vera"))
    assert "delivery air cold after cleaning" in vera
    everything = queries.faults(desk.engine, queries.EVERYBODY)
    own = queries.faults(desk.engine, queries.Scope(("A. Brandner (invented)",)))
    assert set(own) < set(everything) or own == everything
    assert queries.faults(desk.engine, queries.Scope(())) == queries.tally(desk.engine, queries.Scope(())) == []
    assert "Fessler" in vera
    assert "Fessler" not in anna + toni


def test_what_happened_is_kept_without_secrets(desk: Desk) -> None:
    with TestClient(build(desk, read_every=None), base_url=ORIGIN, follow_redirects=False) as browser:
        post(browser, "/sign-in", name="Anna", password="a wrong one, I think")
        post(browser, "/sign-in", name=PASSWORD, password="typed into the wrong field")
        post(browser, "/sign-in", name="Anna", password=PASSWORD)
        browser.get("/measures")
        browser.post("/sign-out", content="token=x", headers={**FORM, "origin": 'http://evil.test"\n{"at": "forged'})
        browser.get("/", headers={"host": "evil.test"})
        post(browser, "/sign-out", token=token(browser))
    path = desk.own / security_log.FILE
    text = path.read_text()
    kept = [json.loads(line) for line in text.splitlines()]
    assert [line["what"] for line in kept] == [
        "password wrong", "password wrong", "password right", "refused: not for that role", "refused: from another page",
        "refused: another host name", "signed out",
    ]  # fmt: skip
    assert kept[1]["name"] == "(nobody of that name)"
    assert all(line["at"].endswith("+00:00") for line in kept)
    assert PASSWORD not in text
    assert path.stat().st_mode & 0o077 == 0


NASTY = (
    "\x00", "a\x00b", "1_99999999999999999999999999", "nan_1", "inf_1", "1e400_1", "-1_-1", "0001-01-01", "9999-12-31",
    "1969-12-31", "2026-02-30", "%", "'", '"', "\\", "ß\u2028\u202e", "🐐", "* OR *", ":*", "&", "a" * 5000,
)  # fmt: skip


@pytest.fixture(params=["sqlite", "postgresql"])
def looked_at(request: pytest.FixtureRequest, desk: Desk) -> TestClient:
    if request.param == "postgresql":
        desk.engine = database.open_engine(fresh(request.getfixturevalue("postgresql")))
        database.migrate(desk.engine)
        refresh(desk.engine, desk.visits)
    return signed_in(desk, "Vera")


def test_whatever_is_asked_for_a_page_is_the_answer(looked_at: TestClient, desk: Desk, season: Made) -> None:
    """Never a fault of the desk's own: the client raises those."""
    name = quote(season.folders["first"].name)

    @settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
    @given(
        st.sampled_from(("/", "/visits", "/search", "/due", "/findings", "/cabinet", "/measures", "/writer", "/sign-in")),
        st.dictionaries(
            st.sampled_from(("site", "cabinet", "technician", "fault", "since", "until", "after", "q", "who", "rule",
                             "signed", "said", "by", "to")),
            st.sampled_from(NASTY) | st.text(st.characters(exclude_categories=["Cs"]), max_size=20),
            max_size=4,
        ),
    )
    def ask(path: str, asked: dict[str, str]) -> None:
        desk.buckets._left.clear()
        assert looked_at.get(f"{path}?{urlencode(asked)}").status_code in (200, 404)

    ask()
    desk.buckets._left.clear()
    for path in (f"/visits/{name}/file/99999999999999999999999", "/visits/%00", "/visits/a%00b/file/1", "/enter/%00%C3%9F"):
        assert looked_at.get(path).status_code in (403, 404)
    form = token(looked_at)
    for fields in ("token=%00", "token=%C3%9F", f"token={form}&token={form}", f"token={form}&comment=%00", "%", "&" * 100):
        assert looked_at.post("/findings/%00", content=fields, headers=FORM).status_code in (403, 404)
    other = looked_at.post("/refresh", content=f"token={form}", headers={"origin": ORIGIN, "content-type": "text/plain"})
    assert other.status_code == 403
    for name in ("\x00", "a\x00", "ß" * 300):
        desk.buckets._left.clear()
        assert post(looked_at, "/sign-in", name=name, password="\x00").status_code == 401


def test_a_fault_of_the_desk_has_the_headers_too(desk: Desk, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def fail(*_: object) -> None:
        raise RuntimeError

    secret = signed_in(desk, "Vera").cookies["desk"]
    monkeypatch.setattr(queries, "due", fail)
    browser = TestClient(build(desk, read_every=None), base_url=ORIGIN, raise_server_exceptions=False)
    browser.cookies.set("desk", secret, domain="desk.test")
    headers = browser.get("/due").headers
    assert "default-src 'none'" in headers["content-security-policy"]
    assert headers["cache-control"] == "no-store"
