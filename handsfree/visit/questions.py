"""The one table of what a visit asks. Each row is in the module of its kind: plain steps, readings, gates, overlays."""

from __future__ import annotations

from dataclasses import replace

from handsfree.dialogue.question import Consequence
from handsfree.language.meaning import Listening
from handsfree.visit import desk_asks, gates, overlays, persons, plain, proving, readings
from handsfree.visit.flow import Flow
from handsfree.visit.plain import QuestionRows
from handsfree.visit.state import Overlay, State

QUESTIONS: QuestionRows = {**plain.ROWS, **readings.ROWS, **gates.ROWS, **proving.ROWS, **persons.ROWS, **overlays.ROWS,
                           **desk_asks.ROWS}  # fmt: skip


def flow_of(state: State) -> Flow:
    """A turn of the visit."""
    return Flow(state, QUESTIONS)


def listening(state: State) -> Listening:
    """What is in force. Nothing else of the grammar is listened for. The cabinet's page may be asked wherever 'where am I'
    may be."""
    if state.closed:
        return Listening(commands=())
    now = flow_of(state).question.hears(flow_of(state))
    open_to_asides = not now.note and "where am i" in now.named
    asides = tuple(state.book.asides) if open_to_asides else now.asides
    return replace(now, asides=asides, own_words=_nothing_at_stake(state))


def _nothing_at_stake(state: State) -> bool:
    """Neither the question nor what lies under it can open a gate or prove anything; and nobody has put the program aside
    to talk to somebody else."""
    stakes = (QUESTIONS[state.asked].stake, QUESTIONS[state.awaiting].stake)
    return Consequence.GUARDED not in stakes and state.below not in (Overlay.STAND_BY, Overlay.NOTE)
