"""The number on a lock stands in the record, which replay needs whole, and in nothing that people read of it. One visit is
made with a number that appears nowhere else, then everything that is made from its record is searched for it."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from rich.console import Console

from handsfree.journal import commands
from handsfree.journal.reader import JOURNAL, read
from handsfree.visit import telling
from tests.journal import visited

NUMBER, WRONG = "eight three nine six", "eight three nine one"
LINES = tuple(
    line.replace("seven three one", WRONG).replace(visited.LOCK, NUMBER) if isinstance(line, str) else line
    for line in visited.LINES
)
#: As words, as figures, apart or together, in either case.
SEEN = re.compile(r"eight[\s,]+three[\s,]+nine[\s,]+(six|one)|8[\s,]*3[\s,]*9[\s,]*[61]", re.IGNORECASE)


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = visited.visit(tmp_path_factory.mktemp("visits"), LINES)
    assert SEEN.search((folder / JOURNAL).read_text("utf-8")), "the record has it: the search finds what is there"
    return folder


def _terminal(record: Path, place: Path) -> str:
    out = io.StringIO()
    commands.replay(record, None, console=Console(file=out, width=200))
    return out.getvalue()


def _page(record: Path, place: Path) -> str:
    commands.replay(record, None, html=place / "visit.html", console=Console(file=io.StringIO()))
    return (place / "visit.html").read_text("utf-8")


def _paper(record: Path, place: Path) -> str:
    if not shutil.which("pdftotext"):
        pytest.skip("pdftotext is not installed")
    commands.replay(record, None, pdf=place / "visit.pdf", console=Console(file=io.StringIO()))
    return subprocess.run(["pdftotext", place / "visit.pdf", "-"], capture_output=True, check=True).stdout.decode()


def _report(record: Path, place: Path) -> str:
    commands.report(record, place / "report.md", console=Console(file=io.StringIO()))
    return (place / "report.md").read_text("utf-8")


def _readings(record: Path, place: Path) -> str:
    commands.export(record, "readings", place / "out.csv", console=Console(file=io.StringIO()))
    return (place / "out.csv").read_text("utf-8")


def _bystander(record: Path, place: Path) -> str:
    lines = filter(None, (telling.line(entry) for entry in read(record)))
    return "\n".join(f"{line.who} {line.text} {line.aside}" for line in lines)


def _captions(record: Path, place: Path) -> str:
    from handsfree.journal import captions
    from handsfree.journal.account import account

    return captions.webvtt([cue for _, cue in captions.pieces(account(record), None) if cue is not None])


def _search(record: Path, place: Path) -> str:
    """What the desk puts where it is searched, of every event."""
    from handsfree.desk.readout import _said

    return "\n".join(str(_said(entry.event)) for entry in read(record))


MADE: dict[str, Callable[[Path, Path], str]] = {
    "replay": _terminal, "page": _page, "paper": _paper, "report": _report, "readings": _readings, "captions": _captions,
    "telling": _bystander, "search": _search,
}  # fmt: skip


@pytest.mark.parametrize("made", MADE)
def test_the_number_is_in_nothing_that_is_made_of_the_record(made: str, record: Path, tmp_path: Path) -> None:
    text = MADE[made](record, tmp_path)
    assert len(text) > 100
    found = [text[max(0, hit.start() - 80) : hit.end() + 20] for hit in SEEN.finditer(text)]
    assert not found


def test_the_screen_shows_it_while_it_is_read_back_and_never_again(tmp_path: Path) -> None:
    from handsfree.journal.events import Say
    from handsfree.visit.glance import Glance

    shown: list[str] = []

    class Screen:
        def show(self, **fields: object) -> None:
            shown.append(" ".join(f"{name}={value}" for name, value in fields.items()))

    read_back: list[int] = []

    def watch(entry: object, state: object) -> None:
        event = entry.event  # type: ignore[attr-defined]  # of any kind of entry
        before = len(shown)
        glance(entry, state)  # type: ignore[arg-type]  # of any kind of entry
        if isinstance(event, Say) and SEEN.search(event.text):
            read_back.append(entry.n)  # type: ignore[attr-defined]  # of any kind of entry
            del shown[before:]

    glance = Glance(Screen())  # type: ignore[arg-type]  # of any kind of entry
    visited.visit(tmp_path, LINES, watch=watch)
    assert len(read_back) == 1
    assert not [line for line in shown if SEEN.search(line)]
