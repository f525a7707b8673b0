"""The lock that CI installs by: it names a release of everything `pyproject.toml` asks for, within its range."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

TOP = Path(__file__).resolve().parents[1]
LOCK = TOP / ".ci" / "lock.txt"


def locked() -> dict[str, list[Requirement]]:
    found: dict[str, list[Requirement]] = {}
    for line in LOCK.read_text(encoding="utf-8").splitlines():
        if line and not line.startswith("#"):
            pin = Requirement(line)
            found.setdefault(canonicalize_name(pin.name), []).append(pin)
    return found


@pytest.mark.parametrize("python", ["3.11.9", "3.12.9", "3.13.9"])
def test_the_lock_has_one_release_of_each_dependency_in_its_range(python: str) -> None:
    project = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *(text for extra in project["optional-dependencies"].values() for text in extra)]
    here = {"python_full_version": python, "python_version": python.rpartition(".")[0], "sys_platform": "linux"}
    pins = locked()
    for text in wanted:
        need = Requirement(text)
        fitting = [pin for pin in pins.get(canonicalize_name(need.name), []) if not pin.marker or pin.marker.evaluate(here)]
        assert len(fitting) == 1, f"{text} is not in .ci/lock.txt; run .ci/relock"
        (version,) = (specifier.version for specifier in fitting[0].specifier)
        assert need.specifier.contains(version, prereleases=True), f"{fitting[0]} is not {text}; run .ci/relock"
