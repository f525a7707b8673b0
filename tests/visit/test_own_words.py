"""People's own words in a visit: they answer where nothing is at stake, and open nothing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from handsfree.dialogue.question import Consequence
from handsfree.journal.events import Say
from handsfree.visit.questions import QUESTIONS, listening
from handsfree.visit.state import Awaiting, Overlay
from tests.visit import data
from tests.visit.scenes import Scene, book
from tests.visit.test_gates import OPENS, at_clear, at_gate, at_meter

#: Every question that may open a gate, prove works dead, or count for either: none of them may be left out by a slip.
AT_STAKE = {
    Awaiting.UNDERSTOOD, Awaiting.SEEN, Awaiting.GATE, Awaiting.RELIEVED, Awaiting.RESTORE_CHECK, Awaiting.RESTORE_GATE,
    Awaiting.RESTORE_POWER, Awaiting.WHICH_SOURCE, Awaiting.TESTER_BEFORE, Awaiting.SWITCH_TRIED, Awaiting.OFF_AGAIN,
    Awaiting.LOOKED, Awaiting.DEAD_READING, Awaiting.DEAD_AFFIRM, Awaiting.TESTER_AFTER, Awaiting.WHO, Awaiting.LOCK_NUMBER,
    Awaiting.LOCK_AFFIRM, Awaiting.JOIN_GATE, Awaiting.LEAVE_GATE, Awaiting.OWNER_GONE,
}  # fmt: skip
ASKS = """
procedure: own
title: Own
steps:
  - {id: dry, kind: ask, say: Is it dry?, answers: {dry: {stands_for: yes}, damp: {stands_for: no}}}
  - {id: wipe, kind: instruct, say: Wipe the coil.}
  - {id: end, kind: end, outcome: done, say: Done.}
""".replace("stands_for: yes", 'stands_for: "yes"').replace("stands_for: no", 'stands_for: "no"')


def test_every_question_at_stake_is_known_as_one() -> None:
    assert {name for name, row in QUESTIONS.items() if row.stake is Consequence.GUARDED} == AT_STAKE


@pytest.mark.parametrize("scene", [at_gate, at_clear, lambda: at_gate().words(OPENS), at_meter])
def test_where_something_is_at_stake_own_words_are_not_in_force(scene: Callable[[], Scene]) -> None:
    here = scene()
    assert here.state.listening is not None
    assert not here.state.listening.own_words
    for overlay in Overlay:
        assert overlay is Overlay.PROPOSAL or not listening(replace(here.state, overlay=overlay)).own_words


@pytest.mark.parametrize(
    "words", ["okay, isolated lock four two", "right, isolated lock four two then", "yeah, done", "all done"]
)
def test_a_gate_stays_shut(words: str) -> None:
    here = at_gate().words(words)
    assert here.power == "ISOLATING"
    assert here.state.awaiting is Awaiting.GATE


@pytest.mark.parametrize(
    "words", ["okay so nothing runs", "nothing runs nothing runs", "yeah, nothing runs", "nope, nothing runs then"]
)
def test_a_proof_is_no_easier(words: str) -> None:
    here = at_gate().words(OPENS, words)
    assert here.power == "ISOLATING"
    assert here.state.awaiting is Awaiting.SWITCH_TRIED


def test_what_counts_for_a_proof_is_asked_again_and_not_taken() -> None:
    here = Scene(book(data.WHOLE)).open()
    here.ran = None
    here.words("next step", "warm", "43.5")
    assert here.state.awaiting is Awaiting.SEEN
    here.one("yeah, it is")
    assert here.state.awaiting is Awaiting.SEEN
    assert any(isinstance(effect, Say) for effect in here.last)


def test_own_words_answer_and_move_on_and_it_says_what_it_took() -> None:
    here = Scene(book(ASKS)).open()
    here.one("yeah, it is")
    assert here.said == "Dry. Wipe the coil."
    here.one("right then, that's done")
    assert here.state.outcome == "done"


def test_nobody_is_taken_at_their_own_words_while_the_program_stands_by() -> None:
    here = Scene(book(ASKS)).open().words("hang on")
    assert here.state.overlay is Overlay.STAND_BY
    here.one("okay, go on then")
    assert (here.said, here.state.overlay) == ("Go ahead?", Overlay.PROPOSAL), "it is asked, and counts once it is affirmed"
    here.one("no")
    assert here.state.overlay is Overlay.STAND_BY
