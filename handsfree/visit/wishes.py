"""Small things that every handler of an utterance asks or does."""

from __future__ import annotations

from handsfree.journal.events import Utterance
from handsfree.language.base import Language
from handsfree.language.meaning import WAYS_OUT, Listening, Sense
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
    return is_command(utterance, "negative", "correction", "no", "forget that")


def way_out(utterance: Utterance) -> str:
    """'cannot tell', 'not fitted', 'skip it', or ''."""
    return utterance.text if is_command(utterance, *WAYS_OUT) else ""


_LONGEST_WAY = 8  # words
_STOPS = str.maketrans(dict.fromkeys(",.;:!?¡¿", " "))


def bare_words(text: str) -> str:
    """Without case and punctuation."""
    return " ".join(text.casefold().translate(_STOPS).split())


def is_question(language: Language, text: str) -> bool:
    """It begins with a word that asks, or is written as a question."""
    said = bare_words(text).split()
    return "?" in text or (bool(said) and said[0] in language.hints["asking"])


def said_in(language: Language, command: str, text: str) -> bool:
    """The command is said in it, in the grammar's words or in people's own, whatever else is."""
    said = f" {bare_words(text)} "
    return any(f" {way} " in said for way in language.commands[command]) or said_in_own(language, command, text)


def said_in_own(language: Language, command: str, text: str) -> bool:
    """It is said in it in people's own words, which are longer: 'there is a fire exit' tells of no fire."""
    words = f" {bare_words(text)} "
    for harmless in language.hints["harmless"]:
        words = words.replace(f" {harmless} ", " , ")
    own, said = language.own_words.ways.get(command, frozenset()), tuple(words.split())
    return any(said[at : at + size] in own for at in range(len(said)) for size in range(1, _LONGEST_WAY + 1))


def says_only(language: Language, command: str, text: str) -> bool:
    """'Go ahead, please.'"""
    bare = language.own_words.bare(tuple(bare_words(text).split()), Listening(own_words=True), {})
    return " ".join(bare) in language.commands[command] or bare in language.own_words.ways.get(command, ())


def take_answer(flow: Flow, result: Result) -> None:
    """The technician gave it: 'what did I say' tells of it."""
    take(flow, result)
    assert flow.state.step is not None
    flow.change(answered=(flow.state.path, flow.state.step.id))


def take(flow: Flow, result: Result) -> None:
    state = flow.state
    assert state.step is not None
    flow.change(remembered={**state.remembered, (state.path, state.step.id): result})
    flow.tells(None)
