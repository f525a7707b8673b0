"""Who joins: the names that a further person may have, and the question that asks which."""

from __future__ import annotations

from handsfree.isolation.interlock import awaits, latecomer
from handsfree.isolation.people import here
from handsfree.visit.flow import Flow
from handsfree.visit.state import Awaiting, Overlay
from handsfree.visit.steps import present

#: What somebody is asked who comes.
COMES = (Awaiting.WHO, Awaiting.LOCK_NUMBER, Awaiting.LOCK_AFFIRM)
PERSONS = (*COMES, Awaiting.OWNER_GONE, Awaiting.WHICH_SOURCE)


def free_names(flow: Flow) -> list[str]:
    """What to call a person without a name: a name of nobody who is here or whose lock is on; of nobody so far, if one is
    left."""
    interlock = flow.state.interlock
    known = {one.name for one in here(interlock.people)} | {lock.owner for lock in interlock.locks}
    names = map(flow.sentence, ("second-person", "first-person", "third-person"))
    before = {one.name for one in interlock.people}
    return sorted((name for name in names if name not in known), key=before.__contains__)


def may_come(flow: Flow) -> tuple[str, ...]:
    """The known technicians who are not here; whoever resumed the visit under a name counts as here."""
    state = flow.state
    present_names = {one.name for one in here(state.interlock.people)} | {""}
    return tuple(dict.fromkeys(name for name in (state.technician, *state.technicians) if name not in present_names))


def ask_who(flow: Flow) -> None:
    """A newcomer says who they are, if names are known, and then the number on their lock."""
    flow.change(overlay=Overlay.NONE, lock_offered=(), pending=None)
    if may_come(flow):
        flow.change(awaiting=Awaiting.WHO, joining="")
    else:
        flow.change(awaiting=Awaiting.LOCK_NUMBER, joining=next(iter(free_names(flow)), ""))
    present(flow)


def lock_first(flow: Flow) -> bool:
    """Anybody here who has no lock on something that is held puts one on before the work goes on; False if all have."""
    late = latecomer(flow.state.interlock)
    if late is None:
        return False
    flow.change(awaiting=Awaiting.JOIN_GATE, interlock=awaits(flow.state.interlock, late.name), pending=None)
    present(flow)
    return True
