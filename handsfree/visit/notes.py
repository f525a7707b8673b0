"""A note is over: kept, and acted on where it was more than one."""

from __future__ import annotations

from handsfree.journal.events import NoteKept, Utterance
from handsfree.language.meaning import EMERGENCY, Sense, Verdict
from handsfree.visit import desk_asks, helping, phrases
from handsfree.visit.flow import Flow
from handsfree.visit.state import Overlay
from handsfree.visit.steps import present


def note_kept(flow: Flow, event: NoteKept) -> None:
    """'Power is on' and an alarm are never a note only: they are kept as one, and they act, also where the note ends after
    it was left. Of a note under an isolation it is said what the program takes for true, and where no word was understood,
    what to do, should it have been that."""
    kind = event.alarm or _alarm_in(flow, event.text)
    if kind == "power is on":
        flow.change(overlay=Overlay.NONE)
        phrases.power_is_on(flow)
        return
    if kind in EMERGENCY:
        heard = Utterance(Verdict.ACCEPTED, Sense.COMMAND, kind, spoken=event.text, words=event.text)
        helping.alarm(flow, heard)
        return
    if desk_asks.answered(flow, event) or flow.state.overlay is not Overlay.NOTE:
        return
    flow.change(overlay=Overlay.NONE)
    flow.heard(flow.sentence("note-kept" if event.clip or event.text else "note-lost"))
    if event.clip and not event.text and flow.state.interlock.held:
        flow.prompt("note-not-understood", "notice")
    elif event.clip and flow.state.interlock.held:  # who knows better says so
        flow.heard(flow.sentence(f"still-{flow.state.interlock.power}"))
    present(flow)


def _alarm_in(flow: Flow, text: str) -> str:
    """What stands in a note that is never a note only, '' for nothing. As a whole: 'fire' as a note of one word, for the
    word alone stands in many a note."""
    words = " ".join(text.casefold().translate(_STOPS).split())
    ways = flow.state.language.commands
    if any(way in words for way in ways["power is on"]):
        return "power is on"
    return next((kind for kind in EMERGENCY if words in ways[kind]), "")


_STOPS = str.maketrans(",.;:!?", "      ")
