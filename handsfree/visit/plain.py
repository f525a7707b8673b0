"""The questions of plain steps: the lock number, a step to do, a caution, an answer, a wait. One row each, in `ROWS`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from handsfree.dialogue.question import Question, Stake
from handsfree.journal.events import AnswerTaken, CautionTaken, EvidenceTaken, Utterance
from handsfree.language.meaning import ALWAYS, Listening, Sense
from handsfree.procedure import model
from handsfree.visit import places
from handsfree.visit.flow import Flow
from handsfree.visit.movement import forward, move, take_up
from handsfree.visit.speaking import answer_words, choices, duration, result_words
from handsfree.visit.state import Awaiting, Overlay, Result
from handsfree.visit.steps import present, results_here
from handsfree.visit.wishes import is_command, onward, take

YES_NO = (*ALWAYS, "affirm", "negative")
#: Before the lock number is known there is no step to move on from.
BEFORE = ("say again", "stand by", "what can i say", "stop the visit", "faster", "slower", "louder", "softer")

Row = Question[Flow, Utterance]
Rows = dict[Awaiting | Overlay, Row]


def always(flow: Flow) -> Listening:
    """The phrases that always work, and nothing of this question's own."""
    return Listening()


def commands(*names: str) -> Callable[[Flow], Listening]:
    return lambda flow: Listening(commands=names)


def asks(key: str) -> Callable[[Flow], str]:
    return lambda flow: flow.sentence(key)


def says(key: str, role: str = "question") -> Callable[[Flow], None]:
    return lambda flow: flow.prompt(key, role)


def called(*names: str) -> Callable[[Flow], tuple[str, ...]]:
    """Commands by the first way to say them: what one may say."""
    return lambda flow: tuple(flow.state.language.commands[name][0] for name in names)


# ---- the lock number ------------------------------------------------------------------------------------------------


def _takes_lock_number(flow: Flow, utterance: Utterance) -> bool:
    digits = tuple(utterance.text.split())
    if utterance.sense != Sense.DIGITS or not 2 <= len(digits) <= 4:
        return False
    flow.change(lock_offered=digits, awaiting=Awaiting.LOCK_AFFIRM)
    flow.prompt("lock-readback", "readback", digits=" ".join(digits))
    return True


def _takes_lock_affirm(flow: Flow, utterance: Utterance) -> bool:
    state = flow.state
    if is_command(utterance, "affirm"):
        flow.change(interlock=replace(state.interlock, lock=state.lock_offered), lock_offered=())
        flow.prompt("lock-kept", "notice")
        if state.frames:
            take_up(flow)
        else:
            move(flow, (places.first(state.book, state.book.main),))
    elif is_command(utterance, "negative", "correction", "say again"):
        flow.change(lock_offered=(), awaiting=Awaiting.LOCK_NUMBER)
        flow.prompt("lock-again", "question")
    else:
        return False
    return True


# ---- a step to be done ----------------------------------------------------------------------------------------------


def _says_done(flow: Flow) -> None:
    step = flow.state.step
    assert step is not None
    if isinstance(step, model.Evidence):
        flow.say(flow.sentence("evidence", text=step.say), "step", sound=step.own_sound)
    elif isinstance(step, model.Finding):
        flow.prompt("finding", "step", text=step.say)
    elif isinstance(step, model.Handover):
        flow.prompt("handover", "step", to=step.to, text=step.say)
        flow.prompt("summary", "step")
        here = results_here(flow)
        for name in step.summary:
            value = _brought(flow, name, here[name]) if name in here else flow.sentence("summary-missing")
            flow.prompt("summary-line", "step", name=name.replace("-", " "), value=value)
    else:
        flow.say(step.say, "step", sound=step.own_sound)


def _brought(flow: Flow, name: str, result: Result) -> str:
    if isinstance(flow.state.procedure.step(name), model.Call):
        return flow.sentence(f"outcome-{result.text.replace(' ', '-')}")
    return result_words(flow.state.language, result)


def _takes_done(flow: Flow, utterance: Utterance) -> bool:
    step = flow.state.step
    if not onward(utterance):
        return False
    if isinstance(step, model.Evidence):
        flow.emit(EvidenceTaken(flow.state.path, step.id, step.what))
        take(flow, Result(step.what))
        flow.prompt("evidence-taken", "answer")
    forward(flow)
    return True


# ---- a caution ------------------------------------------------------------------------------------------------------


def _says_caution(flow: Flow) -> None:
    step, cuttable = flow.state.step, flow.may_cut
    assert isinstance(step, model.Caution)
    flow.prompt(f"signal-{step.level}", "caution", cuttable=cuttable, text=step.say)
    flow.prompt("ask-understood", "question", cuttable=cuttable)


def _takes_understood(flow: Flow, utterance: Utterance) -> bool:
    step = flow.state.step
    assert isinstance(step, model.Caution)
    if not is_command(utterance, "understood"):
        return False
    flow.emit(CautionTaken(flow.state.path, step.id, step.level))
    forward(flow)
    return True


# ---- an answer ------------------------------------------------------------------------------------------------------


def _ask(flow: Flow) -> model.Ask:
    assert isinstance(flow.state.step, model.Ask)
    return flow.state.step


def _says_answer(flow: Flow) -> None:
    step = _ask(flow)
    flow.say(step.say, "step", sound=step.own_sound)
    flow.prompt("choices", "question", choices=choices(flow.state.language, answer_words(step)))


def _hears_answer(flow: Flow) -> Listening:
    return Listening(phrases=tuple(words for answer in _ask(flow).answers for words in (answer.say, *answer.also)))


def _takes_answer(flow: Flow, utterance: Utterance) -> bool:
    step = _ask(flow)
    for answer in step.answers:
        if utterance.sense == Sense.PHRASE and utterance.text in (answer.say, *answer.also):
            flow.emit(AnswerTaken(flow.state.path, step.id, answer.say))
            take(flow, Result(answer.say))
            flow.tells(answer.tells)
            flow.prompt("answer-taken", "readback", answer=answer.say.capitalize())
            forward(flow, answer.go)
            return True
    return False


def _asks_answer(flow: Flow) -> str:
    """'Dry or soaked?'"""
    words = choices(flow.state.language, answer_words(_ask(flow)))
    return flow.sentence("short-choices", choices=words[:1].upper() + words[1:])


# ---- waits ----------------------------------------------------------------------------------------------------------


def left(flow: Flow) -> str:
    """What is left of the wait, aloud."""
    return duration(flow.state.language, max(flow.state.wait_ends - flow.now, 0.0))


def _takes_wait(flow: Flow, utterance: Utterance) -> bool:
    step = flow.state.step
    assert isinstance(step, model.Wait)
    if not onward(utterance):
        return False
    if step.firm:
        flow.prompt("wait-firm", "refusal", time=left(flow))
    else:
        flow.change(awaiting=Awaiting.CUT_WAIT)
        present(flow)
    return True


def _takes_cut_wait(flow: Flow, utterance: Utterance) -> bool:
    if is_command(utterance, "affirm"):
        seconds = max(flow.state.wait_ends - flow.now, 0.0)
        take(flow, Result(f"cut short, {seconds:.0f} s left", seconds, "second", "cut short"))
        forward(flow)
    elif is_command(utterance, "negative"):
        flow.change(awaiting=Awaiting.WAIT)
        present(flow)
    else:
        return False
    return True


def _nothing(flow: Flow, *_: Any) -> bool:
    return True


ROWS: Rows = {
    Awaiting.NOTHING: Question(lambda flow: None, always, _nothing, lambda flow: ""),
    Awaiting.LOCK_NUMBER: Question(
        says("lock-number"), lambda flow: Listening(digits=(2, 4), commands=BEFORE), _takes_lock_number,
        asks("lock-again"), lambda flow: (flow.sentence("a-lock-number"),), Stake.GUARDED,
    ),
    Awaiting.LOCK_AFFIRM: Question(
        says("need-affirm"), commands(*BEFORE, "affirm", "negative", "correction"), _takes_lock_affirm,
        asks("need-affirm"), called("affirm", "negative"), Stake.GUARDED,
    ),
    Awaiting.DONE: Question(_says_done, always, _takes_done, asks("need-next"), called("next step", "go back", "note")),
    Awaiting.UNDERSTOOD: Question(
        _says_caution, commands(*ALWAYS, "understood"), _takes_understood, asks("need-understood"),
        called("understood", "say again", "stand by"), Stake.GUARDED,
    ),
    Awaiting.ANSWER: Question(
        _says_answer, _hears_answer, _takes_answer, _asks_answer, lambda flow: answer_words(_ask(flow)), Stake.ANSWER
    ),
    Awaiting.WAIT: Question(
        lambda flow: flow.prompt("wait-left", "step", time=left(flow)), always, _takes_wait,
        lambda flow: flow.sentence("wait-left", time=left(flow)), called("how long", "next step", "note"),
    ),
    Awaiting.CUT_WAIT: Question(
        lambda flow: flow.prompt("wait-cut", "question", time=left(flow)), commands(*YES_NO), _takes_cut_wait,
        asks("need-affirm"), called("affirm", "negative"), Stake.ANSWER,
    ),
}  # fmt: skip
