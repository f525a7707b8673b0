"""The writer's own recordings of steps: are they there, and do they still speak the text of the step?"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from handsfree.procedure.model import Book
from handsfree.procedure.remarks import Remark, Weight, remark_at


def remarks(book: Book, name: str, folder: Path) -> Iterator[Remark]:
    """`folder`: where the procedure's file is, and its recordings beside it."""
    for step in book.procedures[name].steps:
        if step.sound is None:
            continue
        if not (folder / step.sound).is_file():
            yield remark_at(book, name, step, "recording", Weight.ADVICE, "recording-missing", sound=step.sound)
        elif not step.own_sound:
            yield remark_at(book, name, step, "recording", Weight.ADVICE, "recording-differs")
