"""What a table of single faults cannot say: two faults at once, an unknown fault, and how far an answer depends on the
table's own figures. It serves "why".

Rules of this file:

- Two faults at once: a check shows the sign of the fault that changes it. Where both change it, it shows either sign. Two
  faults meet less often than chance says, since most visits find one: `TOGETHER` times the product of their shares.
- A fault that is not in the table answers each check as the average fault does. A share of `OTHER` of all visits has one.
- A figure of the table may be wrong by a factor of two (`OFF`): the likelihood of each answer so far, one at a time, and
  the share of the fault.
- All three numbers are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations

from handsfree.trade.faultmodel import Check, FaultModel

TOGETHER, OTHER, OFF = 0.5, 0.03, 2.0
COMMONEST = 12  # faults whose pairs are weighed


def _usual(check: Check) -> tuple[float, ...]:
    """The chances of each answer under most faults, which do not change this check: they sum to one."""
    return max(set(check.rows), key=lambda row: (check.rows.count(row), row))


def _both(check: Check, first: int, second: int, answer: int) -> float:
    usual = _usual(check)
    rows = [row for row in (check.rows[first], check.rows[second]) if row != usual] or [usual]
    return sum(row[answer] for row in rows) / len(rows)


def explanations(model: FaultModel, observed: Mapping[str, str]) -> list[tuple[tuple[str, ...], float]]:
    """Single faults, pairs of the commonest, and () for none of these, with their probabilities, likeliest first.

    Raises Trouble for a check or an answer that the model does not have."""
    ids = [fault.id for fault in model.faults]
    shares = [fault.prior for fault in model.faults]
    asked = [(model.find(check), model.find(check).answers.index(answer)) for check, answer in _known(model, observed)]
    single = (1 - OTHER) / (1 + TOGETHER * sum(a * b for a, b in combinations(shares, 2)))
    logs: dict[tuple[str, ...], float] = {
        (name,): math.log(single * share) + sum(math.log(check.rows[at][answer]) for check, answer in asked)
        for at, (name, share) in enumerate(zip(ids, shares, strict=True))
    }
    commonest = sorted(range(len(ids)), key=lambda at: -shares[at])[:COMMONEST]
    for first, second in combinations(sorted(commonest), 2):
        log = math.log(single * TOGETHER * shares[first] * shares[second])
        logs[(ids[first], ids[second])] = log + sum(
            math.log(_both(check, first, second, answer)) for check, answer in asked
        )
    logs[()] = math.log(OTHER) + sum(
        math.log(sum(share * row[answer] for share, row in zip(shares, check.rows, strict=True))) for check, answer in asked
    )
    top = max(logs.values())
    total = sum(math.exp(log - top) for log in logs.values())
    return sorted(((name, math.exp(log - top) / total) for name, log in logs.items()), key=lambda pair: (-pair[1], pair[0]))


def _known(model: FaultModel, observed: Mapping[str, str]) -> list[tuple[str, str]]:
    for check, answer in observed.items():
        model.find(check).column(answer)  # Trouble for what it does not have
    return list(observed.items())


@dataclass(frozen=True)
class Sensitivity:
    """The lowest and highest probability of one fault if one figure of the table is wrong by a factor of two."""

    low: float
    high: float


def sensitivity(model: FaultModel, observed: Mapping[str, str], fault: str, beliefs: Mapping[str, float]) -> Sensitivity:
    """`beliefs`: the probabilities given `observed`, the fault's among them."""
    at = [one.id for one in model.faults].index(model.fault(fault).id)
    share = beliefs[fault]
    moved = [(_scaled(share, 1 / OFF), _scaled(share, OFF))]
    for check, answer in _known(model, observed):
        likely = model.find(check).column(answer)[at]
        moved.append((_scaled(share, 1 / OFF), _scaled(share, min(OFF, 1 / likely))))
    return Sensitivity(min(low for low, _ in moved), max(high for _, high in moved))


def _scaled(share: float, factor: float) -> float:
    return share * factor / (share * factor + 1 - share) if share < 1 else 1.0
