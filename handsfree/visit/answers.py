"""What an accepted utterance does, by what is awaited. One table, `ANSWERS`; each entry a plain function.

An entry gets the utterance and either uses it or says what it needs instead. None opens a gate: those that stand at one
ask `interlock.hear_phrase` and `interlock.prove`.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from handsfree.journal.events import AnswerTaken, CautionTaken, EvidenceTaken, ReadingTaken, Utterance
from handsfree.language.meaning import Denial, Sense
from handsfree.language.quantities import convert, unit_fits
from handsfree.procedure import model
from handsfree.visit import places
from handsfree.visit.flow import Flow
from handsfree.visit.interlock import Turn, hear_phrase, prove
from handsfree.visit.movement import clear, forward, move, proved, take_up
from handsfree.visit.speaking import answer_words, choices, read_back, side_of_expected
from handsfree.visit.state import Awaiting, Pending, Result
from handsfree.visit.steps import present, unit_name

FAILURES_BEFORE_HELP = 3


def is_command(utterance: Utterance, *names: str) -> bool:
    return utterance.sense == Sense.COMMAND and utterance.text in names


def onward(utterance: Utterance) -> bool:
    """'Next step' and 'go ahead' are one wish."""
    return is_command(utterance, "next step", "go ahead")


def take(flow: Flow, result: Result) -> None:
    state = flow.state
    assert state.step is not None
    flow.change(remembered={**state.remembered, (state.path, state.step.id): result})


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
    if not unit_fits(step.unit, unit):
        asked, spoken = unit_name(flow, step.unit), unit_name(flow, unit)
        flow.prompt("unit-doubt", "question", spoken=spoken, asked=asked)
        return
    pending = Pending(convert(given, unit, step.unit), given, unit)
    flow.change(pending=pending)
    low, high = step.plausible
    if decides(flow, step) or not low <= pending.value <= high:
        flow.change(awaiting=Awaiting.READING_AFFIRM)
        present(flow)
    else:
        flow.say(read_back(flow.state.language, step, pending, affirm=False), "readback")
        _take_reading(flow, step, pending, affirmed=False)


def decides(flow: Flow, step: model.Read) -> bool:
    """A branch hangs on the reading: the step says so, or a decision of its procedure names it."""
    name = re.compile(rf"\b{re.escape(step.id.replace('-', '_'))}\b")
    decisions = (other for other in flow.state.procedure.steps if isinstance(other, model.Decide))
    return step.decides or any(name.search(case.when) for decision in decisions for case in decision.cases)


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
    flow.prompt("state-taken", "readback", state=state)
    forward(flow, go)


def _reading_affirm(flow: Flow, utterance: Utterance) -> None:
    step, pending = flow.state.step, flow.state.pending
    assert isinstance(step, model.Read)
    assert pending is not None
    if is_command(utterance, "affirm"):
        _take_reading(flow, step, pending, affirmed=True)
    elif is_command(utterance, "negative", "correction"):
        flow.change(pending=None, awaiting=Awaiting.READING)
        flow.prompt("reading-again", "question")
    else:
        flow.prompt("need-affirm", "question")


# ---- gates ----------------------------------------------------------------------------------------------------------

_DENIED: dict[str, str] = {
    Denial.NEGATION: "gate-denied-negation",
    Denial.STILL_ON: "gate-denied-live",
    Denial.QUESTION: "gate-denied-question",
    Denial.UNSURE: "gate-denied-unsure",
    Denial.HALF: "gate-denied-half",
    Denial.NUMBER: "gate-denied-number",
}


def at_gate(flow: Flow, utterance: Utterance) -> None:
    """The gate phrase, or anything else said at a gate. Only `hear_phrase` opens; all the rest is a reason to stay shut."""
    after = hear_phrase(flow.state.interlock, utterance)
    clearing = flow.state.awaiting is Awaiting.RESTORE_GATE
    if after.phrase_given:
        flow.lock_to(after, "phrase", utterance.spoken)
        flow.tone("gate open")
        if clearing:
            flow.change(awaiting=Awaiting.RESTORE_POWER)
            flow.prompt("restored-clear", "answer")
            present(flow)
        else:
            flow.prompt("phrase-taken", "answer")
            forward(flow)
        return
    _gate_refused(flow, utterance, clearing)


def _gate_refused(flow: Flow, utterance: Utterance, clearing: bool) -> None:
    interlock = hear_phrase(flow.state.interlock, replace(utterance, verdict="asked again"))
    if onward(utterance):
        key, how = ("gate-closed-restore" if clearing else "gate-closed"), "refused"
    elif utterance.sense == Sense.DENIAL:
        key, how = _DENIED.get(utterance.text, "gate-again"), "denied"
    else:
        key, how = "gate-again", "refused"
    flow.lock_to(interlock, how, utterance.spoken or utterance.words)
    flow.tone("gate shut")
    flow.prompt(key, "refusal")
    if interlock.failures >= FAILURES_BEFORE_HELP:
        flow.prompt("gate-need-full-clear" if clearing else "gate-need-full", "refusal")
    else:
        flow.prompt("clear-need" if clearing else "isolate-need", "question")


def _tester_before(flow: Flow, utterance: Utterance) -> None:
    _tester(flow, utterance, Awaiting.DEAD_READING)


def _tester(flow: Flow, utterance: Utterance, then: Awaiting | None) -> None:
    """`then`: what follows a good tester; None where dead is now proved."""
    if is_command(utterance, "affirm"):
        if then is None:
            _dead(flow)
        else:
            flow.change(awaiting=then)
            present(flow)
    elif is_command(utterance, "negative"):
        flow.prompt("tester-bad", "refusal", cuttable=False)
        move(flow, flow.state.covering)
    else:
        flow.prompt("need-affirm", "question")


def _dead_reading(flow: Flow, utterance: Utterance) -> None:
    step = flow.state.step
    assert isinstance(step, model.Prove)
    unit = utterance.unit or step.unit
    if utterance.sense == Sense.STATE or (utterance.value is not None and not unit_fits(step.unit, unit)):
        flow.prompt("reading-again", "question")
    elif utterance.sense == Sense.NUMBER and utterance.value is not None:
        value = convert(utterance.value, unit, step.unit)
        flow.emit(ReadingTaken(
            flow.state.path, step.id, "absence of voltage", value, step.unit, utterance.value, unit, "", None, (0.0, step.below)
        ))
        take(flow, Result(f"{value:g} {step.unit}".strip(), value, step.unit))
        flow.say(flow.words("readback", quantity=flow.state.language.say_quantity(utterance.value, unit)), "readback")
        if abs(value) < step.below:
            flow.change(awaiting=Awaiting.TESTER_AFTER)
            present(flow)
        else:
            _live(flow)
    else:
        flow.prompt("need-reading", "refusal", unit=unit_name(flow, step.unit))


def _tester_after(flow: Flow, utterance: Utterance) -> None:
    _tester(flow, utterance, None)


def _switch_tried(flow: Flow, utterance: Utterance) -> None:
    dead, live = flow.words("answer-nothing-runs"), flow.words("answer-it-runs")
    if utterance.sense == Sense.PHRASE and utterance.text == dead:
        take(flow, Result(dead))
        _dead(flow)
    elif utterance.sense == Sense.PHRASE and utterance.text == live:
        _live(flow)
    else:
        flow.prompt("need-answer", "refusal", choices=choices(flow.state.language, (dead, live)))


def _dead(flow: Flow) -> None:
    step = flow.state.step
    assert step is not None
    flow.lock_to(prove(flow.state.interlock, flow.now), "proof", step.id)
    if not flow.state.interlock.isolated:  # cannot be by the tables; if it ever is, nothing goes on
        move(flow, flow.state.covering)
        return
    flow.tone("gate open")
    flow.prompt("isolated", "notice")
    proved(flow)


def _live(flow: Flow) -> None:
    flow.prompt("not-dead", "refusal", cuttable=False)
    clear(flow, Turn.FOUND_LIVE, flow.words("why-live"))


def _restore_check(flow: Flow, utterance: Utterance) -> None:
    step = flow.state.step
    assert isinstance(step, model.Restore)
    if not onward(utterance):
        return
    if flow.state.check + 1 < len(step.checks):
        flow.change(check=flow.state.check + 1)
    else:
        flow.change(awaiting=Awaiting.RESTORE_GATE)
    present(flow)


def _restore_power(flow: Flow, utterance: Utterance) -> None:
    if onward(utterance) or is_command(utterance, "power is on"):
        flow.turn_lock(Turn.RESTORED, "")
        flow.prompt("restored", "notice")
        forward(flow)


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
    Awaiting.GATE: at_gate,
    Awaiting.TESTER_BEFORE: _tester_before,
    Awaiting.SWITCH_TRIED: _switch_tried,
    Awaiting.DEAD_READING: _dead_reading,
    Awaiting.TESTER_AFTER: _tester_after,
    Awaiting.RESTORE_CHECK: _restore_check,
    Awaiting.RESTORE_GATE: at_gate,
    Awaiting.RESTORE_POWER: _restore_power,
    Awaiting.WAIT: _wait,
    Awaiting.CUT_WAIT: _cut_wait,
}
