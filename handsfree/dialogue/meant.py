"""Whether speech that means nothing in force was meant for the program, so that its person is never met with silence."""

from __future__ import annotations

from typing import Any

from handsfree.dialogue.question import Question
from handsfree.journal.events import Utterance

BAR = 0.5


def meant(utterance: Utterance, question: Question[Any, Any], since: float) -> bool:
    return utterance.typed
