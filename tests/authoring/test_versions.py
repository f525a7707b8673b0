"""Which version a visit read: its hash and a copy in the record, used years later, whatever became of the file."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path

import pytest

from handsfree.cli import app
from handsfree.journal.events import Opened, Say
from handsfree.procedure.load import load_book
from handsfree.visit.commands import VisitOptions, opened, visit
from handsfree.visit.live import live_visit
from handsfree.visit.sessions import book_named, state_of
from tests.authoring.scenes import LOOK_AT_FAN, typed
from tests.journal.made import read_list

NAME = "fan-look"
LINES = "seven three\naffirm\nunderstood\ndead calm\n"


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of its own, with a recorded procedure in `procedures`."""
    for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME"):
        monkeypatch.setenv(name, str(tmp_path / name))
    monkeypatch.chdir(tmp_path)
    typed(LOOK_AT_FAN, tmp_path / "procedures")
    return tmp_path


def asked(resume: Path | None = None) -> VisitOptions:
    return VisitOptions(
        procedure=None if resume else NAME, resume=resume, typed=True, sound_in=None, sound_out=None, engine=None,
        visits=Path("visits"), technician="Resi Kofler", site="Talstation", cabinet="cabinet 7", by_manual=True,
    )  # fmt: skip


def visited(lines: str, monkeypatch: pytest.MonkeyPatch, resume: Path | None = None) -> Path:
    before = set(Path("visits").iterdir()) if Path("visits").is_dir() else set()
    monkeypatch.setattr("sys.stdin", io.StringIO(lines))
    visit(asked(resume), live_visit, as_json=False)
    return resume or next(iter(set(Path("visits").iterdir()) - before))


def edited(place: Path) -> Path:
    """The procedure as it is a year later: other words, another end, another warning."""
    path = place / "procedures" / f"{NAME}.yaml"
    text = path.read_text(encoding="utf-8")
    for old, new in (
        ("The fan moves little air.", "The fan has failed."), ("outcome: not fixed", "outcome: made safe"),
        ("Mains voltage can kill.", "Mains voltage kills."),
    ):  # fmt: skip
        assert old in text
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")
    return path


def test_a_record_holds_the_hash_and_a_copy_of_what_was_read(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = place / "procedures" / f"{NAME}.yaml"
    read = path.read_bytes()
    folder = visited(LINES, monkeypatch)
    edited(place)
    event = read_list(folder)[0].event
    assert isinstance(event, Opened)
    assert dict(event.digests) == {NAME: hashlib.sha256(read).hexdigest()}
    assert dict(event.copies) == {NAME: read.decode("utf-8")}
    assert hashlib.sha256(path.read_bytes()).hexdigest() != dict(event.digests)[NAME]


@pytest.mark.parametrize("gone", [False, True])
def test_a_replay_years_later_uses_what_was_read_that_day(
    gone: bool, place: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = visited(LINES, monkeypatch)
    path = edited(place)
    if gone:
        path.unlink()
    state, _ = state_of(read_list(folder), folder)
    assert state.outcome == "not fixed"
    assert state.book.procedures[NAME].steps[-1].say == "The fan moves little air."
    capsys.readouterr()
    with pytest.raises(SystemExit) as ended:
        app(["replay", str(folder)], standalone_mode=True)
    assert ended.value.code == 0
    told = capsys.readouterr().out
    assert "The fan moves little air." in told
    assert "has failed" not in told


def test_a_visit_taken_up_again_goes_on_with_what_it_read(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = visited("seven three\naffirm\nunderstood\n", monkeypatch)
    edited(place)
    visited("seven three\naffirm\ndead calm\n", monkeypatch, folder)
    says = [entry.event.text for entry in read_list(folder) if isinstance(entry.event, Say)]
    assert any("The fan moves little air." in text for text in says)
    assert state_of(read_list(folder), folder)[0].outcome == "not fixed"


def test_a_visit_taken_up_again_plays_the_writers_recordings_too(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = visited("seven three\naffirm\nunderstood\n", monkeypatch)
    session = opened(asked(folder), "typed")
    session.journal.close()
    assert session.recordings is not None
    assert session.recordings.resolve() == (place / "procedures").resolve()
    (place / "procedures" / f"{NAME}.yaml").unlink()
    session = opened(asked(folder), "typed")  # its file is gone: the program's own voice says it
    session.journal.close()
    assert session.recordings is None


def test_versions_of_visits_and_files_are_compared(
    place: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    old = visited(LINES, monkeypatch)
    edited(place)
    new = visited(LINES, monkeypatch)
    assert book_named(str(new)).procedures == load_book(NAME).procedures
    for later in (str(new), NAME):
        capsys.readouterr()
        with pytest.raises(SystemExit):
            app(["compare", str(old), later], standalone_mode=True)
        told = capsys.readouterr().out.splitlines()
        assert told[0] == "Safety:"
        assert "mains-voltage-kill" in told[1]
        assert told[told.index("Other changes:") + 1 :] == [
            '  - Step `fan-moves-little-air` changed its words: from "The fan moves little air." to "The fan has failed."'
            ".", '  - Step `fan-moves-little-air` changed the outcome: from "not fixed" to "made safe".',
        ]  # fmt: skip
