"""Packs: what is in them, and setting them up. Making one of the real program, and setting it up without a network, is
`python -m tests.bench.packs`: it fetches 200 MB."""

from __future__ import annotations

import json
import subprocess
import sys
import zipfile
from importlib.metadata import PathDistribution
from pathlib import Path

import pytest

from handsfree.errors import Trouble
from handsfree.pack import making, setting_up
from handsfree.pack.making import PackedFile, PackOptions, licences_of, make, write
from handsfree.pack.setting_up import CONTENTS, Refused, set_up

PROGRAM = """
import sys, pathlib
visits = pathlib.Path(sys.argv[sys.argv.index("--visits") + 1])
def main():
    if {fails}:
        sys.exit("The voice is missing.")
    visits.mkdir(parents=True)
    print("it ran")
"""


def wheel(folder: Path, name: str = "handsfree", fails: bool = False, licence: str = "License-Expression: MIT") -> Path:
    """A wheel of a few lines in place of the program: what is tried here is the pack."""
    path, told = folder / f"{name}-1.0-py3-none-any.whl", f"{name}-1.0.dist-info"
    folder.mkdir(parents=True, exist_ok=True)
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr(f"{name}_main.py", PROGRAM.format(fails=fails))
        archive.writestr(f"{told}/METADATA", f"Metadata-Version: 2.4\nName: {name}\nVersion: 1.0\n{licence}\n")
        archive.writestr(f"{told}/WHEEL", "Wheel-Version: 1.0\nRoot-Is-Purelib: true\nTag: py3-none-any\n")
        archive.writestr(f"{told}/entry_points.txt", f"[console_scripts]\n{name} = {name}_main:main\n")
        archive.writestr(f"{told}/RECORD", "")
    return path


def packed(folder: Path, fails: bool = False) -> Path:
    own = folder / "own-step.yaml"
    own.write_text("name: own-step\n")
    parts = [PackedFile(wheel(folder / "wheels", fails=fails), "wheels/handsfree-1.0-py3-none-any.whl")]
    write(folder / "kit", [*parts, PackedFile(own, "procedures/own-step.yaml")], ["handsfree==1.0"])
    return folder / "kit"


def test_it_is_set_up_and_proved_by_python_alone(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, str(packed(tmp_path)), str(tmp_path / "there")],
        capture_output=True, text=True, check=False, cwd=tmp_path,
    )
    assert done.returncode == 0, done.stderr
    assert "It works here." in done.stdout
    assert (tmp_path / "there/procedures/own-step.yaml").is_file()
    assert str(tmp_path / "there/visits") in (tmp_path / "there/settings.toml").read_text()
    assert not (tmp_path / "there/proof").exists()


def test_what_does_not_run_there_is_not_called_set_up(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="The demo did not run to its end: The voice is missing"):
        set_up(packed(tmp_path, fails=True), tmp_path / "there", lambda _: None)
    assert not (tmp_path / "there").exists()


def test_a_changed_file_is_not_installed(tmp_path: Path) -> None:
    pack = packed(tmp_path)
    with zipfile.ZipFile(pack) as archive:
        contents = json.loads(archive.read(CONTENTS))
        step = archive.read("procedures/own-step.yaml")
        wheels = archive.read("wheels/handsfree-1.0-py3-none-any.whl")
    with zipfile.ZipFile(tmp_path / "other", "w") as archive:
        archive.writestr(CONTENTS, json.dumps(contents))
        archive.writestr("wheels/handsfree-1.0-py3-none-any.whl", wheels)
        archive.writestr("procedures/own-step.yaml", step + b"#")
    with pytest.raises(Refused, match=r"own-step\.yaml .* is damaged or was changed"):
        set_up(tmp_path / "other", tmp_path / "there", lambda _: None)
    assert not (tmp_path / "there").exists()


@pytest.mark.parametrize("kept", [0, 10, 0.5, 0.9, 0.999])
def test_half_a_pack_is_told(tmp_path: Path, kept: float) -> None:
    whole = packed(tmp_path).read_bytes()
    (tmp_path / "half").write_bytes(whole[: int(kept if kept > 1 else kept * len(whole))])
    with pytest.raises(Refused, match="not a complete pack"):
        set_up(tmp_path / "half", tmp_path / "there", lambda _: None)


@pytest.mark.parametrize(
    ("told", "value", "sentence"),
    [("python", "2.7", "was made for Python 2.7"), ("platform", "plan9-mips", "was made for plan9-mips"),
     ("files", {"../out": "0"}, "names a file outside"), ("files", {"/etc/out": "0"}, "names a file outside"),
     ("files", [], "is not a pack"), ("install", 3, "is not a pack")],
)  # fmt: skip
def test_what_cannot_be_set_up_here_is_told(tmp_path: Path, told: str, value: object, sentence: str) -> None:
    contents = {"python": setting_up.this_python(), "platform": setting_up.this_platform(), "files": {}, "install": []}
    with zipfile.ZipFile(tmp_path / "kit", "w") as archive:
        archive.writestr(CONTENTS, json.dumps({**contents, told: value}))
    with pytest.raises(Refused, match=sentence):
        set_up(tmp_path / "kit", tmp_path / "there", lambda _: None)
    assert not (tmp_path / "out").exists()


def test_a_folder_with_something_in_it_is_left_alone(tmp_path: Path) -> None:
    pack = packed(tmp_path)
    (tmp_path / "there").mkdir()
    (tmp_path / "there/mine").write_text("kept")
    with pytest.raises(Refused, match="is not an empty folder"):
        set_up(pack, tmp_path / "there", lambda _: None)
    assert (tmp_path / "there/mine").read_text() == "kept"


def test_without_wheels_that_fit_nothing_is_made(tmp_path: Path) -> None:
    (tmp_path / "none").mkdir()
    with pytest.raises(Trouble, match="Use a network or a folder of wheels"):
        make(tmp_path / "kit", PackOptions(tmp_path / "none", tmp_path / "models", None))
    assert not (tmp_path / "kit").exists()


def installed(into: Path, one: Path) -> PathDistribution:
    pip = [sys.executable, "-m", "pip", "install", "-q", "--no-index", "--no-deps", "--disable-pip-version-check"]
    subprocess.run([*pip, "--target", str(into), str(one)], check=True, capture_output=True)
    return PathDistribution(next(into.glob("*.dist-info")))


def test_a_program_that_came_as_a_wheel_is_packed_from_what_is_installed(tmp_path: Path) -> None:
    """The wheel itself may be gone, and no index need have it."""
    came = wheel(tmp_path / "came")
    there = installed(tmp_path / "site", came)
    (tmp_path / "site/__pycache__").mkdir(exist_ok=True)
    (tmp_path / "site/__pycache__/handsfree_main.cpython-311.pyc").write_bytes(b"x")
    came.unlink()
    (tmp_path / "again").mkdir()
    again = making.own_wheel(there, tmp_path / "again")
    assert zipfile.ZipFile(again).testzip() is None
    second = installed(tmp_path / "second", again)
    assert (second.metadata["Name"], second.version) == ("handsfree", "1.0")
    assert [point.value for point in second.entry_points] == ["handsfree_main:main"]
    assert (tmp_path / "second/handsfree_main.py").read_text() == PROGRAM.format(fails=False)
    assert "handsfree_main.cpython-311.pyc" not in " ".join(zipfile.ZipFile(again).namelist())


def test_own_procedures_that_are_not_there_are_told(tmp_path: Path) -> None:
    with pytest.raises(Trouble, match="There is no folder"):
        tuple(making._own(tmp_path / "nowhere"))


def test_licences_are_those_that_packages_state(tmp_path: Path) -> None:
    classified = "Classifier: License :: OSI Approved :: MIT License\nLicense: see the file\n"
    states = {"one": "License-Expression: MIT", "two": classified, "three": "Summary: x"}
    made = [wheel(tmp_path, name, licence=licence) for name, licence in states.items()]
    assert licences_of(made) == (("MIT", ("one 1.0", "two 1.0")), ("none stated", ("three 1.0",)))
