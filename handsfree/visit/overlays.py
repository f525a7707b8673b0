"""The questions that overlay the visit for a moment: stand by, a note, whether to stop, whether that was said; in `ROWS`."""

from __future__ import annotations

from dataclasses import replace

from handsfree.dialogue.question import Consequence, Question
from handsfree.journal.events import Utterance
from handsfree.language.meaning import EMERGENCY, YES_NO, Listening, Sense, Verdict
from handsfree.language.tokens import capital
from handsfree.visit import phrases
from handsfree.visit.flow import Flow
from handsfree.visit.movement import on_after_overlay
from handsfree.visit.plain import QuestionRows, asks, called, commands, says, ways_of_yes
from handsfree.visit.speaking import called_aloud
from handsfree.visit.state import Overlay
from handsfree.visit.steps import close, present
from handsfree.visit.wishes import affirms, denies, is_command


def _takes_go_ahead(flow: Flow, utterance: Utterance) -> bool:
    if not is_command(utterance, "go ahead"):
        return False
    flow.change(overlay=Overlay.NONE)
    flow.heard(flow.sentence("going-ahead"))
    on_after_overlay(flow)
    return True


def _takes_stop_once(flow: Flow, utterance: Utterance) -> bool:
    if affirms(utterance):
        flow.change(overlay=Overlay.STOP_TWICE)
        flow.prompt("stop-twice", "question")
        return True
    return _goes_on(flow, utterance)


def _takes_stop_twice(flow: Flow, utterance: Utterance) -> bool:
    if affirms(utterance):
        stop(flow, "")
        return True
    return _goes_on(flow, utterance)


def _goes_on(flow: Flow, utterance: Utterance) -> bool:
    if not denies(utterance):
        return False
    flow.change(overlay=Overlay.NONE)
    flow.heard(flow.sentence("not-stopped"))
    present(flow)
    return True


def stop(flow: Flow, why: str) -> None:
    flow.change(overlay=Overlay.NONE)
    close(flow, "stopped", why)


def hears_proposal(flow: Flow) -> Listening:
    """The question's own answers, and yes or no to what was likely heard."""
    below = flow.questions[flow.state.below].hears(flow)
    return replace(below, also=tuple(dict.fromkeys((*below.also, *YES_NO))))


def _takes_proposal(flow: Flow, utterance: Utterance) -> bool:
    proposed = flow.state.proposed
    assert proposed is not None
    flow.change(overlay=flow.state.beneath, beneath=Overlay.NONE, proposed=None)
    if affirms(utterance):
        flow.affirmed = True
        meant = replace(proposed, verdict=Verdict.ACCEPTED)
        return phrases.use(flow, meant) or bool(flow.question.takes(flow, meant))
    if denies(utterance):
        return False  # the question again, in its shortest form
    return bool(flow.question.takes(flow, utterance))


def says_proposal(flow: Flow) -> None:
    flow.say(_asks_proposal(flow), "readback")


def _asks_proposal(flow: Flow) -> str:
    """'Fifty, five zero?', 'Hot?'"""
    proposed, language = flow.state.proposed, flow.state.language
    assert proposed is not None
    if is_command(proposed, *EMERGENCY):
        return flow.sentence(f"ask-{proposed.text.replace(' ', '-')}")
    if proposed.sense == Sense.NUMBER and proposed.value is not None:
        step = flow.state.step
        unit = proposed.unit or str(getattr(step, "unit", ""))
        words = language.say_quantity(proposed.value, unit)
        if language.needs_both_ways(proposed.value):
            words = f"{words}, {language.say_digits(proposed.value)}"
    else:
        words = called_aloud(language, proposed.sense, proposed.text)
    return flow.sentence("short-choices", choices=capital(words))


#: What is heard during any overlay.
_EVER = ("help", "stop", "power is on", *EMERGENCY)
_STOP = commands("affirm", "negative", "yes", "no", *_EVER)
ROWS: QuestionRows = {
    Overlay.STAND_BY: Question(
        says("standing-by"), commands("go ahead", *_EVER), _takes_go_ahead, asks("standing-by"), called("go ahead")
    ),
    Overlay.NOTE: Question(
        says("note-now"), lambda flow: Listening(commands=(), note=True), lambda flow, utterance: True, asks("note-now")
    ),
    Overlay.STOP_ONCE: Question(
        says("stop-once"), _STOP, _takes_stop_once, asks("stop-once"), ways_of_yes, Consequence.ANSWER
    ),
    Overlay.STOP_TWICE: Question(
        says("stop-twice"), _STOP, _takes_stop_twice, asks("stop-twice"), ways_of_yes, Consequence.ANSWER
    ),
    Overlay.PROPOSAL: Question(
        says_proposal, hears_proposal, _takes_proposal, _asks_proposal, ways_of_yes, Consequence.ANSWER
    ),
}  # fmt: skip
