"""The desk against the OWASP ASVS 4.0.3, level 2 (security of applications), by the list `handsfree/desk/ASVS.md`,
whose rows name the tests that hold them: those here, and some in the files beside."""

from __future__ import annotations

import contextlib
import re
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from sqlalchemy import Engine, insert, select
from starlette.routing import Mount, Route

from handsfree.desk import commands, database, people
from handsfree.desk.app import ROUTES
from handsfree.desk.configuration import Buckets, Desk, Rate, Rates
from handsfree.desk.people_tables import SessionRow, User
from handsfree.desk.serve import DeskOptions, judge, open_desk, origins
from handsfree.desk.tables import File
from handsfree.errors import Trouble
from tests.desk.browsing import FORM, ORIGIN, client, post, signed_in, token
from tests.desk.conftest import PASSWORD
from tests.desk.made import Made
from tests.desk.serving import free_port, said_until

READS = [r.path for r in ROUTES if isinstance(r, Route) and "GET" in (r.methods or ()) and not r.path.startswith("/upload")]
CHANGES = [
    r.path for r in ROUTES if isinstance(r, Route) and "POST" in (r.methods or ()) and not r.path.startswith("/upload")
]
OPEN = {"/sign-in", "/enter/{door}", "/static/screen.css", "/elsewhere", "/elsewhere/back", "/sign-in/code"}


def test_the_list_names_tests_that_there_are() -> None:
    here = Path(__file__).parent
    listed = (Path(people.__file__).parent / "ASVS.md").read_text(encoding="utf-8")
    named = set(re.findall(r"\btest_\w+", listed))
    there = {name for path in here.glob("test_*.py") for name in re.findall(r"(?m)^def (test_\w+)", path.read_text())}
    assert len(named) > 40
    assert named <= there


def real(path: str) -> str:
    return path.replace("{name}", "v").replace("{n:int}", "1").replace("{key}", "0" * 64).replace("{door}", "x")


def test_every_address_is_accounted_for() -> None:
    """A new one must be looked at here."""
    assert {r.path for r in ROUTES if isinstance(r, Mount)} == {"/static"}
    assert len(READS) == 34
    assert set(CHANGES) == {
        "/sign-in", "/sign-out", "/account", "/account/sessions", "/findings/{key}", "/findings", "/saved", "/people/region",
        "/registry", "/refresh", "/sign-in/code", "/account/factor",
    }  # fmt: skip


def test_nothing_opens_without_signing_in(desk: Desk) -> None:
    browser = client(desk)
    for path in set(READS) - OPEN:
        answer = browser.get(real(path))
        assert answer.status_code == 303, path
        assert answer.headers["location"].startswith("/sign-in?")
    for path in set(CHANGES) - OPEN:
        assert post(browser, real(path), token="x").status_code == 401, path


def test_roles(desk: Desk) -> None:
    for who in ("Anna", "Wilma"):
        browser = signed_in(desk, who)
        form = token(browser)
        for path in ("/findings", "/refresh", "/people/region", "/registry"):
            assert post(browser, real(path), token=form, text="x").status_code == 403
        answer = post(browser, real("/findings/{key}"), token=form, text="x")
        assert answer.status_code == (404 if who == "Anna" else 403)


def test_a_change_from_another_page_is_refused(desk: Desk) -> None:
    browser = signed_in(desk, "Vera")
    form = token(browser)
    for path in CHANGES:
        for origin in ("http://evil.test", "null", "http://desk.test.evil.test", "https://desk.test"):
            headers = {**FORM, "origin": origin}
            answer = browser.post(real(path), content=f"token={form}", headers=headers)
            assert answer.status_code == 403, (path, origin)
        without = {"content-type": FORM["content-type"]}
        assert browser.post(real(path), content=f"token={form}", headers=without).status_code == 403
    other = token(signed_in(desk, "Vera"))
    for path in set(CHANGES) - OPEN:
        for wrong in ("", form[:-1], other):
            assert post(browser, real(path), token=wrong, text="x").status_code == 403, path
    assert browser.get("/").status_code == 200, "still signed in"


def test_a_foreign_host_name_is_refused(desk: Desk) -> None:
    browser = client(desk)
    for host in ("evil.test", "desk.test:81", "", "127.0.0.1"):
        assert browser.get("/sign-in", headers={"host": host}).status_code == 400


def test_headers(desk: Desk) -> None:
    browser = signed_in(desk, "Vera")
    for path in ("/", "/sign-in", "/nope", "/static/desk.css", "/visits/v/file/1"):
        headers = browser.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "http" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "same-origin"
        assert headers["x-frame-options"] == "DENY"
        assert "access-control-allow-origin" not in headers
        assert "server" not in headers
        assert headers["cache-control"] == ("max-age=3600" if path.startswith("/static") else "no-store")
    desk.secure, desk.origins = True, ("https://desk.test",)
    assert "max-age" in client(desk).get("/sign-in").headers["strict-transport-security"]


def test_no_page_asks_for_anything_from_outside_or_carries_its_own_script(desk: Desk, season: Made) -> None:
    browser = signed_in(desk, "Vera")
    for path in (
        "/",
        "/visits",
        f"/visits/{season.folders['first'].name}",
        "/cabinet?cabinet=HK-4",
        "/measures",
        "/sign-in",
    ):
        text = browser.get(path).text
        assert "style=" not in text
        assert "onclick" not in text
        assert text.count("<script") == text.count('<script src="/static/desk.js"') == 1
        assert "//" not in text.replace("http://www.w3.org", "")


def test_the_cookie(desk: Desk) -> None:
    plain = post(client(desk), "/sign-in", name="Vera", password=PASSWORD).headers["set-cookie"]
    assert plain.startswith("desk=")
    assert "HttpOnly" in plain
    assert "SameSite=strict" in plain
    desk.secure = True
    secure = post(client(desk), "/sign-in", name="Vera", password=PASSWORD).headers["set-cookie"]
    assert secure.startswith("__Host-desk=")
    assert "Secure" in secure
    assert "Path=/" in secure
    assert "Domain" not in secure


def test_the_session_is_new_at_signing_in(desk: Desk) -> None:
    browser = client(desk)
    browser.cookies.set("desk", "chosen-by-somebody-else")
    post(browser, "/sign-in", name="Vera", password=PASSWORD)
    first = browser.cookies.get("desk", domain="desk.test")
    assert first != "chosen-by-somebody-else"
    browser.cookies.clear()
    browser.cookies.set("desk", str(first), domain="desk.test")
    post(browser, "/sign-in", name="Vera", password=PASSWORD)
    assert people.of_session(desk.people, str(first)) is None, "the old one ended"


def test_a_session_ends(desk: Desk) -> None:
    now = time.time()
    secret = people.sign_in(desk.people, "Vera", PASSWORD, "x")
    assert secret is not None
    assert people.of_session(desk.people, secret, now + people.IDLE - 5) is not None
    assert people.of_session(desk.people, secret, now + 2 * people.IDLE) is None
    at = now
    while at < now + people.LONGEST - people.IDLE:
        at += people.IDLE / 2
        assert people.of_session(desk.people, secret, at) is not None
    assert people.of_session(desk.people, secret, now + people.LONGEST + 1) is None
    browser = signed_in(desk, "Vera")
    secret = browser.cookies["desk"]
    assert post(browser, "/sign-out", token=token(browser)).status_code == 303
    browser.cookies.set("desk", secret, domain="desk.test")
    assert browser.get("/").status_code == 303


def test_secrets_are_kept_as_digests(desk: Desk) -> None:
    key = people.add(desk.people, "phone", "device", "", "", "")
    browser = signed_in(desk, "Vera")
    with desk.people.connect() as connection:
        rows = [
            *connection.execute(select(User.password, User.upload_key)),
            *connection.execute(select(SessionRow.digest)),
        ]
    kept = " ".join(str(value) for row in rows for value in row)
    assert kept.count("$argon2id$") == 5
    assert not any(secret in kept for secret in (PASSWORD, key, browser.cookies["desk"]))


def test_passwords(desk: Desk) -> None:
    breached = ("iloveyou2026!", "qwertyuiop123", "trustno1trustno1")
    for bad in ("short", "a" * 12, "x" * 129, "handsfreehandsfree", "Password123456", "VeraVeraVera", *breached):
        with pytest.raises(Trouble):
            people.judge_password(bad, "Vera")
    for number, good in enumerate(("snow lamps over twelve sheds", "ñandú 雪 🐐 über allem", "x" * 100 + "yz1 ?&'\"<>")):
        people.add(desk.people, f"new {number}", "technician", "", "", good)
        assert people.sign_in(desk.people, f"new {number}", good, "x") is not None
        assert people.sign_in(desk.people, f"new {number}", good[:-1], "x") is None, "none of it is cut off"


def test_guessing_is_slowed(desk: Desk) -> None:
    browser = client(desk)
    codes = [post(browser, "/sign-in", name="Vera", password=f"guess {n}").status_code for n in range(8)]
    assert codes == [401] * people.OF_NAME + [429] * 3
    assert post(browser, "/sign-in", name="Vera", password=PASSWORD).status_code == 429, "not even the right one, from there"
    assert people.sign_in(desk.people, "Vera", PASSWORD, "10.9.9.9") is not None, "the person at another place is not slowed"
    assert post(browser, "/sign-in", name="Anna", password=PASSWORD).status_code == 303
    later = time.time() + people.WINDOW + 1
    assert people.sign_in(desk.people, "Vera", PASSWORD, "x", later) is not None


def test_many_names_from_one_address_are_slowed(desk: Desk) -> None:
    done = [people.sign_in(desk.people, f"nobody{n}", "x", "10.0.0.9") for n in range(people.OF_ADDRESS)]
    assert done == [None] * people.OF_ADDRESS
    with pytest.raises(Trouble, match="Too many"):
        people.sign_in(desk.people, "Vera", PASSWORD, "10.0.0.9")
    assert people.sign_in(desk.people, "Vera", PASSWORD, "10.0.0.8") is not None


def test_many_guesses_at_once_are_counted(desk: Desk) -> None:
    judged = 0

    def guess(n: int) -> bool:
        try:
            people.sign_in(desk.people, "Vera", f"guess {n}", f"10.0.1.{n}")
        except Trouble:
            return False
        return True

    with ThreadPoolExecutor(8) as pool:
        judged = sum(pool.map(guess, range(16)))
    assert judged == 16, "from sixteen places: under what one name may have from everywhere"
    with ThreadPoolExecutor(8) as pool:
        judged += sum(pool.map(guess, range(100, 140)))
    assert judged <= people.OF_NAME_ANYWHERE


def test_guesses_from_one_place_at_once_are_counted(desk: Desk) -> None:
    def guess(n: int) -> bool:
        try:
            people.sign_in(desk.people, "Vera", f"guess {n}", "10.0.2.1")
        except Trouble:
            return False
        return True

    with ThreadPoolExecutor(8) as pool:
        assert sum(pool.map(guess, range(16))) <= people.OF_NAME


def test_guesses_from_everywhere_do_not_keep_a_person_from_their_own_place(desk: Desk) -> None:
    assert people.sign_in(desk.people, "Vera", PASSWORD, "10.7.7.7") is not None
    for n in range(people.OF_NAME_ANYWHERE + 5):
        with contextlib.suppress(Trouble):
            people.sign_in(desk.people, "Vera", "guess", f"10.8.0.{n}")
    with pytest.raises(Trouble, match="Too many"):
        people.sign_in(desk.people, "Vera", PASSWORD, "10.8.1.1")
    assert people.sign_in(desk.people, "Vera", PASSWORD, "10.7.7.7") is not None


def test_no_redirect_leads_out_of_the_desk(desk: Desk) -> None:
    for to in ("http://evil.test/", "//evil.test", "/\\evil.test", "javascript:alert(1)", "\t//evil.test", "/\r\nx: y"):
        answer = post(client(desk), "/sign-in", name="Vera", password=PASSWORD, to=to)
        assert answer.headers["location"] == "/", to
    assert post(client(desk), "/sign-in", name="Vera", password=PASSWORD, to="/due").headers["location"] == "/due"


def test_what_was_written_cannot_run(desk: Desk) -> None:
    browser = signed_in(desk, "Vera")
    evil = '"><script>alert(1)</script>'
    for path in (
        f"/search?q={evil}",
        f"/visits?site={evil}",
        f"/findings?rule={evil}",
        f"/cabinet?cabinet={evil}",
        f"/?said={evil}",
        f"/measures?since={evil}",
    ):
        assert "<script>alert" not in browser.get(path).text
    assert "<script>alert" not in post(client(desk), "/sign-in", name=evil, password="x", to=evil).text


def test_attachments_are_downloads(desk: Desk, season: Made) -> None:
    import hashlib

    name = season.folders["first"].name
    page = b"<script>alert(1)</script>"
    (desk.visits / name / "attached" / "001-page.html").write_bytes(page)
    with desk.engine.begin() as connection:
        found = connection.execute(
            select(File.visit_id).where(File.path == "sound/00001.flac").order_by(File.visit_id)
        ).first()
        assert found is not None
        from handsfree.desk.tables import Visit

        number = connection.scalar(select(Visit.id).where(Visit.name == name))
        row = {"visit_id": number, "n": 9999, "path": "attached/001-page.html", "sha256": hashlib.sha256(page).hexdigest()}
        connection.execute(insert(File), [row])
    answer = signed_in(desk, "Vera").get(f"/visits/{name}/file/9999")
    assert answer.content == page
    assert answer.headers["content-type"] == "application/octet-stream"
    assert answer.headers["content-disposition"].startswith("attachment")


def test_a_file_that_is_not_what_its_name_says_is_a_download(desk: Desk, season: Made) -> None:
    import hashlib

    from handsfree.desk.ingest import ingest
    from handsfree.journal.events import Attached
    from handsfree.journal.writer import Journal

    name = season.folders["first"].name
    pictures = {"1.png": b"<script>alert(1)</script>", "2.png": b"\x89PNG\r\n\x1a\n picture"}
    with Journal.resume(desk.visits / name) as journal:
        for called, data in pictures.items():
            (desk.visits.parent / called).write_bytes(data)
            journal.append(Attached("evidence", *journal.attach(desk.visits.parent / called)))
        journal.seal()
    ingest(desk.engine, desk.visits / name)
    browser = signed_in(desk, "Vera")
    for data, kind, how in (
        (pictures["1.png"], "application/octet-stream", "attachment"),
        (pictures["2.png"], "image/png", "inline"),
    ):
        with desk.engine.connect() as connection:
            n = connection.scalar(select(File.n).where(File.sha256 == hashlib.sha256(data).hexdigest()))
        answer = browser.get(f"/visits/{name}/file/{n}")
        assert (answer.content, answer.headers["content-type"]) == (data, kind)
        assert answer.headers["content-disposition"].startswith(how)


def test_large_forms_are_refused(desk: Desk) -> None:
    browser = signed_in(desk, "Vera")
    assert post(browser, "/account", token=token(browser), old="x" * 70_000).status_code == 413


def test_other_methods_are_refused(desk: Desk) -> None:
    browser = signed_in(desk, "Vera")
    for method in ("PUT", "DELETE", "PATCH", "TRACE"):
        for path in ("/", "/visits", "/findings"):
            assert browser.request(method, path, headers={"origin": ORIGIN}).status_code == 405


def test_a_fault_says_nothing_of_itself(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    from starlette.testclient import TestClient

    from handsfree.desk import queries
    from handsfree.desk.app import build

    def fail(*_: object) -> None:
        raise RuntimeError("secret inner detail")

    secret = signed_in(desk, "Vera").cookies["desk"]
    monkeypatch.setattr(queries, "due", fail)
    browser = TestClient(build(desk, read_every=None), base_url=ORIGIN, raise_server_exceptions=False)
    browser.cookies.set("desk", secret, domain="desk.test")
    answer = browser.get("/due")
    assert answer.status_code == 500
    assert "secret" not in answer.text


def test_too_many_requests_are_slowed(desk: Desk) -> None:
    buckets = Buckets()
    rate = Rate(2, 4)
    assert [buckets.take("a", rate, 0.0) > 0 for _ in range(6)] == [False] * 4 + [True] * 2
    assert buckets.take("b", rate, 0.0) == 0
    assert [buckets.take("a", rate, 1.0) > 0 for _ in range(3)] == [False, False, True]
    desk.rates = Rates(address=Rate(0.01, 5))
    browser = client(desk)
    answers = [browser.get("/sign-in") for _ in range(7)]
    assert [a.status_code for a in answers] == [200] * 5 + [429] * 2
    assert int(answers[-1].headers["retry-after"]) > 0


def test_others_need_tls_and_accounts(tmp_path: Path) -> None:
    pem = tmp_path / "x.pem"
    pem.touch()
    for asked, accounts, why in (
        (DeskOptions(tmp_path, host="0.0.0.0"), 0, "no accounts"),
        (DeskOptions(tmp_path, host="0.0.0.0"), 3, "TLS"),
        (DeskOptions(tmp_path, host="192.0.2.1", certificate=pem, key=pem), 0, "no accounts"),
        (DeskOptions(tmp_path, host="::", certificate=pem), 3, "both"),
        (DeskOptions(tmp_path, host="desk.example", certificate=tmp_path / "no", key=pem), 3, "no file"),
        (DeskOptions(tmp_path, origin="https://desk.example"), 0, "no accounts"),
        (DeskOptions(tmp_path, origin="http://desk.example"), 3, "TLS"),
        (DeskOptions(tmp_path, host="0.0.0.0", origin="https://desk.example"), 3, "loopback"),
    ):
        with pytest.raises(Trouble, match=why):
            judge(asked, accounts)
    judge(DeskOptions(tmp_path), 0)
    judge(DeskOptions(tmp_path, host="::1"), 0)
    with pytest.raises(Trouble, match="--origin"):
        judge(DeskOptions(tmp_path, host="0.0.0.0", certificate=pem, key=pem), 1)
    named = DeskOptions(tmp_path, host="0.0.0.0", certificate=pem, key=pem, origin="https://desk.example:8642")
    judge(named, 1)
    assert origins(named) == ("https://desk.example:8642",)
    judge(DeskOptions(tmp_path, host="desk.example", certificate=pem, key=pem), 1)
    judge(DeskOptions(tmp_path, origin="https://desk.example"), 1)


def test_a_new_desk_has_no_account_and_a_door(tmp_path: Path) -> None:
    desk, _ = open_desk(DeskOptions(tmp_path))
    assert people.everybody(desk.people) == []
    assert len(desk.door) >= 40
    people.add(desk.people, "Vera", "supervisor", "*", "", PASSWORD)
    with pytest.raises(Trouble, match="already"):
        people.add(desk.people, "Vera", "supervisor", "*", "", PASSWORD)
    again, _ = open_desk(DeskOptions(tmp_path))
    assert again.door == "", "with accounts there is no way round them"


def test_passwords_come_by_standard_input_and_never_by_the_command_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    import io

    monkeypatch.setattr(sys, "stdin", io.StringIO(f"{PASSWORD}\n"))
    commands.people_add(tmp_path, "Vera", "supervisor", "*", "")
    commands.people_add(tmp_path, "phone", "device", "", "")
    commands.people_list(tmp_path)
    out = capsys.readouterr().out
    assert PASSWORD not in out
    assert "Vera, supervisor, team *" in out
    engine: Engine = database.open_engine(DeskOptions(tmp_path).people_url)
    assert people.sign_in(engine, "Vera", PASSWORD, "x") is not None
    commands.people_remove(tmp_path, "Vera")
    assert people.sign_in(engine, "Vera", PASSWORD, "x") is None
    with pytest.raises(Trouble, match="nobody"):
        commands.people_remove(tmp_path, "Vera")


def test_a_database_elsewhere_is_reached_encrypted() -> None:
    def mode(url: str) -> object:
        return database.open_engine(url).url.query.get("sslmode")

    assert mode("postgresql://db.example/desk") == "require"
    assert mode("postgresql://db.example/desk?sslmode=verify-full") == "verify-full"
    assert mode("postgresql:///desk?host=db.example") == "require"
    for near in ("postgresql://localhost/desk", "postgresql:///desk", "postgresql://x@/desk?host=/run/postgresql"):
        assert mode(near) is None, near


def test_a_desk_that_others_could_reach_does_not_start(tmp_path: Path) -> None:
    port = free_port()
    code = (
        "from pathlib import Path; from handsfree.desk.commands import desk; from handsfree.desk.serve import DeskOptions; "
        f"desk(DeskOptions(Path({str(tmp_path)!r}), host='0.0.0.0', port={port}))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode != 0
    assert "it has no accounts" in done.stderr


def test_the_program_starts_says_what_it_does_and_serves(season: Made, tmp_path: Path) -> None:
    """As a person starts it: the link it prints opens the desk, and the database it made can go."""
    import os
    import shutil

    import httpx

    visits = tmp_path / "visits"
    shutil.copytree(season.visits, visits)
    port = free_port()
    code = (
        "from pathlib import Path; from handsfree.desk.commands import desk; from handsfree.desk.serve import DeskOptions; "
        f"desk(DeskOptions(Path({str(visits)!r}), port={port}))"
    )
    for _ in range(2):
        process = subprocess.Popen([sys.executable, "-c", code], stderr=subprocess.PIPE, text=True, env=os.environ)
        try:
            said = said_until(process, "this link works once")
            assert "5 visits read" in said
            assert "it can be deleted at any time" in said
            link = re.search(r"http://\S+", said)
            assert link is not None
            with httpx.Client(base_url=f"http://127.0.0.1:{port}") as browser:
                for _ in range(100):
                    try:
                        answer = browser.get(link[0])
                        break
                    except httpx.ConnectError:
                        time.sleep(0.1)
                assert answer.status_code == 200
                assert "HK-9" in browser.get("/").text
        finally:
            process.terminate()
            process.wait(20)
        (visits / ".desk" / "desk.sqlite3").unlink()
        for left in (visits / ".desk").glob("desk.sqlite3-*"):
            left.unlink()
