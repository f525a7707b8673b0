"""What each kind of step does when it is entered, and how it is said.

Two tables: `ENTER` gives, for each kind, what is awaited next (or where to go at once, for the kinds that wait for
nobody); `PRESENT` gives, for each thing awaited, the words. Saying a step again is presenting it again, so what is said
first and what is said again cannot differ.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from handsfree.journal.events import Closed, Decided, FindingMade, HandedOver, SetTimer
from handsfree.language.quantities import unit_fits
from handsfree.procedure import model
from handsfree.procedure.evaluation import evaluate, widths_of
from handsfree.procedure.expressions import name_of
from handsfree.visit import places
from handsfree.visit.flow import Flow
from handsfree.visit.interlock import Power, Turn
from handsfree.visit.speaking import answer_words, choices, duration, result_words
from handsfree.visit.state import Awaiting, Frames, Result

#: None: the visit waits. Frames: it goes there at once; () ends it.
Onward = Frames | None


def _await(awaiting: Awaiting) -> Callable[[Flow, Any], Onward]:
    def enter(flow: Flow, step: Any) -> Onward:
        flow.change(awaiting=awaiting)
        present(flow)
        return None

    return enter


def _isolate(flow: Flow, step: model.Isolate) -> Onward:
    """Until the phrase is given, 'go back' and 'correction' may leave again: what is behind is as LIVE as it was."""
    was_live = flow.state.interlock.power is Power.LIVE and not flow.state.return_to
    flow.change(covering=flow.state.frames, trail=flow.state.trail if was_live else ())
    flow.turn_lock(Turn.ISOLATION_BEGUN, step.say)
    return _await(Awaiting.GATE)(flow, step)


def _prove(flow: Flow, step: model.Prove) -> Onward:
    flow.change(trail=())
    return _await(Awaiting.TESTER_BEFORE if step.method == "meter" else Awaiting.SWITCH_TRIED)(flow, step)


def _restore(flow: Flow, step: model.Restore) -> Onward:
    flow.change(trail=(), check=0, covering=(), return_to=())
    flow.say(step.say, "step", cuttable=False)
    flow.turn_lock(Turn.RESTORE_BEGUN, flow.words("why-restore"))
    return _await(Awaiting.RESTORE_CHECK)(flow, step)


def _wait(flow: Flow, step: model.Wait) -> Onward:
    ends = flow.now + step.seconds
    flow.change(wait_ends=ends, awaiting=Awaiting.WAIT)
    if step.leaves_site:
        close(flow, "to be continued", "", not_before=ends)
        return None
    flow.say(flow.words("wait", text=step.say, time=duration(flow.state.language, step.seconds)), "step")
    set_wait_timer(flow)
    return None


def set_wait_timer(flow: Flow) -> None:
    """Rings when the next whole minute of the wait is left (five minutes where more than ten are), or at its end."""
    left = flow.state.wait_ends - flow.now
    stride = 300.0 if left > 600 else 60.0 if left > 60 else max(left, 0.0)
    flow.emit(SetTimer("wait", left % stride or stride if stride else 0.0))


def _decide(flow: Flow, step: model.Decide) -> Onward:
    """The first case that surely holds. A case that cannot be known, or is borderline, sends the visit to `otherwise`."""
    state = flow.state
    values = {name_of(name): result.value if result.value is not None else _words(result)
              for name, result in results_here(flow).items()}
    widths = widths_of(state.procedure, values)
    flow.say(step.say, "step")
    go, case, tells, used = step.otherwise, "otherwise", step.otherwise_tells, {}
    for each in step.cases:
        outcome = evaluate(each.when, values, widths=widths)
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
    return leave(flow, go)


def _words(result: Result) -> str | None:
    """An answer in words; a reading that was over range or unsteady has no value to decide on."""
    return None if result.state else result.text


def results_here(flow: Flow) -> dict[str, Result]:
    """Step id -> result, of the procedure that is running now."""
    path = flow.state.path
    return {step: result for (where, step), result in flow.state.remembered.items() if where == path}


def _call(flow: Flow, step: model.Call) -> Onward:
    flow.say(step.say, "step")
    return places.into(flow.state.book, flow.state.frames, step.procedure)


def record(flow: Flow, step: model.Finding | model.Handover) -> None:
    """What is found, or handed over, here; once, however often it is said."""
    here, path = results_here(flow), flow.state.path
    if isinstance(step, model.Finding):
        evidence = tuple((name, here[name].text) for name in step.evidence if name in here)
        flow.emit(FindingMade(path, step.id, step.finding, step.say, evidence))
    else:
        missing = flow.words("summary-missing")
        summary = tuple((name, here[name].text if name in here else missing) for name in step.summary)
        flow.emit(HandedOver(path, step.id, step.to, summary))


def _finding(flow: Flow, step: model.Finding) -> Onward:
    record(flow, step)
    return _await(Awaiting.DONE)(flow, step)


def _handover(flow: Flow, step: model.Handover) -> Onward:
    flow.change(trail=(), covering=(), return_to=())
    if flow.state.interlock.power is not Power.LIVE:
        flow.turn_lock(Turn.HANDED_OVER, flow.words("why-handover"))
        flow.prompt("isolation-cleared", "notice", cuttable=False, why=flow.words("why-handover"))
    flow.change(interlock=replace(flow.state.interlock, lock=()))  # whoever takes over has a padlock of their own
    record(flow, step)
    return _await(Awaiting.DONE)(flow, step)


def _end(flow: Flow, step: model.End) -> Onward:
    if len(flow.state.frames) > 1:
        flow.say(step.say, "step")
        return leave(flow)
    close(flow, step.outcome, step.say)
    return None


def leave(flow: Flow, go: str | None = None) -> Frames:
    """Where the visit goes from its step. A called procedure that ends on the way leaves its outcome with its call step:
    that of its End, 'done' where it runs off its last step."""
    state = flow.state
    onward = places.after(state.book, state.frames, go)
    outcome = state.step.outcome if isinstance(state.step, model.End) else "done"
    for call in places.left(state.frames, onward):
        key = (tuple(frame.procedure for frame in call), call[-1].step)
        flow.change(remembered={**flow.state.remembered, key: Result(outcome)})
        outcome = "done"
    return onward


def close(flow: Flow, outcome: str, text: str, not_before: float | None = None) -> None:
    """End the visit, saying so. A lock that may still be on is named; the isolation is no longer watched over."""
    state = flow.state
    if not_before is not None and isinstance(state.step, model.Wait):
        flow.prompt("wait-days", "notice", text=state.step.say, when=_when(flow, not_before - flow.now))
    elif outcome == "stopped":
        flow.prompt("stopped", "notice", cuttable=False)
    elif text:
        flow.prompt("ended", "notice", text=text)
    if state.interlock.power is not Power.LIVE:
        flow.prompt("ended-locked", "notice", cuttable=False)
        flow.turn_lock(Turn.CLOSED, outcome)
    flow.change(outcome=outcome, not_before=not_before)
    flow.emit(Closed(outcome, not_before, text))


def _when(flow: Flow, seconds: float) -> str:
    """'Thursday at 10 15, 24 hours from now', by the wall clock of the happening."""
    time = duration(flow.state.language, seconds)
    try:
        then = datetime.fromisoformat(flow.state.wall) + timedelta(seconds=seconds)
    except ValueError:
        return flow.words("in-time", time=time)
    day = flow.words(f"weekday-{then.weekday()}")
    return flow.words("on-day", day=day, clock=f"{then:%H:%M}", time=time)


ENTER: dict[type[Any], Callable[[Flow, Any], Onward]] = {
    model.Instruct: _await(Awaiting.DONE),
    model.Caution: _await(Awaiting.UNDERSTOOD),
    model.Ask: _await(Awaiting.ANSWER),
    model.Read: _await(Awaiting.READING),
    model.Isolate: _isolate,
    model.Prove: _prove,
    model.Restore: _restore,
    model.Wait: _wait,
    model.Evidence: _await(Awaiting.DONE),
    model.Decide: _decide,
    model.Call: _call,
    model.Finding: _finding,
    model.Handover: _handover,
    model.End: _end,
}


# ---- how it is said -------------------------------------------------------------------------------------------------


def present(flow: Flow) -> None:
    """Say what is awaited. The first time, the words of a caution or a gate cannot be cut short."""
    PRESENT[flow.state.awaiting](flow, flow.state.step)
    if flow.state.frames:
        flow.change(spoken=flow.state.spoken | {flow.state.frames})


def _may_cut(flow: Flow) -> bool:
    return flow.state.frames in flow.state.spoken


def _done(flow: Flow, step: Any) -> None:
    if isinstance(step, model.Evidence):
        flow.say(flow.words("evidence", text=step.say), "step", sound=step.own_sound)
    elif isinstance(step, model.Finding):
        flow.prompt("finding", "step", text=step.say)
    elif isinstance(step, model.Handover):
        flow.prompt("handover", "step", to=step.to, text=step.say)
        flow.prompt("summary", "step")
        here = results_here(flow)
        for name in step.summary:
            value = _brought(flow, name, here[name]) if name in here else flow.words("summary-missing")
            flow.prompt("summary-line", "step", name=_plain(name), value=value)
    else:
        flow.say(step.say, "step", sound=step.own_sound)


def _brought(flow: Flow, name: str, result: Result) -> str:
    if isinstance(flow.state.procedure.step(name), model.Call):
        return flow.words(f"outcome-{result.text.replace(' ', '-')}")
    return result_words(flow.state.language, result)


def _plain(step_id: str) -> str:
    return re.sub("-", " ", step_id)


def _caution(flow: Flow, step: model.Caution) -> None:
    cuttable = _may_cut(flow)
    flow.prompt(f"signal-{step.level}", "caution", cuttable=cuttable, text=step.say)
    flow.prompt("ask-understood", "question", cuttable=cuttable)


def _ask(flow: Flow, step: model.Ask) -> None:
    flow.say(step.say, "step", sound=step.own_sound)
    flow.prompt("choices", "question", choices=choices(flow.state.language, answer_words(step)))


def _read(flow: Flow, step: model.Read) -> None:
    flow.say(step.say, "step", sound=step.own_sound)


def _reading_affirm(flow: Flow, step: model.Read | model.Prove) -> None:
    from handsfree.visit.speaking import read_back

    pending = flow.state.pending
    assert pending is not None  # READING_AFFIRM is only entered with one
    if isinstance(step, model.Read) and not step.plausible[0] <= pending.value <= step.plausible[1]:
        quantity = flow.state.language.say_quantity(pending.given, pending.given_unit)
        flow.prompt("implausible", "readback", quantity=quantity)
    else:
        flow.say(read_back(flow.state.language, step, pending, affirm=True), "readback")


def _gate(flow: Flow, step: model.Isolate) -> None:
    cuttable = _may_cut(flow)
    flow.say(step.say, "step", cuttable=cuttable, sound=step.own_sound)
    for sentence in step.do:
        flow.say(sentence, "step", cuttable=cuttable)
    flow.prompt("isolate-need", "question", cuttable=cuttable)


def _restore_check(flow: Flow, step: model.Restore) -> None:
    flow.prompt("restore-check", "step", cuttable=_may_cut(flow), text=step.checks[flow.state.check])


def _wait_left(flow: Flow, step: model.Wait) -> None:
    flow.prompt("wait-left", "step", time=duration(flow.state.language, flow.state.wait_ends - flow.now))


def _cut_wait(flow: Flow, step: model.Wait) -> None:
    flow.prompt("wait-cut", "question", time=duration(flow.state.language, flow.state.wait_ends - flow.now))


def _tester(flow: Flow, step: model.Prove) -> str:
    """The step's own words, else those of the language."""
    return step.tester if "tester" in step.model_fields_set else flow.words("tester-known")


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


PRESENT: dict[Awaiting, Callable[[Flow, Any], None]] = {
    Awaiting.NOTHING: lambda flow, step: None,
    Awaiting.LOCK_NUMBER: lambda flow, step: flow.prompt("lock-number", "question"),
    Awaiting.LOCK_AFFIRM: lambda flow, step: flow.prompt("need-affirm", "question"),
    Awaiting.DONE: _done,
    Awaiting.UNDERSTOOD: _caution,
    Awaiting.ANSWER: _ask,
    Awaiting.READING: _read,
    Awaiting.READING_AFFIRM: _reading_affirm,
    Awaiting.GATE: _gate,
    Awaiting.TESTER_BEFORE: lambda f, step: f.prompt("prove-tester", "step", cuttable=_may_cut(f), text=_tester(f, step)),
    Awaiting.SWITCH_TRIED: lambda f, step: f.prompt("prove-switch", "step", cuttable=_may_cut(f), text=step.say),
    Awaiting.DEAD_READING: lambda f, step: f.prompt(
        "prove-reading", "step", cuttable=_may_cut(f), text=step.say, unit=unit_name(f, step.unit)
    ),
    Awaiting.TESTER_AFTER: lambda f, step: f.prompt("prove-tester-after", "step"),
    Awaiting.RESTORE_CHECK: _restore_check,
    Awaiting.RESTORE_GATE: lambda f, step: f.prompt("clear-need", "question", cuttable=False),
    Awaiting.RESTORE_POWER: lambda f, step: f.prompt("restore-power", "step", text=step.power),
    Awaiting.WAIT: _wait_left,
    Awaiting.CUT_WAIT: _cut_wait,
}

__all__ = ["ENTER", "PRESENT", "close", "leave", "present", "record", "results_here", "set_wait_timer"]
