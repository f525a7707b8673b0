"""The sentences that a visit is sure to need: they are synthesised ahead, while others are spoken."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from handsfree.journal.events import Say
from handsfree.procedure import model
from handsfree.procedure.sources import method_of
from handsfree.visit.flow import LEARNED
from handsfree.visit.gates import restore_checks
from handsfree.visit.questions import QUESTIONS, flow_of
from handsfree.visit.state import Awaiting, Frame, State
from handsfree.visit.steps import KINDS, wait_words

PROOFS = {
    "try": (Awaiting.SWITCH_TRIED, Awaiting.OFF_AGAIN),
    "look": (Awaiting.LOOKED,),
    "measure": (Awaiting.TESTER_BEFORE, Awaiting.DEAD_READING, Awaiting.TESTER_AFTER),
}


def sentences_ahead(state: State) -> Iterator[str]:
    """As the machine says them, those of the main procedure first. Nothing is spoken here: the synthesiser needs them, so
    sentences behind a gate are among them. A step with the writer's own recording is left out."""
    book = replace(state.book, procedures={name: _unguarded(found) for name, found in state.book.procedures.items()})
    for name in (book.main, *(name for name in book.procedures if name != book.main)):
        for step in book.procedures[name].steps:
            here = replace(state, book=book, frames=(Frame(name, step.id),), point=0, check=0)  # of where the visit stands
            for learned, waited in ((frozenset(), False), (frozenset(LEARNED.values()), True)):
                for text in _of(replace(here, learned=learned, waited=waited), step):
                    yield state.language.speakable(text)


def _unguarded(procedure: model.Procedure) -> model.Procedure:
    """For its words only: a copy whose steps meet no hazard, so that every sentence can be reached without a gate."""
    free = {"hazards": (), "needs_isolation": False}
    return procedure.model_copy(update={"steps": tuple(step.model_copy(update=free) for step in procedure.steps)})


def _of(here: State, step: model.Step) -> Iterator[str]:
    flow = flow_of(here)
    awaited = PROOFS[method_of(step).form] if isinstance(step, model.Prove) else KINDS[type(step)].known
    if isinstance(step, model.Restore):
        flow.say(step.say, "step")
        for check in range(len(restore_checks(flow))):
            flow.change(check=check)
            QUESTIONS[Awaiting.RESTORE_CHECK].says(flow)
    elif isinstance(step, model.Wait) and not step.leaves_site:
        flow.say(wait_words(flow, step), "step")
    elif isinstance(step, model.Decide | model.Call):
        flow.say(step.say, "step")
    for awaiting in awaited:
        QUESTIONS[awaiting].says(flow)
    yield from (effect.text for effect in flow.effects if isinstance(effect, Say) and not effect.sound)
