"""What is known in this visit, so that nothing is asked twice.

The rules of this file:

- A fact has a name, a value, the time it was learned, the step that gave it, and what makes it stale: its age (`keeps`)
  or a step that spoils it. Nothing depends on a fact being known: if it is not, the program asks.
- A step never answers itself: when the same question comes again, it is asked again.
- A reading that is known counts in a series by the time it was taken. What a call sheet gives has no such time.
- Facts open no gate. Only the interlock knows what is isolated.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from handsfree.journal.events import FactUsed, StepPassed
from handsfree.language.quantities import convert, unit_fits
from handsfree.procedure import model
from handsfree.visit.flow import Flow
from handsfree.visit.state import NOT_TAKEN, Fact, Origin, Result


def origin(flow: Flow) -> Origin:
    assert flow.state.step is not None
    return flow.state.path, flow.state.step.id


def known(flow: Flow, name: str) -> Fact | None:
    """The fact, if it is known now."""
    fact = flow.state.facts.get(name)
    if fact is None or (fact.keeps is not None and flow.now - fact.at > fact.keeps):
        return None
    return fact


def learn(flow: Flow, name: str, result: Result, keeps: float | None = None) -> None:
    fact = Fact(result, flow.now, origin(flow), keeps)
    flow.change(facts={**flow.state.facts, name: fact})


def given(known: Iterable[tuple[str, str]], now: float) -> dict[str, Fact]:
    """What a visit knows from the start, from a call sheet or the cabinet's page: 'warm', or a number and its unit, '230
    volt'."""
    return {name: Fact(_result(value), now, ((), "")) for name, value in known}


def _result(value: str) -> Result:
    number, _, unit = value.partition(" ")
    try:
        return Result(value, float(number), unit.strip())
    except ValueError:
        return Result(value)


def behind(flow: Flow, step: model.Step, makes: model.Facts = ()) -> None:
    """The step is done: facts that it spoils are no longer known, facts that it makes are. `makes`: of the answer given.
    Without its photo nobody knows what else of the step was done: what it makes is no longer known."""
    result = flow.state.remembered.get(origin(flow)) if isinstance(step, model.Evidence) else None
    left = result is not None and result.state == NOT_TAKEN
    spoilt = {*step.spoils, *(name for name, _ in step.makes if left)}
    if spoilt:
        flow.change(facts={name: fact for name, fact in flow.state.facts.items() if name not in spoilt})
    for name, value in (*(() if left else step.makes), *makes):
        learn(flow, name, _result(value))


def unlearn(flow: Flow, where: Origin) -> None:
    """Takes back what this step gave."""
    flow.change(facts={name: fact for name, fact in flow.state.facts.items() if fact.origin != where})


def needless(flow: Flow, step: model.Step) -> bool:
    """Everything that makes the step needless is known; then the record says that it was passed."""
    unless: model.Facts = getattr(step, "unless", ())
    if not unless or not all(_is(flow, name, value) for name, value in unless):
        return False
    flow.emit(StepPassed(flow.state.path, step.id, unless))
    return True


def _is(flow: Flow, name: str, value: str) -> bool:
    fact = known(flow, name)
    return fact is not None and fact.result.text == value


@dataclass(frozen=True)
class Told:
    """A question that need not be asked: the result it would have had, the answer that says so, and when and where it was
    learned."""

    result: Result
    answer: model.Answer | None = None
    at: float = 0.0
    origin: Origin = ((), "")


def told(flow: Flow, step: model.Ask | model.Read) -> Told | None:
    """The known answer to the question; None if it must be asked."""
    fact = known(flow, step.fact) if step.fact is not None else None
    if fact is None or fact.origin == origin(flow) or fact.result.state:
        return None
    if isinstance(step, model.Read) and step.series and not fact.origin[1]:
        return None
    found = _as_answer(step, fact.result) if isinstance(step, model.Ask) else _as_reading(step, fact.result)
    if found is None:
        return None
    flow.emit(FactUsed(flow.state.path, step.id, str(step.fact), found.result.text, round(flow.now - fact.at, 3)))
    return replace(found, at=fact.at, origin=fact.origin)


def _as_answer(step: model.Ask, result: Result) -> Told | None:
    answer = next((each for each in step.answers if result.text in (each.say, *each.also)), None)
    return None if answer is None else Told(Result(answer.say), answer)


def _as_reading(step: model.Read, result: Result) -> Told | None:
    if result.value is None or not unit_fits(step.unit, result.unit):
        return None
    value = convert(result.value, result.unit, step.unit)
    if not step.plausible[0] <= value <= step.plausible[1]:
        return None
    return Told(Result(f"{value:g} {step.unit}".strip(), value, step.unit))
