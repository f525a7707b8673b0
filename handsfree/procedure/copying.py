"""What a printed copy is made with: its lines, the numbers of its steps, the names of its tables."""

from __future__ import annotations

import ast
import re
from dataclasses import dataclass, field

from handsfree.procedure import phrasing
from handsfree.procedure.expressions import Tables, name_of
from handsfree.procedure.in_words import Worded
from handsfree.procedure.model import Book, Prove, Read
from handsfree.procedure.sources import measured_by
from handsfree.procedure.wording import word_lists

BOX, ARROW, HARD = "\N{BALLOT BOX}", "\N{RIGHTWARDS ARROW}", "\N{NO-BREAK SPACE}"


@dataclass(frozen=True)
class CopyLine:
    """`style`: title, plain, small, contents, part, step, signal, gate, say, tick, go, table, row, chart. `number`: of the
    step that it belongs to, 0 where to none. `cells`: of a row of a table, (column, cell); `text` says the same."""

    style: str
    text: str
    number: int = 0
    cells: tuple[tuple[str, str], ...] = ()


@dataclass
class Drawn:
    """A table of the copy: its name, and each (procedure, call) that it serves."""

    name: str
    calls: list[tuple[str, ast.Call]]


@dataclass
class Copy:
    """What the lines of a book are made with. `drawn`: its tables in order."""

    book: Book
    here: str = ""
    drawn: list[Drawn] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.code = self.book.procedures[self.book.main].language
        self.printed = word_lists(self.code).printed
        parts = dict.fromkeys((self.book.main, *self.book.procedures))
        steps = [(name, step.id) for name in parts for step in self.book.procedures[name].steps]
        self.numbers = {place: at for at, place in enumerate(steps, start=1)}
        self.parts = {name: at for at, name in enumerate(parts, start=1)}
        self._tables: dict[str, Drawn] = {}

    def words(self, key: str, **values: object) -> str:
        return self.printed[key].format(**values)

    def tester(self, step: Prove) -> str:
        """How the instrument of its measurement is proved: the step's own words, else those of the language."""
        own = "tester" in step.model_fields_set
        return step.tester if own else self.printed.get(f"tester-{measured_by(step).name}", self.printed["tester-known"])

    def value(self, what: str, name: str) -> str:
        return phrasing.value(self.code, what, name)

    def number(self, step: str) -> int:
        return self.numbers[self.here, step]

    def to(self, step: str | None) -> str:
        return f"{ARROW}{HARD}{self.number(step)}" if step is not None else ""

    def extent(self, name: str) -> tuple[int, int]:
        """The numbers of the first and last step of a part."""
        steps = self.book.procedures[name].steps
        return self.numbers[name, steps[0].id], self.numbers[name, steps[-1].id]

    def saying(self, tables: Tables) -> Worded:
        return Worded(self.words, self._line, self._table, tables)

    def _line(self, name: str) -> str:
        found = next((at for (part, step), at in self.numbers.items() if part == self.here and name_of(step) == name), None)
        return self.words("line", number=found) if found else name

    def _table(self, call: ast.Call) -> str:
        key = self._alike(call)
        if key not in self._tables:
            at = len(self.drawn)
            self._tables[key] = Drawn(chr(ord("A") + at % 26) + (str(at // 26) if at > 25 else ""), [])
            self.drawn.append(self._tables[key])
        drawn = self._tables[key]
        if all((self.here, ast.unparse(call)) != (part, ast.unparse(one)) for part, one in drawn.calls):
            drawn.calls.append((self.here, call))
        return self.words("table", name=drawn.name)

    def _alike(self, call: ast.Call) -> str:
        """The same for two calls that one table serves: what enters has the same unit and range."""
        steps = {name_of(step.id): step for step in self.book.procedures[self.here].steps}

        def range_of(found: re.Match[str]) -> str:
            step = steps.get(found[0])
            return f"<{step.unit} {step.plausible}>" if isinstance(step, Read) else found[0]

        return re.sub(r"[A-Za-z_]\w*", range_of, ast.unparse(call))


def tables_of(copy: Copy) -> Tables:
    return Tables.of(copy.book.procedures[copy.here].steps)
