"""A note is over: it is kept, and acted on if it was more than a note. A file came in: a photo counts as taken."""

from __future__ import annotations

from handsfree.journal.events import Attached, NoteKept, Utterance
from handsfree.language.meaning import EMERGENCY, Sense, Verdict
from handsfree.procedure.model import Evidence
from handsfree.visit import desk_asks, helping, phrases
from handsfree.visit.flow import Flow
from handsfree.visit.state import NOT_TAKEN, Overlay, Result
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


def came_in(flow: Flow, event: Attached) -> None:
    """A photo that came in was taken, whatever was said of it before or is said yet. A log is none."""
    state, step = flow.state, event.step
    if event.amiss or event.rows or event.share >= 0:
        return
    late = {key: Result("photo") for key, one in state.remembered.items() if key[1] == step and one.state == NOT_TAKEN}
    here = isinstance(state.step, Evidence) and state.step.id == step
    flow.change(remembered={**state.remembered, **late}, arrived=step if here else state.arrived)


def _alarm_in(flow: Flow, text: str) -> str:
    """The alarm that a note contains, '' for none. 'Fire' must be the whole note: as one word among many it is common."""
    language = flow.state.language
    if said_in(language, "power is on", text):
        return "power is on"
    return next((kind for kind in EMERGENCY if says_only(language, kind, text)), "")
