"""Older procedure files in today's spelling, with their comments, order and style as they were.

Rules of this file:

- Only the spelling changes: names in expressions as the steps are called, an answer that leads on without the `{}`.
- What it makes says the same as before: both are loaded and compared, and where they differ nothing is written."""

from __future__ import annotations

import ast
import re
from pathlib import Path

from handsfree.errors import Trouble
from handsfree.outputs import save
from handsfree.procedure import load
from handsfree.procedure.expressions import name_of, parse
from handsfree.procedure.model import Decide, Procedure

_EMPTY = re.compile(r"^(\s+(?!-)[^\s#{][^#{]*:) \{\}(\s*(?:#.*)?)$")
_NAME = re.compile(r"[a-z]\w*")


def migrate(path: Path, write: bool = True) -> int:
    """How many lines change. Trouble for a file that cannot be loaded, or whose new spelling would say something else."""
    before = load.load_file(path)
    after = respelled(before)
    new = load.parse(after, before.file)
    if _plain(new) != _plain(before.procedure):
        raise Trouble(f"{before.file} would say something else in the new spelling; it is left as it is.")
    changed = sum(old != row for old, row in zip(before.text.splitlines(), after.splitlines(), strict=True))
    if changed and write:
        save(path, lambda: after.encode("utf-8"))
    return changed


def respelled(loaded: load.Loaded) -> str:
    steps = loaded.procedure.steps
    names = {name_of(step.id): step.id for step in steps if "-" in step.id}
    starts = [*loaded.lines.values(), len(loaded.text.splitlines()) + 1]
    rows = loaded.text.splitlines()
    for step, first, end in zip(steps, starts, starts[1:], strict=False):
        for at in range(first - 1, end - 1):
            if isinstance(step, Decide):
                rows[at] = _expression(rows[at], names)
            rows[at] = _EMPTY.sub(r"\1\2", rows[at])
    return "\n".join(rows) + ("\n" if loaded.text.endswith("\n") else "")


def _expression(row: str, names: dict[str, str]) -> str:
    """A line of a decide step: the part after `when:`, or what goes on from the line above, but no comment."""
    if "when" not in row and not any(name in row for name in names):
        return row
    body, sign, comment = row.partition(" #")
    head, when, rest = body.partition("when:")
    if when:
        return head + when + _names(rest, names) + sign + comment
    return _names(body, names) + sign + comment


def _names(text: str, names: dict[str, str]) -> str:
    return _NAME.sub(lambda found: names.get(found[0], found[0]), text)


def _plain(procedure: Procedure) -> object:
    """With expressions as they are understood, however their names are spelled."""
    data = procedure.model_dump()
    for step in data["steps"]:
        for case in step.get("cases", ()):
            case["when"] = ast.dump(parse(case["when"]))
    return data
