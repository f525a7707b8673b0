"""The rules for reaching a hazard, written once: the proof of a procedure's graph and the running visit both use them.

1. Each source has one state: LIVE, ISOLATING, ISOLATED, RESTORING. All begin LIVE.
2. A source becomes ISOLATED only in `proved`: from ISOLATING, after it was claimed, once every proof that it asks for was
   given in this isolation. It is claimed by everybody's gate phrase or, if it has no lock, by being relieved.
3. A source behind another (a charge behind the mains) can be claimed only while that other is claimed or ISOLATED, and is
   cleared with it. A measurement proves a source only when every source behind it was relieved before.
4. An attempt to start proves only what was seen running or lit before.
5. Whatever is not in the table leaves a source LIVE. Clearing is never refused. Clearing one source leaves the others.
6. A step is open when every source it needs is ISOLATED.

29 CFR 1910.147 (d), (e); 1910.333 (b)(2)(iv).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

from handsfree.isolation.energy import Method, Source, Sources


class Power(StrEnum):
    LIVE = "LIVE"
    ISOLATING = "ISOLATING"
    ISOLATED = "ISOLATED"
    RESTORING = "RESTORING"


class SourceEvent(StrEnum):
    """What can happen to a source's state, except its claim and its proof, which have functions of their own."""

    ISOLATION_BEGUN = "isolation begun"
    RESTORE_BEGUN = "restore begun"
    RESTORED = "restored"
    FOUND_LIVE = "found live"
    LEFT = "isolation left"
    POWER_IS_ON = "power is on"
    BREAK = "break"
    CAME_BACK = "may have come back"
    RESUMED = "resume"
    HANDED_OVER = "handover"
    FAULT = "fault"
    CLOSED = "visit closed"


TABLE: dict[tuple[Power, SourceEvent], Power] = {
    (power, turn): after
    for turn, after in ((SourceEvent.ISOLATION_BEGUN, Power.ISOLATING), (SourceEvent.RESTORE_BEGUN, Power.RESTORING))
    for power in Power
}


@dataclass(frozen=True)
class Hold:
    """The state of one source. `claimed`: the phrase was given, or it was relieved, in this isolation; `proofs`: methods
    that proved it in this isolation; `seen`: it was seen running or lit before its controls were switched off."""

    power: Power = Power.LIVE
    claimed: bool = False
    proofs: frozenset[str] = frozenset()
    seen: bool = False

    @property
    def held(self) -> bool:
        """Somebody relies on it: a silence counts."""
        return self.claimed or self.power is Power.ISOLATED


Holds = Mapping[str, Hold]
LIVE = Hold()


def at(holds: Holds, name: str) -> Hold:
    return holds.get(name, LIVE)


def turned(hold: Hold, what: SourceEvent) -> Hold:
    """After `what`; anything not in the table is LIVE (rule 5)."""
    return Hold(TABLE.get((hold.power, what), Power.LIVE))


def seen_running(hold: Hold, running: bool) -> Hold:
    """Whether a source that is being isolated ran or was lit before its controls were switched off."""
    return replace(hold, seen=running) if hold.power is Power.ISOLATING else hold


def unready(source: Source, holds: Holds) -> tuple[str, ...]:
    """What must be claimed before this source can be: the sources that refill it (rule 3)."""
    return tuple(name for name in source.behind if not at(holds, name).held)


def by_phrase(sources: Sources, names: Iterable[str]) -> tuple[str, ...]:
    """Of the sources of one isolation, those that are claimed by the phrase: those with a lock. () if it relieves."""
    return tuple(name for name in names if sources[name].kind.lock)


def claimed(sources: Sources, names: Iterable[str], holds: Holds) -> dict[str, Hold]:
    """What an isolation of these sources claims: those with a lock or, if none has one, those that were relieved; only
    sources that are being isolated and that nothing refills (rules 2 and 3)."""
    all_names = tuple(names)
    then = dict(holds)
    for name in by_phrase(sources, all_names) or all_names:
        hold = at(then, name)
        if hold.power is Power.ISOLATING and not unready(sources[name], then):
            then[name] = replace(hold, claimed=True)
    return then


def unrelieved(source: Source, method: Method, sources: Sources, holds: Holds) -> tuple[str, ...]:
    """What must be relieved before this method may prove this source (rule 3)."""
    if method.form != "measure":
        return ()
    behind = (one for one in sources.values() if source.name in one.behind)
    return tuple(one.name for one in behind if not at(holds, one.name).held)


def tells_dead(method: Method, hold: Hold) -> bool:
    """The method can tell dead from live here (rule 4)."""
    return method.form != "try" or hold.seen


def proved(source: Source, method: str, hold: Hold) -> Hold:
    """After a proof that it is dead. Only here does a source become ISOLATED (rule 2). A proof of a source that was never
    claimed does not count."""
    proofs = hold.proofs | {method}
    if hold.power is Power.ISOLATED:
        return replace(hold, proofs=proofs)
    if hold.power is not Power.ISOLATING or not hold.claimed:
        return LIVE
    return replace(hold, proofs=proofs, power=Power.ISOLATED if source.proved_by(proofs) else Power.ISOLATING)


def settled(sources: Sources, holds: Holds) -> dict[str, Hold]:
    """A source behind one that is no longer held is not held either (rule 3)."""
    found = dict(holds)
    while True:
        fallen = [name for name, hold in found.items() if hold.held and name in sources and unready(sources[name], found)]
        if not fallen:
            return found
        found.update(dict.fromkeys(fallen, LIVE))


def missing(needs: Iterable[str], holds: Holds) -> tuple[str, ...]:
    """Of the sources a step needs, those that are not ISOLATED. () opens the step (rule 6)."""
    return tuple(name for name in needs if at(holds, name).power is not Power.ISOLATED)
