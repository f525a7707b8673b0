"""`handsfree check` on a folder of faulty procedures, one fault each, and on good ones.

The head of each faulty file says, as comments, which group the remark belongs to, on which step, and a part of what it says.
All must be found, and nothing else in them blamed."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from handsfree.errors import Trouble
from handsfree.procedure import commands
from handsfree.procedure.check import as_data, check_file, check_path, lines
from handsfree.procedure.remarks import Weight
from handsfree.resources import shipped_folder

FAULTY = Path(__file__).parent / "faulty"
GOOD = Path(__file__).parents[1] / "procedure" / "data"
FILES = sorted(FAULTY.glob("*.yaml"))


def head(path: Path) -> dict[str, str]:
    return dict(re.findall(r"^# (group|step|says): (.*)$", path.read_text(encoding="utf-8"), re.MULTILINE))


@pytest.mark.parametrize("path", FILES, ids=[path.stem for path in FILES])
def test_each_fault_is_found_and_nothing_else_is_blamed(path: Path) -> None:
    report = check_file(path, [])
    wanted = head(path)
    assert len(report.remarks) == 1, [remark.shown for remark in report.remarks]
    remark = report.remarks[0]
    assert wanted["says"] in f"{remark.why} {remark.do}"
    assert remark.group == wanted["group"]
    assert remark.step == wanted["step"]
    text = path.read_text(encoding="utf-8").splitlines()
    assert remark.line >= 1
    if not remark.step:
        return  # the text could not be read as far as its steps
    first = next(at for at, row in enumerate(text, start=1) if re.search(rf"\bid: {remark.step}\b", row))
    assert first <= remark.line <= first + 12
    assert remark.file == f"faulty/{path.name}"


def test_there_is_a_file_for_every_group() -> None:
    assert {head(path)["group"] for path in FILES} == {
        "file", "graph", "values", "tells", "wording", "sound", "time", "recording"
    }
    assert len(FILES) >= 85


def test_good_ones_are_not_blamed() -> None:
    reports = {report.procedure: report for report in check_path(GOOD, [])}
    assert reports["warm-cabinet"].remarks == ()
    assert reports["ask-and-read"].remarks == ()
    # It runs off its end, which only matters where it runs alone: its caller goes on.
    assert [remark.weight for remark in reports["check-supply"].remarks] == [Weight.NOTE]
    assert reports["check-supply"].callers == ("warm-cabinet",)


def test_a_good_one_with_every_kind_of_gate_is_not_blamed() -> None:
    """The faulty ones about a door heater are this one, each with one change."""
    assert check_file(FAULTY.parent / "good" / "door-heater.yaml", []).remarks == ()


def test_the_graphs_of_the_shipped_procedures_are_without_fault() -> None:
    reports = check_path(shipped_folder("procedures"))
    assert len(reports) >= 5
    blamed = [
        remark.shown for report in reports for remark in report.remarks
        if remark.weight is Weight.ERROR and remark.group in ("file", "graph", "values")
    ]
    assert blamed == []


def test_times_and_isolations_of_each_way_through() -> None:
    report = check_file(GOOD / "warm-cabinet.yaml", [])
    assert report.extent is not None
    assert report.extent.ways == len(report.routes)
    assert report.extent.isolations == (0, 1)
    by_end = {(route.steps[-1], route.isolations) for route in report.routes}
    assert by_end == {("fixed", 1), ("handed-over", 1), ("handed-over", 0), ("not-warm", 0)}
    cleaned = next(route for route in report.routes if route.steps[-1] == "fixed" and "supply" not in route.steps)
    assert cleaned.minutes == pytest.approx(15)  # ten to brush, five to rest
    assert cleaned.listen == pytest.approx(
        sum(seconds for step, seconds in report.steps if step in cleaned.steps), abs=0.05 * len(cleaned.steps)
    )
    with_call = next(route for route in report.routes if "check-supply/outlet" in route.steps)
    assert with_call.steps.index("check-supply/outlet") > with_call.steps.index("supply")


def test_a_better_word_is_offered() -> None:
    texts = {path.stem: check_file(path, []).remarks[0].do for path in FILES if head(path)["group"] == "sound"}
    assert texts["answers-sound-alike"] == "Say 'frayed' instead of 'worn'."
    assert texts["answer-sounds-like-a-command"] != ""
    assert all(re.match(r"Say '|Write it |Use a longer word|Use another word", text) for text in texts.values())


def test_answers_of_two_sounds_that_differ_in_one_sound_alike(tmp_path: Path) -> None:
    path = tmp_path / "level.yaml"
    path.write_text(
        "procedure: level\ntitle: A level\nsteps:\n  - {id: level, kind: ask, say: Look at it., answers: [low, 'no']}\n"
        "  - {id: over, kind: end, say: The work is over., outcome: done}\n", encoding="utf-8",
    )  # fmt: skip
    said = [remark.why for remark in check_file(path, []).remarks]
    assert "Step `level` has the answers 'low' and 'no', which sound alike." in said


def test_measured_confusions_bring_answers_nearer_and_never_farther() -> None:
    from handsfree.language import base
    from handsfree.procedure.confusions import cost, shares_of, weighed

    english = base.load("en")
    assert shares_of("es") == {}
    assert weighed("caliente", "frío", "es") == 1.0
    shares = shares_of("en")
    assert shares[frozenset(("M", "N"))] > shares.get(frozenset(("L", "N")), 0.0)
    assert 0 < cost(0.2) < cost(0.05) < cost(0.0) == 1
    assert weighed("warm", "worn", "en") < english.apart("warm", "worn")  # M is taken for N more often than half
    assert weighed("open", "closed", "en") > 0.34


def test_the_command_prints_and_exits(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stopped:
        commands.check(FAULTY / "loop.yaml", as_json=True)
    assert stopped.value.code == 1
    data = json.loads(capsys.readouterr().out.splitlines()[-1])
    assert data["errors"] == 1
    assert data["files"][0]["remarks"][0]["path"] == ["lamp", "fan", "lamp"]
    commands.check(GOOD / "warm-cabinet.yaml")
    assert "12 ways through" in capsys.readouterr().out


def test_one_way_is_told_as_one_and_an_error_is_counted_once(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "one.yaml"
    path.write_text("procedure: one\ntitle: One\nsteps:\n  - {id: look, kind: instruct, say: Look at the lamp.}\n"
                    "  - {id: end, kind: end, outcome: done, say: Done.}\n", encoding="utf-8")  # fmt: skip
    commands.check(path)
    assert "one.yaml: one way through: " in capsys.readouterr().out
    with pytest.raises(SystemExit):
        commands.check(FAULTY / "loop.yaml")
    assert re.search(r"^1 file, 1 error, \d other remarks?\.$", capsys.readouterr().out, re.M)


def test_advice_alone_is_no_error() -> None:
    report = check_file(FAULTY / "two-instructions.yaml", [])
    assert report.errors == 0
    assert as_data([report])["errors"] == 0
    assert any("advice, wording" in line for line in lines(report))


def test_no_file_and_an_empty_folder(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match="no procedure file"):
        check_path(tmp_path / "absent.yaml")
    with pytest.raises(Trouble, match="no procedure file in"):
        check_path(tmp_path)


def test_one_unreadable_file_does_not_hide_the_others(tmp_path: Path) -> None:
    with (tmp_path / "huge.yaml").open("wb") as stream:
        stream.truncate(5_000_000)
    (tmp_path / "ask-and-read.yaml").write_bytes((GOOD / "ask-and-read.yaml").read_bytes())
    reports = {report.procedure: report for report in check_path(tmp_path, [])}
    assert reports["huge"].errors == 1
    assert "5.0 MB" in reports["huge"].remarks[0].why
    assert reports["ask-and-read"].remarks == ()
