"""When the program itself fails in a running visit. Then it cannot know the state of the cabinet, so it says: live.

The rules of this file:

- Isolation is cleared, one sentence says so, the record says what broke and where, and the visit is stopped. It may be
  resumed like any stopped visit.
- Nothing here asks a question, a step or a procedure for anything: those may be what broke.
- A step that breaks when it is entered, or twice while it is asked, is skipped aloud when the visit is resumed. A step
  that keeps a person safe (a caution, a gate) is never skipped, nor is a question that says nothing of somebody who cannot
  tell: the program answers for nobody.
"""

from __future__ import annotations

from dataclasses import replace

from handsfree.isolation.interlock import turn_all
from handsfree.isolation.people import left_on
from handsfree.isolation.rules import Power, SourceEvent
from handsfree.journal.events import Closed, DropTimer, Effect, FaultCaught, Gate, Say, Tone
from handsfree.procedure import model
from handsfree.visit.state import FrameStack, Overlay, State
from handsfree.visit.steps import locks_known

MOST_TOLD = 200  # characters of an error that the record keeps
#: Steps whose words a person must have heard, or whose proof must have been made.
NEVER_PASSED = (model.Caution, *model.GATES)


def failed(state: State, at: FrameStack, during: str, what: str) -> tuple[State, tuple[Effect, ...]]:
    """The state and effects of a turn that broke. `state`: before the turn. `at`: the step it had reached. `during`: the
    kind of happening. `what`: the error."""
    was = state.interlock
    path = tuple(frame.procedure for frame in at)
    effects: list[Effect] = [FaultCaught(during, path, at[-1].step if at else "", what[:MOST_TOLD])]
    several, why = len(was.sources) > 1, state.language.prompt("why-fault")
    for name, hold in was.holds.items():
        if hold.power is not Power.LIVE:
            effects.append(Gate(hold.power, Power.LIVE, SourceEvent.FAULT, why, source=name if several else ""))
    effects.append(Tone("gate shut"))
    said = [state.language.prompt("fault")]
    said += [state.language.prompt("lock-left", owner=owner, source=source) for owner, source in left_on(was.locks)]
    if was.power is not Power.LIVE:
        said.append(state.language.prompt("ended-known" if locks_known(was) else "ended-locked"))
    effects += [Say(state.said + n, text, "notice", cuttable=False) for n, text in enumerate(said)]
    effects += [DropTimer("wait"), DropTimer("break"), DropTimer("quiet"), Closed("stopped")]
    again = at != state.frames or at == state.failed_at
    return replace(
        state, interlock=turn_all(was, SourceEvent.FAULT, state.now), overlay=Overlay.NONE, pending=None, outcome="stopped",
        not_before=None, said=state.said + len(said), fault=what, failed_at=at,
        broken=state.broken | ({at} if again else set()),
    ), tuple(effects)  # fmt: skip


def passes(state: State, frames: FrameStack, step: model.Step) -> bool:
    """The step broke before, and may be skipped."""
    if frames not in state.broken or isinstance(step, NEVER_PASSED):
        return False
    return not isinstance(step, model.Ask) or model.way_out_of(step, "cannot tell")[0]
