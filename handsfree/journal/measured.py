"""What each reading says of the cabinet at the end: which readings are of one thing, what a step set, what a proof judged.

A thing is read under several names: 'temperature of the cabinet by thermometer', and then 'temperature of the cabinet,
again'. The copies of the procedures say that they are one: their steps are in one series, by one instrument. Where the
copies say nothing, each name is a thing of its own. Pure.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

from handsfree.journal import events as ev
from handsfree.journal.declared import DeclaredSteps, declared_at, declared_in
from handsfree.journal.events import Stamped
from handsfree.journal.found import PROVED, findings_that_stand, taken_back, tells
from handsfree.journal.left import steps_done
from handsfree.journal.rows import answer_given, range_of

#: Readings in a series that are looked at: those of a hostile record would be compared for hours.
MOST_IN_SERIES = 300


@dataclass(frozen=True)
class Measured:
    """`thing`: the name under which it was read first. `reading`: its expected range is that of the thing, and none where
    a proof judged otherwise; of what a step set, its state says so. `alike`: the copies declare what it is a reading of."""

    n: int
    thing: str
    reading: ev.ReadingTaken
    alike: bool = False


def measured(entries: Sequence[Stamped]) -> dict[int, Measured]:
    """By the number of its event: of a reading, or of what ended the step that set it."""
    opened = next((entry.event for entry in entries if isinstance(entry.event, ev.Opened)), None)
    told = declared_in(opened.copies) if opened is not None else {}
    alike, sets = _alike(told), _quantities(told)
    gone, done = taken_back(entries), steps_done(entries)
    proofs = {e.n for e in findings_that_stand(entries) if tells(e.event) == PROVED}
    found: dict[int, Measured] = {}
    latest: dict[str, int] = {}
    at_step: dict[tuple[tuple[str, ...], str], str] = {}
    for entry in entries:
        event, n = entry.event, entry.n
        if isinstance(event, ev.ReadingTaken) and n not in gone:
            key = _key(alike, event.quantity, event.unit)
            before = found.get(latest.get(key, -1))
            expected = event.expected or (before.reading.expected if before is not None else None)
            thing = before.thing if before is not None else event.quantity
            found[n] = Measured(n, thing, replace(event, expected=expected), event.quantity in alike)
            latest[key], at_step[event.path, event.step] = n, key
        elif n in done:
            for name, value in _made(told, done[n].step):
                unit = value.rpartition(" ")[2]
                for key in [key for q in sorted(sets.get(name, ())) if (key := _key(alike, q, unit)) in latest]:
                    was = found[latest[key]]
                    if unit == was.reading.unit:
                        now = replace(was.reading, value=None, state=f"set to {answer_given(value)}")
                        found[n], latest[key] = replace(was, n=n, reading=now), n
        elif n in proofs:
            for place in [(event.path, step) for step, _ in event.evidence if (event.path, step) in at_step]:
                at = latest[at_step[place]]
                if found[at].reading.step == place[1] and range_of(found[at].reading).startswith("out"):
                    found[at] = replace(found[at], reading=replace(found[at].reading, expected=None))
    return found


def _key(alike: dict[str, str], quantity: str, unit: str) -> str:
    """Readings of one thing in two units are not compared."""
    return f"{alike[quantity]} {unit}" if quantity in alike else quantity


def _made(told: dict[str, DeclaredSteps], step: ev.StepEntered) -> tuple[tuple[str, str], ...]:
    of = declared_at(told, step.path)
    return of.makes.get(step.step, ()) if of is not None else ()


def _quantities(told: dict[str, DeclaredSteps]) -> dict[str, set[str]]:
    """By fact, under which names it is read."""
    found: dict[str, set[str]] = defaultdict(set)
    for of in told.values():
        for read in of.reads:
            found[read.fact].add(read.quantity)
    found.pop("", None)
    return found


def _alike(told: dict[str, DeclaredSteps]) -> dict[str, str]:
    """Name of a quantity -> the least name of all that are of the same thing; only of what is in a series."""
    links: dict[tuple[str, str], set[str]] = defaultdict(set)
    in_series = [read for of in told.values() for read in of.reads if read.series]
    for read in in_series[:MOST_IN_SERIES]:
        for one in read.series:
            links[one, read.instrument].add(read.quantity)
    groups: list[set[str]] = []
    for names in links.values():
        apart = [group for group in groups if not group & names]
        groups = [*apart, names.union(*(group for group in groups if group & names))]
    return {name: min(group) for group in groups for name in group}
