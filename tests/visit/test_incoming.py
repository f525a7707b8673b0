"""Photos that come from a phone: taken whole, bound to the step that asked, named in the record, and nothing lost."""

from __future__ import annotations

import io
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from handsfree.journal.account import account
from handsfree.journal.events import Attached, Closed, Happening, KeepNote, ListenFor, ReadingTaken, Say, Stamped
from handsfree.journal.reader import read
from handsfree.journal.screen import curve
from handsfree.journal.story import story
from handsfree.journal.verify import verify
from handsfree.procedure import load
from handsfree.visit import sessions
from handsfree.visit.commands import typed_runner
from handsfree.visit.incoming import Incoming
from handsfree.visit.machine import advance
from handsfree.visit.sessions import Session, Who, begin, run
from handsfree.visit.state import State
from tests.visit.test_attach import PHOTO


class Quiet:
    def listen(self, what: ListenFor) -> None: ...
    def keep_note(self, note: KeepNote) -> None: ...
    def close(self) -> None: ...
    def next(self, timeout: float | None) -> Happening | None:
        assert timeout is not None
        return None


def opened(place: Path) -> Session:
    return begin(load.book_of(load.parse_procedure(PHOTO)), place, Who(), "typed")


def attached(folder: Path) -> list[Attached]:
    return [entry.event for entry in read(folder) if isinstance(entry.event, Attached)]


def test_half_a_photo_is_none_and_a_whole_one_is_taken_once(tmp_path: Path) -> None:
    session = opened(tmp_path)
    incoming = Incoming(session.journal)
    incoming.folder.mkdir()
    photo = incoming.folder / "wiring.jpg"
    photo.write_bytes(b"half")
    assert incoming.look() is None
    photo.write_bytes(b"half and the other half")
    assert incoming.look() is None
    found = incoming.look()
    assert isinstance(found, Attached)
    assert (session.folder / found.file).read_bytes() == b"half and the other half"
    assert photo.exists()  # until the record names it
    (stamped,) = session.journal.append(found)[-1:]
    incoming.recorded(stamped)
    assert not photo.exists()
    assert incoming.look() is None
    session.journal.close()


@pytest.mark.parametrize("name", [".hidden.jpg", "photo.jpg.part", "empty.jpg"])
def test_what_is_no_photo_yet_is_left_alone(tmp_path: Path, name: str) -> None:
    session = opened(tmp_path)
    incoming = Incoming(session.journal)
    incoming.folder.mkdir()
    (incoming.folder / name).write_bytes(b"" if name.startswith("empty") else b"x")
    assert [incoming.look(), incoming.look(), incoming.look(last=True)] == [None] * 3
    session.journal.close()


def test_the_ear_brings_it_and_else_waits_no_longer_than_a_look(tmp_path: Path) -> None:
    session = opened(tmp_path)
    ear = session.incoming.beside(Quiet())
    assert ear.next(None) is None
    session.incoming.folder.mkdir()
    (session.incoming.folder / "plate.jpg").write_bytes(b"x")
    assert ear.next(100.0) is None
    assert isinstance(ear.next(100.0), Attached)
    session.journal.close()


def test_a_whole_visit_names_the_photo_at_its_step(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    session = opened(tmp_path)
    session.incoming.folder.mkdir()
    (session.incoming.folder / "Ümlaut and blanks.jpg").write_bytes(b"a picture")
    monkeypatch.setattr(sessions.Incoming, "look", _once_asked(sessions.Incoming.look))
    monkeypatch.setattr("sys.stdin", io.StringIO("four two\naffirm\nnext step\n"))
    run(session, lambda s: typed_runner(s, lambda entry, state: None))
    (found,) = attached(session.folder)
    assert (found.step, (session.folder / found.file).read_bytes()) == ("shot", b"a picture")
    assert list(session.incoming.folder.iterdir()) == []
    assert verify(session.folder).holds
    assert any("in the record" in entry.event.text for entry in read(session.folder) if isinstance(entry.event, Say))


def test_what_comes_at_the_very_end_is_not_lost(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    session = opened(tmp_path)
    monkeypatch.setattr("sys.stdin", io.StringIO("four two\naffirm\nnext step\n"))

    def drop(entry: Stamped, state: State) -> None:
        if isinstance(entry.event, Closed):
            session.incoming.folder.mkdir()
            (session.incoming.folder / "late.jpg").write_bytes(b"late")

    run(session, lambda s: typed_runner(s, drop))
    assert [found.step for found in attached(session.folder)] == ["shot"]
    assert verify(session.folder).holds


def _once_asked(look):  # type: ignore[no-untyped-def]  # a stand-in
    """The photo is put there after the step has asked for it."""
    return lambda self, last=False: look(self, last=True) if self.step else None


def log_of(session: Session, minutes_before: float, celsius: float, unit: str = "°C") -> str:
    """Three samples, the last so long before the visit's opening by its own clock."""
    (first, *_) = session.journal.append(session.first)
    ends = datetime.fromisoformat(first.wall).replace(tzinfo=None) - timedelta(minutes=minutes_before)
    times = [ends - timedelta(minutes=30 * back) for back in (2, 1, 0)]
    return f"Time,Temperature ({unit})\n" + "".join(f"{t:%Y-%m-%d %H:%M:%S},{celsius}\n" for t in times)


def taken_from(session: Session, text: str) -> tuple[Attached, State]:
    incoming = Incoming(session.journal)
    incoming.folder.mkdir()
    (incoming.folder / "logger.csv").write_text(text, encoding="utf-8")
    found = incoming.look(last=True)
    assert isinstance(found, Attached)
    began, _ = advance(session.state, Stamped(0, "", 0.0, session.first))
    state, _ = advance(began, Stamped(99, "", 60.0, found))
    return found, state


def test_a_loggers_file_counts_in_the_visit(tmp_path: Path) -> None:
    session = opened(tmp_path)
    found, state = taken_from(session, log_of(session, 10, 12.5))
    assert [round(minute) for minute, _ in found.rows] == [-70, -40, -10]
    assert [sample.value for sample in state.series if sample.series == "food"] == [12.5] * 3
    session.journal.append(found)
    assert attached(session.folder)[0].rows == found.rows  # the record gives it back as it was
    session.journal.close()


def test_what_a_logger_measured_is_drawn(tmp_path: Path) -> None:
    """From before the visit, on the log's own clock, in the degrees of who read a thermometer there."""
    session = opened(tmp_path)
    found, _ = taken_from(session, log_of(session, 10, 12.5))
    session.journal.append(found)
    session.journal.append(ReadingTaken(("photo",), "shot", "temperature", 41.0, "degF", 41.0, "degF"))
    session.journal.close()
    (logged,) = [one for one in story(account(session.folder)).curves if one.logged]
    assert (logged.quantity, logged.unit) == (f"temperature by {found.file}, before the visit", "°F")
    assert [(point.at / 60, point.value) for point in logged.points] == [(0, 54.5), (30, 54.5), (60, 54.5)]
    drawn = curve(logged)
    assert "from 54.5 to 54.5 °F in 1 h" in drawn
    assert 'class="thread"' in drawn


@pytest.mark.parametrize(
    ("minutes_before", "unit", "why"), [(60 * 24 * 40, "°C", "clock"), (-60 * 24, "°C", "clock"), (10, "x", "unit")]
)
def test_a_log_of_another_day_or_unit_counts_for_nothing(
    tmp_path: Path, minutes_before: float, unit: str, why: str
) -> None:
    session = opened(tmp_path)
    found, state = taken_from(session, log_of(session, minutes_before, 12.5, unit))
    assert why in found.amiss
    assert state.series == ()
    session.journal.close()
