"""One thing that a field visit would trip over, as `handsfree check` says it, in the language of the procedure."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from handsfree.language.tokens import capital
from handsfree.procedure import phrasing
from handsfree.procedure.model import Book, Step


class Weight(StrEnum):
    """ERROR: the visit would go wrong or not start. ADVICE: somebody will stumble. NOTE: good to know."""

    ERROR = "error"
    ADVICE = "advice"
    NOTE = "note"


@dataclass(frozen=True)
class Remark:
    """`group`: file, graph, values, tells, wording, sound, recording, time. `why` and `do` are sentences. `aloud`: both for
    the ear, without the step's name and without words of the file; '' where they are not for it. `field`: of the step,
    where one is to blame. `language`: of the sentences."""

    file: str
    line: int
    step: str
    group: str
    weight: Weight
    why: str
    do: str
    path: tuple[str, ...] = ()
    aloud: str = ""
    field: str = ""
    language: str = phrasing.USUAL

    @property
    def shown(self) -> str:
        code = self.language
        place = phrasing.say(code, "line", file=self.file, line=self.line) if self.line else self.file
        weight, group = (phrasing.value(code, "weight", self.weight), phrasing.value(code, "group", self.group))
        return f"{place}: {weight}, {group}: {self.why} {self.do}".rstrip()


def remark_at(book: Book, procedure: str, step: Step, group: str, weight: Weight, key: str, **values: object) -> Remark:
    """`key`: of the sentence that says what is wrong and follows the step's name, and with '-do' of what to do."""
    file, line = book.file(procedure), book.line(procedure, step.id)
    code = book.procedures[procedure].language
    why = phrasing.say(code, "at-step", step=step.id, why=phrasing.say(code, key, **values))
    return Remark(
        file, line, step.id, group, weight, why, phrasing.say(code, f"{key}-do", **values), (), aloud(code, key, **values),
        language=code,
    )  # fmt: skip


def aloud(code: str, key: str, **values: object) -> str:
    """What is wrong and what to do, as it is read out."""
    found = []
    for part in (key, f"{key}-do"):
        spoken = f"{part}-aloud" if phrasing.has(code, f"{part}-aloud") else part
        if phrasing.has(code, spoken):
            sentence = phrasing.say(code, spoken, **values)
            found.append(capital(sentence) if part != key else sentence)
    return " ".join(found)
