"""Visits that an earlier program wrote: every reader shows them as they were, and none says that they were tampered with.

`old/` holds three, made by the program of 28 November 2026 before sources had states of their own: a finished one, one
stopped behind the gate, one that crashed there. `rows.json` beside each is what that program showed of it."""

from __future__ import annotations

import json
import shutil
from contextlib import nullcontext
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from handsfree.desk.readout import read_out
from handsfree.errors import Trouble
from handsfree.journal import commands
from handsfree.journal.account import EARLIER, NEWER, account
from handsfree.journal.tongue import say_in
from handsfree.journal.writer import Journal
from handsfree.visit.review import replay_machine
from tests.journal.made import OPENED, TestClock
from tests.journal.visited import resume

OLD = Path(__file__).parent / "old"
VISITS = sorted(folder.name for folder in OLD.iterdir() if folder.is_dir())
#: What a row shows of these kinds is compared word for word.
IN_WORDS = ("said", "reading", "answer", "finding", "step", "caution")


@pytest.fixture(params=VISITS)
def visit(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    return Path(shutil.copytree(OLD / request.param, tmp_path / request.param))


def test_there_are_three() -> None:
    assert VISITS == ["crashed", "finished", "stopped"]


def test_it_is_shown_as_it_was(visit: Path) -> None:
    told = account(visit, replay_machine())
    was: dict[str, Any] = json.loads((visit / "rows.json").read_text())
    assert told.report.cut is None
    assert told.departure is None
    assert told.outcome == was["outcome"]
    assert [[span.state, span.n] for span in told.spans] == was["spans"]
    shown = {row.n: row for row in told.rows}
    for n, who, what, text in was["rows"]:
        if what in IN_WORDS:
            assert (shown[n].who, shown[n].what) == (who, what)
            assert shown[n].text == text.replace("seven three nine.", "…")  # no reader shows a lock's number any more
        else:
            assert n in shown


def test_every_reader_shows_it_and_says_that_an_earlier_program_made_it(visit: Path, tmp_path: Path) -> None:
    console = Console(record=True, width=400)
    unsealed = visit.name == "crashed"  # readers say so with a status of 3, after all is shown

    def wanted() -> Any:
        return pytest.raises(Trouble, match="without a seal") if unsealed else nullcontext()

    with wanted():
        commands.replay(visit, replay_machine(), console=console)
    assert EARLIER in console.export_text()
    page = tmp_path / "page.html"
    with wanted():
        commands.replay(visit, replay_machine(), html=page, console=Console(quiet=True))
    assert "An earlier program made this record." in page.read_text()
    with wanted():
        commands.verify(visit, console=Console(quiet=True))
    for what, name in (("readings", "r.csv"), ("events", "e.jsonl")):
        commands.export(visit, what, tmp_path / name, console=Console(quiet=True))
        assert (tmp_path / name).stat().st_size > 100
    with wanted():
        commands.report(visit, tmp_path / "report.pdf", console=Console(quiet=True))
    assert (tmp_path / "report.pdf").read_bytes()[:4] == b"%PDF"


def test_the_desk_takes_it_in(visit: Path) -> None:
    out = read_out(visit)
    assert any("earlier program" in str(row) for rows in out.rows.values() for row in rows)


@pytest.mark.parametrize("name", ["crashed", "stopped"])
def test_taken_up_again_everything_is_to_be_isolated_anew(name: str, tmp_path: Path) -> None:
    """It stood behind the gate. It comes back LIVE, and the next word of the work is not said before all is isolated."""
    visit = Path(shutil.copytree(OLD / name, tmp_path / name))
    state = resume(visit, ["next step", "next step"], at=20_000.0)
    assert str(state.interlock.power) == "LIVE"
    assert state.frames[-1].procedure == "summit-check"
    told = account(visit, replay_machine())
    assert told.report.cut is None
    back = next(row.n for row in told.rows if row.what == "resumed")
    after = [row for row in told.rows if row.n > back]
    assert not any("clean-condenser" in row.text and row.what == "step" for row in after)
    assert not any(row.what == "gate" and "to ISOLATED" in row.text for row in after)
    assert "44" not in " ".join(row.text for row in after)


def test_a_finished_one_cannot_be_taken_up_again(tmp_path: Path) -> None:
    visit = Path(shutil.copytree(OLD / "finished", tmp_path / "finished"))
    with pytest.raises(Trouble, match="begin a new visit"):
        resume(visit, [], at=20_000.0)


@pytest.mark.parametrize(("rules", "rule", "said"), [(1, "earlier program", EARLIER), (10**6, "newer program", NEWER)])
def test_a_program_ahead_of_this_one_is_not_called_an_earlier_one(tmp_path: Path, rules: int, rule: str, said: str) -> None:
    """Devices may be brought up to date before the desk is."""
    with Journal.create(tmp_path / "v", clock=TestClock()) as journal:
        journal.append(replace(OPENED, visit="v", rules=rules))
        journal.seal()
    told = account(tmp_path / "v", replay_machine())
    assert [(one.rule, one.sentence) for one in told.findings if "program" in one.rule] == [(rule, said)]
    assert say_in("es")(said) != said
    assert say_in("es")(rule) != rule
