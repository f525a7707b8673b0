"""A plain install has no desk: it says what is missing."""

from __future__ import annotations

import subprocess
import sys

import pytest

WITHOUT = "import sys; sys.modules['sqlalchemy'] = None; from handsfree.cli import main; main(sys.argv[1:])"


@pytest.mark.parametrize("words", [("desk",), ("desk", "people-list")])
def test_without_its_extra_the_desk_says_what_to_install(words: tuple[str, ...]) -> None:
    """Found after README's first command: a traceback."""
    done = subprocess.run([sys.executable, "-c", WITHOUT, *words], capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert done.stderr.strip().endswith("install it with: pip install 'handsfree[desk]'")
    assert "Traceback" not in done.stderr
