"""The core on which isolation hangs is small and stands alone: what it is made of, counted and followed by its imports."""

from __future__ import annotations

import ast
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
#: Aimed at; reached: some 650 lines, docstrings and all.
MOST_LINES = 1500
#: Plain data: what is heard, and what is recorded. Nothing here decides anything.
DATA = {
    "handsfree.language.meaning", "handsfree.journal.events", "handsfree.journal.conversation", "handsfree.journal.marks",
    "handsfree.journal.outside", "handsfree.journal.values",
}  # fmt: skip
STANDARD = {"__future__", "collections", "dataclasses", "enum", "typing", "types", "functools", "json", "re", "math"}


def file_of(module: str) -> Path:
    path = TOP / Path(*module.split("."))
    return path / "__init__.py" if path.is_dir() else path.with_suffix(".py")


def imported(module: str) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(file_of(module).read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            inner = {f"{node.module}.{alias.name}" for alias in node.names}
            modules = {name for name in inner if name.startswith("handsfree") and file_of(name).is_file()}
            found |= modules or {node.module}
    return found


def core() -> list[str]:
    return sorted(f"handsfree.isolation.{path.stem}" for path in (TOP / "handsfree/isolation").glob("*.py")
                  if path.stem != "__init__")  # fmt: skip


def test_it_is_four_modules_of_no_more_lines_than_one_can_read() -> None:
    assert core() == [f"handsfree.isolation.{name}" for name in ("energy", "interlock", "people", "rules")]
    assert sum(len(file_of(module).read_text("utf-8").splitlines()) for module in core()) < MOST_LINES


def test_nothing_comes_into_it_but_plain_data_however_far_its_imports_are_followed() -> None:
    seen: set[str] = set()
    todo = set(core())
    while todo:
        module = todo.pop()
        seen.add(module)
        for name in imported(module):
            if name.startswith("handsfree"):
                todo |= {name} - seen
            else:
                assert name.split(".")[0] in STANDARD, f"{module} imports {name}"
    assert seen <= {*core(), *DATA}, f"beyond plain data: {sorted(seen - {*core(), *DATA})}"


def test_what_changes_an_interlock_is_imported_by_the_visit_alone() -> None:
    users = {
        path.relative_to(TOP / "handsfree").parts[0]
        for path in (TOP / "handsfree").rglob("*.py")
        if "isolation.interlock" in path.read_text("utf-8")
    }
    assert users == {"visit"}
