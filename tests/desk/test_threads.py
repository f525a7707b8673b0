"""What is done about findings: asked, answered in writing or by voice, assigned, dismissed, opened again, followed up;
and nothing that a person wrote is lost."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from handsfree.desk import acts, people, queries, threads
from handsfree.desk.configuration import Desk
from handsfree.desk.digest import digest_for, markdown
from handsfree.desk.ingest import ingest
from handsfree.desk.queries import EVERYBODY, FindingQuery
from handsfree.journal.canonical import as_line, canonical
from tests.desk import made, many
from tests.desk.browsing import client, post, signed_in, token
from tests.desk.conftest import PASSWORD
from tests.desk.made import BRANDNER, HUBER, SUMMIT, Made


def of_huber(desk: Desk) -> Any:
    return next(row for row in queries.findings(desk.engine, EVERYBODY) if row.technician == HUBER)


def did(desk: Desk, key: str) -> list[str]:
    return [row.what for row in threads.thread(desk.engine, key)]


def do(browser: Any, key: str, what: str, **fields: str) -> Any:
    return post(browser, f"/findings/{key}", token=token(browser), what=what, **fields)


def test_a_question_is_answered_in_the_thread_of_its_finding(desk: Desk) -> None:
    vera, max_, anna = (signed_in(desk, name) for name in ("Vera", "Max", "Anna"))
    found = of_huber(desk)
    assert do(vera, found.key, "asked", text="Why did you leave it?", to=BRANDNER).status_code == 303
    assert "Why did you leave it?" in max_.get("/me").text
    assert "You are asked" in max_.get("/").text
    assert "Why did you leave it?" not in anna.get("/me").text
    assert do(max_, found.key, "signed off", text="It is nothing.").status_code == 403
    assert do(anna, found.key, "answered", text="I know!").status_code == 404, "it is not Anna's to see"
    assert do(max_, found.key, "answered", text="The door was <b>open</b>.").status_code == 303
    assert "The door was &lt;b&gt;open&lt;/b&gt;." in vera.get(f"/visits/{found.name}").text
    assert found.key in vera.get("/findings?signed=answered").text
    assert "No questions are waiting" in max_.get("/me").text
    assert did(desk, found.key) == ["asked", "answered"]


def test_an_answer_may_be_spoken_on_a_later_visit_and_is_heard_where_it_was_said(desk: Desk, tmp_path: Path) -> None:
    vera, found = signed_in(desk, "Vera"), of_huber(desk)
    do(vera, found.key, "asked", text="Why did you leave it?")
    for said, state in (("the gasket is torn", "asked"), ("Answer: a man leaned on the door", "answered")):
        began = datetime.now().astimezone() + timedelta(hours=2)
        lines = ("understood", 60.0, "note", said, "next step")
        folder = made.visit(desk.visits, lines, HUBER, SUMMIT, "HK-9", began)
        ingest(desk.engine, folder)
        assert queries.findings_of(desk.engine, _id(desk, found.name))[0].state == state
    text = vera.get(f"/visits/{found.name}").text
    assert "a man leaned on the door" in text
    assert f"/visits/{folder.name}?at=" in text
    threads.rebuild(desk.engine, desk.own)
    assert did(desk, found.key) == ["asked", "answered"], "worked out anew from the records"
    assert [kept.act.what for kept in acts.read(desk.own)] == ["asked"], "the record is where it was said, not the journal"


def _id(desk: Desk, name: str) -> int:
    row = queries.visit(desk.engine, EVERYBODY, name)
    assert row is not None
    return int(row.id)


def test_assign_dismiss_and_reopen_each_say_what_they_lack(desk: Desk) -> None:
    vera, toni, found = signed_in(desk, "Vera"), signed_in(desk, "Toni"), of_huber(desk)
    for what, fields in {
        "dismissed": {}, "signed off": {"text": " "}, "reopened": {}, "asked": {}, "assigned": {}, "follow-up": {},
        "forgotten": {"text": "x"},
    }.items():  # fmt: skip
        assert do(vera, found.key, what, **fields).status_code == 422, what
    assert do(vera, found.key, "assigned", to="nobody").status_code == 422
    assert do(vera, found.key, "follow-up", due="soon").status_code == 422
    assert do(vera, found.key, "signed off", text="x" * 2001).status_code == 422
    assert did(desk, found.key) == []
    assert do(vera, found.key, "assigned", to="Toni").status_code == 303
    assert "Assigned to you" in toni.get("/").text
    assert found.name in toni.get("/findings?signed=mine").text
    assert do(toni, found.key, "dismissed", text="A trial.").status_code == 303
    assert not any(row.key == found.key for row in queries.findings(desk.engine, EVERYBODY))
    assert do(vera, found.key, "reopened", text="It was none.").status_code == 303
    assert any(row.key == found.key for row in queries.findings(desk.engine, EVERYBODY))
    assert did(desk, found.key) == ["assigned", "dismissed", "reopened"]


def test_many_are_done_at_once_or_none(desk: Desk, season: Made) -> None:
    many.fill(desk, season, 20)
    vera, open_ones = signed_in(desk, "Vera"), queries.findings(desk.engine, EVERYBODY)
    keys = [row.key for row in open_ones[:4]]
    boxes = {f"k:{key}": "1" for key in keys}
    assert post(vera, "/findings", token=token(vera), what="signed off", text="Looked through.").status_code == 422
    other = {**boxes, "k:" + "0" * 64: "1"}
    assert post(vera, "/findings", token=token(vera), what="signed off", text="Looked through.", **other).status_code == 404
    assert sum(many for _, _, many in queries.tally(desk.engine, EVERYBODY)) == len(open_ones)
    assert post(vera, "/findings", token=token(vera), what="signed off", text="Looked through.", **boxes).status_code == 303
    closed = queries.findings(desk.engine, EVERYBODY, FindingQuery(closed=True))
    assert {row.key for row in closed} == set(keys)
    assert [kept.n for kept in acts.read(desk.own)] == [0, 1, 2, 3]


def test_a_follow_up_is_fulfilled_by_the_next_visit_to_the_cabinet(desk: Desk, tmp_path: Path) -> None:
    vera, found = signed_in(desk, "Vera"), of_huber(desk)
    assert do(vera, found.key, "follow-up", due="2026-04-01").status_code == 303
    (row,) = threads.follow_ups(desk.engine, EVERYBODY)
    assert (row.due, row.went) == ("2026-04-01", None)
    assert "overdue" in vera.get("/due").text
    assert "To follow up" in vera.get("/").text
    began = datetime.now().astimezone() + timedelta(hours=1)
    elsewhere = made.visit(desk.visits, ("understood",), BRANDNER, SUMMIT, "HK-4", began)
    ingest(desk.engine, elsewhere)
    assert threads.follow_ups(desk.engine, EVERYBODY)[0].went is None, "another cabinet"
    there = made.visit(desk.visits, ("understood",), BRANDNER, SUMMIT, "HK-9", began)
    ingest(desk.engine, there)
    assert threads.follow_ups(desk.engine, EVERYBODY)[0].went == there.name
    assert there.name in vera.get("/due").text


def test_what_was_written_when_the_session_was_over_is_kept(desk: Desk) -> None:
    vera, found = signed_in(desk, "Vera"), of_huber(desk)
    form = token(vera)
    desk.leave(vera.cookies["desk"])
    written = "Asked him: <the> door stood open & a bus waited."
    answer = post(vera, f"/findings/{found.key}", token=form, what="dismissed", text=written, back="/due")
    assert answer.status_code == 401
    assert "What you wrote is kept" in answer.text
    assert did(desk, found.key) == []
    hidden = dict(re.findall(r'name="(kept|kept_to)" value="([^"]*)"', answer.text))
    kept, to = unescape(hidden["kept"]), unescape(hidden["kept_to"])
    assert form not in kept
    wrong = post(vera, "/sign-in", name="Vera", password="not it", to="/", kept=kept, kept_to=to)
    assert wrong.status_code == 401
    assert hidden["kept"] in wrong.text, "nor by a slip of the fingers"
    again = post(vera, "/sign-in", name="Vera", password=PASSWORD, to="/", kept=kept, kept_to=to)
    assert again.status_code == 200
    assert written in unescape(again.text)
    assert did(desk, found.key) == [], "it is sent by the person, not by signing in"
    fields = {name: unescape(value) for name, value in re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', again.text)}
    action = re.search(r'<form method="post" action="([^"]*)" class="narrow">', again.text)
    assert action is not None
    done = post(vera, action[1], **{name: fields[name] for name in ("what", "back")}, token=token(vera), text=written)
    assert done.status_code == 303
    assert threads.thread(desk.engine, found.key)[0].text == written


def test_a_database_of_before_is_brought_up_to_date_with_what_is_in_it(
    request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    """From the tables of before there were threads, on both databases."""
    from alembic import command
    from alembic.config import Config
    from sqlalchemy import text

    from handsfree.desk import database
    from tests.desk.conftest import fresh

    for url in (database.sqlite_url(tmp_path / "old.sqlite3"), fresh(request.getfixturevalue("postgresql"))):
        engine = database.open_engine(url)
        config = Config()
        config.set_main_option("script_location", str(database.MIGRATIONS))
        config.set_main_option("path_separator", "os")
        with engine.begin() as connection:
            config.attributes["connection"] = connection
            command.upgrade(config, "0002")
        with engine.begin() as connection:
            texts = "name head problem signed_by procedure technician site cabinet program engine began_text outcome"
            columns = tuple(texts.split())
            zero = ("size", "changed", "reading", "events", "began", "lasted", "trips")
            names, values = ", ".join((*columns, *zero)), ", ".join(["'v'"] * len(columns) + ["1"] * len(zero))
            connection.execute(text(f"INSERT INTO visits (id, {names}) VALUES (1, {values})"))
            connection.execute(text("INSERT INTO sayings (digest, text) VALUES ('d', 'Gásket')"))
            connection.execute(text("INSERT INTO findings (key, visit_id, n, began, at, rule, sentence, signed) "
                                    "VALUES ('k', 1, 1, 1, 1, 'r', 's', true)"))  # fmt: skip
        database.migrate(engine)
        with engine.connect() as connection:
            assert connection.execute(text("SELECT folded FROM sayings")).scalar() == "gasket"
            assert connection.execute(text("SELECT key FROM findings WHERE closed")).scalar() == "k"
            assert connection.execute(text("SELECT technician FROM findings")).scalar() == "v"
            rolled = connection.execute(text("SELECT technician, visits FROM roll_technicians")).all()
            assert [tuple(row) for row in rolled] == [("v", 1)]
        engine.dispose()


@pytest.mark.parametrize("where", ["https://example.org/x", "//example.org", "/\\example.org"])
def test_what_was_kept_is_sent_nowhere_else(desk: Desk, where: str) -> None:
    answer = post(client(desk), "/sign-in", name="Vera", password=PASSWORD, to="/", kept="text=x", kept_to=where)
    assert "example.org" not in answer.text
    assert 'action="/"' in answer.text


def test_the_journal_of_before_is_read_and_written_on(desk: Desk) -> None:
    """Lines that only knew signing off, with a comment."""
    found = of_huber(desk)
    event = {"key": found.key, "visit": found.name, "n": found.n, "rule": found.rule, "sentence": found.sentence,
             "head": found.head, "by": "Vera", "comment": "Seen."}  # fmt: skip
    entry = {"event": event, "kind": "FindingSignedOff", "n": 0, "prev": "", "wall": "2026-03-10T09:00:00.000+01:00"}
    desk.own.mkdir(exist_ok=True)
    (desk.own / acts.FILE).write_bytes(as_line(canonical(entry))[0])
    assert threads.rebuild(desk.engine, desk.own) == 1
    (row,) = queries.findings(desk.engine, EVERYBODY, FindingQuery(closed=True))
    assert (row.key, row.by, row.comment, row.state) == (found.key, "Vera", "Seen.", "signed off")
    assert do(signed_in(desk, "Vera"), found.key, "reopened", text="Again.").status_code == 303
    assert [kept.act.what for kept in acts.read(desk.own)] == ["signed off", "reopened"]


def test_the_digest_says_what_came_in_what_needs_one_and_what_is_due(desk: Desk, season: Made) -> None:
    found = of_huber(desk)
    vera = signed_in(desk, "Vera")
    do(vera, found.key, "asked", text="Why?")
    do(vera, found.key, "follow-up", due="2026-03-10")
    now = made.day(3, 12).timestamp()
    week = digest_for(desk.engine, EVERYBODY, 7, now)
    assert week.outcomes == (("stopped", 1), ("to be continued", 1))
    assert [row.key for row in week.found] == [found.key]
    assert [row.asked for row in week.asked] == [HUBER]
    assert [row.due for row in week.follow_ups] == ["2026-03-10"]
    assert [row.cabinet for row in week.later] == ["TK-2"]
    assert digest_for(desk.engine, EVERYBODY, 1, now).visits == 0
    text = markdown(week, "https://desk.example")
    for words in ("2 visits: 1 stopped, 1 to be continued", "HK-9", f"https://desk.example/visits/{found.name}?at={found.n}",
                  "was to go there by 2026-03-10"):  # fmt: skip
        assert words in text
    assert "What came in" in vera.get("/digest?days=7").text
    assert vera.get("/digest.md?days=7").headers["content-type"].startswith("text/markdown")
    assert signed_in(desk, "Anna").get("/digest").status_code == 403


def test_who_is_taken_away_leaves_nothing_behind(desk: Desk) -> None:
    vera = signed_in(desk, "Vera")
    assert post(vera, "/saved", token=token(vera), name="cold", address="/visits?site=x").status_code == 303
    people.remove(desk.people, "Vera")
    people.add(desk.people, "Vera", "supervisor", "*", "", PASSWORD)
    assert "cold</a>" not in signed_in(desk, "Vera").get("/visits").text
