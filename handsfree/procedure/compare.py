"""What changed between two versions of a procedure, in words, for the technician who knows the old one. Safety first."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any

from handsfree.procedure import phrasing, proofs, safe
from handsfree.procedure.graph import StepIndex, Way, ways
from handsfree.procedure.model import Book, Caution, Handover, Isolate, Procedure, Prove, Restore, Step
from handsfree.procedure.proof_parts import Moment, SupplyState


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
#: Where a step leads is told as ways, not as fields; the rest is of no concern to the technician.
_UNTOLD = frozenset({"id", "go", "answers", "cases", "otherwise", "over_range", "unsteady", "unknown", "absent", "skip",
                     "sound", "sound_of", "kind", "short", "makes", "spoils", "unless", "fact", "keeps",
                     "aloud"})  # fmt: skip


CompareText = Callable[..., str]


def compare(old: Book, new: Book) -> tuple[Change, ...]:
    """Changes of the main procedure and of each it calls, those of safety first, else in the order of the new file; told in
    the language of the new one."""
    tell: CompareText = partial(phrasing.say, new.procedures[new.main].language)
    changes: list[Change] = []
    for name in dict.fromkeys((*new.procedures, *old.procedures)):
        before = old.procedures.get(old.main if name == new.main else name)
        after = new.procedures.get(new.main if name in (new.main, old.main) else name)
        own = name in (new.main, old.main)
        if before is None or after is None:
            changes.append(Change(True, "", tell("called-now" if before is None else "called-no-more", name=name)))
        else:
            for one in _of_procedure(before, after, tell):
                sentence = one.sentence if own else tell("in-procedure", name=name, sentence=one.sentence)
                changes.append(Change(one.safety, one.step, sentence))
    changes += _of_isolation(old, new, tell)
    changes += _of_proofs(old, new, tell)
    return tuple(dict.fromkeys(sorted(changes, key=lambda change: not change.safety)))


def lines(changes: tuple[Change, ...], code: str = phrasing.USUAL) -> Iterator[str]:
    if not changes:
        yield phrasing.say(code, "same")
    for safety, title in ((True, "safety"), (False, "others")):
        chosen = [change for change in changes if change.safety is safety]
        if chosen:
            yield phrasing.say(code, title)
            yield from (f"  - {change.sentence}" for change in chosen)


def _of_procedure(old: Procedure, new: Procedure, tell: CompareText) -> Iterator[Change]:
    for field in ("title", "purpose", "complaint", "language", "break_minutes", "lift_kg"):
        before, after = getattr(old, field), getattr(new, field)
        if before != after:
            what = tell(f"field-{field}")
            sentence = tell("changed", what=what, before=_shown(before, tell), after=_shown(after, tell))
            yield Change(field in ("break_minutes", "lift_kg"), "", sentence)
    renamed = _renamed(old, new)
    was = {renamed.get(step.id, step.id): step for step in old.steps}
    now = {step.id: step for step in new.steps}
    for name, step in now.items():
        if name not in was:
            kind = tell(f"kind-{step.kind}")
            yield Change(_is_safety(step), name, tell("new-step", kind=kind, step=name, text=step.say))
    for name, step in was.items():
        if name not in now:
            kind = tell(f"kind-{step.kind}")
            yield Change(_is_safety(step), name, tell("step-gone", kind=kind, step=name, text=step.say))
    for old_name, name in renamed.items():
        yield Change(False, name, tell("renamed", old=old_name, new=name))
    for name, step in now.items():
        if name in was:
            yield from _of_step(was[name], step, tell)
            yield from _of_ways(old, new, was[name], step, renamed, tell)


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


def _of_step(old: Step, new: Step, tell: CompareText) -> Iterator[Change]:
    if old.kind != new.kind:
        safety = _is_safety(old) or _is_safety(new)
        before, after = tell(f"kind-{old.kind}"), tell(f"kind-{new.kind}")
        yield Change(safety, new.id, tell("kind-changed", step=new.id, before=before, after=after))
        return
    for field in type(new).model_fields:
        before, after = getattr(old, field), getattr(new, field)
        if field in _UNTOLD or before == after:
            continue
        safety = field in _SAFE_FIELDS or isinstance(new, _SAFE_KINDS)
        what = tell(f"field-{field}")
        before, after = _in_words(field, before, tell), _in_words(field, after, tell)
        if isinstance(before, tuple) and isinstance(after, tuple) and field not in ("plausible", "expected", "do", "checks"):
            difference = _difference(before, after, tell)
            yield Change(safety, new.id, tell("step-changed-list", step=new.id, what=what, difference=difference))
        else:
            shown = {"before": _shown(before, tell), "after": _shown(after, tell)}
            yield Change(safety, new.id, tell("step-changed", step=new.id, what=what, **shown))


#: Fields whose values are words of the file, and the group in which they have words of the language.
_WORDED = {"hazards": "hazard", "level": "level", "method": "method", "what": "what", "outcome": "outcome"}


def _in_words(field: str, value: Any, tell: CompareText) -> Any:
    group = _WORDED.get(field)
    if group is None or value is None:
        return value
    if isinstance(value, tuple):
        return tuple(tell(f"{group}-{str(one).replace(' ', '-')}") for one in value)
    return tell(f"{group}-{str(value).replace(' ', '-')}")


def _difference(old: tuple[Any, ...], new: tuple[Any, ...], tell: CompareText) -> str:
    parts = []
    if more := [str(one) for one in new if one not in old]:
        parts.append(tell("now-also", items=", ".join(more)))
    if less := [str(one) for one in old if one not in new]:
        parts.append(tell("no-longer", items=", ".join(less)))
    return "; ".join(parts) or tell("their-order")


def _shown(value: Any, tell: CompareText) -> str:
    if value is None or value == "":
        return tell("nothing")
    if isinstance(value, bool):
        return tell("yes" if value else "no")
    if isinstance(value, tuple):
        if len(value) == 2 and all(isinstance(one, float) for one in value):
            return tell("from-to", low=f"{value[0]:g}", high=f"{value[1]:g}")
        return " / ".join(f'"{one}"' for one in value)
    return f"{value:g}" if isinstance(value, float) else f'"{value}"'


def _of_ways(
    old: Procedure, new: Procedure, before: Step, after: Step, renamed: dict[str, str], tell: CompareText
) -> Iterator[Change]:
    end = tell("the-end")
    was = _by_name(ways(old, before), lambda to: renamed.get(to, to), end)
    now = _by_name(ways(new, after), lambda to: to, end)
    for name in dict.fromkeys((*now, *was)):
        shown = phrasing.way(new.language, after, name)
        what = tell("way-at-step", way=shown, step=after.id) if name else tell("way-of-step", step=after.id)
        if name not in was:
            yield Change(False, after.id, tell("way-new", what=what, to=now[name]))
        elif name not in now:
            yield Change(False, after.id, tell("way-gone", what=what, was=was[name]))
        elif was[name] != now[name]:
            yield Change(False, after.id, tell("way-moved", what=what, was=was[name], to=now[name]))


def _by_name(found: Iterator[Way], name: Callable[[str], str], end: str) -> dict[str, str]:
    return {way.name: f"`{name(way.to)}`" if way.to else end for way in found}


def _of_isolation(old: Book, new: Book, tell: CompareText) -> Iterator[Change]:
    """Steps that are met under isolation in one version and live in the other, whatever brought it about."""
    was, now = states(old), states(new)
    for place, after in now.items():
        before = was.get(place)
        if before is not None and before != after:
            name = place[1] if place[0] == new.main else f"{place[0]}/{place[1]}"
            states_told = {"before": _state(before, tell), "after": _state(after, tell)}
            yield Change(True, name, tell("done-otherwise", step=name, **states_told))


def states(book: Book) -> dict[tuple[str, str], frozenset[SupplyState]]:
    """(procedure, step) -> every isolation it can be met in. The main procedure's name counts as the book's."""
    found: dict[tuple[str, str], set[SupplyState]] = {}
    for moment in proofs.moments(StepIndex(book)):
        if isinstance(moment, Moment):
            found.setdefault((moment.place.procedure, moment.place.step), set()).add(moment.state)
    return {place: frozenset(held) for place, held in found.items()}


def _state(held: frozenset[SupplyState], tell: CompareText) -> str:
    return f" {tell('or')} ".join(tell(f"state-{state}") for state in SupplyState if state in held)


def _of_proofs(old: Book, new: Book, tell: CompareText) -> Iterator[Change]:
    was = {(fault.kind, fault.step) for fault in proofs.prove(old)}
    now = {(fault.kind, fault.step): fault for fault in proofs.prove(new)}
    for key, fault in now.items():
        if key not in was:
            yield Change(True, fault.step, tell("not-safe", sentence=fault.sentence))
    for kind, step in sorted(was - now.keys()):
        yield Change(True, step, tell("fault-mended", kind=tell(f"fault-{kind.replace(' ', '-')}"), step=step))
    before = {(fault.step, fault.why) for fault in safe.faults_of(old)}
    for other in safe.faults_of(new):
        if other.group != "graph" and (other.step, other.why) not in before:
            yield Change(True, other.step, tell("not-safe", sentence=other.why))
