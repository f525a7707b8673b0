"""What is said at a gate: the phrase, the proof that it is dead, and the order of restoring.

Nothing in this file opens a gate. It asks `interlock.hear_phrase` and `interlock.prove`, and says why one stays shut.
"""

from __future__ import annotations

from handsfree.journal.events import ReadingTaken, Utterance
from handsfree.language.meaning import Denial, Sense
from handsfree.language.quantities import convert
from handsfree.procedure import model
from handsfree.visit.flow import Flow
from handsfree.visit.interlock import Interlock, Turn, hear_phrase, prove
from handsfree.visit.movement import clear, forward, move, proved
from handsfree.visit.speaking import choices
from handsfree.visit.state import Awaiting, Pending, Result
from handsfree.visit.steps import close, in_another_unit, present, unit_name
from handsfree.visit.wishes import is_command, onward, take

FAILURES_BEFORE_HELP = 3

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
    _gate_refused(flow, utterance, after, clearing)


def _gate_refused(flow: Flow, utterance: Utterance, after: Interlock, clearing: bool) -> None:
    if onward(utterance):
        key, how = ("gate-closed-restore" if clearing else "gate-closed"), "refused"
    elif utterance.sense == Sense.DENIAL:
        key, how = _DENIED.get(utterance.text, "gate-again"), "denied"
    else:
        key, how = "gate-again", "refused"
    flow.lock_to(after, how, utterance.spoken or utterance.words)
    flow.tone("gate shut")
    flow.prompt(key, "refusal")
    if after.failures >= FAILURES_BEFORE_HELP:
        flow.prompt("gate-need-full-clear" if clearing else "gate-need-full", "refusal")
    else:
        flow.prompt("clear-need" if clearing else "isolate-need", "question")


def tester_before(flow: Flow, utterance: Utterance) -> None:
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
        _isolate_anew(flow)
    else:
        flow.prompt("need-affirm", "question")


def dead_reading(flow: Flow, utterance: Utterance) -> None:
    step = flow.state.step
    assert isinstance(step, model.Prove)
    unit = utterance.unit or step.unit
    if utterance.value is not None and in_another_unit(flow, unit):
        return
    if utterance.sense == Sense.STATE:
        flow.prompt("reading-again", "question")
    elif utterance.sense == Sense.NUMBER and utterance.value is not None:
        value = convert(utterance.value, unit, step.unit)
        if abs(value) < step.below:  # dead hangs on it: 'eighteen volts' may have been eighty
            flow.change(pending=Pending(value, utterance.value, unit), awaiting=Awaiting.READING_AFFIRM)
            present(flow)
        else:
            quantity = flow.state.language.say_quantity(utterance.value, unit)
            flow.say(flow.words("readback", quantity=quantity), "readback")
            _reading_taken(flow, step, value, utterance.value, unit)
            _live(flow)
    else:
        flow.prompt("need-reading", "refusal", unit=unit_name(flow, step.unit))


def _reading_taken(
    flow: Flow, step: model.Prove, value: float, given: float, unit: str, *, affirmed: bool = False
) -> None:
    flow.emit(ReadingTaken(
        flow.state.path, step.id, "absence of voltage", value, step.unit, given, unit, expected=(0.0, step.below),
        affirmed=affirmed,
    ))
    take(flow, Result(f"{value:g} {step.unit}".strip(), value, step.unit))


def dead_affirm(flow: Flow, utterance: Utterance) -> None:
    """A reading that says dead was read back: it counts once affirmed."""
    step, pending = flow.state.step, flow.state.pending
    assert isinstance(step, model.Prove)
    assert pending is not None
    if is_command(utterance, "affirm"):
        _reading_taken(flow, step, pending.value, pending.given, pending.given_unit, affirmed=True)
        flow.change(pending=None, awaiting=Awaiting.TESTER_AFTER)
        present(flow)
    elif is_command(utterance, "negative", "correction"):
        flow.change(pending=None, awaiting=Awaiting.DEAD_READING)
        flow.prompt("reading-again", "question")
    else:
        flow.prompt("need-affirm", "question")


def tester_after(flow: Flow, utterance: Utterance) -> None:
    _tester(flow, utterance, None)


def switch_tried(flow: Flow, utterance: Utterance) -> None:
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
    if not flow.state.interlock.isolated:  # proved without a phrase: only a procedure that no proof has seen gets here
        _isolate_anew(flow)
        return
    flow.tone("gate open")
    flow.prompt("isolated", "notice")
    proved(flow)


def _isolate_anew(flow: Flow) -> None:
    """Back to the isolation step; a procedure that has none is stopped, never 'done'."""
    if flow.state.covering:
        move(flow, flow.state.covering)
    else:
        flow.prompt("hazard-no-isolation", "refusal", cuttable=False)
        close(flow, "stopped", "")


def _live(flow: Flow) -> None:
    flow.prompt("not-dead", "refusal", cuttable=False)
    clear(flow, Turn.FOUND_LIVE, flow.words("why-live"))


def restore_check(flow: Flow, utterance: Utterance) -> None:
    step = flow.state.step
    assert isinstance(step, model.Restore)
    if not onward(utterance):
        return
    if flow.state.check + 1 < len(step.checks):
        flow.change(check=flow.state.check + 1)
    else:
        flow.change(awaiting=Awaiting.RESTORE_GATE)
    present(flow)


def restore_power(flow: Flow, utterance: Utterance) -> None:
    if onward(utterance) or is_command(utterance, "power is on"):
        flow.turn_lock(Turn.RESTORED, "")
        flow.prompt("restored", "notice")
        forward(flow)
