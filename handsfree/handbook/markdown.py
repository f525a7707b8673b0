"""Markdown from data: tables and lists, with what the program's own sentences may hold made harmless."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

#: Left as it stands: code, and one word or a few that are leant on.
_MARKED = re.compile(r"(`[^`]*`|(?<![\w*])\*\w[\w ]*\*(?![\w*]))")


def text(sentence: str) -> str:
    """One line, nothing in it taken for markup but code between backticks and words between stars."""
    parts = _MARKED.split(" ".join(sentence.split()))
    return "".join(part if at % 2 else re.sub(r"([<>*\[\]|\\$])", r"\\\1", part) for at, part in enumerate(parts))


def code(words: str) -> str:
    """As it is typed; in a table too, where a bar would end the cell."""
    return "`" + words.replace("|", "\\|") + "`" if words else ""


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Cells are Markdown already."""
    lines = [f"| {' | '.join(head)} |", f"| {' | '.join('---' for _ in head)} |"]
    lines += [f"| {' | '.join(row)} |" for row in rows]
    return "\n".join(lines) + "\n"


def rules_of(docstring: str | None) -> str:
    """The list that a module's docstring gives as its rules, as Markdown; each point on one line."""
    points: list[str] = []
    for line in (docstring or "").splitlines():
        if found := re.match(r"^(-|\d+\.) (.*)", line):
            points.append(f"{found[1]} {found[2]}")
        elif points and line.startswith("  "):
            points[-1] += f" {line.strip()}"
        elif points:
            break
    return "\n".join(f"{mark} {text(rest)}" for mark, rest in (point.split(" ", 1) for point in points)) + "\n"
