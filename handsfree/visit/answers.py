"""What an accepted utterance does, by what is awaited. One table, `ANSWERS`; each entry a plain function.

An entry gets the utterance and either uses it or says what it needs instead. None opens a gate: those that stand at one
ask `interlock.hear_phrase` and `interlock.prove`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from handsfree.journal.events import AnswerTaken, CautionTaken, EvidenceTaken, ReadingTaken, Utterance
from handsfree.language.meaning import Sense
from handsfree.language.quantities import convert
from handsfree.procedure import model
from handsfree.procedure.evaluation import decides
from handsfree.visit import gates, places
from handsfree.visit.flow import Flow
from handsfree.visit.movement import forward, move, take_up
from handsfree.visit.speaking import answer_words, called, choices, read_back, side_of_expected
from handsfree.visit.state import Awaiting, Pending, Result
from handsfree.visit.steps import in_another_unit, present, unit_name
from handsfree.visit.wishes import is_command, onward, take

# ---- the lock number ------------------------------------------------------------------------------------------------


def _lock_number(flow: Flow, utterance: Utterance) -> None:
    digits = tuple(utterance.text.split())
    if utterance.sense != Sense.DIGITS or not 2 <= len(digits) <= 4:
        present(flow)
        return
    flow.change(lock_offered=digits, awaiting=Awaiting.LOCK_AFFIRM)
    flow.prompt("lock-readback", "readback", digits=" ".join(digits))


def _lock_affirm(flow: Flow, utterance: Utterance) -> None:
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
        flow.prompt("need-affirm", "question")


# ---- plain steps ----------------------------------------------------------------------------------------------------


def _done(flow: Flow, utterance: Utterance) -> None:
    step = flow.state.step
    if not onward(utterance):
        return
    if isinstance(step, model.Evidence):
        flow.emit(EvidenceTaken(flow.state.path, step.id, step.what))
        take(flow, Result(step.what))
        flow.prompt("evidence-taken", "answer")
    forward(flow)


def _understood(flow: Flow, utterance: Utterance) -> None:
    step = flow.state.step
    assert isinstance(step, model.Caution)
    if is_command(utterance, "understood"):
        flow.emit(CautionTaken(flow.state.path, step.id, step.level))
        forward(flow)
    else:
        flow.prompt("need-understood", "refusal")


def _answer(flow: Flow, utterance: Utterance) -> None:
    step = flow.state.step
    assert isinstance(step, model.Ask)
    for answer in step.answers:
        if utterance.sense == Sense.PHRASE and utterance.text in (answer.say, *answer.also):
            flow.emit(AnswerTaken(flow.state.path, step.id, answer.say))
            take(flow, Result(answer.say))
            flow.tells(answer.tells)
            flow.prompt("answer-taken", "readback", answer=answer.say.capitalize())
            forward(flow, answer.go)
            return
    flow.prompt("need-answer", "refusal", choices=choices(flow.state.language, answer_words(step)))


# ---- readings -------------------------------------------------------------------------------------------------------


def _reading(flow: Flow, utterance: Utterance) -> None:
    step = flow.state.step
    assert isinstance(step, model.Read)
    if utterance.sense == Sense.STATE:
        _state_taken(flow, step, utterance.text)
    elif utterance.sense == Sense.NUMBER and utterance.value is not None:
        _number(flow, step, utterance.value, utterance.unit or step.unit)
    else:
        flow.prompt("need-reading", "refusal", unit=unit_name(flow, step.unit))


def _number(flow: Flow, step: model.Read, given: float, unit: str) -> None:
    if in_another_unit(flow, unit):
        return
    pending = Pending(convert(given, unit, step.unit), given, unit)
    flow.change(pending=pending)
    low, high = step.plausible
    if step.decides or step.id in decides(flow.state.procedure) or not low <= pending.value <= high:
        flow.change(awaiting=Awaiting.READING_AFFIRM)
        present(flow)
    else:
        flow.say(read_back(flow.state.language, step, pending, affirm=False), "readback")
        _take_reading(flow, step, pending, affirmed=False)


def _take_reading(flow: Flow, step: model.Read, pending: Pending, *, affirmed: bool) -> None:
    flow.emit(ReadingTaken(
        flow.state.path, step.id, step.quantity, pending.value, step.unit, pending.given, pending.given_unit, "",
        step.plausible, step.expected, step.accuracy or "", affirmed,
    ))
    take(flow, Result(f"{pending.value:g} {step.unit}".strip(), pending.value, step.unit))
    aside = side_of_expected(flow.state.language, step, pending.value)
    if aside:
        flow.say(aside, "notice")
    forward(flow)


def _state_taken(flow: Flow, step: model.Read, state: str) -> None:
    go = {"over range": step.over_range, "unsteady": step.unsteady}.get(state)
    if go is None:
        flow.prompt("state-unknown", "refusal")
        return
    flow.emit(ReadingTaken(
        flow.state.path, step.id, step.quantity, None, step.unit, None, step.unit, state,
        step.plausible, step.expected, step.accuracy or "",
    ))
    take(flow, Result(state, None, step.unit, state))
    flow.prompt("state-taken", "readback", state=called(flow.state.language, Sense.STATE, state))
    forward(flow, go)


def _reading_affirm(flow: Flow, utterance: Utterance) -> None:
    step, pending = flow.state.step, flow.state.pending
    if isinstance(step, model.Prove):
        gates.dead_affirm(flow, utterance)
        return
    assert isinstance(step, model.Read)
    assert pending is not None
    if is_command(utterance, "affirm"):
        _take_reading(flow, step, pending, affirmed=True)
    elif is_command(utterance, "negative", "correction"):
        flow.change(pending=None, awaiting=Awaiting.READING)
        flow.prompt("reading-again", "question")
    else:
        flow.prompt("need-affirm", "question")


# ---- waits ----------------------------------------------------------------------------------------------------------


def _wait(flow: Flow, utterance: Utterance) -> None:
    step = flow.state.step
    assert isinstance(step, model.Wait)
    if not onward(utterance):
        return
    if step.firm:
        from handsfree.visit.speaking import duration

        left = duration(flow.state.language, flow.state.wait_ends - flow.now)
        flow.prompt("wait-firm", "refusal", time=left)
    else:
        flow.change(awaiting=Awaiting.CUT_WAIT)
        present(flow)


def _cut_wait(flow: Flow, utterance: Utterance) -> None:
    if is_command(utterance, "affirm"):
        left = max(flow.state.wait_ends - flow.now, 0.0)
        take(flow, Result(f"cut short, {left:.0f} s left", left, "second", "cut short"))
        forward(flow)
    elif is_command(utterance, "negative"):
        flow.change(awaiting=Awaiting.WAIT)
        present(flow)
    else:
        flow.prompt("need-affirm", "question")


ANSWERS: dict[Awaiting, Callable[[Flow, Any], None]] = {
    Awaiting.NOTHING: lambda flow, utterance: None,
    Awaiting.LOCK_NUMBER: _lock_number,
    Awaiting.LOCK_AFFIRM: _lock_affirm,
    Awaiting.DONE: _done,
    Awaiting.UNDERSTOOD: _understood,
    Awaiting.ANSWER: _answer,
    Awaiting.READING: _reading,
    Awaiting.READING_AFFIRM: _reading_affirm,
    Awaiting.GATE: gates.at_gate,
    Awaiting.TESTER_BEFORE: gates.tester_before,
    Awaiting.SWITCH_TRIED: gates.switch_tried,
    Awaiting.DEAD_READING: gates.dead_reading,
    Awaiting.TESTER_AFTER: gates.tester_after,
    Awaiting.RESTORE_CHECK: gates.restore_check,
    Awaiting.RESTORE_GATE: gates.at_gate,
    Awaiting.RESTORE_POWER: gates.restore_power,
    Awaiting.WAIT: _wait,
    Awaiting.CUT_WAIT: _cut_wait,
}
