"""Where a visit is in its procedure, as text: every step on a line, the current one marked, those passed ticked."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from handsfree.procedure import phrasing
from handsfree.procedure.graph import ways
from handsfree.procedure.model import Procedure
from handsfree.visit.state import State

AROUND = 7  # steps shown before and after the current one in a long procedure
WHOLE = 2 * AROUND + 1


def text_map(state: State, been: Collection[tuple[str, str]]) -> list[str]:
    """`been`: (procedure, step) of steps entered. Nothing where the visit has not begun or is over."""
    if not state.frames:
        return []
    frame = state.frames[-1]
    procedure = state.book.procedures[frame.procedure]
    above = " > ".join(one.procedure for one in state.frames)
    power = phrasing.value(procedure.language, "power", str(state.interlock.power).lower())
    return [f"--- {above} --- {power}", *_lines(procedure, frame.step, been)]


def _lines(procedure: Procedure, here: str, been: Collection[tuple[str, str]]) -> Iterator[str]:
    ids = [step.id for step in procedure.steps]
    at = ids.index(here)
    first = 0 if len(ids) <= WHOLE else max(0, min(at - AROUND, len(ids) - WHOLE))
    shown = range(first, min(len(ids), first + WHOLE))
    if first:
        yield f"      … {first}"
    for number in shown:
        step = procedure.steps[number]
        mark = ">>" if step.id == here else " x" if (procedure.procedure, step.id) in been else "  "
        gate = "!" if step.behind_gate else " "
        kind, targets = phrasing.value(procedure.language, "kind", step.kind), _targets(procedure, number, ids)
        yield f"{mark} {number + 1:3d} {gate} {step.id} ({kind}){'  ' + targets if targets else ''}"
    if shown.stop < len(ids):
        yield f"      … {len(ids) - shown.stop}"


def _targets(procedure: Procedure, number: int, ids: list[str]) -> str:
    """Where it leads, where that is not simply the next line."""
    found = []
    for way in ways(procedure, procedure.steps[number]):
        if way.to in ids and ids.index(str(way.to)) != number + 1:
            name = phrasing.way(procedure.language, procedure.steps[number], way.name)
            found.append(f"{name + ' ' if name else ''}-> {ids.index(str(way.to)) + 1}")
    return ", ".join(found)
