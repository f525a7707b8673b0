"""Small things that every handler of an utterance asks or does."""

from __future__ import annotations

from handsfree.journal.events import Utterance
from handsfree.language.base import Language
from handsfree.language.meaning import WAYS_OUT, Sense
from handsfree.visit.flow import Flow
from handsfree.visit.state import Result


def is_command(utterance: Utterance, *names: str) -> bool:
    return utterance.sense == Sense.COMMAND and utterance.text in names


def onward(utterance: Utterance) -> bool:
    """'Next step' and 'go ahead' mean the same."""
    return is_command(utterance, "next step", "go ahead")


def done(utterance: Utterance) -> bool:
    """If nothing is at stake, 'done' and its like move on, too."""
    return onward(utterance) or is_command(utterance, "done")


def affirms(utterance: Utterance) -> bool:
    """'Yes' counts only where a question listens for it: never at a gate or a proof."""
    return is_command(utterance, "affirm", "yes")


def denies(utterance: Utterance) -> bool:
    return is_command(utterance, "negative", "correction", "no")


def way_out(utterance: Utterance) -> str:
    """'cannot tell', 'not fitted', 'skip it', or ''."""
    return utterance.text if is_command(utterance, *WAYS_OUT) else ""


_STOPS = str.maketrans(",.;:!?", "      ")


def bare_words(text: str) -> str:
    """Without case and punctuation."""
    return " ".join(text.casefold().translate(_STOPS).split())


def tells_power(language: Language, text: str) -> bool:
    """'Power is on' is said in it, in the grammar's words or in people's own, whatever else is."""
    own = (" ".join(way) for way in language.own_words.ways.get("power is on", ()))
    return any(f" {way} " in f" {bare_words(text)} " for way in (*language.commands["power is on"], *own))


def take(flow: Flow, result: Result) -> None:
    state = flow.state
    assert state.step is not None
    flow.change(remembered={**state.remembered, (state.path, state.step.id): result})
    flow.tells(None)
