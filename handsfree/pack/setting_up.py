"""Sets up a device that has no network, from the pack that this file lies in.

Run it with the device's own Python: `python3 PACK FOLDER`. It needs nothing but Python's standard library, since nothing
else is there yet. `making` puts it into every pack as the part that runs.

Rules of this file:

- Every file is compared with the hash that the pack keeps of it before anything is installed from it.
- Nothing is written outside the folder named. It must be empty or absent, and is cleared again if setting up fails.
- A device counts as set up only when that is proved: the demo has run there, from a recording to a sealed record.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
import sysconfig
import zipfile
from collections.abc import Callable
from pathlib import Path, PurePosixPath
from typing import Any

CONTENTS = "contents.json"
WHEELS, MODELS, PROCEDURES = "wheels", "models", "procedures"
_BLOCK = 1 << 20


class Refused(Exception):
    """One sentence: what is wrong and what to do."""


def this_python() -> str:
    """'3.11': what the wheels of a pack are made for."""
    return f"{sys.version_info.major}.{sys.version_info.minor}"


def this_platform() -> str:
    """'linux-x86_64': the system and processor that the wheels are made for."""
    return sysconfig.get_platform()


def set_up(pack: Path, folder: Path, tell: Callable[[str], None] = print, *, prove: bool = True) -> Path:
    """Sets the program up and returns it. `tell` is given each stage in a sentence. Refused where the pack is damaged or
    made for another machine, or where the folder is not empty; nothing is left behind then."""
    with _opened(pack) as archive:
        contents = _contents(archive, pack)
        _fits(contents, pack)
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise Refused(f"{folder} is not an empty folder. Name one that is empty or does not exist yet.")
        there = folder.exists()
        try:
            folder.mkdir(parents=True, exist_ok=True)
            tell(f"Unpacking {len(contents['files'])} files and comparing each with its hash.")
            _unpack(archive, contents, folder, pack)
            tell("Installing. This takes some minutes.")
            program = _install(contents, folder)
            _settle(folder)
            if prove:
                tell("Running the demo, to prove it: a whole visit from recordings.")
                _prove(program, folder)
        except BaseException as fault:
            _clear(folder, there)
            if isinstance(fault, OSError):
                raise Refused(f"{folder} could not be written: {fault.strerror or fault}.") from None
            raise
    return program


def _opened(pack: Path) -> zipfile.ZipFile:
    try:
        return zipfile.ZipFile(pack)
    except FileNotFoundError:
        raise Refused(f"There is no file {pack}. Check the name.") from None
    except (zipfile.BadZipFile, OSError):
        raise Refused(f"{pack} is not a complete pack. Copy it again.") from None


def _contents(archive: zipfile.ZipFile, pack: Path) -> dict[str, Any]:
    try:
        found = json.loads(archive.read(CONTENTS))
        files = {str(name): str(digest) for name, digest in found["files"].items()}
        own = [str(one) for one in found["install"]]
        return {"python": str(found["python"]), "platform": str(found["platform"]), "files": files, "install": own}
    except (KeyError, ValueError, AttributeError, TypeError, zipfile.BadZipFile, OSError):
        raise Refused(f"{pack} is not a pack of this program. Make one with: handsfree models pack FILE") from None


def _fits(contents: dict[str, Any], pack: Path) -> None:
    if contents["platform"] != this_platform():
        raise Refused(
            f"{pack} was made for {contents['platform']}, and this is {this_platform()}. Make one on a machine like this."
        )
    if contents["python"] != this_python():
        raise Refused(
            f"{pack} was made for Python {contents['python']}, and this is {this_python()}. "
            f"Run it with: python{contents['python']} {pack}"
        )


def _unpack(archive: zipfile.ZipFile, contents: dict[str, Any], folder: Path, pack: Path) -> None:
    for name, digest in contents["files"].items():
        inside = PurePosixPath(name)
        if inside.is_absolute() or ".." in inside.parts or "\\" in name or ":" in name or not inside.parts:
            raise Refused(f"{pack} names a file outside its folder ({name[:60]}). Nothing of it was installed.")
        place = folder.joinpath(*inside.parts)
        place.parent.mkdir(parents=True, exist_ok=True)
        if _copied(archive, name, place, pack) != digest:
            raise Refused(f"{name} in {pack} is damaged or was changed. Copy the pack again.")


def _copied(archive: zipfile.ZipFile, name: str, place: Path, pack: Path) -> str:
    """The SHA-256 of what was copied."""
    digest = hashlib.sha256()
    try:
        with archive.open(name) as packed, place.open("xb") as out:
            while True:
                block = packed.read(_BLOCK)
                if not block:
                    return digest.hexdigest()
                digest.update(block)
                out.write(block)
    except (KeyError, zipfile.BadZipFile, EOFError, NotImplementedError, RuntimeError):
        raise Refused(f"{name} in {pack} is damaged or missing. Copy the pack again.") from None


def _install(contents: dict[str, Any], folder: Path) -> Path:
    home = folder / "program"
    no_room = "Python could not make an environment for it (on Debian: apt install python3-venv)"
    _run([sys.executable, "-m", "venv", str(home)], no_room)
    scripts = home / ("Scripts" if os.name == "nt" else "bin")
    python = scripts / ("python.exe" if os.name == "nt" else "python")
    wheels = folder / WHEELS
    _run(
        [str(python), "-m", "pip", "install", "-q", "--no-index", "--find-links", str(wheels), "--disable-pip-version-check",
         *contents["install"]],
        "The wheels could not be installed",
    )  # fmt: skip
    shutil.rmtree(wheels, ignore_errors=True)
    return scripts / ("handsfree.exe" if os.name == "nt" else "handsfree")


def _settle(folder: Path) -> None:
    """Writes settings that name the folders of this set-up, in a file of its own."""
    lines = [f"{name} = {json.dumps(str(folder.resolve() / name))}" for name in ("visits", MODELS)]
    (folder / "settings.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")


def _prove(program: Path, folder: Path) -> None:
    proof = folder / "proof"
    _run([str(program), "demo", "--visits", str(proof)], "The demo did not run to its end", _surroundings(folder))
    shutil.rmtree(proof, ignore_errors=True)


def _surroundings(folder: Path) -> dict[str, str]:
    return {**os.environ, "HANDSFREE_SETTINGS": str(folder / "settings.toml")}


def _run(command: list[str], sentence: str, surroundings: dict[str, str] | None = None) -> None:
    done = subprocess.run(
        command, capture_output=True, text=True, errors="replace", env=surroundings, stdin=subprocess.DEVNULL, check=False
    )
    if done.returncode != 0:
        said = (done.stderr.strip() or done.stdout.strip()).splitlines()
        raise Refused(f"{sentence}: {said[-1][:300] if said else 'no reason was given'}.")


def _clear(folder: Path, was_there: bool) -> None:
    for one in folder.iterdir() if folder.is_dir() else ():
        shutil.rmtree(one, ignore_errors=True) if one.is_dir() else one.unlink()
    if not was_there:
        shutil.rmtree(folder, ignore_errors=True)


def main(arguments: list[str]) -> int:
    """Exit status 0 where the program was set up and proved, 2 where not."""
    if len(arguments) != 1 or arguments[0].startswith("-"):
        print("Name the folder to set it up in: python3 PACK FOLDER", file=sys.stderr)
        return 2
    folder = Path(arguments[0])
    try:
        program = set_up(Path(sys.argv[0]), folder)
    except Refused as refused:
        print(refused, file=sys.stderr)
        return 2
    settings = folder / "settings.toml"
    print(f"It works here. Start a visit, in {folder}, with: HANDSFREE_SETTINGS={settings} {program} visit")
    print(f"Its contents and their licences: {folder / 'licences.txt'}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
