"""Going from step to step. Every way to another step passes `move`, and `move` alone enters steps.

The rule of this file: a step behind the gate is entered only while the interlock says ISOLATED. Whoever asks for it
otherwise (next, back, a correction, a resume, a called procedure, a decision) is sent to the isolation step that covers it,
and comes back once that is proved.
"""

from __future__ import annotations

from handsfree.journal.events import DropTimer, StepEntered
from handsfree.procedure import model
from handsfree.visit import facts, places
from handsfree.visit.faults import passes
from handsfree.visit.flow import Flow
from handsfree.visit.interlock import Turn
from handsfree.visit.speaking import duration
from handsfree.visit.state import Awaiting, Frames, Overlay
from handsfree.visit.steps import KINDS, close, leave, present, set_wait_timer

#: Steps that wait for nobody may follow each other this often; more is a circle that no proof could see.
MOST_HOPS = 200


def move(flow: Flow, frames: Frames) -> None:
    """Go to `frames` and on until a step waits for somebody. () ends the visit."""
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


def _enter(flow: Flow, frames: Frames) -> Frames | None:
    state = flow.state
    step = state.book.at(frames[-1].procedure, frames[-1].step)
    if step.behind_gate and not state.interlock.isolated:
        if not state.covering:
            flow.prompt("hazard-no-isolation", "refusal", cuttable=False)
            close(flow, "stopped", "")
            return None
        flow.change(return_to=frames)
        flow.prompt("isolate-again", "refusal", cuttable=False)
        frames = state.covering
        step = state.book.at(frames[-1].procedure, frames[-1].step)
    if isinstance(step, model.Prove) and not state.interlock.phrase_given and state.covering:
        frames = state.covering  # proving dead follows the phrase, never replaces it
        step = state.book.at(frames[-1].procedure, frames[-1].step)
    if state.awaiting in (Awaiting.WAIT, Awaiting.CUT_WAIT):
        flow.emit(DropTimer("wait"))
    flow.change(frames=frames, pending=None, tries=0, overlay=Overlay.NONE, told_quiet=False, awaiting=Awaiting.NOTHING)
    if isinstance(step, model.Isolate | model.Restore) and not state.interlock.lock:
        flow.change(awaiting=Awaiting.LOCK_NUMBER)  # after a hand-over: `take_up` comes here again with the number
        present(flow)
        return None
    if passes(flow.state, frames, step):
        flow.prompt("passed-over", "notice", cuttable=False, text=step.say)
        return leave(flow, step.otherwise if isinstance(step, model.Decide) else None)
    if facts.needless(flow, step):
        return leave(flow)
    path = flow.state.path
    flow.emit(StepEntered(path, step.id, step.kind, flow.state.interlock.power))
    return KINDS[type(step)].enters(flow, step)


def forward(flow: Flow, go: str | None = None, makes: model.Facts = ()) -> None:
    """From this step to the next, remembering this one for 'go back'. `makes`: facts of the answer that was given."""
    state = flow.state
    step = state.step
    crossing = isinstance(step, model.GATES) or places.leaves_site(state.book, state.frames)
    flow.change(trail=() if crossing else (*state.trail, state.frames))
    move(flow, leave(flow, go, makes))


def backward(flow: Flow, frames: Frames) -> None:
    """To a place on the trail. An isolation that was begun and not confirmed is left: the visit is LIVE again."""
    if isinstance(flow.state.step, model.Isolate):
        flow.turn_lock(Turn.LEFT, "")
        flow.change(covering=())
    move(flow, frames)


def proved(flow: Flow) -> None:
    """After proving dead: on, or back to where a cleared isolation had been needed."""
    back = flow.state.return_to
    flow.change(return_to=())
    if back:
        flow.change(trail=())
        move(flow, back)
    else:
        forward(flow)


def clear(flow: Flow, what: Turn, why: str) -> None:
    """Isolation is gone: say so at once, and go where that leaves the visit."""
    state = flow.state
    opening = isinstance(state.step, model.Isolate | model.Prove)
    flow.turn_lock(what, why)
    flow.tone("gate shut")
    flow.prompt("isolation-cleared", "notice", cuttable=False, why=why)
    flow.change(overlay=Overlay.NONE)
    step = state.step
    if opening and state.covering:
        move(flow, state.covering)
    elif step is not None and (step.behind_gate or isinstance(step, model.Restore)):
        move(flow, state.frames)


def take_up(flow: Flow) -> None:
    """Go on at the step the visit stands at: a wait with what is left of it, a gate from its beginning; what was found or
    handed over there is said again, not done again."""
    state = flow.state
    if isinstance(state.step, model.Finding | model.Handover):
        flow.change(awaiting=Awaiting.DONE)
        present(flow)
    elif isinstance(state.step, model.Wait):
        left = state.wait_ends - flow.now
        if left <= 0:
            forward(flow)
            return
        flow.change(awaiting=Awaiting.WAIT)
        flow.prompt("wait-early", "notice", time=duration(state.language, left))
        set_wait_timer(flow)
    elif isinstance(state.step, model.Isolate | model.Prove) and state.covering:
        move(flow, state.covering)
    else:
        move(flow, state.frames)
