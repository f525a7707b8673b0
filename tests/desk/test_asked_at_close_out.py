"""A supervisor's question travels to the device, is put at close-out, and what is said lands in its thread: a real desk on a
socket, the program's own verbs, a visit typed into the program."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from handsfree.desk import acts, people, queries, registry, threads
from handsfree.desk import commands as desk_commands
from handsfree.desk.app import build
from handsfree.desk.configuration import Desk
from handsfree.desk.ingest import refresh
from handsfree.desk.queries import EVERYBODY
from handsfree.desk.serve import DeskOptions
from handsfree.errors import Trouble
from handsfree.journal import reader
from handsfree.journal.events import Closed, DeskAnswered, DeskAsked, NoteKept, Say
from handsfree.sending import commands
from handsfree.sending.commands import SendOptions, send
from handsfree.sending.line import Destination, Uplink
from handsfree.sending.queue import Queue
from handsfree.visit import desk_questions, sessions
from handsfree.visit.desk_questions import DeskQuestion, parse, pending, questions_file
from tests.desk.browsing import post, signed_in, token
from tests.desk.made import BRANDNER, HUBER, SUMMIT
from tests.desk.serving import served
from tests.journal import visited
from tests.journal.made import TestClock

SHORT = """
procedure: short
title: A look
steps:
  - {id: look, kind: instruct, say: Look at the coil.}
  - {id: done, kind: end, outcome: fixed, say: That was it.}
"""
QUESTION = "Why did you leave the cabinet before it was cold?"


@pytest.fixture
def short(tmp_path: Path) -> Path:
    path = tmp_path / "short.yaml"
    path.write_text(SHORT)
    return path


@pytest.fixture
def device(desk: Desk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The file with a device's key; its outbox lies beside it."""
    path = tmp_path / "van" / "key"
    path.parent.mkdir()
    path.touch(0o600)
    path.write_text(people.add(desk.people, "van-1", "device", "valley", "", ""))
    monkeypatch.setenv("HANDSFREE_SETTINGS", str(tmp_path / "none.toml"))
    monkeypatch.setenv("HANDSFREE_OUTBOX", str(path.with_name("outbox.sqlite3")))
    return path


def ask(desk: Desk) -> Any:
    found = next(row for row in queries.findings(desk.engine, EVERYBODY) if row.technician == HUBER)
    vera = signed_in(desk, "Vera")
    assert post(vera, f"/findings/{found.key}", token=token(vera), what="asked", text=QUESTION).status_code == 303
    return found


def typed(short: Path, place: Path, technician: str, lines: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "handsfree", "visit", str(short), "--typed", "--technician", technician, "--visits",
               str(place), "--site", SUMMIT, "--cabinet", "HK-9", "--by-manual"]  # fmt: skip
    return subprocess.run(command, input=lines, capture_output=True, text=True, env=os.environ, timeout=60, check=False)


def test_a_question_is_put_at_close_out_and_the_answer_lands_in_its_thread(
    desk: Desk, device: Path, short: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    found, place = ask(desk), tmp_path / "van" / "visits"
    vera = signed_in(desk, "Vera")  # by the name that the desk has in this test's client
    with served(desk) as address:
        assert send(SendOptions(None, address, device, minutes=0.2), as_json=True) == 0
        assert json.loads(capsys.readouterr().out.splitlines()[-1])["questions"] == 1
        other = typed(short, place, BRANDNER, "next step\n")
        assert QUESTION not in other.stdout, "it is not for everybody"
        done = typed(short, place, HUBER, "next step\nThe lift was about to close for the night.\n")
        assert done.returncode == 0, done.stderr
        assert f"Vera asks: {QUESTION}" in done.stdout
        assert done.stdout.index(QUESTION) < done.stdout.index("That was it.")
        again = typed(short, place, HUBER, "next step\n")
        assert QUESTION not in again.stdout, "it was answered"
        assert send(SendOptions(None, address, device, minutes=0.2), as_json=True) == 0
        assert json.loads(capsys.readouterr().out.splitlines()[-1])["questions"] == 0, "that visit is still to be sent"
        assert QUESTION in desk_questions.file_beside(device.with_name("outbox.sqlite3")).read_text(), "it is remembered"
        assert send(SendOptions(place, address, device, minutes=0.2), as_json=True) == 0
        assert json.loads(capsys.readouterr().out.splitlines()[-1])["questions"] == 0
    assert [row.what for row in threads.thread(desk.engine, found.key)] == ["asked", "answered"]
    assert QUESTION not in desk_questions.file_beside(device.with_name("outbox.sqlite3")).read_text(), "the desk has it"
    desk.origins = ("http://desk.test",)
    page = vera.get(f"/visits/{found.name}").text
    assert "The lift was about to close for the night." in page
    assert "Hear it where it was said" in page
    threads.rebuild(desk.engine, desk.own)
    assert [row.what for row in threads.thread(desk.engine, found.key)] == ["asked", "answered"]
    assert [kept.act.what for kept in acts.read(desk.own)] == ["asked"]


def run(
    short: Path, place: Path, lines: list[str | float], asked: list[DeskQuestion], technician: str = HUBER
) -> tuple[list[Any], Path]:
    file = place / "desk-questions.json"
    place.mkdir(exist_ok=True)
    file.write_bytes(questions_file(asked))
    clock = TestClock(began=datetime.now(UTC) + timedelta(hours=1))  # after what was asked
    who = sessions.Who(technician, SUMMIT, "HK-9")
    session = sessions.begin(sessions.provable(short), place, who, "typed", clock=clock, asked=file)
    visited.run(session, lines, clock)
    return [entry.event for entry in reader.read(session.folder)], file


ONE = DeskQuestion("a" * 64, HUBER, "Vera", "Why?")
TWO = DeskQuestion("b" * 64, HUBER, "Vera", "Was the door open?", SUMMIT, "HK-9")


@pytest.mark.parametrize(
    ("lines", "answered"),
    [
        (["skip it"], ()), (["Skip it."], ()), (["no"], ()), ([61.0], ()), ([""], ()),
        (["say again", "a bus stood there"], ("a",)), (["no, the door was shut"], ("a",)),
        (["next step is what I said to him"], ("a",)),
    ],
)  # fmt: skip
def test_it_is_answered_or_passed_and_the_visit_ends_as_it_would(
    short: Path, tmp_path: Path, lines: list[str | float], answered: tuple[str, ...]
) -> None:
    events, file = run(short, tmp_path / "v", ["next step", *lines], [ONE])
    assert [e.outcome for e in events if isinstance(e, Closed)] == ["fixed"]
    assert [e.key[0] for e in events if isinstance(e, DeskAnswered)] == list(answered)
    assert [one.key[0] for one in parse(file.read_bytes())] == ([] if answered else ["a"])


def test_a_visit_that_breaks_off_at_a_question_ends_as_what_it_was(short: Path, tmp_path: Path) -> None:
    events, file = run(short, tmp_path / "v", ["next step"], [ONE, TWO])
    assert [e.outcome for e in events if isinstance(e, Closed)] == ["fixed"]
    assert len(parse(file.read_bytes())) == 2, "they are asked another time"


def test_a_question_without_a_stop_is_told_from_what_to_say(short: Path, tmp_path: Path) -> None:
    events, _ = run(short, tmp_path / "v", ["next step", "skip it"], [DeskQuestion("a" * 64, HUBER, "Vera", "Tell me why")])
    assert any("Tell me why. Answer now" in e.text for e in events if isinstance(e, Say))


def test_one_about_this_cabinet_comes_first_and_two_are_enough(short: Path, tmp_path: Path) -> None:
    third = DeskQuestion("c" * 64, HUBER, "Vera", "And?")
    events, _ = run(short, tmp_path / "v", ["next step", "first", "second"], [ONE, third, TWO])
    assert [e.key[0] for e in events if isinstance(e, DeskAsked)] == ["b", "a"]
    assert len([e for e in events if isinstance(e, NoteKept)]) == 2


def test_power_is_on_and_a_call_for_help_act_there_too(short: Path, tmp_path: Path) -> None:
    events, _ = run(short, tmp_path / "v", ["next step", "I am hurt", 70.0, "go ahead", "He asked me to"], [ONE])
    said = [e.text for e in events if isinstance(e, Say)]
    assert any("emergency" in text.casefold() for text in said), said
    assert [e.key[0] for e in events if isinstance(e, DeskAnswered)] == ["a"]


def test_a_desk_gives_a_device_the_questions_of_its_own_team_alone(desk: Desk) -> None:
    ask(desk)
    assert [one.technician for one in threads.asked_of(desk.engine, None)] == [HUBER]
    assert [one.technician for one in threads.asked_of(desk.engine, people.technicians_of(desk.people, "valley"))] == [HUBER]
    assert threads.asked_of(desk.engine, people.technicians_of(desk.people, "summit")) == []


@pytest.mark.parametrize("answer", [(404, b'{"problem": "?"}'), (200, b"<html>Pay for the net here.</html>"), (200, b"")])
def test_an_answer_that_is_no_list_of_questions_leaves_those_that_are_here(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, answer: tuple[int, bytes]
) -> None:
    """A portal on the way, or a desk of before: what answers there is made here."""
    queue = Queue(tmp_path / "outbox.sqlite3")
    kept = desk_questions.file_beside(queue.place)
    kept.write_bytes(questions_file([ONE]))
    monkeypatch.setattr(Uplink, "ask", lambda *_: answer)
    assert commands._questions(queue, Destination("http://127.0.0.1:9", "key")) == 0
    assert parse(kept.read_bytes()) == (ONE,)


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=200) | st.recursive(
    st.none() | st.integers() | st.text(max_size=20), lambda inner: st.lists(inner, max_size=4)
    | st.dictionaries(st.sampled_from(["questions", "key", "technician", "text", "by"]), inner, max_size=5), max_leaves=12,
).map(lambda value: json.dumps(value).encode()))  # fmt: skip
def test_whatever_answers_in_the_desks_place_is_questions_or_none(data: bytes) -> None:
    try:
        found = parse(data)
    except ValueError:
        return
    assert all(one.text.isprintable() and len(one.text) <= desk_questions.LONGEST for one in found)


def test_what_was_answered_is_not_put_again_before_the_desk_has_it(short: Path, tmp_path: Path) -> None:
    events, file = run(short, tmp_path / "v", ["next step", "a bus stood there"], [ONE, TWO])
    assert [e.key[0] for e in events if isinstance(e, DeskAnswered)] == ["b"]
    assert desk_questions.keep(file, (ONE, TWO)) == (ONE,), "the desk has not heard the answer"
    anew = replace(TWO, text="And was it shut when you left?")
    assert desk_questions.keep(file, (ONE, TWO, anew)) == (ONE, anew), "another question about the same"
    assert desk_questions.keep(file, (ONE,)) == (ONE,), "the desk has it"
    assert desk_questions.keep(file, (ONE, TWO)) == (ONE, TWO), "asked anew"


def test_a_question_finds_a_person_by_any_name_and_so_does_the_answer(desk: Desk, tmp_path: Path) -> None:
    """The records of before have one name; today's visits, and the device, have another."""
    new = "M. Huber-Lang (invented)"
    registry.put(desk.people, registry.PERSON, HUBER)
    (thing,) = registry.all_of(desk.people, registry.PERSON)
    registry.also(desk.people, thing.id, new)
    found = ask(desk)
    key = people.add(desk.people, "van-2", "device", "valley", "", "")
    van = TestClient(build(desk, read_every=None), base_url="http://desk.test")
    sent = parse(van.get("/upload/questions", headers={"authorization": f"Bearer {key}"}).content)
    assert {one.technician for one in sent} == {HUBER, new}
    short = tmp_path / "short.yaml"
    short.write_text(SHORT)
    for name, expected in ((BRANDNER, ["asked"]), (new, ["asked", "answered"])):
        asked = [replace(one, technician=name) for one in sent[:1]]
        _, file = run(short, tmp_path / name[:1], ["next step", "the lift closed"], asked, name)
        folder = next(file.parent.glob("*-short-*"))
        shutil.copytree(folder, desk.visits / folder.name)
        refresh(desk.engine, desk.visits, one=desk.one, names_of=desk.names_of)
        assert [row.what for row in threads.thread(desk.engine, found.key)] == expected, "nobody answers for somebody else"


def test_a_question_under_two_names_of_one_person_is_put_once(tmp_path: Path) -> None:
    """The registry has a name with capitals and without; so the desk sends it twice."""
    file = tmp_path / "q.json"
    file.write_bytes(questions_file([ONE, replace(ONE, technician=HUBER.lower()), TWO]))
    assert [key[0] for key, _, _ in pending(file, HUBER, "", "")] == ["a", "b"]


def test_what_was_asked_in_other_words_meanwhile_is_still_to_be_answered(short: Path, tmp_path: Path) -> None:
    anew = replace(ONE, text="And why not the day after?")
    events, file = run(short, tmp_path / "v", ["next step", "a bus stood there"], [ONE])
    folder = next(file.parent.glob("*-short-*"))
    desk_questions.keep(file, (anew,))  # `send` ran while the visit did
    desk_questions.take_out(file, folder)
    assert [e.text for e in events if isinstance(e, DeskAsked)] == [ONE.text]
    assert pending(file, HUBER, "", "") == ((anew.key, anew.by, anew.text),)
    assert desk_questions.keep(file, (anew,)) == (anew,)


@pytest.mark.parametrize("text", ["w\U0001f9caords " * 600, "\x00\n w" * 900])
def test_a_device_takes_all_that_a_desk_sends(text: str) -> None:
    """Five names of a person, a long text, many questions: as many as there is room for, each under all names or none."""
    one = DeskQuestion("", "", "V", text, "s" * 300, "c" * 300)
    asked = [[replace(one, key=f"{n:064}", technician=f"{n} {name}") for name in range(5)] for n in range(300)]
    sent = tuple(desk_questions.fits(asked))
    assert parse(questions_file(sent)) == sent
    assert len(sent) % 5 == 0
    assert 100 <= len(sent) <= desk_questions.MOST_KEPT


def test_persons_joined_in_the_registry_have_their_answers_heard(desk: Desk, tmp_path: Path) -> None:
    found, new = ask(desk), "M. Huber-Lang (invented)"
    (tmp_path / "short.yaml").write_text(SHORT)
    _, file = run(tmp_path / "short.yaml", tmp_path / "v", ["next step", "the lift closed"],
                  [DeskQuestion(found.key, new, "Vera", QUESTION)], new)  # fmt: skip
    folder = next(file.parent.glob("*-short-*"))
    shutil.copytree(folder, desk.visits / folder.name)
    refresh(desk.engine, desk.visits, one=desk.one, names_of=desk.names_of)
    assert [row.what for row in threads.thread(desk.engine, found.key)] == ["asked"]
    registry.put(desk.people, registry.PERSON, HUBER)
    (thing,) = registry.all_of(desk.people, registry.PERSON)
    vera = signed_in(desk, "Vera")
    post(vera, "/registry", token=token(vera), do="also", kind=registry.PERSON, id=f"P-{thing.id}", name=new)
    assert [row.what for row in threads.thread(desk.engine, found.key)] == ["asked", "answered"]


def test_a_digest_leaves_what_a_desk_with_its_people_elsewhere_knows(
    desk: Desk, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    test_persons_joined_in_the_registry_have_their_answers_heard(desk, tmp_path)
    (key,) = [row.key for row in queries.findings(desk.engine, EVERYBODY) if threads.thread(desk.engine, row.key)]
    asked = DeskOptions(desk.visits, str(desk.engine.url))
    for verb in (partial(desk_commands.digest, days=7, out=None, origin=""), desk_commands.check):
        with pytest.raises(Trouble, match="--people"):
            verb(asked)
        assert [row.what for row in threads.thread(desk.engine, key)] == ["asked", "answered"]
        verb(replace(asked, people=str(desk.people.url)))
        assert [row.what for row in threads.thread(desk.engine, key)] == ["asked", "answered"]
    assert "files are intact" in capsys.readouterr().out
    assert not (desk.own / "people.sqlite3").exists()


def test_nobody_is_asked_what_is_for_nobody(tmp_path: Path) -> None:
    file = tmp_path / "q.json"
    assert pending(file, HUBER, "", "") == ()
    file.write_bytes(questions_file([ONE]))
    assert pending(file, "", "", "") == ()
    assert pending(file, HUBER.upper(), "", "") == ((ONE.key, "Vera", "Why?"),)
    file.write_bytes(b"\xff" * 9)
    assert pending(file, HUBER, "", "") == ()
