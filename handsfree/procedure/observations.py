"""What a procedure tells the fault model: every complaint, check and answer that it names must be one the model has.

The procedure package knows no fault model. The names are passed in, or taken from the model that ships."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from importlib import import_module

from handsfree.procedure.model import Ask, Book, Decide, Step
from handsfree.procedure.remarks import Remark, Weight, at
from handsfree.procedure.sentences import nearest

#: Check of the fault model -> its answers. The complaints stand under COMPLAINT.
Observations = Mapping[str, tuple[str, ...]]
COMPLAINT = "complaint"


def usual_observations() -> Observations:
    """Those of the fault model that ships."""
    shipped = import_module("handsfree.trade.faultmodel").shipped()
    return {check.id: check.answers for check in (*shipped.checks.values(), shipped.complaint)}


def remarks(book: Book, name: str, known: Observations | None = None) -> Iterator[Remark]:
    known = usual_observations() if known is None else known
    procedure = book.procedures[name]
    complaints = known.get(COMPLAINT, ())
    if procedure.complaint and procedure.complaint not in complaints:
        hint = nearest(procedure.complaint, list(complaints)) or "."
        yield Remark(
            book.file(name), 1, "", "tells", Weight.ERROR,
            f"The complaint '{procedure.complaint}' is none of the fault model's{hint}",
            f"Name one of {', '.join(complaints)}, or take it out.",
        )  # fmt: skip
    for step in procedure.steps:
        for where, tells in told(step):
            wrong = _wrong(tells, known)
            if wrong:
                why = f"tells the fault model '{tells}' on '{where}', but {wrong}"
                yield at(book, name, step, "tells", Weight.ERROR, why, "Correct 'tells', or take it out.")


def told(step: Step) -> Iterator[tuple[str, str]]:
    """(the answer, case or 'otherwise'; what it tells) of a step."""
    if isinstance(step, Ask):
        pairs = [(answer.say, answer.tells) for answer in step.answers]
    elif isinstance(step, Decide):
        pairs = [*((case.when, case.tells) for case in step.cases), ("otherwise", step.otherwise_tells)]
    else:
        pairs = []
    yield from ((where, tells) for where, tells in pairs if tells is not None)


def _wrong(tells: str, known: Observations) -> str:
    check, _, answer = tells.partition("=")
    checks = [name for name in known if name != COMPLAINT]
    if check not in checks:
        return f"the model has no check '{check}'{nearest(check, checks) or '.'}"
    if answer not in known[check]:
        return f"the check '{check}' has no answer '{answer}'; it has {', '.join(known[check])}."
    return ""
