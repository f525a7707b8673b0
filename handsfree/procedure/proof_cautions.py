"""The part of the proof that is about cautions: a hazard that stays when its source is off is warned of on every path, and a
caution stands right before what it protects."""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Iterator

from handsfree.procedure import phrasing
from handsfree.procedure.graph import Place, first_place, places
from handsfree.procedure.hazards import usual
from handsfree.procedure.model import Caution, Step
from handsfree.procedure.proof_parts import Proof, ProofFault


def hazard_cautions(proof: Proof) -> Iterator[ProofFault]:
    """A hazard that asks for one needs its caution on every path: take out the cautions that name it, and
    no step that meets it may be reachable (the same as: some of them together dominate it)."""
    for hazard in sorted(one.name for one in usual().hazards.values() if one.caution):

        warns = {
            place for place in proof.onward
            if isinstance(step := proof.expansion.step(place), Caution) and hazard in step.hazards
        }
        came_from = _reached_past(proof, warns)
        for place in came_from:
            step = proof.expansion.step(place)
            if hazard in proof.met(step) and not isinstance(step, Caution):
                named = phrasing.value(proof.language, "hazard", hazard)
                yield proof.fault(place, "hazard without caution", _path(came_from, place), hazard=named)


def _reached_past(proof: Proof, removed: Collection[Place]) -> dict[Place, Place | None]:
    """All that is reachable with these steps taken out, each with the place it is reached from on a shortest path."""
    first = first_place(proof.book)
    if first in removed:
        return {}
    came_from: dict[Place, Place | None] = {first: None}
    waiting = deque([first])
    while waiting:
        place = waiting.popleft()
        for to in proof.onward[place]:
            if to not in came_from and to not in removed:
                came_from[to] = place
                waiting.append(to)
    return came_from


def _path(came_from: dict[Place, Place | None], place: Place) -> list[Place]:
    """From the first place to this one."""
    path, at = [place], came_from[place]
    while at is not None:
        path.append(at)
        at = came_from[at]
    return path[::-1]


def protected(proof: Proof) -> Iterator[ProofFault]:
    """A caution is read right before what it protects, and nothing reaches that without passing it."""
    guards: dict[tuple[str, str], list[str]] = {}
    for name in {place.procedure for place in places(proof.graph)}:
        procedure = proof.book.procedures[name]
        for step in procedure.steps:
            if not isinstance(step, Caution):
                continue
            follows = _past_cautions(proof, name, step)
            target = step.protects or follows
            if target is None or target != follows:
                what = f"`{target}`" if target else phrasing.say(proof.language, "no-step-here")
                next_one = f"`{follows}`" if follows else phrasing.say(proof.language, "nothing-follows")
                yield proof.fault(Place((), name, step.id), "caution out of place", target=what, follows=next_one)
            else:
                guards.setdefault((name, target), []).append(step.id)
    for (name, target), cautions in sorted(guards.items()):
        came_from = _reached_past(proof, {one for one in proof.onward if one.procedure == name and one.step in cautions})
        for place in came_from:
            if (place.procedure, place.step) == (name, target):
                yield proof.fault(place, "caution passed by", _path(came_from, place), caution=cautions[0])
                break


def _past_cautions(proof: Proof, name: str, step: Step) -> str | None:
    """The first step after this one that is no caution; None off the end or in a ring of cautions."""
    procedure, seen = proof.book.procedures[name], {step.id}
    steps = {one.id: one for one in procedure.steps}
    following = procedure.following(step.id)
    while following in steps and following not in seen and isinstance(steps[following], Caution):
        seen.add(following)
        following = procedure.following(following)
    return following if following in steps and following not in seen else None
