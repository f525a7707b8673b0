"""Rules of the house that a tool can hold: dependencies one way, lint, types, size of modules, what is shipped."""

from __future__ import annotations

import os
import subprocess
import sys
import tomllib
from pathlib import Path

import grimp
import networkx as nx
import pytest

from tests.conftest import LONGEST

TOP = Path(__file__).resolve().parents[1]
MODULES = sorted((TOP / "handsfree").rglob("*.py"))


def tool(*command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", *command], cwd=TOP, capture_output=True, text=True, check=False)


def test_dependencies_point_one_way() -> None:
    done = subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports_command as run; run()"],
        cwd=TOP, capture_output=True, text=True, check=False,
    )
    assert "0 broken" in done.stdout, done.stdout + done.stderr


def test_no_two_modules_import_each_other_in_a_circle() -> None:
    """Not even inside a function, or for the types alone."""
    graph = grimp.build_graph("handsfree", cache_dir=None)
    imports = nx.DiGraph((one, other) for one in graph.modules for other in graph.find_modules_directly_imported_by(one))
    assert [sorted(circle) for circle in nx.strongly_connected_components(imports) if len(circle) > 1] == []


def test_ruff_has_nothing_to_say() -> None:
    done = tool("ruff", "check", "handsfree", "tests", "audio_fixtures")
    assert done.returncode == 0, done.stdout


def test_what_is_imported_is_asked_for_and_the_other_way_round() -> None:
    done = tool("deptry", ".", "--no-ansi")
    assert done.returncode == 0, done.stdout + done.stderr


def test_nothing_is_dead() -> None:
    """What the product itself does not use; pyproject.toml lists what is kept all the same, and why."""
    done = tool("vulture")
    assert done.returncode == 0, done.stdout


def test_types_hold() -> None:
    done = tool("mypy")
    assert done.returncode == 0, done.stdout


@pytest.mark.parametrize("module", MODULES, ids=lambda path: str(path.relative_to(TOP)))
def test_no_module_is_longer_than_four_hundred_lines(module: Path) -> None:
    assert len(module.read_text(encoding="utf-8").splitlines()) <= 400


def test_nothing_stands_at_the_top_that_was_not_agreed() -> None:
    listed = subprocess.run(["git", "ls-files"], cwd=TOP, capture_output=True, text=True, check=True).stdout.split("\n")
    tops = {name.split("/")[0] for name in listed if name and not name.startswith(".")}
    assert tops <= {
        "README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE", "handsfree", "grammar", "procedures", "tests",
        "audio_fixtures",
    }


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys\nfrom handsfree.cli import main\n"
        "try:\n main(['--help'])\nexcept SystemExit:\n pass\n"
        "heavy = {'numpy', 'scipy', 'pint', 'networkx', 'vosk', 'pocketsphinx', 'ctranslate2', 'CoolProp', 'sounddevice',"
        " 'pydantic'}\n"
        "print(sorted(heavy & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=TOP, capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"


@pytest.mark.skipif("PYTEST_XDIST_WORKER" not in os.environ, reason="one process runs all the tests")
def test_the_tests_are_shared_out_by_their_groups(request: pytest.FixtureRequest) -> None:
    """Were the groups lost, two processes would share what plays sound, and wait for it side by side."""
    assert request.node.nodeid.endswith(f"@{Path(__file__)}")


def test_what_the_mutants_are_tried_on_is_there() -> None:
    """A table that names a file which moved would try nothing and say nothing."""
    tables = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["handsfree"]["mutants"]
    named = [path for table in tables for path in (*table["module"], *table["tests"])]
    assert [path for path in named if not (TOP / path.partition("::")[0]).is_file()] == []


def test_the_longest_files_are_there() -> None:
    """One that moved would be begun late, and all would wait for it."""
    assert [path for path in LONGEST if not path.is_file()] == []
