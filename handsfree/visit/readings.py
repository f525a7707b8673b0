"""The questions of a reading: to give it, and to affirm it once it was read back. One row each, in `ROWS`."""

from __future__ import annotations

from handsfree.dialogue.question import Consequence, Question
from handsfree.journal.events import ReadingTaken, Utterance
from handsfree.language.meaning import WAYS_OUT, YES_NO, Listening, NumberAsked, Sense
from handsfree.language.quantities import convert, unit_fits
from handsfree.language.tokens import tokens
from handsfree.procedure import model
from handsfree.procedure.evaluation import near_a_limit
from handsfree.procedure.sources import unit_of
from handsfree.visit import speaking
from handsfree.visit.facts import learn
from handsfree.visit.flow import Flow
from handsfree.visit.movement import forward
from handsfree.visit.plain import QuestionRows, asks, ways_of_yes
from handsfree.visit.speaking import read_back, side_of_expected, taken_words
from handsfree.visit.state import Awaiting, Pending, Result
from handsfree.visit.steps import keep_sample, present
from handsfree.visit.wishes import affirms, denies, take_answer, way_out


def _read(flow: Flow) -> model.Read:
    assert isinstance(flow.state.step, model.Read)
    return flow.state.step


def unit_name(flow: Flow, unit: str) -> str:
    return flow.state.language.say_unit(unit)


def asked_in(step: model.Read | model.Prove) -> str:
    return unit_of(step) if isinstance(step, model.Prove) else step.unit


def in_another_unit(flow: Flow, unit: str | None) -> bool:
    """A reading in volts where ohms were asked for: the program asks which is meant, even if it heard it clearly."""
    step = flow.state.step
    asked = flow.state.awaiting in (Awaiting.READING, Awaiting.DEAD_READING)
    if unit is None or not asked or not isinstance(step, (model.Read, model.Prove)) or unit_fits(asked_in(step), unit):
        return False
    flow.prompt("unit-doubt", "question", spoken=unit_name(flow, unit), asked=unit_name(flow, asked_in(step)))
    return True


def asks_reading(flow: Flow) -> str:
    """The step's own short form, otherwise 'The reading, in volts?'"""
    step = flow.state.step
    assert isinstance(step, model.Read | model.Prove)
    if isinstance(step, model.Read) and step.short:
        return step.short
    unit = unit_name(flow, asked_in(step))
    return flow.sentence("short-reading", unit=unit) if unit else flow.sentence("short-count")


def may_read(flow: Flow) -> tuple[str, ...]:
    states = flow.state.language.states
    return (flow.sentence("a-reading"), states["over range"][0], flow.state.language.commands["cannot tell"][0])


def _says_reading(flow: Flow) -> None:
    step = _read(flow)
    text = flow.step_words(step)
    flow.say(text, "step", sound=step.own_sound if text == step.say else "")


def _hears_reading(flow: Flow) -> Listening:
    step = _read(flow)
    return Listening(number=NumberAsked(step.unit, *step.plausible), also=WAYS_OUT)


def _takes_reading(flow: Flow, utterance: Utterance) -> bool:
    step = _read(flow)
    if utterance.sense == Sense.STATE:
        _no_number(flow, step, utterance.text)
    elif out := way_out(utterance):
        _no_number(flow, step, out)
    elif utterance.sense == Sense.NUMBER and utterance.value is not None:
        _number(flow, step, utterance.value, utterance.unit or step.unit)
    else:
        return False
    return True


def _number(flow: Flow, step: model.Read, given: float, unit: str) -> None:
    """Only these need 'affirm': a reading that is implausible, one near a limit that matters, one whose writer asks for it,
    and one not surely heard (a proposal). What was affirmed as a proposal, or said twice, is not asked a third time."""
    if in_another_unit(flow, unit):
        return
    before, pending = flow.state.pending, Pending(convert(given, unit, step.unit), given, unit)
    flow.change(pending=pending)
    twice = flow.affirmed or pending == before
    if not twice and _to_affirm(flow, step, pending):
        flow.change(awaiting=Awaiting.READING_AFFIRM)
        present(flow)
        return
    flow.heard(taken_words(flow.state.language, step, pending))
    _take_reading(flow, step, pending, affirmed=twice)


def _to_affirm(flow: Flow, step: model.Read, pending: Pending) -> bool:
    low, high = step.plausible
    limits = not low <= pending.value <= high or near_a_limit(flow.state.procedure, step, pending.value)
    return step.decides or limits or _other_figures(flow, pending.given)


def keep_half(flow: Flow, utterance: Utterance) -> None:
    """'Uh, two hundred and …' was asked again: 'twenty three' may be the rest of it."""
    if _figures(flow, utterance.words):
        flow.change(half_heard=utterance.words)


def _other_figures(flow: Flow, value: float) -> bool:
    before = _figures(flow, flow.state.half_heard)
    return bool(before) and value not in before


def _figures(flow: Flow, words: str) -> frozenset[float]:
    """Every number that part of the words may be."""
    said, language = tokens(words), flow.state.language
    parts = (said[at:end] for at in range(len(said)) for end in range(at + 1, min(len(said), at + _LONGEST) + 1))
    written = (float(word) for word in said if word.replace(".", "", 1).isdigit())
    return frozenset((*written, *(one.value for part in parts for one in language.numbers(part) if one.value is not None)))


_LONGEST = 7  # words of a number


def _take_reading(flow: Flow, step: model.Read, pending: Pending, *, affirmed: bool) -> None:
    flow.emit(ReadingTaken(
        flow.state.path, step.id, step.quantity, pending.value, step.unit, pending.given, pending.given_unit, "",
        step.plausible, step.expected, step.accuracy or "", affirmed,
    ))
    result = Result(f"{pending.value:g} {step.unit}".strip(), pending.value, step.unit)
    take_answer(flow, result)
    keep_sample(flow, step, pending.value, flow.now, (flow.state.path, step.id))
    if step.fact is not None:
        learn(flow, step.fact, result, step.lasting)
    aside = side_of_expected(flow.state.language, step, pending.value)
    if aside:
        flow.heard(aside)
    forward(flow)


def _no_number(flow: Flow, step: model.Read, state: str) -> None:
    """Over range, unsteady, or 'can't tell': an answer of its own, which leads where the procedure says."""
    if state in WAYS_OUT:
        go = model.way_out_of(step, state)[1]
    else:
        go = {"over range": step.over_range, "unsteady": step.unsteady}[state] or step.unknown
        if go is None:
            flow.prompt("state-unknown", "refusal", asks=asks_reading(flow))
            return
    flow.emit(ReadingTaken(
        flow.state.path, step.id, step.quantity, None, step.unit, None, step.unit, state,
        step.plausible, step.expected, step.accuracy or "",
    ))
    take_answer(flow, Result(state, None, step.unit, state))
    if state in WAYS_OUT:
        flow.heard(flow.sentence(f"way-{state.replace(' ', '-')}"))
    else:
        flow.heard(flow.sentence("state-taken", state=speaking.called_aloud(flow.state.language, Sense.STATE, state)))
    forward(flow, go)


def says_affirm(flow: Flow) -> None:
    step, pending = flow.state.step, flow.state.pending
    assert pending is not None  # READING_AFFIRM is only entered with one
    assert isinstance(step, model.Read | model.Prove)
    if isinstance(step, model.Read) and not step.plausible[0] <= pending.value <= step.plausible[1]:
        quantity = flow.state.language.say_quantity(pending.given, pending.given_unit)
        flow.prompt("implausible", "readback", quantity=quantity, cue=flow.cue("affirm"))
    else:
        flow.say(f"{read_back(flow.state.language, step, pending)}{flow.cue('affirm')}", "readback")


def _hears_affirm(flow: Flow) -> Listening:
    """Yes or no to what was read back, or another reading instead."""
    step = _read(flow)
    return Listening(number=NumberAsked(step.unit, *step.plausible), also=YES_NO)


def _takes_affirm(flow: Flow, utterance: Utterance) -> bool:
    step, pending = _read(flow), flow.state.pending
    assert pending is not None
    if affirms(utterance):
        _take_reading(flow, step, pending, affirmed=True)
    elif denies(utterance):
        flow.change(pending=None, awaiting=Awaiting.READING)
        flow.prompt("reading-again", "question")
    elif utterance.sense == Sense.NUMBER and utterance.value is not None:  # a number said here is a correction
        flow.change(awaiting=Awaiting.READING)
        _number(flow, step, utterance.value, utterance.unit or step.unit)
    else:
        return False
    return True


ROWS: QuestionRows = {
    Awaiting.READING: Question(_says_reading, _hears_reading, _takes_reading, asks_reading, may_read, Consequence.ANSWER),
    Awaiting.READING_AFFIRM: Question(
        says_affirm, _hears_affirm, _takes_affirm, asks("need-affirm"), ways_of_yes, Consequence.ANSWER
    ),
}  # fmt: skip
