"""What each accepted utterance was acted on as. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from handsfree.journal.events import HAPPENINGS, PromptEnded, Say, Stamped, Utterance


def acted_on(entries: Sequence[Stamped]) -> dict[int, str]:
    """By the number of its event, the text of each accepted utterance; of a yes to what was likely heard and read back
    ('Go back?'), that text."""
    found: dict[int, str] = {}
    likely = offered = ""
    for entry in entries:
        event = entry.event
        if isinstance(event, Utterance) and event.verdict == "accepted":
            yes = event.sense == "command" and event.text in ("affirm", "yes")
            found[entry.n] = offered if offered and yes else event.text
            likely = offered = ""
        elif isinstance(event, HAPPENINGS) and not isinstance(event, PromptEnded):
            likely = event.text if isinstance(event, Utterance) and event.verdict == "proposed" else ""
        elif isinstance(event, Say) and event.role == "readback" and likely:
            likely, offered = "", likely
    return found
