"""Stand-by: what comes next, which visit is not finished, and a house whose listener and visits are a script."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handsfree.journal.events import Closed, Resumed
from handsfree.journal.writer import Journal
from handsfree.standby import core
from handsfree.standby.core import Begun, Deaf, HoldVisit, Listen, Rest, StandbyState, Unfinished, Wanted, advance
from handsfree.standby.supervising import House, stand_by
from handsfree.standby.unfinished import newest
from handsfree.standby.unit import unit_file
from handsfree.standby.watched import Watched

HERE = Path("visits/one")
BROKEN = Unfinished(HERE, 40.0, broken=True)
STOPPED = Unfinished(HERE, 40.0, broken=False)

visits = st.builds(
    Unfinished, st.sampled_from([HERE, Path("visits/two")]), st.floats(0, 1e6), st.booleans()
) | st.none()  # fmt: skip
wishes = st.builds(Wanted, st.sampled_from([core.START, core.GO_ON]), visits)
happenings = st.builds(Begun, visits) | wishes | st.builds(Deaf, st.text())


@pytest.mark.parametrize(
    ("happening", "effect"),
    [
        (Begun(), Listen(False)),
        (Begun(BROKEN), HoldVisit(HERE)),
        (Begun(STOPPED), Listen(True, "standby-unfinished")),
        (Begun(Unfinished(HERE, core.FRESH + 1, broken=True)), Listen(True, "standby-unfinished")),
        (Wanted(core.START), HoldVisit(None)),
        (Wanted(core.START, BROKEN), HoldVisit(None)),
        (Wanted(core.GO_ON, STOPPED), HoldVisit(HERE)),
        (Wanted(core.GO_ON), HoldVisit(None)),
        (Deaf("No microphone."), Rest(2.0, "No microphone.")),
    ],
)
def test_what_comes_next(happening: core.StandbyHappening, effect: core.StandbyEffect) -> None:
    assert advance(StandbyState(), happening)[1] == effect


def test_a_listener_that_fails_each_time_is_tried_ever_more_slowly() -> None:
    """Found where there was no microphone: it rested two seconds each time, for ever."""
    state, rests = StandbyState(), []
    for _ in range(8):
        state, effect = advance(state, Deaf("No microphone."))
        assert isinstance(effect, Rest)
        rests.append(effect.seconds)
        state, _ = advance(state, Begun())
    assert rests == [2.0, 4.0, 8.0, 16.0, 32.0, core.LONGEST_REST, core.LONGEST_REST, core.LONGEST_REST]


def test_a_visit_that_breaks_again_and_again_waits_for_its_person() -> None:
    state, effects = StandbyState(), []
    for _ in range(core.TRIES + 2):
        state, effect = advance(state, Begun(BROKEN))
        effects.append(effect)
    assert effects == [HoldVisit(HERE)] * core.TRIES + [Listen(True, "standby-broken")] * 2
    state, effect = advance(state, Wanted(core.GO_ON, BROKEN))
    assert effect == HoldVisit(HERE)
    assert advance(state, Begun(BROKEN))[1] == HoldVisit(HERE)  # asked for by a person, it may break three times anew


@given(st.lists(happenings, max_size=30))
def test_no_visit_is_taken_up_for_ever_and_no_rest_is_long(all_of_them: list[core.StandbyHappening]) -> None:
    state, by_itself = StandbyState(), 0
    for happening in all_of_them:
        state, effect = advance(state, happening)
        by_itself = by_itself + 1 if isinstance(happening, Begun) and effect == HoldVisit(HERE) else 0
        assert by_itself <= core.TRIES
        assert not isinstance(effect, Rest) or 0 < effect.seconds <= core.LONGEST_REST


# ---- which visit


def visit(folder: Path, *events: object, at: float = 0.0) -> Path:
    with Journal.create(folder) as journal:
        for event in events:
            journal.append(event)  # type: ignore[arg-type]  # each is an event
    os.utime(folder / "journal.jsonl", (at, at))
    return folder


@pytest.mark.parametrize(
    ("events", "broken"),
    [((Resumed("begun"),), True), ((Closed("stopped"),), False), ((Closed("to be continued"),), False),
     ((Closed("stopped"), Resumed("stopped")), True), ((Closed("fixed"),), None)],
)  # fmt: skip
def test_how_it_ended_decides(tmp_path: Path, events: tuple[object, ...], broken: bool | None) -> None:
    folder = visit(tmp_path / "one", *events, at=1000.0)
    found = newest(tmp_path, lambda: 1060.0)
    assert found == (None if broken is None else Unfinished(folder, 60.0, broken))


def test_the_newest_counts_and_what_cannot_be_read_is_passed_over(tmp_path: Path) -> None:
    visit(tmp_path / "old", Resumed("begun"), at=1000.0)
    new = visit(tmp_path / "new", Resumed("begun"), at=2000.0)
    torn = visit(tmp_path / "torn", Resumed("begun"), Closed("fixed"), at=1.0)
    data = (torn / "journal.jsonl").read_bytes()
    (torn / "journal.jsonl").write_bytes(data[:40] + b"x" + data[41:])
    (tmp_path / "empty").mkdir()
    (tmp_path / "notes.txt").write_text("no visit")
    found = newest(tmp_path, lambda: 2000.0)
    assert found is not None
    assert found.folder == new
    assert newest(tmp_path / "nowhere") is None


# ---- the house

SCRIPT = """
import json, os, sys, pathlib
here = pathlib.Path({here!r})
calls = here / "calls.json"
told = json.loads(calls.read_text()) if calls.exists() else []
told.append(sys.argv[1:])
calls.write_text(json.dumps(told))
turn = json.loads((here / "script.json").read_text())[len(told) - 1]
if turn.get("die"):
    os.abort()
print(turn.get("out", ""))
print(turn.get("err", ""), file=sys.stderr)
sys.exit(turn.get("status", 0))
"""


def held(tmp_path: Path, *turns: dict[str, object]) -> tuple[list[list[str]], list[str], list[float]]:
    (tmp_path / "script.json").write_text(json.dumps(turns))
    (tmp_path / "stub.py").write_text(SCRIPT.format(here=str(tmp_path)))
    told: list[str] = []
    slept: list[float] = []
    program = (sys.executable, str(tmp_path / "stub.py"))
    house = House(tmp_path / "visits", ("--visits", "v"), ("--language", "en"), program=program)
    rests = sum(1 for turn in turns if turn.get("rest"))
    watched = Watched()
    watched.rest = slept.append  # type: ignore[method-assign]  # no test waits
    stand_by(house, told.append, watched, turns=len(turns) + rests)
    return json.loads((tmp_path / "calls.json").read_text()), told, slept


def test_the_words_start_a_visit_and_then_it_listens_again(tmp_path: Path) -> None:
    calls, _, _ = held(tmp_path, {"out": "start"}, {"status": 0}, {"out": "start"})
    listener = ["handsfree.standby.listening", "--say", "standby-ready", "--ends-with-input", "--language", "en"]
    assert calls == [listener, ["handsfree", "visit", "--visits", "v"], listener]


def test_a_visit_that_crashed_is_taken_up_at_once(tmp_path: Path) -> None:
    folder = visit(tmp_path / "visits/one", Resumed("begun"), at=0)
    os.utime(folder / "journal.jsonl")
    calls, told, _ = held(tmp_path, {"die": True}, {"die": True}, {"die": True}, {"out": "go on"}, {"status": 0})
    resume = ["handsfree", "visit", "--resume", str(folder), "--visits", "v"]
    assert calls[:3] == [resume] * 3
    assert calls[3][:4] == ["handsfree.standby.listening", "--say", "standby-broken", "--may-go-on"]
    assert calls[4] == resume
    assert sum("broke off" in sentence for sentence in told) == 3


def test_a_listener_that_fails_is_tried_again_and_told(tmp_path: Path) -> None:
    calls, told, slept = held(
        tmp_path,
        {"status": 2, "err": "No microphone is there.", "rest": 1}, {"die": True, "rest": 1}, {"out": "noise", "rest": 1},
    )  # fmt: skip
    assert len(calls) == 3
    assert told[0] == "No microphone is there. Trying again in 2 s."
    assert told[1] == "The listener broke off. Trying again in 4 s."
    assert slept


@pytest.mark.skipif(not shutil.which("systemd-analyze"), reason="needs systemd")
def test_systemd_reads_the_unit(tmp_path: Path) -> None:
    unit = tmp_path / "handsfree-stand-by.service"
    unit.write_text(unit_file((sys.executable, "-m", "handsfree", "stand-by"), tmp_path, "/tmp/a 100% $odd/settings.toml"))
    surroundings = {**os.environ, "XDG_RUNTIME_DIR": str(tmp_path)}
    done = subprocess.run(
        ["systemd-analyze", "--user", "verify", str(unit)], capture_output=True, text=True, check=False, env=surroundings
    )
    assert done.returncode == 0, done.stderr
    assert str(unit) not in done.stderr, done.stderr


def test_a_unit_is_written_where_it_is_told(tmp_path: Path) -> None:
    out = tmp_path / "deep/handsfree.service"
    done = subprocess.run(
        [sys.executable, "-m", "handsfree", "stand-by", "unit", "--out", str(out)],
        capture_output=True, text=True, check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "systemctl --user enable --now handsfree.service" in done.stdout
    assert 'ExecStart="' in out.read_text()
    assert "Restart=always" in out.read_text()
