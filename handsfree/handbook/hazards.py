"""The reference of kinds of energy, hazards and proofs, from the files of hazards, and of the units a reading may have."""

from __future__ import annotations

from handsfree.handbook.markdown import code, table, text
from handsfree.isolation.energy import EnergyKind, Method
from handsfree.language.quantities import SYMBOLS, symbol
from handsfree.procedure.hazards import usual

NOTHING = "nothing that can be locked off"


def kinds() -> str:
    rows = [(code(one.name), _off(one), _proved(one), ", ".join(map(code, one.also))) for one in usual().kinds.values()]
    return table(("kind", "made safe by", "proved dead by", "names that need no entry under `sources`"), rows)


def _off(one: EnergyKind) -> str:
    way = "a lock" if one.lock else "relieving it"
    filled = f", after {' and '.join(map(code, one.behind))}" if one.behind else ""
    back = f"; it may come back after {one.returns:g} min" if one.returns is not None else ""
    return f"{way}{filled}{back}"


def _proved(one: EnergyKind) -> str:
    return " or ".join(map(code, one.proofs))


def hazards() -> str:
    rows = [
        (code(one.name), ", ".join(map(code, one.fed_by)) or NOTHING, "yes" if one.caution else "no")
        for one in usual().hazards.values()
    ]
    return table(("hazard", "fed by", "a caution comes first"), rows)


def proofs() -> str:
    return table(("method", "what is done"), [(code(one.name), text(_done(one))) for one in usual().methods.values()])


def _done(one: Method) -> str:
    if one.form == "look":
        return "Somebody looks whether it rests, is slack or is blocked, and says so."
    if one.form == "try":
        return f"Somebody tries to start it, and it does not start. If nothing was seen running before: `{one.instead}`."
    points = ", ".join(one.points)
    limit = f"{one.most:g} {symbol(one.unit).strip()}"
    return f"Measure the {one.quantity}: {points}. Dead is below {limit}, or below the step's own lower limit."


def units() -> str:
    return table(("write", "shown as"), [(code(name), text(signs[0])) for name, signs in SYMBOLS.items()])
