"""Mutation testing of what must not be wrong.

    python -m tests.bench.mutants [MODULE …] [--processes N] [--minutes M] [--again FILE] [--out FILE]

One small change at a time is made to a module (a comparison turned, a number one more, an argument left out, a statement
gone), and the module's own tests must notice. Which modules, and which tests answer for each, is said in pyproject.toml,
`[[tool.handsfree.mutants]]`. The changes are mutmut's operators, with three of ours. Its runner is not used: it changes only
functions, in a process that has imported the package, so that tables at the head of a module and what is built once a
process would go untested. Here a mutant is a fork of a process that has collected the tests. The code of the changed
function is put in the place of the old; where that is not possible, and before a mutant is said to survive, the package is
imported anew with the changed source. Needs `pip install mutmut` (for its operators and libcst); it is no dependency of the
tests.
"""

from __future__ import annotations

import argparse
import ast
import importlib
import importlib.abc
import importlib.machinery
import importlib.util
import io
import os
import resource
import signal
import sys
import time
import tomllib
import types
from collections.abc import Iterator, Sequence
from contextlib import nullcontext, redirect_stdout, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import libcst as cst
from libcst.metadata import MetadataWrapper, PositionProvider

TOP = Path(__file__).resolve().parents[2]
PASSED, FAILED, NOT_SWAPPED = 0, 1, 98
OURS = ("handsfree", "tests", "conftest")


@dataclass(frozen=True)
class Target:
    module: Path
    tests: tuple[str, ...]
    leave_out: str = ""

    @property
    def name(self) -> str:
        return ".".join(self.module.with_suffix("").parts)


@dataclass(frozen=True)
class Mutant:
    line: int
    before: str
    after: str
    source: str

    def told(self, module: Path) -> str:
        return f"{module}:{self.line}: {self.before}  ->  {self.after}"


def targets(wanted: Sequence[str]) -> list[Target]:
    tables = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["handsfree"]["mutants"]
    found = [Target(Path(module), tuple(t["tests"]), t.get("leave-out", "")) for t in tables for module in t["module"]]
    return [target for target in found if not wanted or target.module.stem in wanted or str(target.module) in wanted]


# ---- what is changed ------------------------------------------------------------------------------------------------


def _operators() -> list[tuple[type, Any]]:
    from mutmut.mutation import mutators as of

    def one_string(node: cst.BaseString) -> Iterator[cst.CSTNode]:
        yield from list(of.operator_string(node))[:1]

    return [
        (cst.BaseNumber, of.operator_number), (cst.BaseString, one_string), (cst.Name, of.operator_name),
        (cst.Assign, of.operator_assignment), (cst.AnnAssign, of.operator_assignment),
        (cst.AugAssign, of.operator_augmented_assignment), (cst.UnaryOperation, of.operator_remove_unary_ops),
        (cst.Call, of.operator_symmetric_string_methods_swap), (cst.Lambda, of.operator_lambda),
        (cst.CSTNode, of.operator_keywords), (cst.CSTNode, of.operator_swap_op), (cst.IfExp, of.operator_if_exp),
        (cst.Call, _argument_left_out), (cst.If, _condition_turned), (cst.Expr, _statement_gone),
    ]  # fmt: skip


def _argument_left_out(node: cst.Call) -> Iterator[cst.CSTNode]:
    """Of the named ones: a value that `replace` was to set is left as it was, a choice falls back to its default."""
    for at, argument in enumerate(node.args):
        if argument.keyword is not None:
            yield node.with_changes(args=[*node.args[:at], *node.args[at + 1 :]])


def _condition_turned(node: cst.If) -> Iterator[cst.CSTNode]:
    inside = node.test.with_changes(lpar=[cst.LeftParen()], rpar=[cst.RightParen()])
    yield node.with_changes(test=cst.UnaryOperation(cst.Not(), inside))


def _statement_gone(node: cst.Expr) -> Iterator[cst.CSTNode]:
    if isinstance(node.value, cst.Call):
        yield cst.Pass()


class _Places(cst.CSTVisitor):
    METADATA_DEPENDENCIES = (PositionProvider,)

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[int, cst.CSTNode, cst.CSTNode]] = []
        self._operators = _operators()

    def on_visit(self, node: cst.CSTNode) -> bool:
        if isinstance(node, cst.Annotation | cst.Decorator | cst.Import | cst.ImportFrom):
            return False
        for kind, operator in self._operators:
            if isinstance(node, kind):
                place = self.get_metadata(PositionProvider, node, None)
                self.found += [(place.start.line if place else 0, node, changed) for changed in operator(node)]
        return True


def mutants(module: Path) -> list[Mutant]:
    source = (TOP / module).read_text(encoding="utf-8")
    wrapper = MetadataWrapper(cst.parse_module(source))
    places = _Places()
    wrapper.visit(places)
    whole, seen, made = ast.dump(ast.parse(source)), set(), []
    for line, node, changed in places.found:
        text = wrapper.module.deep_replace(node, changed).code  # type: ignore[arg-type]  # a node
        try:
            shape = ast.dump(ast.parse(text))
        except SyntaxError:
            continue
        if shape != whole and shape not in seen:
            seen.add(shape)
            made.append(Mutant(line, _short(wrapper.module, node), _short(wrapper.module, changed), text))
    return made


def _short(module: cst.Module, node: cst.CSTNode) -> str:
    head = node.test if isinstance(node, cst.If) else node
    text = " ".join(module.code_for_node(head).split())
    return text if len(text) <= 90 else f"{text[:87]}…"


# ---- running --------------------------------------------------------------------------------------------------------


class _Changed(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Gives one module another source."""

    def __init__(self, target: Target, source: str) -> None:
        self.target, self.source = target, source

    def find_spec(self, name: str, path: Any = None, target: Any = None) -> importlib.machinery.ModuleSpec | None:
        if name != self.target.name:
            return None
        return importlib.util.spec_from_file_location(name, TOP / self.target.module, loader=self)

    def create_module(self, spec: Any) -> None:
        return None

    def exec_module(self, module: Any) -> None:
        exec(compile(self.source, str(TOP / self.target.module), "exec"), module.__dict__)


def _options(target: Target) -> list[str]:
    from hypothesis import settings

    settings.register_profile("mutants", max_examples=25, deadline=None, derandomize=True, database=None)
    os.environ["HYPOTHESIS_PROFILE"] = "mutants"
    os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"  # loading them would cost more than the tests
    chosen = ["-k", f"not ({target.leave_out})"] if target.leave_out else []
    plain = ["-o", "addopts=--import-mode=importlib"]  # the project's own options are for plug-ins that are not loaded
    return [*plain, "-x", "-q", "-p", "no:cacheprovider", "--no-header", "--tb=no", *chosen, *target.tests]


def _anew(target: Target, source: str | None, pipe: int) -> int:
    import pytest

    if source is not None:
        for name in [name for name in sys.modules if name.partition(".")[0] in OURS]:
            del sys.modules[name]
        sys.meta_path.insert(0, _Changed(target, source))
    _silence()
    with redirect_stdout(io.StringIO()):
        code = int(pytest.main(_options(target)))
    used = [name for name in sys.modules if name.partition(".")[0] not in (*OURS, "__main__")]
    os.write(pipe, "\n".join(used).encode()[:60_000])
    return code


def run(target: Target, source: str | None, seconds: float) -> tuple[int, list[str], float]:
    """With the package imported anew: (pytest's exit status, -1 for too long; modules used; processor seconds)."""
    out, into = os.pipe()
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    child = os.fork()
    if child == 0:
        os.close(out)
        os.setpgrp()
        code = 99
        with suppress(BaseException):
            _limit(seconds)
            code = _anew(target, source, into)
        os._exit(code)
    os.close(into)
    with os.fdopen(out, "rb") as stream:
        used = stream.read().decode(errors="ignore").split("\n")
    _, status = os.waitpid(child, 0)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return (os.WEXITSTATUS(status) if os.WIFEXITED(status) else -1), used, spent


def _warm(names: Sequence[str]) -> None:
    """What the tests import besides the package is imported once, here."""
    for name in names:
        if name.partition(".")[0] not in ("sounddevice", "_sounddevice", "pyttsx3"):
            with suppress(Exception), redirect_stdout(io.StringIO()):
                importlib.import_module(name)


def _swap(target: Target, source: str) -> bool:
    """Put the code of the changed source into the functions of the module as it was imported. False where anything else
    changed, or a function has no place to put it."""
    module = sys.modules[target.name]
    new = dict(module.__dict__)
    exec(compile(source, str(TOP / target.module), "exec"), new)
    changed = _functions(new), _functions(module.__dict__)
    done = 0
    for name, function in changed[1].items():
        other = changed[0].get(name)
        if other is not None and other.__code__ != function.__code__:
            if len(other.__code__.co_freevars) != len(function.__code__.co_freevars):
                return False
            function.__code__ = other.__code__
            done += 1
    return done > 0


def _functions(names: dict[str, Any]) -> dict[str, types.FunctionType]:
    """The functions that a module defines, those of its classes among them, by their qualified names."""
    found: dict[str, types.FunctionType] = {}
    for value in list(names.values()):
        if isinstance(value, type) and value.__module__ == names["__name__"]:
            for inner in vars(value).values():
                plain = inner.fget if isinstance(inner, property) else getattr(inner, "__func__", inner)
                if isinstance(plain, types.FunctionType) and plain.__code__.co_filename.endswith(names["__file__"][-20:]):
                    found[plain.__qualname__] = plain
        elif isinstance(value, types.FunctionType) and value.__module__ == names["__name__"]:
            found[value.__qualname__] = value
    return found


class _Collected:
    """A pytest plugin that, in place of running the collected tests, runs them once a mutant, each time in a fork."""

    def __init__(self, target: Target, made: list[Mutant], until: float, out: Any, processes: int) -> None:
        self.target, self.made, self.until, self.out, self.processes = target, made, until, out, processes
        self.tried = self.killed = 0

    def pytest_runtestloop(self, session: Any) -> bool:
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        clean = self._fork(session, None, 300)[1]
        if clean != PASSED:
            raise SystemExit(f"the tests of {self.target.module} do not pass on the unchanged module")
        after = resource.getrusage(resource.RUSAGE_CHILDREN)  # the tests run in the fork, not here
        seconds = max(5.0, 10 * (after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime))
        pipes = [self._share(session, self.made[first :: self.processes], seconds) for first in range(self.processes)]
        for pipe in pipes:
            with os.fdopen(pipe, "r") as stream:
                tried, killed = (int(part) for part in (stream.read() or "0 0").split())
            self.tried, self.killed = self.tried + tried, self.killed + killed
        return True

    def _share(self, session: Any, made: Sequence[Mutant], seconds: float) -> int:
        """One process's share of the mutants; the end of a pipe that tells how many were tried and killed."""
        out, into = os.pipe()
        if os.fork() == 0:
            with suppress(BaseException):
                tried = killed = 0
                for mutant in made:
                    if time.monotonic() > self.until:
                        break
                    swapped, code = self._fork(session, mutant.source, seconds)
                    if not swapped or code == PASSED:
                        code, _, _ = run(self.target, mutant.source, max(60, seconds))
                    tried, killed = tried + 1, killed + (code != PASSED)
                    if code == PASSED:
                        print(mutant.told(self.target.module), file=self.out, flush=True)
                os.write(into, f"{tried} {killed}".encode())
            os._exit(0)
        os.close(into)
        return out

    def _fork(self, session: Any, source: str | None, seconds: float) -> tuple[bool, int]:
        """(the changed code was put in place, exit status of the tests)."""
        child = os.fork()
        if child == 0:
            code = NOT_SWAPPED
            with suppress(BaseException):
                os.setpgrp()
                _limit(seconds)
                _silence()
                if source is None or _swap(self.target, source):
                    code = FAILED
                    code = _first_failure(session)
            os._exit(code)
        _, status = os.waitpid(child, 0)
        code = os.WEXITSTATUS(status) if os.WIFEXITED(status) else FAILED
        return code != NOT_SWAPPED, code


def _first_failure(session: Any) -> int:
    for at, item in enumerate(session.items):
        following = session.items[at + 1] if at + 1 < len(session.items) else None
        item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
        if session.testsfailed:
            return FAILED
    return PASSED


def _limit(seconds: float) -> None:
    resource.setrlimit(resource.RLIMIT_CPU, (int(seconds) + 1, int(seconds) + 2))
    resource.setrlimit(resource.RLIMIT_AS, (8 << 30, 8 << 30))
    signal.alarm(int(seconds * 30))  # a mutant that waits uses no processor; other work may hold this one up


def _silence() -> None:
    null = os.open(os.devnull, os.O_RDWR)
    for stream in (1, 2):
        os.dup2(null, stream)


def judge(
    target: Target, processes: int, until: float, out: Any, lines: tuple[int, int] = (0, 10**6),
    again: frozenset[str] = frozenset(),
) -> tuple[int, int, int]:  # fmt: skip
    """(mutants tried, killed, left untried for want of time). In a fork of its own: it imports the package. `lines`: the
    first and the last that are changed. `again`: only these, as they were told. A process that dies counts its share as
    untried."""
    code, used, _ = run(target, None, 300)
    if code != PASSED:
        raise SystemExit(f"the tests of {target.module} do not pass on the unchanged module (status {code})")
    _warm(used)
    within = [mutant for mutant in mutants(target.module) if lines[0] <= mutant.line <= lines[1]]
    made = [mutant for mutant in within if not again or mutant.told(target.module) in again]
    print(f"# {target.module}: {len(made)} mutants", file=out, flush=True)
    told, into = os.pipe()
    child = os.fork()
    if child == 0:
        import pytest

        collected = _Collected(target, made, until, out, processes)
        with redirect_stdout(io.StringIO()):
            pytest.main(_options(target), plugins=[collected])
        os.write(into, f"{collected.tried} {collected.killed}".encode())
        os._exit(0)
    os.close(into)
    with os.fdopen(told, "r") as stream:
        tried, killed = (int(part) for part in (stream.read() or "0 0").split())
    os.waitpid(child, 0)
    print(f"= {target.module}: {tried} tried, {killed} killed, {tried - killed} survived, {len(made) - tried} not tried",
          file=out, flush=True)  # fmt: skip
    return tried, killed, len(made) - tried


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("module", nargs="*", help="module's name or path; all that are configured where none is given")
    parser.add_argument("--processes", type=int, default=1, help="so many share the mutants")
    parser.add_argument("--minutes", type=float, default=240.0, help="stop after so long")
    parser.add_argument("--lines", default="", help="30-60: only what stands in these lines of the module")
    parser.add_argument("--list", action="store_true", help="only count the mutants")
    parser.add_argument("--again", type=Path, help="only those that this file says survived")
    parser.add_argument("--out", type=Path, help="write there what survived, as it is found")
    given = parser.parse_args()
    os.chdir(TOP)
    sys.path.insert(0, str(TOP))
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    low, _, high = given.lines.partition("-")
    lines = (int(low or 0), int(high or low or 10**6))
    chosen = targets(given.module)
    if not chosen:
        raise SystemExit("no such module is configured; see [[tool.handsfree.mutants]] in pyproject.toml")
    if given.list:
        for target in chosen:
            print(f"{target.module}: {len(mutants(target.module))}")
        return
    again = frozenset(given.again.read_text(encoding="utf-8").splitlines() if given.again else ())
    until = time.monotonic() + given.minutes * 60
    with given.out.open("a") if given.out else nullcontext() as file:
        totals = [judge(target, given.processes, until, file or sys.stdout, lines, again) for target in chosen]
    tried, killed, untried = (sum(column) for column in zip(*totals, strict=True))
    print(f"{tried} mutants tried, {killed} killed, {tried - killed} survived, {untried} not tried for want of time")


if __name__ == "__main__":
    main()
