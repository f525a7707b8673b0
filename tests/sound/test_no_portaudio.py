"""A machine without PortAudio: one sentence with the command that installs it. The demo runs there all the same:
`tests/test_readme.py` runs it so.

The library cannot be taken off the machine that runs the tests, so the import of `sounddevice` fails here as it does there,
with the error that sounddevice 0.5 raises on Linux without libportaudio2 (`OSError: PortAudio library not found`, read in
its source). All the rest is the real program.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from handsfree.sound.cards import INSTALL

TOP = Path(__file__).resolve().parents[2]
WITHOUT = """
import importlib.abc, sys

class Absent(importlib.abc.MetaPathFinder):
    def find_spec(self, name, path=None, target=None):
        if name == "sounddevice":
            raise OSError("PortAudio library not found")
        return None

sys.meta_path.insert(0, Absent())
"""


def run(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    (folder / "sitecustomize.py").write_text(WITHOUT, encoding="utf-8")
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join((str(folder), str(TOP)))}
    return subprocess.run(
        [sys.executable, "-m", "handsfree", *arguments], cwd=folder, env=environment, capture_output=True, text=True,
        check=False, stdin=subprocess.DEVNULL,
    )


@pytest.mark.parametrize("words", [("sound",), ("sound", "check"), ("visit", "platform-check")], ids=" ".join)
def test_one_sentence_names_the_command(tmp_path: Path, words: tuple[str, ...]) -> None:
    done = run(tmp_path, *words)
    assert done.returncode == 2
    said = " ".join(done.stderr.split())
    assert INSTALL.get(sys.platform, INSTALL["linux"]) in said
    assert "--sound-in" in said
    assert "Traceback" not in done.stdout + done.stderr
    assert not list((tmp_path / "visits").glob("*"))  # no visit was begun
