"""Whole procedures of other trades, written by the handbook alone: a coffee grinder, a heating boiler, a lift door, an ice
maker, a pool's filter. With their files of hazards and units beside them they are checked, charted, printed, rehearsed and
visited by the program as it is.

Each runs in a process of its own, in this folder, as a writer of that trade would run it: what a trade declares is read
once a process."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
#: Without the arithmetic of refrigeration where `LEFT_OUT` is set: none of these trades needs it.
RUN = """
import io, json, sys
if sys.argv[1] == "leave out":
    class Left:
        def find_spec(self, name, path=None, target=None):
            if name.startswith("handsfree.trade"):
                raise ModuleNotFoundError(f"{name} is left out", name=name)
    sys.meta_path.insert(0, Left())
from handsfree.cli import main
for words in json.loads(sys.argv[2]):
    sys.stdin = io.TextIOWrapper(io.BytesIO(open(words[1], "rb").read() if words[0] else b""), "utf-8")
    print("$", *words[2:], flush=True)
    try:
        main(words[2:])
    except SystemExit as left:
        print("status", left.code or 0, flush=True)
"""


def ran(folder: Path, *lines: list[str], leave_out: bool = False) -> dict[str, tuple[int, str]]:
    """Verb -> its exit status and what it printed. A line that begins with '<' names the file of its input."""
    words = [["<", line[0], *line[1:]] if line[0].endswith(".txt") else ["", "", *line] for line in lines]
    done = subprocess.run(
        [sys.executable, "-c", RUN, "leave out" if leave_out else "", json.dumps(words)], cwd=folder, text=True,
        capture_output=True, timeout=300,
    )  # fmt: skip
    assert "Traceback" not in done.stderr, done.stderr
    parts = re.split(r"^\$ (\S+).*\n", done.stdout, flags=re.M)[1:]
    found = {}
    for verb, text in zip(parts[::2], parts[1::2], strict=True):
        status = re.search(r"^status (\d+)", text, re.M)
        assert status, (verb, text[-500:], done.stderr)
        found[verb] = (int(status[1]), text)
    return found


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shutil.copytree(HERE / "procedures", tmp_path / "procedures")
    return tmp_path


@pytest.mark.parametrize("name", ["grinder-seal", "boiler-refill", "door-belt", "ice-filter", "multiport-valve"])
def test_a_procedure_of_another_trade_goes_all_the_way(name: str, folder: Path) -> None:
    spoken, file = str(HERE / "spoken" / f"{name}.txt"), f"procedures/{name}.yaml"
    found = ran(
        folder, ["check", file], ["chart", file, "--out", "flow.svg"], ["print", file, "--out", "copy.pdf"],
        [spoken, "rehearse", file, "--typed"], [spoken, "visit", name, "--typed", "--visits", "visits", "--by-manual"],
        ["list"],
    )  # fmt: skip
    assert {verb: status for verb, (status, _) in found.items()} == dict.fromkeys(found, 0)
    assert "1 file, 0 errors, 0 remarks." in found["check"][1]
    assert (folder / "flow.svg").read_text().startswith("<svg") or "<svg" in (folder / "flow.svg").read_text()
    assert (folder / "copy.pdf").read_bytes().startswith(b"%PDF")
    assert "ended as 'fixed'" in found["rehearse"][1]
    assert "closed: fixed" in found["visit"][1]
    assert "may not run" not in next(line for line in found["list"][1].splitlines() if line.startswith(name))


def test_the_arithmetic_of_refrigeration_can_be_left_out(folder: Path) -> None:
    """The grinder asks for none of it. (`within` of the boiler is a function of the trade's table.)"""
    spoken, file = str(HERE / "spoken/grinder-seal.txt"), "procedures/grinder-seal.yaml"
    found = ran(folder, ["check", file], ["print", file], [spoken, "rehearse", file, "--typed"], leave_out=True)
    assert {verb: status for verb, (status, _) in found.items()} == dict.fromkeys(found, 0)
    assert "ended as 'fixed'" in found["rehearse"][1]


def test_a_unit_is_refused_in_a_sentence(folder: Path) -> None:
    (folder / "procedures/units/more.yaml").write_text("newton: {en: [newtons]}\n")
    words = [sys.executable, "-m", "handsfree", "check", "procedures/door-belt.yaml"]
    done = subprocess.run(words, cwd=folder, capture_output=True, text=True)
    assert (done.returncode, "Traceback" in done.stderr) == (2, False)
    assert "more.yaml: 'newton' needs its signs and its words" in done.stderr
