"""One name for one thing, and one thing for one name: no two modules define a class, or name a type, alike."""

from __future__ import annotations

import ast
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

TOP = Path(__file__).resolve().parents[1]
PRODUCT = TOP / "handsfree"

#: Names that two modules keep, with the reason.
ALLOWED = {
    "Ambiguity": "one a language: what its numbers leave open; nothing sees both",
    "_Model": "one a neural witness, and its own affair",
    "_Prepared": "one a neural witness, and its own affair",
    "Symbols": "the same type, in two modules of which neither imports the other",
}


def named(module: Path) -> Iterator[str]:
    """Classes and types that a module defines. A type's name: `Pair = tuple[int, int]`, at the top of the module."""
    for node in ast.parse(module.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.ClassDef):
            yield node.name
        elif isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
            name = node.targets[0].id
            if name.lstrip("_")[:1].isupper() and not name.isupper():
                yield name


def test_no_two_modules_name_two_things_alike() -> None:
    found = defaultdict(list)
    for module in sorted(PRODUCT.rglob("*.py")):
        for name in named(module):
            found[name].append(str(module.relative_to(PRODUCT)))
    twice = {name: modules for name, modules in found.items() if len(modules) > 1}
    assert twice.keys() - ALLOWED.keys() == set(), {name: twice[name] for name in twice.keys() - ALLOWED.keys()}
    assert ALLOWED.keys() <= twice.keys(), "a name is allowed twice that is there once"
