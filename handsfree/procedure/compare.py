"""What changed between two versions of a procedure, in words, for the technician who knows the old one. Safety first."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from handsfree.procedure import proofs
from handsfree.procedure.graph import Expansion, Way, ways
from handsfree.procedure.model import Book, Caution, Handover, Isolate, Procedure, Prove, Restore, Step
from handsfree.procedure.proofs import Moment, State


@dataclass(frozen=True)
class Change:
    """`safety`: it touches isolation, proof, restore, hazards or cautions."""

    safety: bool
    step: str
    sentence: str


#: Fields whose change is a change of safety, whatever the step.
_SAFE_FIELDS = frozenset({"hazards", "needs_isolation", "protects", "level", "method", "below", "tester", "do", "sources",
                          "checks", "power", "least_seconds"})  # fmt: skip
_SAFE_KINDS = (Isolate, Prove, Restore, Caution, Handover)
_NAMES = {
    "say": "its words", "do": "what to do", "sources": "the sources it isolates", "checks": "its checks",
    "power": "its last sentence",
    "below": "the limit below which it is dead", "method": "how it is proved dead", "tester": "how the tester is proved",
    "hazards": "its hazards", "needs_isolation": "whether it needs isolation", "level": "its signal word",
    "protects": "the step it protects", "plausible": "the plausible range", "expected": "the expected range",
    "unit": "the unit", "accuracy": "the instrument's accuracy", "lasts": "how long it waits", "outcome": "the outcome",
    "least_seconds": "the least time it takes", "minutes": "the time it takes", "to": "whom it hands over to",
    "summary": "the summary", "evidence": "the evidence", "quantity": "the quantity", "instrument": "the instrument",
    "because": "the reason", "procedure": "the procedure it calls", "finding": "the finding", "what": "what to take",
    "complaint": "the complaint it answers",
    "title": "the title", "purpose": "the purpose", "break_minutes": "the longest break under isolation, in minutes",
    "lift_kg": "the mass that is lifted, in kilograms", "language": "the language", "decides": "whether it needs 'affirm'",
}  # fmt: skip
#: Where a step leads is told as ways, not as fields; the rest is of no concern to the technician.
_UNTOLD = frozenset({"id", "go", "answers", "cases", "otherwise", "over_range", "unsteady", "sound", "sound_of", "kind"})


def compare(old: Book, new: Book) -> tuple[Change, ...]:
    """Changes of the main procedure and of each it calls, those of safety first, else in the order of the new file."""
    changes: list[Change] = []
    for name in dict.fromkeys((*new.procedures, *old.procedures)):
        before = old.procedures.get(old.main if name == new.main else name)
        after = new.procedures.get(new.main if name in (new.main, old.main) else name)
        prefix = "" if name in (new.main, old.main) else f"In `{name}`: "
        if before is None or after is None:
            what = "is called now" if before is None else "is not called any more"
            changes.append(Change(True, "", f"The procedure `{name}` {what}."))
        else:
            changes += [Change(one.safety, one.step, prefix + one.sentence) for one in _of_procedure(before, after)]
    changes += _of_isolation(old, new)
    changes += _of_proofs(old, new)
    return tuple(dict.fromkeys(sorted(changes, key=lambda change: not change.safety)))


def lines(changes: tuple[Change, ...]) -> Iterator[str]:
    if not changes:
        yield "Nothing changed for the technician."
    for safety, title in ((True, "Safety:"), (False, "Other changes:")):
        chosen = [change for change in changes if change.safety is safety]
        if chosen:
            yield title
            yield from (f"  - {change.sentence}" for change in chosen)


def _of_procedure(old: Procedure, new: Procedure) -> Iterator[Change]:
    for field in ("title", "purpose", "complaint", "language", "break_minutes", "lift_kg"):
        before, after = getattr(old, field), getattr(new, field)
        if before != after:
            sentence = f"Changed {_NAMES[field]}: from {_shown(before)} to {_shown(after)}."
            yield Change(field in ("break_minutes", "lift_kg"), "", sentence)
    renamed = _renamed(old, new)
    was = {renamed.get(step.id, step.id): step for step in old.steps}
    now = {step.id: step for step in new.steps}
    for name, step in now.items():
        if name not in was:
            yield Change(_is_safety(step), name, f'New {step.kind} step `{name}`: "{step.say}"')
    for name, step in was.items():
        if name not in now:
            yield Change(_is_safety(step), name, f'The {step.kind} step `{name}` is gone; it said: "{step.say}"')
    for old_name, name in renamed.items():
        yield Change(False, name, f"Step `{old_name}` is called `{name}` now.")
    for name, step in now.items():
        if name in was:
            yield from _of_step(was[name], step)
            yield from _of_ways(old, new, was[name], step, renamed)


def _renamed(old: Procedure, new: Procedure) -> dict[str, str]:
    """Old name -> new name of steps that differ in their name alone."""
    known_old, known_new = {step.id for step in old.steps}, {step.id for step in new.steps}
    gone = [step for step in old.steps if step.id not in known_new]
    come = [step for step in new.steps if step.id not in known_old]
    found: dict[str, str] = {}
    for step in gone:
        same = [one for one in come if one.kind == step.kind and one.say == step.say and one.id not in found.values()]
        if len(same) == 1:
            found[step.id] = same[0].id
    return found


def _is_safety(step: Step) -> bool:
    return isinstance(step, _SAFE_KINDS) or step.behind_gate or bool(step.hazards)


def _of_step(old: Step, new: Step) -> Iterator[Change]:
    if old.kind != new.kind:
        safety = _is_safety(old) or _is_safety(new)
        yield Change(safety, new.id, f"Step `{new.id}` was of the kind '{old.kind}' and is '{new.kind}' now.")
        return
    for field in type(new).model_fields:
        before, after = getattr(old, field), getattr(new, field)
        if field in _UNTOLD or before == after:
            continue
        safety = field in _SAFE_FIELDS or isinstance(new, _SAFE_KINDS)
        what = _NAMES.get(field, f"'{field}'")
        if isinstance(before, tuple) and isinstance(after, tuple) and field not in ("plausible", "expected", "do", "checks"):
            yield Change(safety, new.id, f"Step `{new.id}` changed {what}: {_difference(before, after)}.")
        else:
            yield Change(safety, new.id, f"Step `{new.id}` changed {what}: from {_shown(before)} to {_shown(after)}.")


def _difference(old: tuple[Any, ...], new: tuple[Any, ...]) -> str:
    parts = []
    if more := [str(one) for one in new if one not in old]:
        parts.append("now also " + ", ".join(more))
    if less := [str(one) for one in old if one not in new]:
        parts.append("no longer " + ", ".join(less))
    return "; ".join(parts) or "their order"


def _shown(value: Any) -> str:
    if value is None or value == "":
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        if len(value) == 2 and all(isinstance(one, float) for one in value):
            return f"{value[0]:g} to {value[1]:g}"
        return " / ".join(f'"{one}"' for one in value)
    return f"{value:g}" if isinstance(value, float) else f'"{value}"'


def _of_ways(old: Procedure, new: Procedure, before: Step, after: Step, renamed: dict[str, str]) -> Iterator[Change]:
    was = _by_name(ways(old, before), lambda to: renamed.get(to, to))
    now = _by_name(ways(new, after), lambda to: to)
    for name in dict.fromkeys((*now, *was)):
        what = f"'{name}' at step `{after.id}`" if name else f"Step `{after.id}`"
        if name not in was:
            yield Change(False, after.id, f"{what} is new and leads to {now[name]}.")
        elif name not in now:
            yield Change(False, after.id, f"{what} is gone; it led to {was[name]}.")
        elif was[name] != now[name]:
            yield Change(False, after.id, f"{what} led to {was[name]} and leads to {now[name]} now.")


def _by_name(found: Iterator[Way], name: Callable[[str], str]) -> dict[str, str]:
    return {way.name: f"`{name(way.to)}`" if way.to else "the end" for way in found}


def _of_isolation(old: Book, new: Book) -> Iterator[Change]:
    """Steps that are met under isolation in one version and live in the other, whatever brought it about."""
    was, now = states(old), states(new)
    for place, after in now.items():
        before = was.get(place)
        if before is not None and before != after:
            name = place[1] if place[0] == new.main else f"{place[0]}/{place[1]}"
            yield Change(True, name, f"Step `{name}` was done {_state(before)} and is done {_state(after)} now.")


def states(book: Book) -> dict[tuple[str, str], frozenset[State]]:
    """(procedure, step) -> every isolation it can be met in. The main procedure's name counts as the book's."""
    found: dict[tuple[str, str], set[State]] = {}
    for moment in proofs.moments(Expansion(book)):
        if isinstance(moment, Moment):
            found.setdefault((moment.place.procedure, moment.place.step), set()).add(moment.state)
    return {place: frozenset(held) for place, held in found.items()}


def _state(held: frozenset[State]) -> str:
    words = {State.LIVE: "live", State.ISOLATING: "isolated but not proved dead", State.ISOLATED: "isolated"}
    return " or ".join(words[state] for state in State if state in held)


def _of_proofs(old: Book, new: Book) -> Iterator[Change]:
    was = {(fault.kind, fault.step) for fault in proofs.prove(old)}
    now = {(fault.kind, fault.step): fault for fault in proofs.prove(new)}
    for key, fault in now.items():
        if key not in was:
            yield Change(True, fault.step, f"The new version is not safe to run: {fault.sentence}")
    for kind, step in was - now.keys():
        yield Change(True, step, f"The fault '{kind}' at step `{step}` is mended.")
