"""One meaning of safe to run: what `check` calls an error, no verb starts, prints or passes over."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from handsfree.errors import Trouble
from handsfree.procedure import commands
from handsfree.procedure.check import check_file
from handsfree.procedure.load import load_book, procedure_files
from handsfree.procedure.remarks import Weight
from handsfree.procedure.safe import faults_of
from handsfree.resources import shipped_folder
from handsfree.visit.sessions import Who, begin, provable, resume

FAULTY = Path(__file__).parents[1] / "authoring" / "faulty"
GOOD = """\
procedure: lamp
title: Lamp
steps:
  - {id: danger, kind: caution, level: danger, hazards: [mains], say: Mains voltage can kill. Local codes come first.}
  - id: off
    kind: isolate
    say: Isolate the lamp.
    do: [Pull the plug., Put your lock and tag on it.]
    sources: [mains by cord and plug]
  - {id: dead, kind: prove, method: meter, unit: volt, below: 5, say: Measure between the pins.}
  - {id: rest, kind: wait, lasts: 2 min, because: The lamp is hot., say: Let the lamp cool.}
  - id: contact
    kind: ask
    hazards: [mains]
    say: How is the contact?
    answers: [corroded, spotless]
  - {id: back, kind: restore, say: Restore the supply., checks: [Take tools away., Fit the cover.], power: Plug it in.}
  - {id: end, kind: end, outcome: done, say: The lamp is checked.}
"""
#: What was seen to start although `check` called it an error, or to fall over in the middle.
SEEN = {
    "dead at mains voltage": ("below: 5", "below: 400"),
    "dead at more than mains voltage": ("below: 5", "below: 500"),
    "a proof in a pressure": ("unit: volt", "unit: bar"),
    "a proof in a temperature": ("unit: volt", "unit: degF"),
    "an answer that is a safety phrase": ("answers: [corroded,", "answers: [power is on,"),
    "an answer that is a command": ("answers: [corroded,", "answers: [stand by,"),
    "a wait beyond the calendar": ("lasts: 2 min", "lasts: 4000000 d"),
    "an accusation for want of an answer": (
        "    answers: [corroded, spotless]\n",
        "    answers: [corroded, spotless]\n"
        '  - {id: judge, kind: decide, say: Judge it., cases: [{when: contact == "spotless", go: back}], otherwise: bad}\n'
        "  - {id: bad, kind: finding, finding: lamp-failed, say: The lamp failed., evidence: [contact]}\n",
    ),
    "an accusation by whoever cannot tell": (
        "    answers: [corroded, spotless]\n",
        "    unknown: bad\n    answers: {corroded: {go: bad}, spotless: {go: back}}\n"
        "  - {id: bad, kind: finding, finding: lamp-failed, say: The lamp failed., evidence: [contact]}\n",
    ),
    "a wait of a month and more": ("lasts: 2 min", "lasts: 40 d"),
}


def written(place: Path, text: str, name: str = "lamp") -> Path:
    path = place / f"{name}.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_good_one_may_run(tmp_path: Path) -> None:
    path = written(tmp_path, GOOD)
    assert faults_of(load_book(path)) == ()
    assert provable(path).main == "lamp"


@pytest.mark.parametrize("name", SEEN)
def test_what_check_calls_an_error_no_visit_starts(tmp_path: Path, name: str) -> None:
    old, new = SEEN[name]
    assert old in GOOD
    path = written(tmp_path, GOOD.replace(old, new))
    errors = [remark for remark in check_file(path).remarks if remark.weight is Weight.ERROR]
    assert errors
    with pytest.raises(Trouble, match="not safe to run") as caught:
        provable(path)
    for error in errors:
        assert error.why in caught.value.sentence
    assert re.search(r"lamp\.yaml line \d+", caught.value.sentence)


@pytest.mark.parametrize("path", procedure_files(FAULTY), ids=lambda path: path.stem)
def test_check_and_visit_agree_on_every_faulty_procedure(path: Path) -> None:
    """Those that others call are remarked on more gently by `check`, never less so by a visit."""
    errors = any(remark.weight is Weight.ERROR for remark in check_file(path).remarks)
    if not errors:
        return
    with pytest.raises(Trouble):
        provable(path)


def test_a_fault_in_what_is_called_keeps_the_caller_from_running(tmp_path: Path) -> None:
    written(tmp_path, GOOD.replace("below: 5", "below: 400"))
    outer = "procedure: outer\ntitle: Outer\nsteps:\n  - {id: do, kind: call, procedure: lamp, say: The lamp comes next.}\n"
    path = written(tmp_path, outer + "  - {id: end, kind: end, outcome: done, say: The end.}\n", "outer")
    with pytest.raises(Trouble, match="counts anything below 400"):
        provable(path)


def test_every_procedure_that_ships_may_run() -> None:
    for path in procedure_files(shipped_folder("procedures")):
        assert faults_of(load_book(path)) == (), path.stem


def test_a_visit_is_not_taken_up_on_a_procedure_that_may_not_run(tmp_path: Path) -> None:
    """As of a record made before a rule was known: it is told, and nothing of the record is lost."""
    path = written(tmp_path, GOOD.replace("below: 5", "below: 400"))
    session = begin(load_book(path), tmp_path / "visits", Who(), "typed")
    session.journal.append(session.first)
    session.journal.close()
    before = (session.folder / "journal.jsonl").read_bytes()
    with pytest.raises(Trouble, match="not safe to run"):
        resume(session.folder)
    assert (session.folder / "journal.jsonl").read_bytes() == before


def test_list_marks_what_may_not_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "procedures").mkdir()
    written(tmp_path / "procedures", GOOD.replace("below: 5", "below: 400"))
    written(tmp_path / "procedures", GOOD.replace("procedure: lamp", "procedure: torch"), "torch")
    monkeypatch.chdir(tmp_path)
    commands.list_procedures()
    rows = {line.split()[0]: line for line in capsys.readouterr().out.splitlines()}
    assert "may not run: Step `dead` counts anything below 400" in rows["lamp"]
    assert "may not run" not in rows["torch"]
    assert not [name for name, row in rows.items() if "may not run" in row and name != "lamp"]


def test_paper_and_comparison_ask_the_same(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = written(tmp_path, GOOD.replace("below: 5", "below: 400"))
    with pytest.raises(Trouble, match="not safe to run"):
        commands.print_copy(str(path))
    good = load_book(written(tmp_path, GOOD, "good"))
    with pytest.raises(SystemExit) as stopped:
        commands.compare(good, load_book(path))
    assert stopped.value.code == 1
    assert "counts anything below 400" in capsys.readouterr().out
    commands.compare(load_book(path), good)
