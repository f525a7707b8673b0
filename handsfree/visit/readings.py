"""The questions of a reading: to give it, and to affirm it once it was read back. One row each, in `ROWS`."""

from __future__ import annotations

from handsfree.dialogue.question import Question, Stake
from handsfree.journal.events import ReadingTaken, Utterance
from handsfree.language.meaning import Listening, NumberAsked, Sense
from handsfree.language.quantities import convert, unit_fits
from handsfree.procedure import model
from handsfree.procedure.evaluation import decides
from handsfree.visit import speaking
from handsfree.visit.flow import Flow
from handsfree.visit.movement import forward
from handsfree.visit.plain import YES_NO, Rows, asks, called
from handsfree.visit.speaking import read_back, side_of_expected
from handsfree.visit.state import Awaiting, Pending, Result
from handsfree.visit.steps import present
from handsfree.visit.wishes import is_command, take


def _read(flow: Flow) -> model.Read:
    assert isinstance(flow.state.step, model.Read)
    return flow.state.step


def unit_name(flow: Flow, unit: str) -> str:
    return flow.state.language.say_unit(unit)


def in_another_unit(flow: Flow, unit: str | None) -> bool:
    """A reading in volts where ohms are asked for: which is meant is asked, whether it was clearly heard or not."""
    step = flow.state.step
    asked = flow.state.awaiting in (Awaiting.READING, Awaiting.DEAD_READING)
    if unit is None or not asked or not isinstance(step, (model.Read, model.Prove)) or unit_fits(step.unit, unit):
        return False
    flow.prompt("unit-doubt", "question", spoken=unit_name(flow, unit), asked=unit_name(flow, step.unit))
    return True


def asks_reading(flow: Flow) -> str:
    """'The reading, in volts?'"""
    step = flow.state.step
    assert isinstance(step, model.Read | model.Prove)
    unit = unit_name(flow, step.unit)
    return flow.sentence("short-reading", unit=unit) if unit else flow.sentence("short-count")


def may_read(flow: Flow) -> tuple[str, ...]:
    states = flow.state.language.states
    return (flow.sentence("a-reading"), states["over range"][0], states["unsteady"][0])


def _says_reading(flow: Flow) -> None:
    step = _read(flow)
    flow.say(step.say, "step", sound=step.own_sound)


def _hears_reading(flow: Flow) -> Listening:
    step = _read(flow)
    return Listening(number=NumberAsked(step.unit, *step.plausible))


def _takes_reading(flow: Flow, utterance: Utterance) -> bool:
    step = _read(flow)
    if utterance.sense == Sense.STATE:
        _state_taken(flow, step, utterance.text)
    elif utterance.sense == Sense.NUMBER and utterance.value is not None:
        _number(flow, step, utterance.value, utterance.unit or step.unit)
    else:
        return False
    return True


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
    flow.prompt("state-taken", "readback", state=speaking.called(flow.state.language, Sense.STATE, state))
    forward(flow, go)


def says_affirm(flow: Flow) -> None:
    step, pending = flow.state.step, flow.state.pending
    assert pending is not None  # READING_AFFIRM is only entered with one
    assert isinstance(step, model.Read | model.Prove)
    if isinstance(step, model.Read) and not step.plausible[0] <= pending.value <= step.plausible[1]:
        quantity = flow.state.language.say_quantity(pending.given, pending.given_unit)
        flow.prompt("implausible", "readback", quantity=quantity)
    else:
        flow.say(read_back(flow.state.language, step, pending, affirm=True), "readback")


def hears_affirm(flow: Flow) -> Listening:
    """Yes or no to what was read back, or to whether the tester works: part of the proof on a step that proves dead."""
    return Listening(commands=YES_NO, proof=isinstance(flow.state.step, model.Prove))


def _takes_affirm(flow: Flow, utterance: Utterance) -> bool:
    step, pending = _read(flow), flow.state.pending
    assert pending is not None
    if is_command(utterance, "affirm"):
        _take_reading(flow, step, pending, affirmed=True)
    elif is_command(utterance, "negative", "correction"):
        flow.change(pending=None, awaiting=Awaiting.READING)
        flow.prompt("reading-again", "question")
    else:
        return False
    return True


ROWS: Rows = {
    Awaiting.READING: Question(_says_reading, _hears_reading, _takes_reading, asks_reading, may_read, Stake.ANSWER),
    Awaiting.READING_AFFIRM: Question(
        says_affirm, hears_affirm, _takes_affirm, asks("need-affirm"), called("affirm", "negative", "correction"),
        Stake.ANSWER,
    ),
}  # fmt: skip
