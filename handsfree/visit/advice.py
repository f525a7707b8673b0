"""What the fault model says about the visit so far: for "what next", "why", and the order of a decision's checks.

It only advises: nothing here isolates, and the check that it puts first lies behind the same gates as any other."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from typing import Any

from handsfree.isolation.energy import needed
from handsfree.procedure import hazards
from handsfree.procedure.model import Case
from handsfree.resources import of_trade
from handsfree.visit.flow import Flow


def advice_digest() -> str:
    """SHA-256 (FIPS 180-4) over the files beside the procedures that affect a visit: the hazard files and, unless the trade
    is left out, the fault model."""
    model = of_trade("faultmodel")
    return hashlib.sha256(f"{hazards.digest()} {model.digest() if model else ''}".encode()).hexdigest()


def told(flow: Flow) -> tuple[Any, Mapping[str, str]] | None:
    """The fault model and everything it was told, including the complaint; None if the trade is left out."""
    faultmodel = of_trade("faultmodel")
    if faultmodel is None:
        return None
    model = faultmodel.shipped()
    books = flow.state.book.procedures
    under_way = (*reversed(flow.state.path), flow.state.book.main)
    complaint = next((books[name].complaint for name in under_way if books[name].complaint), "")
    answers = {check.id: check.answers for check in (*model.checks.values(), model.complaint)}
    given = {**flow.state.told, model.complaint.id: complaint}
    return model, {check: answer for check, answer in given.items() if answer in answers.get(check, ())}


def all_dead(flow: Flow) -> bool:
    """Everything that can be locked is ISOLATED. The fault model knows no sources, so the work it advises may meet any of
    them."""
    energy, interlock = flow.state.book.energy, flow.state.interlock
    return not interlock.missing(needed(hazards.usual(), (), True, energy.sources))


def ordered(flow: Flow, cases: Sequence[Case]) -> tuple[Case, ...]:
    """Cases that name a check come first, the one that tells most for its time at the head; those that tell nothing new are
    left out. The other cases follow as written. Without a fault model all stay as written. A question that this procedure
    has already asked, even if answered 'cannot tell', is not asked again there."""
    here = flow.state.path
    named = {case.check: case for case in cases if case.check is not None and (here, case.go) not in flow.state.remembered}
    known = told(flow) if named else None
    rest = tuple(case for case in cases if case.check is None)
    if known is None:
        return (*named.values(), *rest)
    model, given = known
    best = of_trade("whatnext").worth(model, given, [name for name in named if name in model.checks], all_dead(flow))
    return (*(named[name] for name in best), *rest)
