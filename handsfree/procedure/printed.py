"""A procedure on paper, for when the battery is dead: Markdown and PDF from the same lines.

Tick boxes stand at every gate and caution, lines to write on at every reading. What a technician reads in print is what the
program would say; the words around it are in grammar/<language>.wording.yaml."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any

from handsfree.language.meaning import WAYS_OUT
from handsfree.language.quantities import SYMBOLS, symbol
from handsfree.procedure import phrasing
from handsfree.procedure.expressions import name_of
from handsfree.procedure.graph import ways
from handsfree.procedure.model import (
    Book,
    Call,
    Caution,
    Decide,
    End,
    Evidence,
    Finding,
    Handover,
    Isolate,
    Procedure,
    Prove,
    Read,
    Restore,
    Step,
    Wait,
)  # fmt: skip
from handsfree.procedure.sources import method_of
from handsfree.procedure.wording import words_of


@dataclass(frozen=True)
class Line:
    """`style`: title, part, small, step, say, tick, plain, detail, go, signal."""

    style: str
    text: str


class _Words:
    def __init__(self, book: Book) -> None:
        self.code = book.procedures[book.main].language
        self.printed = words_of(self.code).printed
        self.numbers = {
            (name, step.id): f"{part}.{at}"
            for part, (name, one) in enumerate(book.procedures.items(), start=1)
            for at, step in enumerate(one.steps, start=1)
        }
        self.here = book.main  # the procedure whose steps are being printed
        self.parts = {name: at for at, name in enumerate(book.procedures, start=1)}

    def __call__(self, key: str, **values: object) -> str:
        return self.printed[key].format(**values)

    def value(self, what: str, name: str) -> str:
        return phrasing.value(self.code, what, name)


def lines_of(book: Book) -> Iterator[Line]:
    words = _Words(book)
    main = book.procedures[book.main]
    yield Line("title", main.title)
    if main.purpose:
        yield Line("plain", main.purpose)
    yield Line("small", words("use"))
    digest = book.digests.get(book.main, "")
    yield Line("small", words("copy", version=main.version, digest=digest or "-"))
    for name in dict.fromkeys((book.main, *book.procedures)):
        procedure = book.procedures[name]
        words.here = name
        yield Line("part", words("part", part=words.parts[name], title=procedure.title))
        for step in procedure.steps:
            yield from _step(procedure, step, words)


def _step(procedure: Procedure, step: Step, words: _Words) -> Iterator[Line]:
    yield Line("step", words("step", number=words.numbers[procedure.procedure, step.id]))
    if isinstance(step, Caution):
        yield Line("signal", words(f"signal-{step.level}"))
    if step.behind_gate:
        yield Line("tick", words("only-isolated"))
    if step.hazards:
        yield Line("plain", words("hazards", hazards=", ".join(words.value("hazard", one) for one in step.hazards)))
    yield Line("say", step.say)
    yield from _WORK.get(type(step), _nothing)(step, words)
    yield from _onward(procedure, step, words)


def _nothing(step: Any, words: _Words) -> Iterator[Line]:
    return iter(())


def _isolate(step: Isolate, words: _Words) -> Iterator[Line]:
    yield Line("plain", words("sources", sources=", ".join(step.sources)))
    yield from (Line("tick", one) for one in step.do)
    yield Line("tick", words("isolated"))


def _prove(step: Prove, words: _Words) -> Iterator[Line]:
    method = method_of(step)
    if method.form != "measure":
        yield Line("tick", words("dead-switch"))
        return
    tester = step.tester if "tester" in step.model_fields_set else words("tester-known")
    yield Line("tick", f"{words('tester-before')} {tester}")
    unit = symbol(step.measured_in(method)).strip()
    for point in step.measured(method):
        yield Line("tick", f"{point}: " + words("dead-meter", unit=unit, below=f"{step.limit(method):g}"))
    yield Line("tick", words("tester-after"))


def _restore(step: Restore, words: _Words) -> Iterator[Line]:
    yield from (Line("tick", one) for one in step.checks)
    yield Line("tick", words("clear"))
    yield Line("say", step.power)
    yield Line("tick", words("power"))


def _read(step: Read, words: _Words) -> Iterator[Line]:
    unit = symbol(step.unit).strip()
    yield Line("plain", words("reading", quantity=step.quantity, unit=unit).rstrip())
    if step.expected is not None:
        low, high = (f"{one:g}" for one in step.expected)
        yield Line("detail", words("expected", low=low, high=high, unit=unit).replace(" .", "."))
    if step.instrument is not None or step.accuracy is not None:
        accuracy = _with_symbols(step.accuracy) if step.accuracy else "-"
        yield Line("detail", words("instrument", instrument=step.instrument or "-", accuracy=accuracy))


def _with_symbols(accuracy: str) -> str:
    """'0.5 degC' -> '0.5 °C'."""
    return re.sub(r"(?<=\d) ?(\w+)", lambda found: symbol(found[1]) if found[1] in SYMBOLS else found[0], accuracy)


def _handover(step: Handover, words: _Words) -> Iterator[Line]:
    yield Line("tick", words("handover", to=step.to))
    yield Line("plain", words("summary", steps=", ".join(words.numbers[words.here, name] for name in step.summary)))


def _one(style: str, key: str, worded: str = "", **fields: str) -> Callable[[Any, _Words], Iterator[Line]]:
    """A line whose values are fields of the step. `worded`: the one whose value is a word of the file."""

    def made(step: Any, words: _Words) -> Iterator[Line]:
        values = {name: getattr(step, field) for name, field in fields.items()}
        yield Line(style, words(key, **{n: words.value(n, v) if n == worded else v for n, v in values.items()}))

    return made


_WORK: dict[type[Any], Callable[[Any, _Words], Iterator[Line]]] = {
    Isolate: _isolate, Prove: _prove, Restore: _restore, Read: _read, Handover: _handover,
    Caution: _one("tick", "understood"), Wait: _one("tick", "wait", lasts="lasts", because="because"),
    Evidence: _one("tick", "evidence", "what", what="what"), Finding: _one("tick", "finding", finding="finding"),
    End: _one("tick", "end", "outcome", outcome="outcome"),
}  # fmt: skip


def _onward(procedure: Procedure, step: Step, words: _Words) -> Iterator[Line]:
    number: Callable[[str], str] = partial(lambda name, to: words.numbers[name, to], procedure.procedure)
    ids = [one.id for one in procedure.steps]
    at = ids.index(step.id)
    next_one = ids[at + 1] if at + 1 < len(ids) else None
    if isinstance(step, Call):
        yield Line("tick", words("call", part=words.parts.get(step.procedure, "-")))
    for way in ways(procedure, step):
        if isinstance(step, End):
            break
        if way.name and not isinstance(step, Decide):
            if isinstance(step, Read) and way.to == procedure.following(step.id):
                continue  # over range and unsteady that go on like a number
            fixed = isinstance(step, Read) or way.name in WAYS_OUT
            name = words(way.name.replace(" ", "-")) if fixed else way.name
            yield Line(
                "go", words("answer", answer=name, number=number(way.to)) if way.to else words("answer-out", answer=name)
            )
        elif way.name:
            yield Line("go", _case(step, way.name, number(way.to or ""), words))
        elif way.to is None:
            yield Line("go", words("out"))
        elif way.to != next_one:
            yield Line("go", words("go", number=number(way.to)))


def _case(step: Step, name: str, number: str, words: _Words) -> str:
    if name == "otherwise":
        return words("otherwise", number=number)
    return words("case", case=_on_paper(name, words), number=number)


def _on_paper(expression: str, words: _Words) -> str:
    """An expression with the numbers of the steps in place of their names."""
    numbers = {name_of(step): f"[{number}]" for (name, step), number in words.numbers.items() if name == words.here}
    text = re.sub(r"[A-Za-z_]\w*", lambda found: numbers.get(found[0], found[0]), expression)
    return phrasing.expression(words.code, text.replace("==", "=").replace("!=", "not ="))


# ---- Markdown -------------------------------------------------------------------------------------------------------

_MARKDOWN = {
    "title": "# {}\n", "part": "\n## {}\n", "small": "_{}_\n", "step": "\n### {}\n", "say": "{}\n", "tick": "- [ ] {}",
    "plain": "{}\n", "detail": "_{}_\n",
    "go": "- {}", "signal": "**{}**\n",
}  # fmt: skip


def markdown(book: Book) -> str:
    rows: list[str] = []
    listed = False
    for line in lines_of(book):
        in_list = line.style in ("tick", "go")
        if listed and not in_list and not rows[-1].endswith("\n"):
            rows.append("")
        rows.append(_MARKDOWN[line.style].format(_plain(line.text)))
        listed = in_list
    return "\n".join(rows) + "\n"


def _plain(text: str) -> str:
    """Signs that Markdown would take for its own; lines to write on stay."""
    for sign in "\\*`<>|#":
        text = text.replace(sign, "\\" + sign)
    return text.replace("_", "\\_") if "__" not in text else text


# ---- PDF ------------------------------------------------------------------------------------------------------------

#: style -> (bold, size in points, left indent in mm, space before in mm)
_PDF: dict[str, tuple[bool, float, float, float]] = {
    "title": (True, 18, 0, 0), "part": (True, 14, 0, 6), "small": (False, 8, 0, 1), "step": (True, 11, 0, 4),
    "say": (False, 11, 6, 1),
    "tick": (False, 11, 13, 1.5), "plain": (False, 10, 6, 1), "detail": (False, 8, 6, 1),
    "go": (False, 10, 13, 1), "signal": (True, 13, 6, 1),
}  # fmt: skip


def pdf(book: Book) -> bytes:
    """A4. The fonts are those every reader has, which know Western European letters; others print as '?'."""
    from fpdf import FPDF

    class Paper(FPDF):
        def footer(self) -> None:
            self.set_y(-12)
            self.set_font("Helvetica", size=8)
            self.cell(0, 6, f"{_latin(book.procedures[book.main].title)}   {self.page_no()} / {{nb}}", align="C")

    paper = Paper(format="A4")
    paper.set_auto_page_break(True, margin=16)
    paper.set_creation_date(_undated())
    paper.add_page()
    for line in lines_of(book):
        bold, size, indent, before = _PDF[line.style]
        paper.set_font("Helvetica", style="B" if bold else "", size=size)
        paper.ln(before)
        height = size * 0.45
        if line.style == "step" and paper.get_y() > 250:
            paper.add_page()  # no heading alone at the foot
        if line.style == "tick":
            if paper.will_page_break(height + 1):
                paper.add_page()
            paper.rect(paper.l_margin + indent - 6, paper.get_y() + 0.4, 4, 4)
        paper.set_x(paper.l_margin + indent)
        paper.multi_cell(paper.epw - indent, height, _latin(line.text), new_x="LMARGIN", new_y="NEXT", align="L")
    return bytes(paper.output())


def _undated() -> Any:
    """The same procedure prints to the same bytes."""
    from datetime import UTC, datetime

    return datetime(2000, 1, 1, tzinfo=UTC)


def _latin(text: str) -> str:
    for sign, plain in (("–", "-"), ("—", "-"), ("’", "'"), ("“", '"'), ("”", '"'), ("…", "..."), ("Ω", "ohm"), ("→", "->")):
        text = text.replace(sign, plain)
    return text.encode("latin-1", "replace").decode("latin-1")
