"""One thing that a field visit would trip over, as `handsfree check` says it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from handsfree.procedure.model import Book, Step


class Weight(StrEnum):
    """ERROR: the visit would go wrong or not start. ADVICE: somebody will stumble. NOTE: good to know."""

    ERROR = "error"
    ADVICE = "advice"
    NOTE = "note"


@dataclass(frozen=True)
class Remark:
    """`group`: file, graph, values, tells, wording, sound, recording, time. `why` and `do` are sentences."""

    file: str
    line: int
    step: str
    group: str
    weight: Weight
    why: str
    do: str
    path: tuple[str, ...] = ()

    @property
    def shown(self) -> str:
        place = f"{self.file} line {self.line}" if self.line else self.file
        return f"{place}: {self.weight}, {self.group}: {self.why} {self.do}".rstrip()


def at(book: Book, procedure: str, step: Step, group: str, weight: Weight, why: str, do: str) -> Remark:
    """`why` follows 'Step `x`'."""
    file, line = book.file(procedure), book.line(procedure, step.id)
    return Remark(file, line, step.id, group, weight, f"Step `{step.id}` {why}", do)
