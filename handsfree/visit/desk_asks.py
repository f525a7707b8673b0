"""The supervisor's questions about an earlier visit, asked at close-out: nothing is isolated, no lock is on, hands are free.

Rules of this file:

- A question is asked once, at the end of the main procedure (`steps.end`). What is said then is its answer, kept as a note
  with its sound. Skipping it leaves it for another visit; so does a minute of silence.
- The work does not depend on it: the visit ends as it would have.
"""

from __future__ import annotations

from handsfree.dialogue.question import Question
from handsfree.journal.events import DeskAnswered, DropTimer, NoteKept, SetTimer, Utterance
from handsfree.language.meaning import Listening
from handsfree.procedure import model
from handsfree.visit.flow import Flow
from handsfree.visit.plain import QuestionRows
from handsfree.visit.state import Awaiting, Overlay
from handsfree.visit.steps import end, present

#: Rings after this many seconds without an answer.
DESK_TIMER, DESK_SECONDS = "desk asks", 60.0
#: Said instead of an answer: it is left for another time.
PASSES = ("skip it", "negative", "no", "next step", "stop", "stop the visit", "stand by", "cannot tell")


def ask_next(flow: Flow) -> None:
    _, by, text = flow.state.questions[0]
    whole = text if text.endswith((".", "?", "!")) else f"{text}."
    flow.prompt("desk-asks", "question", by=by, text=whole)
    flow.emit(SetTimer(DESK_TIMER, DESK_SECONDS))


def _takes(flow: Flow, utterance: Utterance) -> bool:
    """Typed or heard as something other than a note: it is skipped."""
    _next(flow, "desk-left")
    return True


def answered(flow: Flow, event: NoteKept) -> bool:
    """Was the note said to a question of the desk? Then it is the answer, skips the question, or asks to hear it again."""
    state = flow.state
    if state.awaiting is not Awaiting.DESK_ASKS or state.overlay is not Overlay.NONE:
        return False
    said = " ".join(event.text.casefold().strip(" .,!?").split())
    ways = state.language.commands
    if said in ways["say again"]:
        present(flow)
    elif not (event.text or event.clip) or any(said in ways[name] for name in PASSES):
        _next(flow, "desk-left")
    else:
        flow.emit(DeskAnswered(state.questions[0][0]))
        _next(flow, "desk-answered")
    return True


def rang(flow: Flow) -> None:
    """Nobody said anything."""
    if flow.state.awaiting is Awaiting.DESK_ASKS and flow.state.overlay is Overlay.NONE:
        _next(flow, "desk-left")


def _next(flow: Flow, key: str) -> None:
    _leaves(flow, key, flow.state.questions[1:])


def _leaves(flow: Flow, key: str, left: tuple[tuple[str, str, str], ...]) -> None:
    step = flow.state.step
    assert isinstance(step, model.End)
    flow.emit(DropTimer(DESK_TIMER))
    flow.heard(flow.sentence(key))
    flow.change(questions=left)
    end(flow, step)


def stopped(flow: Flow) -> bool:
    """A stop from outside the voice while the desk asks: the work is done, so the visit ends with its own outcome.
    Otherwise False."""
    if flow.state.awaiting is not Awaiting.DESK_ASKS:
        return False
    flow.change(overlay=Overlay.NONE)
    _leaves(flow, "desk-left", ())
    return True


ROWS: QuestionRows = {
    Awaiting.DESK_ASKS: Question(
        ask_next, lambda flow: Listening(commands=(), note=True), _takes, lambda flow: flow.sentence("note-now")
    ),
}  # fmt: skip
