"""A recording that is cut off anywhere loses nothing that was kept."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from handsfree.authoring.keeping import Shelf, open_recording, replayed
from handsfree.authoring.turn import RecorderState
from handsfree.journal.events import AnswerTaken, Resumed
from handsfree.journal.reader import JOURNAL
from handsfree.procedure.load import load_procedure
from tests.authoring.scenes import LOOK_AT_FAN, typed
from tests.journal.made import read_list

LINES = LOOK_AT_FAN.splitlines()
KEPT = [at for at, line in enumerate(LINES) if line == "keep"]
RECORD = "from handsfree.cli import main; main(['record', 'fan-look', '--typed', '--folder', '.'])"


def _until_kept(folder: Path, lines: list[str], number: str) -> None:
    """The program itself, given lines until it says that a step is kept; then killed with no chance to clean up."""
    root = Path(__file__).resolve().parents[2]
    environment = {**os.environ, "PYTHONPATH": str(root)}
    process = subprocess.Popen(
        [sys.executable, "-c", RECORD], cwd=folder, env=environment, text=True, stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write("".join(f"{line}\n" for line in lines))
    process.stdin.flush()
    try:
        for said in process.stdout:
            if said.strip() == f"Step {number} kept.":
                break
        else:
            raise AssertionError(f"it ended before step {number} was kept")
        # 'kept' is said after the save: what follows is the next question, in which the axe falls
        process.send_signal(signal.SIGKILL)
    finally:
        process.kill()
        process.wait()
        process.stdin.close()
        process.stdout.close()


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="Windows has no SIGKILL")
def test_killed_after_each_step_it_goes_on_and_comes_out_the_same(tmp_path: Path) -> None:
    whole, cut = tmp_path / "whole", tmp_path / "cut"
    cut.mkdir()
    typed(LOOK_AT_FAN, whole)
    names, begin = ("one", "two", "three", "four", "five", "six"), 0
    for at, number in zip(KEPT, names, strict=True):
        _until_kept(cut, LINES[begin : at + 1], number)
        begin = at + 1
        saved = (cut / "fan-look.yaml").read_text(encoding="utf-8")
        assert saved.count("- id:") == names.index(number) + 1
    typed("\n".join(LINES[begin:]) + "\n", cut)
    assert load_procedure(cut / "fan-look.yaml") == load_procedure(whole / "fan-look.yaml")


def _cut_off(folder: Path, home: Path, events: int) -> Path:
    """The recording as a crash after so many events leaves it, without its procedure file."""
    shutil.copytree(folder, home)
    journal = home / "fan-look.recording" / "001" / JOURNAL
    journal.write_bytes(b"".join(journal.read_bytes().splitlines(keepends=True)[:events]))
    (home / "fan-look.yaml").unlink()
    return home


def test_cut_off_after_any_event_every_kept_step_is_there(tmp_path: Path) -> None:
    told = typed(LOOK_AT_FAN, tmp_path / "whole")
    events = read_list(told.recording.shelf.session)
    for count in range(1, len(events)):
        kept = sum(isinstance(entry.event, AnswerTaken) and entry.event.answer == "kept" for entry in events[:count])
        home = _cut_off(tmp_path / "whole", tmp_path / f"cut-{count}", count)
        state, *_ = replayed(Shelf(home, "fan-look", home / "fan-look.recording" / "001"))
        assert len(state.draft.steps) >= kept
        if count % 25 == 0:
            _takes_up(home, state)


def _takes_up(home: Path, before: RecorderState) -> None:
    """Opened again, it is where it was, and its file is made anew."""
    recording = open_recording("fan-look", home, "en", "", "typed")
    recording.journal.close()
    if before.outcome != "finished":
        assert isinstance(recording.first, Resumed)
        assert recording.state.at == before.at
    typed(["stop recording"], home)
    assert (home / "fan-look.yaml").is_file()


def test_half_a_line_at_the_end_is_no_step(tmp_path: Path) -> None:
    told = typed("\n".join(LINES[: KEPT[1] + 1]) + "\n", tmp_path)
    journal = told.recording.shelf.session / JOURNAL
    with journal.open("ab") as stream:
        stream.write(b'{"entry":{"event":"NoteKept","te')
    again = typed(["stop recording"], tmp_path)
    assert len(again.state.draft.steps) == 2


def test_a_procedure_edited_by_hand_is_the_truth(tmp_path: Path) -> None:
    typed("\n".join(LINES[: KEPT[-1] + 1]) + "\n", tmp_path)
    path = tmp_path / "fan-look.yaml"
    edited = path.read_text(encoding="utf-8").replace("The fan moves little air.", "The fan hardly moves.")
    path.write_text(edited, encoding="utf-8")
    told = typed(["stop recording"], tmp_path)
    assert told.recording.shelf.session.name == "002"
    assert "The fan hardly moves." in told.text


def test_an_interrupted_question_is_asked_again(tmp_path: Path) -> None:
    typed(["Look at the fan", "new step", "Brush the fins."], tmp_path)
    told = typed(["an instruction", "none", "keep"], tmp_path)
    assert told.said[:2] == [
        "The recording of fan-look goes on: no step kept.",
        "What kind of step is it? An instruction, a caution, a question, a reading, or another kind.",
    ]
    assert "Brush the fins." in told.text
