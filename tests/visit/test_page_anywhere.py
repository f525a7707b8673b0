"""What the cabinet's page knows is answered wherever a visit waits: at a question, a wait, every gate and proof."""

from __future__ import annotations

import pytest

from handsfree.dialogue.hearing import typed, utterance_of
from handsfree.dialogue.listening import listening_of
from handsfree.journal.events import Gate, Happening, Say, Stamped
from handsfree.language import base
from handsfree.visit.machine import advance
from handsfree.visit.state import Awaiting
from tests.bench import talk

ENGLISH = base.load("en")
QUESTIONS = {
    "Where is the relay?": "The relay: in the control box",
    "what colour goes to terminal two": "Terminal two: black",
    "how do I show the setting": "Press the lower key once.",
    "what is the charge": "150 grams of R-134a.",
    "how heavy is the deck": "The deck: 18 kilograms",
}
#: Where nothing but what is asked may be said: a number on a lock is said alone.
ALONE = {Awaiting.LOCK_NUMBER, Awaiting.LOCK_AFFIRM}


class Asking(talk.Technician):
    """A technician who asks the page before each answer, in a visit beside the real one."""

    asked: set[str]
    unanswered: set[tuple[str, str]]

    def next(self, timeout: float | None) -> Happening | None:
        state = self.state
        for words, starts in QUESTIONS.items():
            heard = utterance_of(typed(ENGLISH, words, listening_of(self.force), self.clock.now()), typed=True)
            after, effects = advance(state, Stamped(0, "2026-03-02T08:00:00+00:00", self.clock.now(), heard))
            said = [effect.text for effect in effects if isinstance(effect, Say)]
            self.asked.add(state.awaiting)
            if not (said and said[0].startswith(starts) and after.frames == state.frames):
                self.unanswered.add((state.awaiting, words))
            assert not [effect for effect in effects if isinstance(effect, Gate)]
            assert (after.frames, after.awaiting, after.overlay) == (state.frames, state.awaiting, state.overlay)
        return super().next(timeout)


@pytest.mark.parametrize(
    ("job", "proof"), [("dirty-condenser", Awaiting.SWITCH_TRIED), ("dead-cabinet", Awaiting.DEAD_READING)]
)
def test_the_page_is_answered_wherever_a_visit_waits(job: str, proof: Awaiting, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(talk, "spoken_seconds", lambda text: 1.0)
    Asking.asked, Asking.unanswered = set(), set()
    monkeypatch.setattr(talk, "Technician", Asking)
    talk.job(job, "usual")
    assert {Awaiting.GATE, Awaiting.WAIT, Awaiting.RESTORE_GATE, proof} <= Asking.asked
    assert {one for one in Asking.unanswered if one[0] not in ALONE} == set()
