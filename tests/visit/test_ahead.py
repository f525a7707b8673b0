"""What is synthesised ahead is what is said."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from handsfree.journal.events import Say
from handsfree.procedure import load
from handsfree.visit import sessions
from handsfree.visit.ahead import sentences_ahead
from handsfree.visit.machine import start
from tests.visit import data
from tests.visit.scenes import ENGLISH, Scene, book


def test_a_visit_says_of_its_steps_only_what_was_made_ahead() -> None:
    scene = Scene(book(data.WHOLE)).open()
    made = set(sentences_ahead(scene.state))
    speakable = scene.state.language.speakable
    scene.words("next step", "cool", "forty", "isolated lock four two", "nothing runs", "understood", "next step")
    scene.words("next step", "affirm", *["next step"] * 4, "clear lock four two", "next step")
    said = [entry.event for entry in scene.record if isinstance(entry.event, Say)]
    steps = [say for say in said if say.role in ("step", "caution")]
    assert len(steps) > 10
    assert [say.text for say in steps if speakable(say.text[say.front :].strip()) not in made] == []
    assert scene.state.outcome == "done"


def test_by_meter_too() -> None:
    scene = Scene(book(data.METER)).open()
    made = set(sentences_ahead(scene.state))
    speakable = scene.state.language.speakable
    scene.words("isolated lock four two", "affirm", "zero", "affirm", "affirm")
    steps = [entry.event for entry in scene.record if isinstance(entry.event, Say) and entry.event.role == "step"]
    assert scene.step == "touch"
    assert [say.text for say in steps if speakable(say.text[say.front :].strip()) not in made] == []


def test_no_module_but_the_interlock_makes_a_state_of_the_power() -> None:
    """ISOLATED is reached by `rules.proved` alone, and looked at, not made, everywhere else."""
    package = Path(sessions.__file__).parents[1]
    made = re.compile(r"=\s*Power\.ISOLATED|Hold\(\s*(power\s*=\s*)?Power\.")
    others = [path for path in package.rglob("*.py") if path.parent.name != "isolation"]
    assert len(others) > 100
    assert [path.name for path in others if made.search(path.read_text(encoding="utf-8"))] == []


THREE_POINTS = data.METER.replace("points: [the terminals]", "points: [one end, the middle, the other end]").replace(
    "- {id: done,", """- {id: again, kind: isolate, say: Once more., do: [Pull the plug.], sources: [mains]}
  - {id: fewer, kind: prove, method: meter, unit: volt, points: [the terminals], say: Measure there.}
  - {id: last, kind: instruct, hazards: [mains], say: Touch the other terminal.}
  - {id: back, kind: restore, say: Back now., checks: [Tools out.], power: Put the plug in again.}
  - {id: done,""",
)


def test_they_can_be_made_wherever_a_visit_stands_for_it_may_be_taken_up_there() -> None:
    """A measurement has points and a restore has checks; the next such step may have fewer."""
    scene = Scene(book(THREE_POINTS)).open()
    made = set(sentences_ahead(scene.state))
    for line in ("isolated lock four two", "affirm", *["zero", "affirm"] * 3, "affirm", *["next step"] * 3):
        scene.words(line)
        assert made <= set(sentences_ahead(replace(scene.state, learned=frozenset()))), line
    assert scene.state.check == 2


@pytest.mark.parametrize("name", ["dead-or-trips", "service-call"])
def test_of_a_shipped_procedure_too(name: str) -> None:
    state = start(load.load_book(name), ENGLISH)
    assert list(sentences_ahead(replace(state, point=2, check=3))) == list(sentences_ahead(state))
