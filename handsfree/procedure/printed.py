"""A procedure on paper, for when the battery is dead: the lines of it, and Markdown from them. `paper.py` makes the PDF.

Rules of this file:

- Every step of the book is there, under one number that runs through the whole copy; `→ 12` leads to step 12.
- ☐ is a box to tick, a run of _ a line to write on. Every gate has both, and room for a name and a time.
- A decision is said in words, by the numbers of its steps and the names of its tables; nothing in quotes is touched.
- The words around are in grammar/<language>.wording.yaml."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from itertools import zip_longest
from typing import Any

from handsfree.language.meaning import WAYS_OUT
from handsfree.language.quantities import SYMBOLS, symbol
from handsfree.language.tokens import capital
from handsfree.procedure.copying import BOX, HARD, Copy, CopyLine, tables_of
from handsfree.procedure.graph import outcomes, ways
from handsfree.procedure.model import (
    Ask,
    Book,
    Call,
    Caution,
    Decide,
    End,
    Evidence,
    Finding,
    Handover,
    Instruct,
    Isolate,
    Procedure,
    Prove,
    Read,
    Restore,
    Step,
    Wait,
)  # fmt: skip
from handsfree.procedure.sheets import sheets
from handsfree.procedure.sources import measured_by, method_of


def lines_of(book: Book, copy: Copy | None = None) -> Iterator[CopyLine]:
    copy = copy or Copy(book)
    main = book.procedures[book.main]
    yield CopyLine("title", main.title)
    if main.purpose:
        yield CopyLine("plain", main.purpose)
    yield CopyLine("plain", copy.words("use", first=1))
    yield CopyLine("plain", copy.words("use-bar"))
    yield CopyLine("plain", copy.words("use-limits"))
    yield CopyLine("small", copy.words("copy", version=main.version, digest=book.digests.get(book.main, "") or "-"))
    body = [line for name in copy.parts for line in _part(book.procedures[name], copy)]
    yield CopyLine("part", copy.words("contents"))
    for name, at in copy.parts.items():
        first, last = copy.extent(name)
        title = copy.words("part", part=at, title=book.procedures[name].title)
        yield CopyLine("contents", f"{title}: {copy.words('from-step', first=first, last=last)}", first)
    if copy.drawn:
        yield CopyLine("contents", copy.words("tables"))
    yield from body
    if copy.drawn:
        yield CopyLine("part", copy.words("tables"))
        yield from sheets(copy)


def _part(procedure: Procedure, copy: Copy) -> Iterator[CopyLine]:
    copy.here = procedure.procedure
    first, _ = copy.extent(procedure.procedure)
    yield CopyLine("part", copy.words("part", part=copy.parts[procedure.procedure], title=procedure.title), first)
    for step in procedure.steps:
        yield from _step(procedure, step, copy)


def _step(procedure: Procedure, step: Step, copy: Copy) -> Iterator[CopyLine]:
    number = copy.number(step.id)
    yield CopyLine("step", copy.words("step", number=number), number)
    if step.behind_gate:
        yield CopyLine("gate", copy.words("only-isolated"), number)
    if isinstance(step, Caution):
        yield CopyLine("signal", copy.words(f"signal-{step.level}"), number)
    say = copy.words("finding", say=step.say) if isinstance(step, Finding) else step.say
    if isinstance(step, Instruct | Finding):
        say = f"{BOX}{HARD}{say}"
    if step.hazards:
        named = ", ".join(copy.value("hazard", one) for one in step.hazards)
        say = f"{say} {copy.words('hazards', hazards=named)}"
    if isinstance(step, Isolate):
        say = f"{say} {copy.words('sources', sources=', '.join(step.sources))}"
    onward = "   ".join(_onward(procedure, step, copy))
    if type(step) not in _WORK and not isinstance(step, Ask):  # nothing stands between its words and where they lead
        say, onward = f"{say} {onward}".rstrip(), ""
    work = list(_WORK.get(type(step), _nothing)(step, copy))
    if isinstance(step, _IN_ONE):
        say, work = "   ".join([say, *(text for _, text in work)]), []
    if not isinstance(step, Decide):
        yield CopyLine("say", say, number)
    for style, text in work:
        yield CopyLine(style, text, number)
    if onward:
        yield CopyLine("go", onward, number)


Work = Iterator[tuple[str, str]]


def _nothing(step: Any, copy: Copy) -> Work:
    return iter(())


def _tick(text: str) -> tuple[str, str]:
    return "tick", f"{BOX}{HARD}{text}"


def _isolate(step: Isolate, copy: Copy) -> Work:
    yield from (_tick(one) for one in step.do)
    locked = copy.book.energy.with_lock(step.sources)
    yield _tick(copy.words("isolated" if locked else "relieved"))
    if step.people > 1:
        yield _tick(f"{copy.words('second')}: {copy.words('isolated')}")


def _prove(step: Prove, copy: Copy) -> Work:
    method = method_of(step)
    if method.form == "look":
        yield _tick(copy.words("dead-look"))
        return
    if method.form == "try":
        yield _tick(copy.words("dead-try"))
        yield "plain", copy.words("dead-try-instead")
    yield _tick(f"{copy.words('tester-before')} {copy.tester(step)}")
    own, method = method.form == "measure", measured_by(step)
    unit = symbol(step.measured_in(method) if own else method.unit).strip()
    limit = step.limit(method) if own else method.most
    points = [capital(copy.value("point", one)) for one in (step.measured(method) if own else method.points)]
    measured = (copy.words("dead-meter", point=one, unit=unit, below=f"{limit:.2g}") for one in points)
    yield "tick", "   ".join(f"{BOX} {one}".replace(" ", HARD) for one in measured)
    yield _tick(copy.words("tester-after"))


def _restore(step: Restore, copy: Copy) -> Work:
    yield from (_tick(one) for one in step.checks)
    yield _tick(copy.words("clear"))
    yield "plain", f"{step.power}   {BOX}{HARD}{copy.words('power')}"


def _read(step: Read, copy: Copy) -> Work:
    unit = symbol(step.unit).strip()
    parts = [copy.words("reading", unit=unit).strip()]
    if step.series:
        parts.append(copy.words("timed"))
    if step.expected is not None:
        low, high = (f"{one:g}" for one in step.expected)
        parts.append(copy.words("expected", low=low, high=high, unit=unit).replace(" .", "."))
    if step.instrument is not None and step.accuracy is not None:
        accuracy = copy.words("instrument", instrument=step.instrument, accuracy=_with_symbols(step.accuracy))
        parts.append(capital(accuracy))
    yield "plain", " ".join(parts)


def _with_symbols(accuracy: str) -> str:
    """'0.5 degC' -> '0.5 °C'."""
    return re.sub(r"(?<=\d) ?(\w+)", lambda found: symbol(found[1]) if found[1] in SYMBOLS else found[0], accuracy)


def _handover(step: Handover, copy: Copy) -> Work:
    yield _tick(copy.words("handover", to=step.to))
    yield "plain", copy.words("summary", steps=", ".join(str(copy.number(name)) for name in step.summary))


def _call(step: Call, copy: Copy) -> Work:
    if step.procedure not in copy.parts:
        return
    first, last = copy.extent(step.procedure)
    ends = outcomes(copy.book.procedures[step.procedure])
    key = "call" if len(ends) > 1 else "call-done"
    how = [f"{BOX}{HARD}{copy.value('outcome', one)}".replace(" ", HARD) for one in ends] if len(ends) > 1 else []
    yield _tick("   ".join([copy.words(key, part=copy.parts[step.procedure], first=first, last=last), *how]))


def _end(step: End, copy: Copy) -> Work:
    key = "end" if copy.here == copy.book.main else "end-part"
    yield _tick(copy.words(key, outcome=copy.value("outcome", step.outcome)))


def _decide(step: Decide, copy: Copy) -> Work:
    saying = copy.saying(tables_of(copy))
    cases = list(step.cases)
    while len(cases) > 1 and cases[-1].go == step.otherwise:
        cases.pop()  # it leads where every other case does
    for case in cases:
        condition = saying.condition(case.when)
        yield _tick(f"{capital(condition)} {copy.to(case.go)}")
    yield _tick(f"{copy.words('otherwise')} {copy.to(step.otherwise)}")


def _wait(step: Wait, copy: Copy) -> Work:
    yield _tick(copy.words("wait", lasts=step.lasts, because=step.because))


def _evidence(step: Evidence, copy: Copy) -> Work:
    yield _tick(copy.words("evidence", what=copy.value("what", step.what)))


def _caution(step: Caution, copy: Copy) -> Work:
    yield _tick(copy.words("understood"))


_WORK: dict[type[Any], Callable[[Any, Copy], Work]] = {
    Isolate: _isolate, Prove: _prove, Restore: _restore, Read: _read, Handover: _handover, Call: _call, Decide: _decide,
    Caution: _caution, Wait: _wait, Evidence: _evidence, End: _end,
}  # fmt: skip


#: What is done of them stands on the line of what is said.
_IN_ONE = (Read, End, Evidence, Wait, Caution)


def _onward(procedure: Procedure, step: Step, copy: Copy) -> Iterator[str]:
    """The ways on, but for simply going on to the next line."""
    if isinstance(step, End | Decide):
        return
    ids = [one.id for one in procedure.steps]
    at = ids.index(step.id)
    following = ids[at + 1] if at + 1 < len(ids) else None
    found = [
        way for way in ways(procedure, step)
        if not (isinstance(step, Read) and way.name and way.to == procedure.following(step.id))
    ]  # fmt: skip  # over range and unsteady that go on like a number are left out
    for way, after in zip_longest(found, found[1:]):
        lead = copy.to(way.to) if way.to != following or (isinstance(step, Ask) and way.to is not None) else ""
        if way.name:
            fixed = isinstance(step, Read) or way.name in WAYS_OUT
            name = copy.words(way.name.replace(" ", "-")) if fixed else way.name
            end = copy.words("out") if way.to is None else lead
            if after is not None and after.to == way.to and after.name:
                end = ""  # the arrow stands behind the last of those that lead there
            yield f"{BOX}{HARD}{name.replace(' ', HARD)}{HARD}{end}".rstrip(HARD)
        elif way.to is None:
            yield copy.words("out")
        elif lead:
            yield lead


# ---- Markdown -------------------------------------------------------------------------------------------------------

_MARKDOWN = {
    "title": "# {}\n", "part": "\n## {}\n", "small": "_{}_\n", "contents": "- {}", "step": "\n### {}\n", "say": "{}\n",
    "tick": "- {}", "plain": "{}\n", "gate": "_{}_\n", "go": "- {}", "signal": "**{}**\n", "table": "\n**{}**\n",
    "row": "- {}", "chart": "{}\n",
}  # fmt: skip
_LISTED = frozenset({"tick", "go", "contents", "row"})


def markdown(book: Book) -> str:
    rows: list[str] = []
    listed = False
    for line in lines_of(book):
        if listed and line.style not in _LISTED and not rows[-1].endswith("\n"):
            rows.append("")
        text = line.text.removeprefix(BOX + HARD) if line.style == "tick" else line.text
        text = ("[ ] " if line.style == "tick" else "") + _plain(text)
        rows.append(_MARKDOWN[line.style].format(text))
        listed = line.style in _LISTED
    return "\n".join(rows) + "\n"


def _plain(text: str) -> str:
    """Signs that Markdown would take for its own; lines to write on stay."""
    for sign in "\\*`<>|#":
        text = text.replace(sign, "\\" + sign)
    return text.replace("_", "\\_") if "__" not in text else text
