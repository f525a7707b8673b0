"""What is never enough to accuse a part, discard stock or fit a part: a value too near its limit, a reading that does not
settle, or no answer at all.

Rules of this file:

- A decide step goes to `otherwise` not only where no case holds: also where a reading lies within its own accuracy of a
  limit, and where an answer or a reading is missing. So it leads to no finding that accuses (one that is not `open`), to no
  new part and to no discard, before another question, reading or wait has been answered.
- The same goes for where "can't tell" leads, or leaving a question or a reading out, or a reading that does not settle.
- A decision that uses no reading and no answer, only the outcomes of calls or whether something was taken, cannot be
  borderline and is not judged.
- Of a further decision on the way only its own `otherwise` counts: its cases hold surely.
- In a procedure that answers a complaint 'fixed' and 'no fault found' are conclusions too; a part's end is its caller's.
- It is a fault: no visit starts with it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from handsfree.procedure import expressions
from handsfree.procedure.expressions import name_of
from handsfree.procedure.model import (
    Ask,
    Book,
    Call,
    Decide,
    End,
    Evidence,
    Finding,
    Handover,
    Instruct,
    Procedure,
    Read,
    Wait,
)
from handsfree.procedure.remarks import Remark, Weight, remark_at

#: Words of an instruction that condemns: a part is fitted or exchanged, or stock goes.
CONDEMNS = re.compile(r"\b(exchange|fit (a|the) (new|part)|discard|set (it|them) aside)\b", re.IGNORECASE)

#: Outcomes that say that all is well.
CONCLUDES = ("fixed", "no fault found")


@dataclass(frozen=True)
class Accusation:
    """`step`: the step whose `otherwise`, or whose way without an answer, leads there; `to`: what it comes to."""

    step: str
    to: str
    finding: str


def remarks(book: Book, name: str) -> Iterator[Remark]:
    """Each accusation, as an error of the procedure."""
    procedure = book.procedures[name]
    for one in accusations(procedure):
        step = procedure.step(one.step)
        key = "otherwise-accuses" if isinstance(step, Decide) else "unanswered-accuses"
        yield remark_at(book, name, step, "values", Weight.ERROR, key, to=one.to)


def accusations(procedure: Procedure) -> Iterator[Accusation]:
    for step in procedure.steps:
        if isinstance(step, Decide) and _may_be_unknown(procedure, step):
            found = _accuses(procedure, step.otherwise)
            if found is not None:
                yield Accusation(step.id, *found)
        elif isinstance(step, Ask | Read):
            unsteady = step.unsteady if isinstance(step, Read) else None
            for to in dict.fromkeys(way for way in (step.unknown, step.skip, unsteady) if way is not None):
                found = _accuses(procedure, to)
                if found is not None:
                    yield Accusation(step.id, *found)


def _may_be_unknown(procedure: Procedure, step: Decide) -> bool:
    """Whether a reading or an answer enters that can be borderline or missing."""
    steps = {name_of(one.id): one for one in procedure.steps}
    for case in step.cases:
        bare = re.sub(r"\btaken\(\w+\)", "True", case.when)
        if any(isinstance(steps.get(name), Read | Ask) for name in expressions.names_used(bare)):
            return True
        if "rows(" in case.when:
            return True
    return False


def _accuses(procedure: Procedure, start: str) -> tuple[str, str] | None:
    """The first step on the way from `start` that accuses; None where somebody is asked before."""
    here: str | None = start
    for _ in procedure.steps:
        if here is None:
            return None
        step = procedure.step(here)
        match step:
            case Finding():
                if not step.open:
                    return step.id, step.finding
            case Instruct():
                if CONDEMNS.search(step.say):
                    return step.id, step.id
            case Ask() | Read() | Wait() | Call() | Handover() | Evidence():
                return None
            case Decide():
                here = step.otherwise
                continue
            case End():
                concludes = bool(procedure.complaint) and step.outcome in CONCLUDES
                return (step.id, step.outcome) if concludes else None
        here = procedure.following(step.id)
    return None
