"""The commands that README.md and DEVELOPERS.md show, as data: which, where, and what each becomes when it is run.

A block fenced as `sh`, or an indented line that begins with a command, is a command that the page shows. What a line
says in capitals (VISIT, FILE) stands for something of the reader's own.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

TOP = Path(__file__).resolve().parents[1]

_FENCED = re.compile(r"^```sh\n(.*?)^```", re.S | re.M)
_SHOWN = re.compile(r"^ {4}((?:handsfree|python -m) .*?)(?: {2,}\S.*)?$", re.M)
_IN_LINE = re.compile(r"`((?:handsfree|python -m) [^`]+)`")
_MODULE = re.compile(r"python -m ([a-z_][\w.]*)")


@dataclass(frozen=True)
class Instead:
    """A shown command that is run otherwise: how, what it must end with, what it must say, and why."""

    run: str
    why: str
    status: int = 0
    says: str = ""


def text(page: str) -> str:
    return (TOP / page).read_text(encoding="utf-8")


def fenced(page: str) -> list[str]:
    """The lines of each `sh` block, joined where a block has several."""
    return [line.strip() for block in _FENCED.findall(text(page)) for line in block.strip().splitlines()]


def shown(page: str) -> list[str]:
    """Each command that stands on an indented line, without what is said of it."""
    return [line.strip() for line in _SHOWN.findall(text(page))]


def in_line(page: str) -> list[str]:
    """Each command inside a sentence: often only its beginning."""
    return _IN_LINE.findall(text(page))


def modules(page: str) -> set[str]:
    return set(_MODULE.findall(text(page)))
