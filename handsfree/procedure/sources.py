"""The sources of a book: which it names, which each step needs, isolates, proves or restores."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from handsfree.isolation.energy import EnergyKind, Method, Source, needed
from handsfree.procedure.hazards import usual

#: Of a source whose kind nobody knows: it can be locked, and nothing proves it dead.
UNKNOWN = EnergyKind("?")
NO_METHOD = Method("?", "look")


@dataclass(frozen=True)
class Energy:
    """`procedures`: of a book, each a `procedure.model.Procedure`, whose book holds one of these. What is worked out here
    stays the same while the book runs, so it is kept."""

    procedures: Mapping[str, Any]

    @cached_property
    def sources(self) -> dict[str, Source]:
        kinds: dict[str, EnergyKind] = {}
        behind: dict[str, tuple[str, ...]] = {}
        proofs: dict[str, tuple[str, ...]] = {}
        for procedure in self.procedures.values():
            for given in procedure.sources:
                name = given.name
                kinds[name] = usual().kinds.get(given.kind, UNKNOWN)
                if given.behind is not None:
                    behind[name] = given.behind
                if given.proofs:
                    proofs[name] = given.proofs
        for name in self._isolated_anywhere:
            kinds.setdefault(name, usual().kind_called(name) or UNKNOWN)
        of_kind: dict[str, list[str]] = {}
        for name, kind in kinds.items():
            of_kind.setdefault(kind.name, []).append(name)

        def fills(name: str, kind: EnergyKind) -> tuple[str, ...]:
            return tuple(one for other in kind.behind for one in of_kind.get(other, ()) if one != name)

        return {n: Source(n, k, behind.get(n, fills(n, k)), proofs.get(n, ())) for n, k in kinds.items()}

    @cached_property
    def _isolated_anywhere(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(name for one in self.procedures for name in self.isolated_in(one)))

    def isolated_in(self, procedure: str) -> tuple[str, ...]:
        """What the isolations of this procedure name, in order."""
        steps = (step for step in self.procedures[procedure].steps if step.kind == "isolate")
        return tuple(dict.fromkeys(name for step in steps for name in step.sources))

    @cached_property
    def _needs(self) -> dict[tuple[Any, ...], tuple[str, ...]]:
        return {}

    def needs(self, step: Any) -> tuple[str, ...]:
        """The sources that have to be ISOLATED before this step is reached; () for a step that needs none."""
        if not step.works or not (step.hazards or step.needs_isolation):
            return ()
        key = (step.hazards, step.needs_isolation)
        if key not in self._needs:
            self._needs[key] = needed(usual(), step.hazards, step.needs_isolation, self.sources)
        return self._needs[key]

    def proves(self, procedure: str, step: Any) -> Source:
        """The source that a proof is of: the one it names, else the only one that is isolated here, in its procedure or in
        the book. One that nothing is known of where that is not one."""
        if step.source is not None:
            return self.sources.get(step.source, Source(step.source, UNKNOWN))
        own = self.isolated_in(procedure)
        among = own or self._isolated_anywhere
        name = among[0] if len(among) == 1 else self._only_by(step.method, among)
        return self.sources.get(name, Source(name, UNKNOWN))

    def _only_by(self, method: str, among: tuple[str, ...]) -> str:
        """The one of these that this method can prove; '?' if it is none or several."""
        fit = [name for name in among if method in self.sources[name].kind.proofs]
        return fit[0] if len(fit) == 1 else "?"

    def restores(self, procedure: str, step: Any) -> tuple[str, ...]:
        """What comes back: as the step says, else all that its procedure isolates, else all that the book does."""
        return step.sources or self.isolated_in(procedure) or self._isolated_anywhere

    def with_lock(self, names: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(name for name in names if self.sources[name].kind.lock)

    def tries(self, names: tuple[str, ...]) -> bool:
        """Some proof in the book tries to start one of these, which counts only where it ran before."""
        return any(self.proves(one, step).name in names and method_of(step).form == "try" for one, step in self._proofs())

    def _proofs(self) -> Iterator[tuple[str, Any]]:
        for name, procedure in self.procedures.items():
            yield from ((name, step) for step in procedure.steps if step.kind == "prove")


def method_of(step: Any) -> Method:
    """Of a proof; one that can prove nothing where nobody knows it."""
    return usual().methods.get(step.method, NO_METHOD)


def measured_by(step: Any) -> Method:
    """The method that measures here: the step's own or, for a try that can prove nothing, the one made instead."""
    method = method_of(step)
    return method if method.form == "measure" else usual().methods.get(method.instead, NO_METHOD)


def unit_of(step: Any) -> str:
    """What a proof is read in: the step's own unit where its method measures, else that of the measurement made instead."""
    method = measured_by(step)
    return str(step.measured_in(method)) if method is method_of(step) else method.unit or str(step.unit)
