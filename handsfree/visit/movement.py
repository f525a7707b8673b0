"""Going from step to step. Every way to another step goes through `move`, and only `move` enters steps.

The rule of this file: a step is entered only while every source it needs is ISOLATED. Any other attempt to reach it (next,
back, a correction, a resume, a called procedure, a decision) leads to the isolation step of the first source that is not
ISOLATED, and comes back once all are proved.
"""

from __future__ import annotations

from handsfree.isolation import rules
from handsfree.isolation.rules import Power, SourceEvent
from handsfree.journal.events import DropTimer, StepEntered, StepPassed
from handsfree.procedure import model
from handsfree.procedure.model import Book
from handsfree.procedure.sources import method_of
from handsfree.visit import besides, facts, places
from handsfree.visit.comers import COMES, ask_who, lock_first
from handsfree.visit.faults import passes
from handsfree.visit.flow import Flow
from handsfree.visit.speaking import duration
from handsfree.visit.state import Awaiting, FrameStack, Overlay
from handsfree.visit.steps import KINDS, close, leave_step, present, set_wait_timer

#: At most this many steps that wait for nobody may follow each other; more is a circle that the proof did not find.
MOST_HOPS = 200


def move(flow: Flow, frames: FrameStack) -> None:
    """Go to `frames`, and on until a step waits for somebody. () ends the visit."""
    for _ in range(MOST_HOPS):
        if not frames:
            close(flow, "done", "")
            return
        onward = _enter(flow, frames)
        if onward is None:
            return
        frames = onward
    flow.prompt("circles", "notice")
    close(flow, "stopped", "")


def _enter(flow: Flow, frames: FrameStack) -> FrameStack | None:
    step = flow.state.book.at(frames[-1].procedure, frames[-1].step)
    instead = _first(flow, frames)
    if instead != frames:
        if not instead:
            flow.prompt("hazard-no-isolation", "refusal", cuttable=False)
            close(flow, "stopped", "")
            return None
        if not isinstance(step, model.Isolate | model.Prove):
            flow.change(return_to=frames)
            flow.prompt("isolate-again", "refusal", cuttable=False)
        frames = instead
        step = flow.state.book.at(frames[-1].procedure, frames[-1].step)
    if flow.state.return_to and _isolated_already(flow, frames, step):
        return places.after(flow.state.book, frames)
    if isinstance(step, model.Isolate) and not flow.state.return_to and _all_isolated(flow, step.sources):
        return _kept(flow, frames, step)
    if flow.state.awaiting in (Awaiting.WAIT, Awaiting.CUT_WAIT):
        flow.emit(DropTimer("wait"))
    flow.change(frames=frames, pending=None, tries=0, overlay=Overlay.NONE, told_quiet=False, awaiting=Awaiting.NOTHING,
                voice_doubted=False, half_heard="", halted=False, just_kept=(), arrived="")  # fmt: skip
    if isinstance(step, model.Isolate | model.Restore) and not state_number(flow):
        return None
    if not enough_people(flow, step):
        return None
    if passes(flow.state, frames, step):
        flow.prompt("passed-over", "notice", cuttable=False, text=step.say)
        return leave_step(flow, _past(step))
    if facts.needless(flow, step):
        besides.passed(flow, step)
        return leave_step(flow)
    path = flow.state.path
    flow.emit(StepEntered(path, step.id, step.kind, flow.state.interlock.power))
    return KINDS[type(step)].enters(flow, step)


def _first(flow: Flow, frames: FrameStack) -> FrameStack:
    """Where to go first: `frames` if nothing is lacking there; else the isolation of what is, or what that isolation lacks
    itself: nobody relieves a charge while what fills it may be on. () if there is none."""
    ways: tuple[FrameStack, ...] = (frames,)
    while wanting := lacking(flow, ways[-1]):
        instead = flow.state.covering.get(wanting[0], ())
        if not instead or instead in ways:
            return ()
        ways = (*ways, instead)
    return ways[-1]


def _past(step: model.Step) -> str | None:
    """Where a step that broke leads: where nobody can tell. Only these ways were proved."""
    if isinstance(step, model.Decide):
        return step.otherwise
    return model.way_out_of(step, "cannot tell")[1] if isinstance(step, model.Ask | model.Read) else None


def _all_isolated(flow: Flow, names: tuple[str, ...]) -> bool:
    return all(flow.state.interlock.hold(name).power is Power.ISOLATED for name in names) and not flow.state.interlock.doubt


def _kept(flow: Flow, frames: FrameStack, step: model.Isolate) -> FrameStack:
    """What another procedure of this visit isolated and proved stays so: neither the isolation nor the proofs that follow
    are asked for twice, and nothing is said about it; the record shows it. If it is cleared later, this step isolates
    it."""
    book = flow.state.book
    path = tuple(frame.procedure for frame in frames)
    flow.emit(StepPassed(path, step.id, tuple((name, str(Power.ISOLATED)) for name in step.sources)))
    flow.change(trail=(), covering={**flow.state.covering, **dict.fromkeys(step.sources, frames)})
    onward = places.after(book, frames)
    while onward:
        following = book.at(onward[-1].procedure, onward[-1].step)
        if not isinstance(following, model.Prove):
            break
        if book.energy.proves(onward[-1].procedure, following).name not in step.sources:
            break
        onward = places.after(book, onward)
    return onward


def _isolated_already(flow: Flow, frames: FrameStack, step: model.Step) -> bool:
    """On the way back to where something was missing: this step isolates, or proves, what has not changed."""
    interlock = flow.state.interlock
    if isinstance(step, model.Isolate):
        return all(interlock.hold(name).held for name in step.sources)
    if isinstance(step, model.Prove):
        source = flow.state.book.energy.proves(frames[-1].procedure, step)
        return interlock.hold(source.name).power is Power.ISOLATED
    return False


def lacking(flow: Flow, frames: FrameStack) -> tuple[str, ...]:
    """The sources that must be isolated, or relieved, before this step is entered, the first to do first."""
    book, interlock = flow.state.book, flow.state.interlock
    sources, holds = book.energy.sources, interlock.holds
    step = book.at(frames[-1].procedure, frames[-1].step)
    if isinstance(step, model.Prove):  # proving dead follows the phrase, never replaces it
        source = book.energy.proves(frames[-1].procedure, step)
        if not interlock.hold(source.name).held:
            return (source.name,)
        return rules.unrelieved(source, method_of(step), sources, holds)
    if isinstance(step, model.Isolate):
        mine = rules.by_phrase(sources, step.sources) or step.sources
        return tuple(one for name in mine for one in rules.unready(sources[name], holds) if one not in mine)
    own = interlock.missing(book.energy.needs(step))
    ahead = interlock.missing(book.energy.needs(_worked_at(book, frames)))
    return own or tuple(name for name in ahead if name in flow.state.covering)


def _worked_at(book: Book, frames: FrameStack) -> model.Step:
    """The step itself or, where a caution or what is done by the way comes first, the first one after it that is fed, if no
    choice, gate or proof comes before: they belong to that work, and nobody attends to them while what it needs is live."""
    step, seen = book.at(frames[-1].procedure, frames[-1].step), {frames}
    while isinstance(step, model.Caution | model.Instruct | model.Evidence) and not book.energy.needs(step):
        frames = places.after(book, frames)
        if not frames or frames in seen:
            break
        seen.add(frames)
        step = book.at(frames[-1].procedure, frames[-1].step)
    return step


def state_number(flow: Flow) -> bool:
    """Somebody here has stated the number on their own lock; otherwise it is asked for."""
    if flow.state.interlock.lock:
        return True
    flow.change(awaiting=Awaiting.LOCK_NUMBER, joining="", another=False)
    present(flow)
    return False


def enough_people(flow: Flow, step: model.Step) -> bool:
    """As many people are here as the step asks for, with their locks on what it needs if that can be locked; otherwise it
    asks for those missing, the first before the second."""
    if step.people < 2 or flow.state.interlock.locked_by(flow.state.needs) >= step.people:
        return True
    if state_number(flow):
        flow.prompt("takes-two", "notice", cuttable=False)
        ask_who(flow)
    return False


def forward(flow: Flow, go: str | None = None, makes: model.Facts = ()) -> None:
    """From this step to the next, remembering this one for 'go back'. `makes`: facts of the answer that was given."""
    state = flow.state
    step = state.step
    crossing = isinstance(step, model.GATES) or places.leaves_site(state.book, state.frames)
    flow.change(trail=() if crossing else (*state.trail, state.frames))
    move(flow, leave_step(flow, go, makes))


def backward(flow: Flow, frames: FrameStack) -> None:
    """To a place on the trail. An isolation that was begun and not confirmed is dropped: its sources are LIVE again, and
    whatever needs them later leads back to it."""
    step = flow.state.step
    if isinstance(step, model.Isolate):
        flow.turn_lock(SourceEvent.LEFT, "", step.sources)
    move(flow, frames)


def proved(flow: Flow) -> None:
    """After proving dead: go on, or back to where a cleared isolation had been needed, once everything needed there is
    ISOLATED; a source that is claimed but not yet proved is proved by a step that follows."""
    back = flow.state.return_to
    wanting = lacking(flow, back) if back else ()
    if back and not wanting:
        flow.change(return_to=())
        move(flow, back)
    elif back and not flow.state.interlock.hold(wanting[0]).held:
        move(flow, flow.state.covering.get(wanting[0], back))
    else:
        forward(flow)


def clear(flow: Flow, what: SourceEvent, why: str, names: tuple[str, ...] | None = None) -> None:
    """The isolation of these sources is gone (of all, if `names` is None): say so at once, and what to do now. Who was being
    asked before 'which is on' is asked on."""
    say_cleared(flow, what, why, names)
    what_now(flow)


def say_cleared(flow: Flow, what: SourceEvent, why: str, names: tuple[str, ...] | None = None) -> None:
    flow.turn_lock(what, why, names)
    flow.tone("gate shut")
    flow.prompt("isolation-cleared", "notice", cuttable=False, why=why)


def on_after_overlay(flow: Flow) -> None:
    """Nothing lies over the visit any more: the question again or, after a shock, what to do now."""
    if flow.state.halted:
        what_now(flow)
    else:
        present(flow)


def what_now(flow: Flow) -> None:
    """Who was being asked is asked on; whoever has no lock on puts one on; or the visit goes on."""
    coming = flow.state.coming
    flow.change(overlay=Overlay.NONE, coming=Awaiting.NOTHING, halted=False)
    if coming is not Awaiting.NOTHING:
        flow.change(awaiting=coming)
        present(flow)
    elif not lock_first(flow):
        go_on(flow)


def go_on(flow: Flow) -> None:
    """What to do now that something was cleared. Somebody who is being asked who they are is asked first, so that nothing is
    isolated without them. Otherwise: the isolation that the step lacks; an isolation or a restore from its beginning; or
    else the step's question again."""
    state = flow.state
    if state.awaiting in COMES:
        present(flow)
    elif lacking(flow, state.frames) or isinstance(state.step, model.Isolate | model.Restore):
        move(flow, state.frames)
    elif state.awaiting in (Awaiting.WHICH_SOURCE, Awaiting.JOIN_GATE):  # in between: the step's own question is put again
        take_up(flow)
    else:
        present(flow)


def take_up(flow: Flow) -> None:
    """Go on at the step where the visit stopped: a wait with the time that is left, a gate from its beginning; a finding or
    a hand-over is said again, not made again."""
    state = flow.state
    if isinstance(state.step, model.Finding | model.Handover):
        flow.change(awaiting=Awaiting.DONE)
        present(flow)
    elif isinstance(state.step, model.Wait):
        left = round(state.wait_ends - flow.now)  # less than half a second is none
        if left <= 0:
            forward(flow)
            return
        flow.change(awaiting=Awaiting.WAIT)
        flow.prompt("wait-early", "notice", time=duration(state.language, left))
        set_wait_timer(flow)
    else:
        move(flow, state.frames)
