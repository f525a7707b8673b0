"""What a procedure tells the fault model: every complaint, check and answer that it names must be one the model has.

The procedure package knows no fault model. The names are passed in, or taken from the model that ships."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping

from handsfree.procedure import phrasing
from handsfree.procedure.model import Ask, Book, Decide, Step
from handsfree.procedure.remarks import Remark, Weight, remark_at
from handsfree.resources import of_trade

#: Check of the fault model -> its answers. The complaints stand under COMPLAINT.
Observations = Mapping[str, tuple[str, ...]]
COMPLAINT = "complaint"


def usual_observations() -> Observations:
    """Those of the fault model that ships; none where the trade is left out."""
    module = of_trade("faultmodel")
    if module is None:
        return {}
    shipped = module.shipped()
    return {check.id: check.answers for check in (*shipped.checks.values(), shipped.complaint)}


def remarks(book: Book, name: str, known: Observations | None = None) -> Iterator[Remark]:
    known = usual_observations() if known is None else known
    procedure = book.procedures[name]
    complaints = known.get(COMPLAINT, ())
    if procedure.complaint and procedure.complaint not in complaints:
        code = procedure.language
        hint = phrasing.hint(code, procedure.complaint, list(complaints))
        yield Remark(
            book.file(name), 1, "", "tells", Weight.ERROR,
            phrasing.say(code, "complaint", complaint=procedure.complaint, hint=hint),
            phrasing.say(code, "complaint-do", known=", ".join(complaints)), language=code,
        )  # fmt: skip
    for step in procedure.steps:
        cases = step.cases if isinstance(step, Decide) else ()
        for check, times in Counter(case.check for case in cases if case.check is not None).items():
            if times > 1:
                yield remark_at(book, name, step, "tells", Weight.ERROR, "check-twice", check=check)
        for case in cases:
            if case.check is not None and (values := _no_check(case.check, known, procedure.language)):
                values = {"where": case.when, "tells": case.check, **values}
                yield remark_at(book, name, step, "tells", Weight.ERROR, "tells-no-check", **values)
        for where, tells in told(step):
            key, values = _wrong(tells, known, procedure.language)
            if key:
                yield remark_at(book, name, step, "tells", Weight.ERROR, key, where=where, tells=tells, **values)


def told(step: Step) -> Iterator[tuple[str, str]]:
    """(the answer, case or 'otherwise'; what it tells) of a step."""
    if isinstance(step, Ask):
        pairs = [(answer.say, answer.tells) for answer in step.answers]
    elif isinstance(step, Decide):
        pairs = [*((case.when, case.tells) for case in step.cases), ("otherwise", step.otherwise_tells)]
    else:
        pairs = []
    yield from ((where, tells) for where, tells in pairs if tells is not None)


def _no_check(check: str, known: Observations, code: str) -> dict[str, str]:
    """The values of the sentence that the model has no such check; none where it has."""
    checks = [name for name in known if name != COMPLAINT]
    return {} if check in checks else {"check": check, "hint": phrasing.hint(code, check, checks)}


def _wrong(tells: str, known: Observations, code: str) -> tuple[str, dict[str, str]]:
    """(key of the sentence, '' for nothing wrong; its values)."""
    check, _, answer = tells.partition("=")
    if values := _no_check(check, known, code):
        return "tells-no-check", values
    if answer not in known[check]:
        return "tells-no-answer", {"check": check, "answer": answer, "known": ", ".join(known[check])}
    return "", {}
