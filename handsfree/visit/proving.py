"""The questions of proving a source dead: the try, the look, the tester and every point. One row each, in `ROWS`.

Nothing here makes a source ISOLATED: `interlock.prove` of the core does, and only `_dead` calls it.
"""

from __future__ import annotations

from dataclasses import replace

from handsfree.dialogue.question import Consequence, Question
from handsfree.isolation.energy import Method, Source
from handsfree.isolation.interlock import prove
from handsfree.isolation.rules import SourceEvent
from handsfree.journal.events import ReadingTaken, Utterance
from handsfree.language.meaning import Listening, NumberAsked, Sense
from handsfree.language.quantities import convert
from handsfree.language.tokens import capital
from handsfree.procedure import model, sources
from handsfree.procedure.sources import method_of
from handsfree.visit.flow import Flow
from handsfree.visit.movement import clear, move, proved
from handsfree.visit.plain import QuestionRows, asks, called
from handsfree.visit.readings import asks_reading, in_another_unit, says_affirm, unit_name
from handsfree.visit.speaking import choices, of_kind
from handsfree.visit.state import Awaiting, Pending, Result
from handsfree.visit.steps import close, present
from handsfree.visit.wishes import is_command, take_answer


def prove_step(flow: Flow) -> model.Prove:
    assert isinstance(flow.state.step, model.Prove)
    return flow.state.step


def source_of(flow: Flow) -> Source:
    return flow.state.book.energy.proves(flow.state.frames[-1].procedure, prove_step(flow))


def measurement(flow: Flow) -> Method:
    return sources.measured_by(prove_step(flow))


def points(flow: Flow) -> tuple[str, ...]:
    return prove_step(flow).measured(measurement(flow)) or ("",)


def unit_of(flow: Flow) -> str:
    return sources.unit_of(prove_step(flow))


def limit_of(flow: Flow) -> float:
    """In `unit_of`, dead is below this; never above what the method allows, whatever the step says."""
    step, method = prove_step(flow), measurement(flow)
    most = convert(method.most, method.unit, unit_of(flow)) if method.unit else 0.0
    return most if step.below is None or method is not method_of(step) else min(step.below, most)


# ---- the tester -----------------------------------------------------------------------------------------------------


def tester_before(flow: Flow, utterance: Utterance) -> bool:
    return _tester(flow, utterance, Awaiting.DEAD_READING)


def tester_after(flow: Flow, utterance: Utterance) -> bool:
    return _tester(flow, utterance, None)


def _tester(flow: Flow, utterance: Utterance, then: Awaiting | None) -> bool:
    """`then`: what follows a good tester; None if dead is now proved."""
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


# ---- every point ----------------------------------------------------------------------------------------------------


def dead_reading(flow: Flow, utterance: Utterance) -> bool:
    unit = utterance.unit or unit_of(flow)
    if utterance.value is not None and in_another_unit(flow, unit):
        return True
    if utterance.sense == Sense.STATE:
        flow.prompt("reading-again", "question")
    elif utterance.sense == Sense.NUMBER and utterance.value is not None:
        value = convert(utterance.value, unit, unit_of(flow))
        if abs(value) < limit_of(flow):  # dead depends on it: 'eighteen volts' may have been eighty
            flow.change(pending=Pending(value, utterance.value, unit), awaiting=Awaiting.DEAD_AFFIRM)
            present(flow)
        else:
            quantity = flow.state.language.say_quantity(utterance.value, unit)
            flow.say(flow.sentence("readback", quantity=quantity), "readback")
            _reading_taken(flow, value, utterance.value, unit)
            _live(flow)
    else:
        return False
    return True


def _reading_taken(flow: Flow, value: float, given: float, unit: str, *, affirmed: bool = False) -> None:
    point, quantity = points(flow)[flow.state.point], measurement(flow).quantity
    flow.emit(ReadingTaken(
        flow.state.path, prove_step(flow).id, f"{quantity}, {point}" if point else quantity, value, unit_of(flow), given,
        unit, expected=(0.0, limit_of(flow)), affirmed=affirmed,
    ))
    take_answer(flow, Result(f"{value:g} {unit_of(flow)}".strip(), value, unit_of(flow)))


def dead_affirm(flow: Flow, utterance: Utterance) -> bool:
    """A reading that says dead was read back: it counts once affirmed. Then comes the next point, and after the last the
    tester."""
    pending = flow.state.pending
    assert pending is not None
    if is_command(utterance, "affirm"):
        _reading_taken(flow, pending.value, pending.given, pending.given_unit, affirmed=True)
        more = flow.state.point + 1 < len(points(flow))
        if more:
            flow.change(pending=None, point=flow.state.point + 1, awaiting=Awaiting.DEAD_READING)
        else:
            flow.change(pending=None, awaiting=Awaiting.TESTER_AFTER)
        present(flow)
    elif is_command(utterance, "negative", "correction"):
        flow.change(pending=None, awaiting=Awaiting.DEAD_READING)
        flow.prompt("reading-again", "question")
    elif utterance.sense == Sense.NUMBER:  # another reading takes its place
        flow.change(pending=None, awaiting=Awaiting.DEAD_READING)
        return dead_reading(flow, utterance)
    else:
        return False
    return True


# ---- a try, a look --------------------------------------------------------------------------------------------------


def _tried(flow: Flow) -> tuple[str, str]:
    return flow.sentence("answer-nothing-runs"), flow.sentence("answer-it-runs")


def switch_tried(flow: Flow, utterance: Utterance) -> bool:
    dead, live = _tried(flow)
    if utterance.sense == Sense.PHRASE and utterance.text == dead:
        take_answer(flow, Result(dead))
        flow.change(awaiting=Awaiting.OFF_AGAIN)
        present(flow)
    elif utterance.sense == Sense.PHRASE and utterance.text == live:
        _live(flow)
    else:
        return False
    return True


def off_again(flow: Flow, utterance: Utterance) -> bool:
    """The controls are off again before the try counts (29 CFR 1910.147 (d)(6), App. A)."""
    if utterance.sense == Sense.PHRASE and utterance.text == _tried(flow)[1]:  # a controller may start late
        _live(flow)
        return True
    if not is_command(utterance, "affirm"):
        return False
    _dead(flow)
    return True


def looked(flow: Flow, utterance: Utterance) -> bool:
    if is_command(utterance, "affirm"):
        _dead(flow)
    elif is_command(utterance, "negative"):
        _live(flow)
    else:
        return False
    return True


def _dead(flow: Flow) -> None:
    step, source = prove_step(flow), source_of(flow)
    after = prove(flow.state.interlock, source.name, step.method, flow.now) if source.name in flow.state.interlock.sources \
        else flow.state.interlock
    flow.lock_to(after, "proof", step.id)
    hold = after.hold(source.name)
    if not hold.held:  # proved without a phrase: only a procedure whose graph was not proved gets here
        _isolate_anew(flow)
        return
    flow.tone("gate open")
    several = len(flow.state.interlock.sources) > 1
    key = "isolated" if hold.power == "ISOLATED" else "proof-taken"
    flow.heard(flow.sentence(f"{key}-of" if several else key, source=short_name(flow, source)))
    proved(flow)


def short_name(flow: Flow, source: Source) -> str:
    """'mains' for 'mains by cord and plug', if no other source is of that kind."""
    kind = source.kind.name
    alone = sum(one.kind.name == kind for one in flow.state.interlock.sources.values()) == 1
    return kind if alone and source.name.startswith(f"{kind} ") else source.name


def _isolate_anew(flow: Flow) -> None:
    """Back to the isolation step; a procedure that has none is stopped, never 'done'."""
    covering = flow.state.covering.get(source_of(flow).name, ())
    if covering:
        move(flow, covering)
    else:
        flow.prompt("hazard-no-isolation", "refusal", cuttable=False)
        close(flow, "stopped", "")


def _live(flow: Flow) -> None:
    flow.prompt("not-dead", "refusal", cuttable=False)
    clear(flow, SourceEvent.FOUND_LIVE, flow.sentence("why-live"), (source_of(flow).name,))


# ---- what is said ---------------------------------------------------------------------------------------------------


def _says_tester(flow: Flow) -> None:
    """The step's own words, else those of the language."""
    step = prove_step(flow)
    known = of_kind(flow.state.language, "tester", measurement(flow).name) or flow.sentence("tester-known")
    words = step.tester if "tester" in step.model_fields_set else known
    flow.prompt("prove-tester", "step", cuttable=flow.may_cut, text=words, cue=flow.cue("affirm"))


def _says_switch(flow: Flow) -> None:
    flow.prompt("prove-switch", "step", cuttable=flow.may_cut, text=prove_step(flow).say)


def _says_look(flow: Flow) -> None:
    flow.prompt("prove-look", "step", cuttable=flow.may_cut, text=prove_step(flow).say, cue=flow.cue("affirm"))


def point_words(flow: Flow, point: str) -> str:
    """In the language of the visit if it has words for it, otherwise as the hazard file or the step says it."""
    return of_kind(flow.state.language, "point", point) or point


def _says_dead(flow: Flow) -> None:
    """The step's own words with the first point; every point by its name."""
    step, at = prove_step(flow), flow.state.point
    unit, point = unit_name(flow, unit_of(flow)), point_words(flow, points(flow)[at])
    words = flow.sentence("prove-point", point=capital(point)) if point else ""
    own = step.say if at == 0 and method_of(step).form == "measure" else ""
    flow.prompt("prove-reading", "step", cuttable=flow.may_cut, text=" ".join(filter(None, (own, words))), unit=unit)


def _asks_switch(flow: Flow) -> str:
    words = choices(flow.state.language, _tried(flow))
    return flow.sentence("short-choices", choices=capital(words))


def _hears_dead(flow: Flow) -> Listening:
    return Listening(number=NumberAsked(unit_of(flow), 0.0, 1000.0), proof=True)


def _hears_dead_affirm(flow: Flow) -> Listening:
    return replace(_hears_dead(flow), also=("affirm", "negative"))


def hears_affirm(flow: Flow) -> Listening:
    return Listening(also=("affirm", "negative"), proof=True)


def _hears_off_again(flow: Flow) -> Listening:
    return Listening(phrases=_tried(flow)[1:], also=("affirm",), proof=True)


def _may_give(flow: Flow) -> tuple[str, ...]:
    return (flow.sentence("a-reading"), *called("say again", "power is on")(flow))


_yes_no = called("affirm", "negative")
ROWS: QuestionRows = {
    Awaiting.TESTER_BEFORE: Question(
        _says_tester, hears_affirm, tester_before, asks("need-affirm"), _yes_no, Consequence.GUARDED
    ),
    Awaiting.SWITCH_TRIED: Question(
        _says_switch, lambda flow: Listening(phrases=_tried(flow), proof=True), switch_tried, _asks_switch, _tried,
        Consequence.GUARDED,
    ),
    Awaiting.OFF_AGAIN: Question(
        lambda flow: flow.prompt("prove-off-again", "step", cue=flow.cue("affirm")), _hears_off_again, off_again,
        asks("short-off-again"),
        called("power is on", "say again"), Consequence.GUARDED,
    ),
    Awaiting.LOOKED: Question(_says_look, hears_affirm, looked, asks("need-affirm"), _yes_no, Consequence.GUARDED),
    Awaiting.DEAD_READING: Question(_says_dead, _hears_dead, dead_reading, asks_reading, _may_give, Consequence.GUARDED),
    Awaiting.DEAD_AFFIRM: Question(
        says_affirm, _hears_dead_affirm, dead_affirm, asks("need-affirm"), _yes_no, Consequence.GUARDED
    ),
    Awaiting.TESTER_AFTER: Question(
        lambda flow: flow.prompt("prove-tester-after", "step", cue=flow.cue("affirm")), hears_affirm, tester_after,
        asks("need-affirm"), _yes_no, Consequence.GUARDED,
    ),
}  # fmt: skip
