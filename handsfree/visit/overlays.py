"""The questions that are laid over the visit for a moment: stand by, a note, whether to stop. One row each, in `ROWS`."""

from __future__ import annotations

from handsfree.dialogue.question import Question, Stake
from handsfree.journal.events import Utterance
from handsfree.language.meaning import Listening
from handsfree.visit.flow import Flow
from handsfree.visit.plain import Rows, asks, called, commands, says
from handsfree.visit.state import Overlay
from handsfree.visit.steps import close, present
from handsfree.visit.wishes import is_command


def _takes_go_ahead(flow: Flow, utterance: Utterance) -> bool:
    if not is_command(utterance, "go ahead"):
        return False
    flow.change(overlay=Overlay.NONE)
    flow.prompt("going-ahead", "answer")
    present(flow)
    return True


def _takes_stop_once(flow: Flow, utterance: Utterance) -> bool:
    if is_command(utterance, "affirm"):
        flow.change(overlay=Overlay.STOP_TWICE)
        flow.prompt("stop-twice", "question")
        return True
    return _goes_on(flow, utterance)


def _takes_stop_twice(flow: Flow, utterance: Utterance) -> bool:
    if is_command(utterance, "affirm"):
        stop(flow, "")
        return True
    return _goes_on(flow, utterance)


def _goes_on(flow: Flow, utterance: Utterance) -> bool:
    if not is_command(utterance, "negative"):
        return False
    flow.change(overlay=Overlay.NONE)
    flow.prompt("not-stopped", "answer")
    present(flow)
    return True


def stop(flow: Flow, why: str) -> None:
    flow.change(overlay=Overlay.NONE)
    close(flow, "stopped", why)


_STOP = commands("affirm", "negative", "power is on")
ROWS: Rows = {
    Overlay.STAND_BY: Question(
        says("standing-by"), commands("go ahead"), _takes_go_ahead, asks("standing-by"), called("go ahead")
    ),
    Overlay.NOTE: Question(
        says("note-now"), lambda flow: Listening(commands=(), note=True), lambda flow, utterance: True, asks("note-now")
    ),
    Overlay.STOP_ONCE: Question(
        says("stop-once"), _STOP, _takes_stop_once, asks("stop-once"), called("affirm", "negative"), Stake.GUARDED
    ),
    Overlay.STOP_TWICE: Question(
        says("stop-twice"), _STOP, _takes_stop_twice, asks("stop-twice"), called("affirm", "negative"), Stake.GUARDED
    ),
}  # fmt: skip
