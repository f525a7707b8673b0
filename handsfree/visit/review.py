"""A record viewed again: the journal's views, with this program's machine and voice."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from handsfree.journal.events import Opened
from handsfree.journal.follow import ReplayMachine
from handsfree.language import base
from handsfree.visit.advice import advice_digest
from handsfree.visit.machine import RULES, advance, start
from handsfree.visit.sessions import recorded_book
from handsfree.visit.state import State


def replay_machine() -> ReplayMachine:
    """The machine of the visit, begun from the procedures in the record."""
    return ReplayMachine(begun, advance, RULES, advice_digest())


def begun(opened: Opened) -> State:
    return start(recorded_book(opened), base.load(opened.language))


def voice(language: str = "en") -> Callable[[str], Any] | None:
    """What was said, spoken again by the synthesiser; None where there is none."""
    from handsfree.errors import Trouble
    from handsfree.sound.synth import Synthesiser

    pack = base.load(language)
    synthesiser = Synthesiser(language)
    try:
        synthesiser.speak("")
    except Trouble:
        return None
    return lambda text: synthesiser.speak(pack.speakable(text))
