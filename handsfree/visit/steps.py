"""What each kind of step does: one row per kind in `KINDS`.

A row says what happens when a step of that kind is entered: which question of `visit.questions` is asked or, for the kinds
that wait for nobody, where to go at once. To say a step again is to ask its question again, so the first time and the repeat
cannot differ.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from handsfree.isolation.interlock import Interlock, nobody
from handsfree.isolation.people import left_on
from handsfree.isolation.rules import Power, SourceEvent, by_phrase, tells_dead
from handsfree.journal.events import Closed, Decided, DeskAsked, FindingMade, HandedOver, SetTimer
from handsfree.language.quantities import convert
from handsfree.procedure import model
from handsfree.procedure.evaluation import evaluate, widths_of
from handsfree.procedure.expressions import name_of
from handsfree.procedure.sources import method_of
from handsfree.visit import advice, besides, facts, places
from handsfree.visit.flow import Flow
from handsfree.visit.speaking import duration
from handsfree.visit.state import Awaiting, Form, FrameStack, Origin, Result, Sample
from handsfree.visit.wishes import take

#: None: the visit waits. Frames: it goes there at once; () ends it.
Onward = FrameStack | None


def _await(awaiting: Awaiting) -> Callable[[Flow, Any], Onward]:
    def enter(flow: Flow, step: Any) -> Onward:
        flow.change(awaiting=awaiting)
        present(flow)
        return None

    return enter


def _isolate(flow: Flow, step: model.Isolate) -> Onward:
    """Until the phrase is given, 'go back' and 'correction' may leave again: what lies behind is still LIVE."""
    state = flow.state
    was_live = all(state.interlock.hold(name).power is Power.LIVE for name in step.sources) and not state.return_to
    covering = {**state.covering, **dict.fromkeys(step.sources, state.frames)}
    flow.change(covering=covering, trail=state.trail if was_live else ())
    flow.turn_lock(SourceEvent.ISOLATION_BEGUN, step.say, step.sources)
    if not by_phrase(state.book.energy.sources, step.sources):
        return _await(Awaiting.RELIEVED)(flow, step)
    return _await(Awaiting.SEEN if state.book.energy.tries(step.sources) else Awaiting.GATE)(flow, step)


def _prove(flow: Flow, step: model.Prove) -> Onward:
    """A try counts only if something ran or was lit before; otherwise it is measured."""
    flow.change(trail=(), point=0)
    method = method_of(step)
    hold = flow.state.interlock.hold(flow.state.book.energy.proves(flow.state.frames[-1].procedure, step).name)
    if method.form == "look":
        return _await(Awaiting.LOOKED)(flow, step)
    if method.form == "try" and tells_dead(method, hold):
        return _await(Awaiting.SWITCH_TRIED)(flow, step)
    if method.form == "try":
        flow.prompt("try-tells-nothing", "notice", cuttable=False, instead=_instead(flow, method.instead))
    return _await(Awaiting.TESTER_BEFORE)(flow, step)


def _instead(flow: Flow, method: str) -> str:
    """Says that it is measured, and where: a person whose plug is locked away must not measure at that plug."""
    try:
        return flow.sentence(f"measure-instead-{method}")
    except KeyError:
        return flow.sentence("measure-instead")


def _restore(flow: Flow, step: model.Restore) -> Onward:
    state = flow.state
    names = state.book.energy.restores(state.frames[-1].procedure, step)
    covering = {name: at for name, at in state.covering.items() if name not in names}
    flow.change(trail=(), check=0, covering=covering, return_to=())
    words = step.short if flow.brief else step.say
    if words:
        flow.say(words, "step", cuttable=False)
    flow.turn_lock(SourceEvent.RESTORE_BEGUN, flow.sentence("why-restore"), names)
    return _await(Awaiting.RESTORE_CHECK)(flow, step)


def _wait(flow: Flow, step: model.Wait) -> Onward:
    ends = flow.now + step.seconds
    flow.change(wait_ends=ends, awaiting=Awaiting.WAIT)
    if step.leaves_site:
        close(flow, "to be continued", "", not_before=ends)
        return None
    another = flow.may_cut  # the same wait was counted before: only how long is new
    half = step.seconds >= HALF_TIME_FROM and not another and not flow.brief
    flow.say(wait_words(flow, step), "step")
    flow.change(waited=True, half=half, spoken=flow.state.spoken | {flow.state.asking})
    set_wait_timer(flow)
    return None


def wait_words(flow: Flow, step: model.Wait) -> str:
    """What it waits for and how long; the first time in a visit, also when the program will speak again."""
    time = duration(flow.state.language, step.seconds)
    if flow.may_cut:
        return flow.sentence("wait-another", time=time)
    if flow.brief:
        return flow.sentence("wait-again", text=step.short or "", time=time).strip()
    first = "wait" if step.seconds >= HALF_TIME_FROM else "wait-short"
    return flow.sentence("wait-again" if flow.state.waited else first, text=step.say, time=time)


#: Seconds: for a shorter wait only the end is announced.
HALF_TIME_FROM = 1800.0


def set_wait_timer(flow: Flow) -> None:
    """Rings at half time, if that is still to be announced, and at the end. In between a wait is quiet."""
    left, step = flow.state.wait_ends - flow.now, flow.state.step
    whole = step.seconds if isinstance(step, model.Wait) else 0.0
    half = left - whole / 2 if whole and flow.state.half else 0.0
    flow.emit(SetTimer("wait", round(half, 3) if half > 1.0 else max(left, 0.0), whole))


def _ask(flow: Flow, step: model.Ask) -> Onward:
    """What is already known is not asked: the visit goes where that answer leads."""
    told = facts.told(flow, step)
    if told is None or told.answer is None:
        return _await(besides.asked_first(flow, step))(flow, step)
    take(flow, told.result)
    flow.tells(told.answer.tells)
    return leave_step(flow, told.answer.go, told.answer.makes)


def _read(flow: Flow, step: model.Read) -> Onward:
    told = facts.told(flow, step)
    if told is None:
        return _await(Awaiting.READING)(flow, step)
    take(flow, told.result)
    if told.result.value is not None:
        keep_sample(flow, step, told.result.value, told.at, told.origin)
    return leave_step(flow)


def keep_sample(flow: Flow, step: model.Read, value: float, at: float, given: Origin) -> None:
    """Kept with the others of its series, with its time and the step that it was `given` at; once in each, and once in each
    proof, whoever asks for it."""
    if not step.series:  # most readings: pint, which converts, takes half a second to load
        return
    celsius = convert(value, step.unit, "degC") if step.unit == "degF" else value
    minute, before, path = (at - flow.state.began) / 60, flow.state.series, flow.state.path
    there = {one.series for one in before
             if (one.given, one.minute) == (given, minute) and (one.series != "proof" or one.path == path)}  # fmt: skip
    kept = tuple(Sample(name, path, step.id, minute, celsius, given) for name in step.series if name not in there)
    flow.change(series=(*before, *kept))


def _decide(flow: Flow, step: model.Decide) -> Onward:
    """The first case that is certainly true. A case that is unknown or borderline sends the visit to `otherwise`."""
    state = flow.state
    values = {name_of(name): result.value if result.value is not None else _words(result)
              for name, result in results_here(flow).items()}
    widths = widths_of(state.procedure, values)
    series = series_here(flow)
    if step.aloud:
        flow.say(step.say, "step")
    go, case, tells, used = step.otherwise, "otherwise", step.otherwise_tells, {}
    for each in advice.ordered(flow, step.cases):
        outcome = evaluate(each.when, values, widths=widths, series=series)
        used.update(dict(outcome.because))
        if outcome.sure:
            go, case, tells = each.go, each.when, each.tells
        elif outcome.borderline:
            case, tells = f"otherwise, borderline: {each.when}", None
            flow.prompt("borderline", "notice")
        elif outcome.holds is None:
            case, tells = f"otherwise, not known: {each.when}", None
        else:
            continue
        break
    because = tuple((name, "not taken" if value is None else str(value)) for name, value in used.items())
    flow.emit(Decided(state.path, step.id, case, because))
    flow.tells(tells)
    return leave_step(flow, go)


def _words(result: Result) -> str | None:
    """An answer in words; a reading that was over range or unsteady has no value to decide on."""
    return None if result.state else result.text


def results_here(flow: Flow) -> dict[str, Result]:
    """Step id -> result, of the procedure that is running now."""
    path = flow.state.path
    return {step: result for (where, step), result in flow.state.remembered.items() if where == path}


def series_here(flow: Flow) -> dict[str, tuple[tuple[float, float], ...]]:
    """Series -> its (minute, value) pairs in order: for a proof those of the one that is running, for food all of them."""
    found: dict[str, tuple[tuple[float, float], ...]] = {}
    for one in flow.state.series:
        if one.series != "proof" or one.path == flow.state.path:
            found[one.series] = (*found.get(one.series, ()), (one.minute, one.value))
    return found


def _call(flow: Flow, step: model.Call) -> Onward:
    """Its words come before those of the step it leads to; the short form omits them."""
    if step.aloud and flow.state.form is not Form.SHORT:
        flow.heard(step.say)
    inner = (*flow.state.path, step.procedure)  # a proof begins afresh
    flow.change(series=tuple(one for one in flow.state.series if one.series != "proof" or one.path != inner))
    return places.into(flow.state.book, flow.state.frames, step.procedure)


def record(flow: Flow, step: model.Finding | model.Handover) -> None:
    """The finding or hand-over here, recorded once, however often it is said."""
    here, path = results_here(flow), flow.state.path
    if isinstance(step, model.Finding):
        evidence = tuple((name, here[name].text) for name in step.evidence if name in here)
        made = FindingMade(path, step.id, step.finding, step.say, evidence, step.means or "")
        flow.emit(made)
        flow.change(found=(*flow.state.found, made))
    else:
        missing = flow.sentence("summary-missing")
        summary = tuple((name, here[name].text if name in here else missing) for name in step.summary)
        flow.emit(HandedOver(path, step.id, step.to, summary))


def _finding(flow: Flow, step: model.Finding) -> Onward:
    """Said and recorded; then the visit goes on, because it asks for nothing."""
    record(flow, step)
    flow.say(finding_words(flow, step), "step")
    return leave_step(flow)


def finding_words(flow: Flow, step: model.Finding) -> str:
    """Its sentence, because that is what is new; the full form also says what it is."""
    if flow.state.form is Form.FULL or flow.again:
        return flow.sentence("finding", text=step.say)
    return step.short if step.short and flow.state.form is Form.SHORT else step.say


def _handover(flow: Flow, step: model.Handover) -> Onward:
    flow.change(trail=(), covering={}, return_to=())
    if flow.state.interlock.power is not Power.LIVE:
        flow.turn_lock(SourceEvent.HANDED_OVER, flow.sentence("why-handover"))
        flow.prompt("isolation-cleared", "notice", cuttable=False, why=flow.sentence("why-handover"))
    tell_locks(flow)
    flow.change(interlock=nobody(flow.state.interlock))  # whoever takes over has a padlock of their own
    record(flow, step)
    return _await(Awaiting.DONE)(flow, step)


def _end(flow: Flow, step: model.End) -> Onward:
    if len(flow.state.frames) > 1:  # whoever called it goes on; there is nothing to say
        return leave_step(flow)
    end(flow, step)
    return None


def end(flow: Flow, step: model.End) -> None:
    """The visit is over. The desk's questions come before its last words, when nothing is isolated and no lock is on."""
    interlock = flow.state.interlock
    if flow.state.questions and interlock.power is Power.LIVE and not interlock.locks:
        key, by, text = flow.state.questions[0]
        flow.change(awaiting=Awaiting.DESK_ASKS)
        flow.emit(DeskAsked(key, by, text))
        present(flow)
        return
    close(flow, step.outcome, step.say)


def leave_step(flow: Flow, go: str | None = None, makes: model.Facts = ()) -> FrameStack:
    """Where the visit goes from its step, which is now done. `makes`: facts of the answer given. A called procedure that
    ends on the way leaves its outcome with its call step: that of its End, or 'done' if it runs off its last step."""
    state = flow.state
    if state.step is not None:
        facts.behind(flow, state.step, makes)
    onward = places.after(state.book, state.frames, go)
    outcome = state.step.outcome if isinstance(state.step, model.End) else "done"
    for call in places.left(state.frames, onward):
        key = (tuple(frame.procedure for frame in call), call[-1].step)
        flow.change(remembered={**flow.state.remembered, key: Result(outcome)})
        facts.behind(flow, state.book.at(call[-1].procedure, call[-1].step))
        outcome = "done"
    return onward


def tell_locks(flow: Flow) -> None:
    """Whose locks are still on, by name, each with its source."""
    for owner, source in left_on(flow.state.interlock.locks):
        flow.prompt("lock-left", "notice", cuttable=False, owner=owner, source=source)


def locks_known(interlock: Interlock) -> bool:
    """On every source whose isolation was begun there is a lock that is known of: then nobody is told that one may be."""
    begun = {name for name in interlock.sources if interlock.hold(name).power is not Power.LIVE}
    return begun <= {lock.source for lock in interlock.locks}


def close(flow: Flow, outcome: str, text: str, not_before: float | None = None) -> None:
    """End the visit, and say so. A lock that may still be on is named; the isolation is no longer watched."""
    state, known = flow.state, locks_known(flow.state.interlock)
    if not_before is not None and isinstance(state.step, model.Wait):
        flow.prompt("wait-days", "notice", text=state.step.say, when=_when(flow, not_before - flow.now))
    elif outcome == "stopped":
        flow.prompt("stopped", "notice", cuttable=False)
    elif text:
        flow.prompt("ended", "notice", text=text)
    tell_locks(flow)
    if state.interlock.power is not Power.LIVE:
        flow.turn_lock(SourceEvent.CLOSED, outcome)
        flow.prompt("ended-known" if known else "ended-locked", "notice", cuttable=False)
    flow.change(outcome=outcome, not_before=not_before)
    flow.emit(Closed(outcome, not_before, text))


def _when(flow: Flow, seconds: float) -> str:
    """'Thursday at 10 15, 24 hours from now', by the wall clock of the happening."""
    time = duration(flow.state.language, seconds)
    try:
        then = datetime.fromisoformat(flow.state.wall) + timedelta(seconds=seconds)
    except ValueError:
        return flow.sentence("in-time", time=time)
    day = flow.sentence(f"weekday-{then.weekday()}")
    return flow.sentence("on-day", day=day, clock=f"{then:%H:%M}", time=time)


def present(flow: Flow) -> None:
    """Ask the question. The first time, the words of a caution or a gate cannot be cut short."""
    flow.question.says(flow)
    if flow.state.frames:
        flow.change(spoken=flow.state.spoken | {flow.state.asking})


@dataclass(frozen=True)
class StepKind:
    """A kind of step. `enters`: what it does when it is entered. `known`: the questions whose words are known from the
    procedure alone, so that they can be synthesised before they are needed."""

    enters: Callable[[Flow, Any], Onward]
    known: tuple[Awaiting, ...] = ()


def _asks(awaiting: Awaiting) -> StepKind:
    return StepKind(_await(awaiting), (awaiting,))


KINDS: dict[type[Any], StepKind] = {
    model.Instruct: _asks(Awaiting.DONE),
    model.Caution: _asks(Awaiting.UNDERSTOOD),
    model.Ask: StepKind(_ask, (Awaiting.ANSWER,)),
    model.Read: StepKind(_read, (Awaiting.READING,)),
    model.Isolate: StepKind(_isolate, (Awaiting.SEEN, Awaiting.GATE)),
    model.Prove: StepKind(_prove),  # its questions hang on its method: `visit.ahead` knows them
    model.Restore: StepKind(_restore, (Awaiting.RESTORE_GATE, Awaiting.RESTORE_POWER)),
    model.Wait: StepKind(_wait),
    model.Evidence: _asks(Awaiting.DONE),
    model.Decide: StepKind(_decide),
    model.Call: StepKind(_call),
    model.Finding: StepKind(_finding),
    model.Handover: StepKind(_handover),
    model.End: StepKind(_end),
}

__all__ = [
    "KINDS", "StepKind", "close", "finding_words", "keep_sample", "leave_step", "locks_known", "present", "record",
    "results_here", "set_wait_timer", "tell_locks", "wait_words",
]  # fmt: skip
