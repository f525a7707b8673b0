"""Older procedure files in today's format, with their comments, order and style as they were.

Rules of this file:

- Names in expressions are spelled as the steps are called, an answer that leads on needs no `{}`, what all readings with one
  instrument say stands once above the steps, and a decision that nobody hears needs no sentence that tells nothing.
- What it makes does the same as before: both are loaded and compared, and where they differ nothing is written."""

from __future__ import annotations

import ast
import re
from collections import defaultdict
from difflib import SequenceMatcher
from pathlib import Path

from handsfree.errors import Trouble
from handsfree.outputs import save
from handsfree.procedure import load, phrasing
from handsfree.procedure.expressions import name_of, parse_expression
from handsfree.procedure.model import Decide, Procedure, Read
from handsfree.procedure.parts import Instrument

_EMPTY = re.compile(r"^(\s+(?!-)[^\s#{][^#{]*:) \{\}(\s*(?:#.*)?)$")
_TOLD = re.compile(r"((?:check|tells): [\w=]+)")  # names of the fault model's, even where a step is called like one
_NAME = re.compile(r"[a-z]\w*\b(?!\()")  # a function is called by its own name, even where a step is called like it
_FIELD = re.compile(r"^    (\w+): (.*?)(\s+#.*)?$")
_SHARED = [name for name in Instrument.model_fields if name != "name"]


def migrate_file(path: Path, write: bool = True) -> int:
    """How many lines change. Trouble for a file that cannot be loaded, or that would do something else afterwards."""
    before = load.load_file(path)
    after = respelled(before)
    new = load.parse_procedure(after, before.file)
    if _plain(new) != _plain(before.procedure):
        raise Trouble(f"{before.file} would behave differently in the new format; it was not changed.")
    old, rows = before.text.splitlines(), after.splitlines()
    parts = SequenceMatcher(None, old, rows, autojunk=False).get_opcodes()
    changed = sum(max(end - at, to - start) for tag, at, end, start, to in parts if tag != "equal")
    if changed and write:
        save(path, lambda: after.encode("utf-8"))
    return changed


def respelled(loaded: load.Loaded) -> str:
    procedure, rows = loaded.procedure, loaded.text.splitlines()
    steps = procedure.steps
    names = {name_of(step.id): step.id for step in steps if "-" in step.id}
    starts = [*loaded.lines.values(), len(rows) + 1]
    dropped: set[int] = set()
    shared: dict[str, list[dict[str, tuple[int, str]]]] = defaultdict(list)
    for step, first, end in zip(steps, starts, starts[1:], strict=False):
        for at in range(first - 1, end - 1):
            if isinstance(step, Decide):
                rows[at] = _expression(rows[at], names)
            rows[at] = _EMPTY.sub(r"\1\2", rows[at])
        fields = {found[1]: (at, found[2]) for at in range(first, end - 1) if (found := _FIELD.match(rows[at]))}
        if isinstance(step, Decide) and not step.aloud and _tells_nothing(step.say, procedure.language) and "say" in fields:
            dropped.add(fields["say"][0])
        if isinstance(step, Read) and step.instrument is not None:
            shared[step.instrument].append(fields)
    head = _instruments(shared, dropped) if not procedure.instruments else []
    made = [kept for at, row in enumerate(rows) if (kept := _left(row) if at in dropped else row) is not None]
    at = made.index("steps:") if head and "steps:" in made else 0
    while at and (not made[at - 1].strip() or made[at - 1].startswith("#")):
        at -= 1  # above what is remarked on the steps
    return "\n".join([*made[:at], *head, *made[at:]]) + ("\n" if loaded.text.endswith("\n") else "")


def _instruments(shared: dict[str, list[dict[str, tuple[int, str]]]], dropped: set[int]) -> list[str]:
    """What all readings with an instrument say alike; their lines are dropped."""
    rows = []
    for name, readings in shared.items():
        alike = [field for field in _SHARED if len({one[field][1] if field in one else None for one in readings}) == 1]
        common = {field: readings[0][field][1] for field in alike if field in readings[0]}
        if len(readings) > 1 and common:
            rows.append(f"  {name}: {{{', '.join(f'{field}: {value}' for field, value in common.items())}}}")
            dropped.update(one[field][0] for one in readings for field in common)
    return ["instruments:", *rows] if rows else []


def _left(row: str) -> str | None:
    """The remark of a line that goes."""
    found = _FIELD.match(row)
    return f"    {found[3].strip()}" if found and found[3] else None


def _tells_nothing(say: str, language: str) -> bool:
    """'The outcome of that work decides.'"""
    return re.fullmatch(phrasing.say(language, "filler"), say) is not None


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
    parts = _TOLD.split(text)
    parts[::2] = [_NAME.sub(lambda found: names.get(found[0], found[0]), part) for part in parts[::2]]
    return "".join(parts)


def _plain(procedure: Procedure) -> object:
    """What it does: expressions as they are understood, however spelled, and no words that nobody hears."""
    data = procedure.model_dump(exclude={"instruments"})
    for step in data["steps"]:
        if step["kind"] == "decide":
            step["say"] = step["say"] if step["aloud"] else ""
        for case in step.get("cases", ()):
            case["when"] = ast.dump(parse_expression(case["when"]))
    return data
