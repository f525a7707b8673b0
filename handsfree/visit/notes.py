"""A note is over: it is kept, and acted on if it was more than a note."""

from __future__ import annotations

from handsfree.journal.events import NoteKept, Utterance
from handsfree.language.meaning import EMERGENCY, Sense, Verdict
from handsfree.visit import desk_asks, helping, phrases
from handsfree.visit.flow import Flow
from handsfree.visit.state import Overlay
from handsfree.visit.steps import present
from handsfree.visit.wishes import said_in, says_only


def note_kept(flow: Flow, event: NoteKept) -> None:
    """'Power is on' and an alarm are never only a note: they are kept as one, and they act, even if the note ends after it
    was left. After a note under an isolation the program says what it takes for true and, if no word was understood, what
    to do if it was one of these."""
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
    """The alarm that a note contains, '' for none. 'Fire' must be the whole note: as one word among many it is common."""
    language = flow.state.language
    if said_in(language, "power is on", text):
        return "power is on"
    return next((kind for kind in EMERGENCY if says_only(language, kind, text)), "")
