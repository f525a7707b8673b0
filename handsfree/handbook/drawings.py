"""The charts of the pages: drawn by the program from the procedures that they show."""

from __future__ import annotations

import re
from collections.abc import Iterator

from handsfree.procedure.chart_drawing import svg
from handsfree.procedure.load import book_of, parse_procedure
from handsfree.procedure.model import Procedure

_SHOWN = re.compile(r":caption: procedures/([\w-]+)\.yaml\n\n(.*?)```", re.S)


def charts(page: str) -> Iterator[tuple[str, str]]:
    """(name of the file, SVG) of every procedure of a page; each may call those above it."""
    above: list[Procedure] = []
    for name, text in _SHOWN.findall(page):
        procedure = parse_procedure(text, f"{name}.yaml")
        yield f"{name}.svg", svg(book_of(procedure, *above))
        above.append(procedure)
