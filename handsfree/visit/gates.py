"""The questions at a gate: the phrase, the proof that it is dead, and the order of restoring. One row each, in `ROWS`.

Nothing in this file opens a gate. It asks `interlock.hear_phrase` and `interlock.prove`, and says why one stays shut.
"""

from __future__ import annotations

from collections.abc import Callable

from handsfree.dialogue.question import Question, Stake
from handsfree.journal.events import ReadingTaken, Utterance
from handsfree.language.meaning import Denial, GateAsked, Listening, NumberAsked, Sense
from handsfree.language.quantities import convert
from handsfree.procedure import model
from handsfree.visit.flow import Flow
from handsfree.visit.interlock import Interlock, Turn, hear_phrase, prove
from handsfree.visit.movement import clear, forward, move, proved
from handsfree.visit.plain import Rows, always, asks, called
from handsfree.visit.readings import asks_reading, in_another_unit, may_read, says_affirm, unit_name
from handsfree.visit.speaking import choices
from handsfree.visit.state import Awaiting, Pending, Result
from handsfree.visit.steps import close, present
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


def at_gate(flow: Flow, utterance: Utterance) -> bool:
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
        return True
    _gate_refused(flow, utterance, after, clearing)
    return True


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


def tester_before(flow: Flow, utterance: Utterance) -> bool:
    return _tester(flow, utterance, Awaiting.DEAD_READING)


def _tester(flow: Flow, utterance: Utterance, then: Awaiting | None) -> bool:
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
        return False
    return True


def dead_reading(flow: Flow, utterance: Utterance) -> bool:
    step = flow.state.step
    assert isinstance(step, model.Prove)
    unit = utterance.unit or step.unit
    if utterance.value is not None and in_another_unit(flow, unit):
        return True
    if utterance.sense == Sense.STATE:
        flow.prompt("reading-again", "question")
    elif utterance.sense == Sense.NUMBER and utterance.value is not None:
        value = convert(utterance.value, unit, step.unit)
        if abs(value) < step.below:  # dead hangs on it: 'eighteen volts' may have been eighty
            flow.change(pending=Pending(value, utterance.value, unit), awaiting=Awaiting.DEAD_AFFIRM)
            present(flow)
        else:
            quantity = flow.state.language.say_quantity(utterance.value, unit)
            flow.say(flow.sentence("readback", quantity=quantity), "readback")
            _reading_taken(flow, step, value, utterance.value, unit)
            _live(flow)
    else:
        return False
    return True


def _reading_taken(
    flow: Flow, step: model.Prove, value: float, given: float, unit: str, *, affirmed: bool = False
) -> None:
    flow.emit(ReadingTaken(
        flow.state.path, step.id, "absence of voltage", value, step.unit, given, unit, expected=(0.0, step.below),
        affirmed=affirmed,
    ))
    take(flow, Result(f"{value:g} {step.unit}".strip(), value, step.unit))


def dead_affirm(flow: Flow, utterance: Utterance) -> bool:
    """A reading that says dead was read back: it counts once affirmed. Another reading takes its place."""
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
    elif utterance.sense == Sense.NUMBER:
        flow.change(pending=None, awaiting=Awaiting.DEAD_READING)
        return dead_reading(flow, utterance)
    else:
        return False
    return True


def tester_after(flow: Flow, utterance: Utterance) -> bool:
    return _tester(flow, utterance, None)


def _tried(flow: Flow) -> tuple[str, str]:
    return flow.sentence("answer-nothing-runs"), flow.sentence("answer-it-runs")


def switch_tried(flow: Flow, utterance: Utterance) -> bool:
    dead, live = _tried(flow)
    if utterance.sense == Sense.PHRASE and utterance.text == dead:
        take(flow, Result(dead))
        _dead(flow)
    elif utterance.sense == Sense.PHRASE and utterance.text == live:
        _live(flow)
    else:
        return False
    return True


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
    clear(flow, Turn.FOUND_LIVE, flow.sentence("why-live"))


def restore_check(flow: Flow, utterance: Utterance) -> bool:
    step = flow.state.step
    assert isinstance(step, model.Restore)
    if not onward(utterance):
        return False
    if flow.state.check + 1 < len(step.checks):
        flow.change(check=flow.state.check + 1)
    else:
        flow.change(awaiting=Awaiting.RESTORE_GATE)
    present(flow)
    return True


def restore_power(flow: Flow, utterance: Utterance) -> bool:
    if not (onward(utterance) or is_command(utterance, "power is on")):
        return False
    flow.turn_lock(Turn.RESTORED, "")
    flow.prompt("restored", "notice")
    forward(flow)
    return True


# ---- what is said and heard -----------------------------------------------------------------------------------------


def _hears_tester(flow: Flow) -> Listening:
    return Listening(also=("affirm", "negative"), proof=True)


def _dead_number(flow: Flow) -> NumberAsked:
    return NumberAsked(_prove(flow).unit, 0.0, 1000.0)


def _hears_gate(word: str) -> Callable[[Flow], Listening]:
    return lambda flow: Listening(gate=GateAsked(word, flow.state.interlock.lock))


def _may_gate(word: str) -> Callable[[Flow], tuple[str, ...]]:
    return lambda flow: (flow.sentence(f"a-gate-{word}"), *called("power is on", "stop the visit")(flow))


def _says_gate(flow: Flow) -> None:
    step, cuttable = flow.state.step, flow.may_cut
    assert isinstance(step, model.Isolate)
    flow.say(step.say, "step", cuttable=cuttable, sound=step.own_sound)
    for sentence in step.do:
        flow.say(sentence, "step", cuttable=cuttable)
    flow.prompt("isolate-need", "question", cuttable=cuttable)


def _prove(flow: Flow) -> model.Prove:
    assert isinstance(flow.state.step, model.Prove)
    return flow.state.step


def _says_tester(flow: Flow) -> None:
    """The step's own words, else those of the language."""
    step = _prove(flow)
    words = step.tester if "tester" in step.model_fields_set else flow.sentence("tester-known")
    flow.prompt("prove-tester", "step", cuttable=flow.may_cut, text=words)


def _says_switch(flow: Flow) -> None:
    flow.prompt("prove-switch", "step", cuttable=flow.may_cut, text=_prove(flow).say)


def _says_dead(flow: Flow) -> None:
    step = _prove(flow)
    flow.prompt("prove-reading", "step", cuttable=flow.may_cut, text=step.say, unit=unit_name(flow, step.unit))


def _says_check(flow: Flow) -> None:
    step = flow.state.step
    assert isinstance(step, model.Restore)
    flow.prompt("restore-check", "step", cuttable=flow.may_cut, text=step.checks[flow.state.check])


def _says_power(flow: Flow) -> None:
    step = flow.state.step
    assert isinstance(step, model.Restore)
    flow.prompt("restore-power", "step", text=step.power)


def _asks_switch(flow: Flow) -> str:
    words = choices(flow.state.language, _tried(flow))
    return flow.sentence("short-choices", choices=words[:1].upper() + words[1:])


ROWS: Rows = {
    Awaiting.GATE: Question(
        _says_gate, _hears_gate("isolated"), at_gate, asks("isolate-need"), _may_gate("isolated"), Stake.GUARDED
    ),
    Awaiting.TESTER_BEFORE: Question(
        _says_tester, _hears_tester, tester_before, asks("need-affirm"), called("affirm", "negative"), Stake.GUARDED
    ),
    Awaiting.SWITCH_TRIED: Question(
        _says_switch, lambda flow: Listening(phrases=_tried(flow), proof=True), switch_tried, _asks_switch, _tried,
        Stake.GUARDED,
    ),
    Awaiting.DEAD_READING: Question(
        _says_dead, lambda flow: Listening(number=_dead_number(flow), proof=True), dead_reading,
        asks_reading, may_read, Stake.GUARDED,
    ),
    Awaiting.DEAD_AFFIRM: Question(
        says_affirm, lambda flow: Listening(number=_dead_number(flow), also=("affirm", "negative"), proof=True),
        dead_affirm, asks("need-affirm"), called("affirm", "negative"), Stake.GUARDED
    ),
    Awaiting.TESTER_AFTER: Question(
        lambda flow: flow.prompt("prove-tester-after", "step"), _hears_tester, tester_after, asks("need-affirm"),
        called("affirm", "negative"), Stake.GUARDED,
    ),
    Awaiting.RESTORE_CHECK: Question(
        _says_check, always, restore_check, asks("need-check"), called("next step", "say again", "power is on"),
        Stake.GUARDED,
    ),
    Awaiting.RESTORE_GATE: Question(
        lambda flow: flow.prompt("clear-need", "question", cuttable=False), _hears_gate("clear"), at_gate,
        asks("clear-need"), _may_gate("clear"), Stake.GUARDED,
    ),
    Awaiting.RESTORE_POWER: Question(
        _says_power, always, restore_power, asks("need-power"), called("next step", "power is on"), Stake.GUARDED
    ),
}  # fmt: skip
