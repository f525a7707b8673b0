"""What can hurt, and what feeds it: kinds of energy, ways to prove them dead, hazards, sources. All of it is data.

Rules of this file:

- No kind, hazard or way of proving is named in code. They come from files that any trade may extend.
- A hazard names the kinds that feed it. A step that meets it needs every source of each of these kinds. Where the book names
  no source of a kind, what is needed is a source that cannot be had: the step stays shut.

29 CFR 1910.147 (b): an energy source is electrical, mechanical, hydraulic, pneumatic, chemical, thermal or other energy.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal


@dataclass(frozen=True)
class Method:
    """A way to prove a source dead. `form`: 'try' (it is started and does not start), 'look' (one looks that it rests or is
    slack) or 'measure' (each point, between two proofs of the tester). `most`: the highest limit a procedure may set, in
    `unit`; `points`: what is measured at least. `instead`: the measurement asked for where a try can prove nothing."""

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
    fill it again. `proofs`: methods that prove it dead, each enough. `returns`: minutes after which it may have come back.
    `also`: names by which an isolation may mean it without declaring a source."""

    name: str
    lock: bool = True
    behind: tuple[str, ...] = ()
    proofs: tuple[str, ...] = ()
    returns: float | None = None
    also: tuple[str, ...] = ()


@dataclass(frozen=True)
class Hazard:
    """`fed_by`: kinds of energy. () for what stays when every supply is off and is met with a caution. `caution`: one that
    names it is read before."""

    name: str
    fed_by: tuple[str, ...] = ()
    caution: bool = False


@dataclass(frozen=True)
class Catalogue:
    kinds: Mapping[str, EnergyKind] = field(default_factory=dict)
    hazards: Mapping[str, Hazard] = field(default_factory=dict)
    methods: Mapping[str, Method] = field(default_factory=dict)

    def kind_called(self, name: str) -> EnergyKind | None:
        """By its own name, or one it also goes by."""
        by_also = (kind for kind in self.kinds.values() if name in kind.also)
        return self.kinds.get(name) or next(by_also, None)


@dataclass(frozen=True)
class Source:
    """One thing that can be isolated. `behind`: the sources that fill it again, by name. `proofs`: methods that all have to
    prove it; () where any of the kind's is enough."""

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
    """The sources a step needs ISOLATED, by name. `all_locked`: every source that can be locked, whatever the hazards. A
    kind or hazard that nothing is known of gives a name that no source has, with a '?' before it."""
    names: dict[str, None] = {}
    for hazard in hazards:
        known = catalogue.hazards.get(hazard)
        if known is None:
            names[f"?{hazard}"] = None
            continue
        for kind in known.fed_by:
            mine = [source.name for source in sources.values() if source.kind.name == kind]
            names.update(dict.fromkeys(mine or [f"?{kind}"]))
    if all_locked:
        locked = [source.name for source in sources.values() if source.kind.lock]
        names.update(dict.fromkeys(locked or ["?"]))
    return tuple(names)
