"""Small things that every handler of an utterance asks or does."""

from __future__ import annotations

from handsfree.journal.events import Utterance
from handsfree.language.meaning import Sense
from handsfree.visit.flow import Flow
from handsfree.visit.state import Result


def is_command(utterance: Utterance, *names: str) -> bool:
    return utterance.sense == Sense.COMMAND and utterance.text in names


def onward(utterance: Utterance) -> bool:
    """'Next step' and 'go ahead' are one wish."""
    return is_command(utterance, "next step", "go ahead")


def take(flow: Flow, result: Result) -> None:
    state = flow.state
    assert state.step is not None
    flow.change(remembered={**state.remembered, (state.path, state.step.id): result})
    flow.tells(None)
