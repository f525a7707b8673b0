"""What can hurt, and what feeds it: kinds of energy, ways to prove them dead, hazards, sources. All of this is data.

Rules of this file:

- The code names no kind, hazard or proof. They come from files that any trade may extend.
- A hazard names the kinds that feed it. A step that meets it needs every source of each of these kinds. If the book names
  no source of such a kind, the step needs a source that does not exist, and stays shut.

29 CFR 1910.147 (b): an energy source is electrical, mechanical, hydraulic, pneumatic, chemical, thermal or other energy.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal


@dataclass(frozen=True)
class Method:
    """A way to prove a source dead. `form`: 'try' (somebody tries to start it, and it does not start), 'look' (somebody
    looks whether it rests or is slack) or 'measure' (each point, between two proofs of the tester). `most`: the highest
    limit a procedure may set, in `unit`; `points`: the least that must be measured. `instead`: the measurement to use where
    a try can prove nothing."""

    name: str
    form: Literal["try", "look", "measure"]
    quantity: str = ""
    unit: str = ""
    most: float = 0.0
    points: tuple[str, ...] = ()
    instead: str = ""


@dataclass(frozen=True)
class EnergyKind:
    """A kind of energy. `lock`: it can be locked off; what cannot (a charge, a spring) is relieved. `behind`: kinds that
    refill it. `proofs`: methods that prove it dead; any one is enough. `returns`: minutes after which it may have come
    back. `also`: names that an isolation may use for it without declaring a source."""

    name: str
    lock: bool = True
    behind: tuple[str, ...] = ()
    proofs: tuple[str, ...] = ()
    returns: float | None = None
    also: tuple[str, ...] = ()


@dataclass(frozen=True)
class Hazard:
    """`fed_by`: kinds of energy; () for a hazard that stays when every supply is off and needs a caution. `caution`: a
    caution that names it is read first."""

    name: str
    fed_by: tuple[str, ...] = ()
    caution: bool = False


@dataclass(frozen=True)
class Catalogue:
    kinds: Mapping[str, EnergyKind] = field(default_factory=dict)
    hazards: Mapping[str, Hazard] = field(default_factory=dict)
    methods: Mapping[str, Method] = field(default_factory=dict)

    def kind_called(self, name: str) -> EnergyKind | None:
        """By its own name, or one of its other names."""
        by_also = (kind for kind in self.kinds.values() if name in kind.also)
        return self.kinds.get(name) or next(by_also, None)


@dataclass(frozen=True)
class Source:
    """One thing that can be isolated. `behind`: the sources that refill it, by name. `proofs`: methods that must all prove
    it; () if any one of its kind's is enough."""

    name: str
    kind: EnergyKind
    behind: tuple[str, ...] = ()
    proofs: tuple[str, ...] = ()

    def proved_by(self, methods: Iterable[str]) -> bool:
        """These methods together prove it dead."""
        given = frozenset(methods)
        return frozenset(self.proofs) <= given if self.proofs else bool(given & frozenset(self.kind.proofs))


Sources = Mapping[str, Source]


def needed(catalogue: Catalogue, hazards: Iterable[str], all_locked: bool, sources: Sources) -> tuple[str, ...]:
    """The sources that a step needs ISOLATED, by name. `all_locked`: every source that can be locked, whatever the hazards.
    An unknown kind or hazard gives a name that no source has, with a '?' before it."""
    names: dict[str, None] = {}
    for hazard in hazards:
        known = catalogue.hazards.get(hazard)
        if known is None:
            names[_nobodys(hazard, sources)] = None
            continue
        for kind in known.fed_by:
            mine = [source.name for source in sources.values() if source.kind.name == kind]
            names.update(dict.fromkeys(mine or [_nobodys(kind, sources)]))
    if all_locked:
        locked = [source.name for source in sources.values() if source.kind.lock]
        names.update(dict.fromkeys(locked or [_nobodys("", sources)]))
    return tuple(names)


def _nobodys(name: str, sources: Sources) -> str:
    """This name with so many '?' before it that no source is called so, whatever a procedure calls its sources."""
    name = f"?{name}"
    return _nobodys(name, sources) if name in sources else name
