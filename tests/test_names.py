"""One name for one thing, and one thing for one name.

- No two modules define a class, or name a type, alike.
- A function is read with its module (`rules.proved`), so two modules may each have a `load`. Where it is imported alone, its
  name is all that a reader sees. Then no other function that is imported alone has it, nor another one of its own package,
  and no import gives it a second name. A module `commands` or `verbs` names its functions by the commands they are for.
- From the microphone to the journal an editor can follow every call: its type is written down.
"""

from __future__ import annotations

import ast
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import pytest

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
        elif isinstance(node, ast.Assign | ast.AnnAssign):
            target = node.targets[0] if isinstance(node, ast.Assign) else node.target
            if isinstance(target, ast.Name) and target.id.lstrip("_")[:1].isupper() and not target.id.isupper():
                yield target.id


def test_no_two_modules_name_two_things_alike() -> None:
    found = defaultdict(list)
    for module in sorted(PRODUCT.rglob("*.py")):
        for name in named(module):
            found[name].append(str(module.relative_to(PRODUCT)))
    twice = {name: modules for name, modules in found.items() if len(modules) > 1}
    assert twice.keys() - ALLOWED.keys() == set(), {name: twice[name] for name in twice.keys() - ALLOWED.keys()}
    assert ALLOWED.keys() <= twice.keys(), "a name is allowed twice that is there once"


#: Functions that share a name although they are imported alone: each plays the same part in its own place.
PARTS = {
    "advance": "one a pure core: the visit, the recorder, the recorder of cabinets' pages, stand-by",
    "start": "the state before anything happened, one a pure core",
    "phonemes": "one a language",
    "distance": "one a language",
}
#: A second name for a function, with the reason.
RENAMED = {("verify", "handsfree.journal.verify", "judge"): "in the module of the command `verify`"}


def module_name(path: Path) -> str:
    return ".".join(path.relative_to(TOP).with_suffix("").parts).removesuffix(".__init__")


def functions() -> dict[str, set[str]]:
    """Name -> the modules that define a public function of that name. Migrations have theirs given."""
    found = defaultdict(set)
    for path in PRODUCT.rglob("*.py"):
        if "migrations" not in path.parts:
            for node in ast.parse(path.read_text(encoding="utf-8")).body:
                if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                    found[node.name].add(module_name(path))
    return found


VERBS = {module_name(path) for name in ("commands.py", "verbs.py") for path in PRODUCT.rglob(name)}


def imported_alone(known: dict[str, set[str]]) -> Iterator[tuple[str, str, str]]:
    """(name, its module, the name it is given there) of every import of a public function."""
    for path in PRODUCT.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module:
                yield from (
                    (one.name, node.module, one.asname or one.name)
                    for one in node.names if node.module in known.get(one.name, ())
                )  # fmt: skip


def test_a_function_that_is_imported_alone_is_the_only_one_of_its_name() -> None:
    known, alone = functions(), defaultdict(set)
    for name, module, _ in imported_alone(known):
        alone[name].add(module)
    for name, modules in alone.items():
        packages = {module.rpartition(".")[0] for module in modules}
        near = {module for module in known[name] - VERBS if module.rpartition(".")[0] in packages}
        alone[name] = modules | near
    shared = {name: sorted(modules) for name, modules in alone.items() if len(modules) > 1}
    assert {name: shared[name] for name in shared.keys() - PARTS.keys()} == {}
    assert PARTS.keys() <= shared.keys(), "a name is shared by permission that is there once"


def test_no_import_gives_a_function_a_second_name() -> None:
    assert {found for found in imported_alone(functions()) if found[0] != found[2]} == RENAMED.keys()


def test_no_import_gives_a_class_or_a_type_a_second_name() -> None:
    for path in PRODUCT.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("handsfree"):
                renamed = [one.name for one in node.names if one.name[:1].isupper() and one.asname not in (None, one.name)]
                assert renamed == [], path


#: What an utterance goes through, from the microphone to the journal.
WAY = (
    "sound/sources", "sound/microphone", "sound/happenings", "sound/live", "sound/prompts", "sound/loudspeaker",
    "speech/endpoint", "speech/engine", "speech/engines", "speech/recogniser", "speech/judge", "speech/weighing",
    "speech/sayings", "dialogue/parts", "dialogue/wiring", "dialogue/hearing", "dialogue/listening", "dialogue/ears",
    "dialogue/keyboard", "dialogue/mouth", "dialogue/runner", "visit/live", "visit/incoming", "visit/machine",
    "standby/listening", "authoring/hearing", "authoring/live", "journal/writer",
)  # fmt: skip
#: Untyped places that stay on that way, with the reason.
OPEN_DOORS = {
    "sound/loudspeaker getattr": "the first callbacks may come before the constructor is done",
    "journal/writer getattr": "each field of a data class in turn",
}


def doors(module: str) -> Iterator[str]:
    """Calls of getattr and hasattr, and parameters and results that are `Any`."""
    for node in ast.walk(ast.parse((PRODUCT / f"{module}.py").read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("getattr", "hasattr"):
            yield f"{module} {node.func.id}"
        elif isinstance(node, ast.FunctionDef):
            every = (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs, node.args.vararg)
            noted = [one.annotation for one in every if one is not None] + [node.returns]
            yield from (f"{module} {node.name}: Any" for one in noted if one is not None and _is_any(one))


def _is_any(annotation: ast.expr) -> bool:
    return any(part.strip() == "Any" for part in ast.unparse(annotation).split("|"))


@pytest.mark.parametrize("module", WAY)
def test_no_door_is_untyped_from_the_microphone_to_the_journal(module: str) -> None:
    assert [door for door in doors(module) if door not in OPEN_DOORS] == []
