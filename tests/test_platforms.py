"""Whether a plain install finds wheels on each platform that it is meant for, asked of the package index by `uv`.

Where no index can be reached, nothing can be told, and the tests are skipped.
"""

from __future__ import annotations

import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parents[1]
LINUX, ARM = "x86_64-manylinux_2_28", "aarch64-manylinux_2_28"
PLATFORMS = (LINUX, ARM, "aarch64-apple-darwin", "x86_64-apple-darwin", "x86_64-pc-windows-msvc")
PYTHONS = ("3.11", "3.12", "3.13")
#: Pure Python, published as source alone: built anywhere.
SOURCE = ("srt",)
#: (package, Python) whose locked release has no wheel: another release is taken there.
OTHER_RELEASE = {("pocketsphinx", "3.12")}
#: Where newer releases have dropped wheels (onnxruntime for Intel, cryptography): whatever fits is taken there, lock or no.
UNLOCKED = ("aarch64-apple-darwin", "x86_64-apple-darwin")
#: No wheel at all: there pip builds it, for which a C compiler is needed. README says so.
BUILT = {("pocketsphinx", ARM, "3.12")}


def resolved(python: str, platform: str, limits: Path) -> subprocess.CompletedProcess[str]:
    built = [*SOURCE, *(package for package, where, which in BUILT if (where, which) == (platform, python))]
    return subprocess.run(
        [sys.executable, "-m", "uv", "pip", "compile", "-q", "pyproject.toml", "--python-version", python,
         "--python-platform", platform, "--only-binary", ":all:", *(word for one in built for word in ("--no-binary", one)),
         "--constraint", str(limits), "--no-header", "--no-annotate"],
        cwd=TOP, capture_output=True, text=True, check=False,
    )  # fmt: skip


@pytest.fixture(scope="module")
def reachable() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "uv", "pip", "compile", "-q", "-"], input="srt", capture_output=True, text=True, check=False
    )
    if done.returncode:
        pytest.skip(f"no package index answers: {done.stderr.strip()[:200]}")


#: Linux with each Python, the others with the newest; all at once, for each waits for the index.
TRIED = [
    (python, platform) for platform in PLATFORMS for python in PYTHONS
    if platform in (LINUX, ARM) or python == "3.13"
]  # fmt: skip


def test_a_plain_install_finds_wheels(reachable: None, tmp_path: Path) -> None:
    lock = (TOP / ".ci" / "lock.txt").read_text(encoding="utf-8").splitlines()

    def tried(case: tuple[str, str]) -> str:
        python, platform = case
        free = tuple(f"{package}==" for package, which in OTHER_RELEASE if which == python)
        kept = [line for line in lock if not line.startswith(free)] if platform not in UNLOCKED else []
        limits = tmp_path / f"{python}-{platform}.txt"
        limits.write_text("\n".join(kept))
        done = resolved(python, platform, limits)
        found = done.returncode == 0 and "onnxruntime==" in done.stdout
        return "" if found else f"{python} {platform}: {done.stderr}"

    with ThreadPoolExecutor(6) as several:
        assert [told for told in several.map(tried, TRIED) if told] == []
