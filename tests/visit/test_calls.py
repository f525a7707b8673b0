"""What a called procedure brings back: its outcome, known to its caller under the id of the call step."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.errors import Trouble
from handsfree.journal.events import Closed, Decided
from handsfree.procedure import expressions, load
from handsfree.procedure.graph import outcomes
from tests.visit.scenes import Scene, book

CALLER = """
procedure: caller
title: Caller
steps:
  - {id: first-call, kind: call, procedure: called, say: First the other one.}
  - id: what-it-brought
    kind: decide
    say: That decides.
    cases: [{when: first_call == "fixed", go: mended}, {when: first_call == "handed over", go: gone}]
    otherwise: neither
  - {id: mended, kind: end, outcome: fixed, say: Mended.}
  - {id: gone, kind: end, outcome: handed over, say: Gone.}
  - {id: neither, kind: end, outcome: not fixed, say: Neither.}
"""
CALLED = """
procedure: called
title: Called
steps:
  - {id: ask, kind: ask, say: "How is it?", answers: {good: good-end, bad: bad-end, odd: last}}
  - {id: good-end, kind: end, outcome: fixed, say: Good.}
  - {id: bad-end, kind: end, outcome: handed over, say: Bad.}
  - {id: last, kind: instruct, say: Look again.}
"""
BETWEEN = """
procedure: between
title: Between
steps:
  - {id: inner-call, kind: call, procedure: called, say: On.}
"""


def closed(scene: Scene) -> str:
    (outcome,) = [effect.outcome for effect in scene.last if isinstance(effect, Closed)]
    return outcome


@pytest.mark.parametrize(
    ("words", "brought", "outcome"),
    [(("good",), "fixed", "fixed"), (("bad",), "handed over", "handed over"), (("odd", "next step"), "done", "not fixed")],
)
def test_the_outcome_decides_for_the_caller(words: tuple[str, ...], brought: str, outcome: str) -> None:
    scene = Scene(book(CALLER, CALLED)).open().words(*words)
    assert closed(scene) == outcome
    assert scene.state.remembered[("caller",), "first-call"].text == brought
    (decided,) = [effect for effect in scene.last if isinstance(effect, Decided)]
    assert ("first_call", brought) in decided.because
    assert scene.again() == scene.state


@pytest.mark.parametrize("words", [("good",), ("odd", "next step")])
def test_each_call_on_the_way_out_gets_its_own(words: tuple[str, ...]) -> None:
    """What lies between ends by running off its last step, whatever the inner one brought."""
    scene = Scene(book(CALLER.replace("procedure: called", "procedure: between"), BETWEEN, CALLED)).open().words(*words)
    inner = "fixed" if words == ("good",) else "done"
    assert scene.state.remembered[("caller", "between"), "inner-call"].text == inner
    assert scene.state.remembered[("caller",), "first-call"].text == "done"
    assert closed(scene) == "not fixed"


def test_a_second_time_brings_the_second_outcome() -> None:
    gone = "  - {id: gone, kind: end, outcome: handed over, say: Gone.}\n"
    again = CALLER.replace("go: gone}", "go: first-call}").replace(gone, "")
    scene = Scene(book(again, CALLED)).open().words("bad")
    assert scene.step == "ask"
    assert scene.state.remembered[("caller",), "first-call"].text == "handed over"
    scene.words("good")
    assert closed(scene) == "fixed"


def test_a_correction_inside_changes_what_is_brought() -> None:
    scene = Scene(book(CALLER, CALLED)).open().words("odd", "correction", "bad")
    assert closed(scene) == "handed over"


def write(folder: Path, caller: str = CALLER) -> Path:
    (folder / "called.yaml").write_text(CALLED, encoding="utf-8")
    (folder / "caller.yaml").write_text(caller, encoding="utf-8")
    return folder / "caller.yaml"


def test_outcomes_of_a_procedure() -> None:
    assert outcomes(load.parse_procedure(CALLED)) == ("fixed", "handed over", "done")
    assert outcomes(load.parse_procedure(CALLER)) == ("fixed", "handed over", "not fixed")


def test_only_what_the_called_one_can_bring_may_be_decided_on(tmp_path: Path) -> None:
    load.load_book(write(tmp_path), [tmp_path])
    with pytest.raises(Trouble, match=r"caller\.yaml line 6: step `what-it-brought` .* has no answer 'made safe'"):
        load.load_book(write(tmp_path, CALLER.replace('== "handed over"', '== "made safe"')), [tmp_path])


def test_without_the_book_any_outcome_there_is_will_do() -> None:
    tables = expressions.Tables.of(load.parse_procedure(CALLER).steps)
    assert expressions.check('first_call == "made safe" and taken(first_call)', tables) == ()
    assert expressions.check('first_call == "broken"', tables) != ()
    assert expressions.check("first_call > 3", tables) != ()
    with pytest.raises(Trouble, match="has no answer 'broken'"):
        load.parse_procedure(CALLER.replace('== "fixed"', '== "broken"'))
