"""The line of a remark: not where its step begins, but where the words or the field stand that it is about."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import replace

from handsfree.procedure.load import Loaded
from handsfree.procedure.remarks import Remark

_QUOTED = re.compile(r"['`\"]([^'`\"]{2,80})['`\"]")
#: The field that a group of remarks is mostly about, where no words of it are quoted.
_FIELDS = {"wording": "say", "sound": "answers", "recording": "sound", "time": "say"}


def pointed(remarks: Iterable[Remark], loaded: Loaded) -> Iterator[Remark]:
    """Only those that stand at the beginning of a step of this file are moved, and never out of their step."""
    rows = loaded.text.splitlines()
    starts = sorted(loaded.lines.values())
    at = {step.id: place for place, step in enumerate(loaded.procedure.steps)}
    for remark in remarks:
        if remark.file != loaded.file or remark.line != loaded.lines.get(remark.step):
            yield remark
            continue
        end = next((start for start in starts if start > remark.line), len(rows) + 1)
        field = remark.field or _FIELDS.get(remark.group, "")
        line = _quoted(remark, rows, end)
        if line is None and field:
            line = loaded.document.line(("steps", at[remark.step], field))
        yield replace(remark, line=line or remark.line, field=field)


def _quoted(remark: Remark, rows: list[str], end: int) -> int | None:
    """The first line of the step that has what the remark quotes, its own name aside."""
    for words in _QUOTED.findall(remark.why):
        if words == remark.step:
            continue
        for number in range(remark.line, end):
            if words.casefold() in rows[number - 1].split("#")[0].casefold():
                return number
    return None
