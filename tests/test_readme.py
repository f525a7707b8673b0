"""Every command that README.md shows is run, in a folder of its own, after one real demo; DEVELOPERS.md's are looked up.

What cannot be run as it stands is in a table below, with how it is run instead and why. The install lines of the two
blocks need minutes and a network: `.ci/run` runs the tests' block itself, and the demo runs here with nothing
importable but what its install line brings.
"""

from __future__ import annotations

import importlib.util
import json
import os
import re
import shlex
import shutil
import signal
import socket
import subprocess
import sys
import time
import tomllib
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

import pytest
import soundfile
from packaging.requirements import Requirement

from tests import readme
from tests.readme import TOP, Instead

#: What the reader would put where the page says it in capitals. VISIT and URL come from the demo and the desk.
MEANT = {
    "NAME": "door-and-fan", "FILE": "procedures/platform-check.yaml", "OLD": "procedures/too-warm.yaml",
    "NEW": "too-warm", "KEYFILE": "device.key",
}  # fmt: skip

TYPED = "seven three nine\naffirm\nstop the visit\naffirm\n"
MICROPHONE = "a microphone and a loudspeaker, which a machine that runs tests need not have"

INSTEAD = {
    "handsfree demo": Instead("handsfree list", "the demo is run once for all of these tests, below"),
    "handsfree sound check": Instead("handsfree sound check --sound-in room.flac", MICROPHONE, says="next step"),
    "handsfree visit": Instead(
        "handsfree visit --sound-in room.flac --sound-out out.flac", MICROPHONE, says="The visit is in"
    ),
    "handsfree visit --call SHEET": Instead(
        "handsfree visit --call call.yaml --sound-in room.flac --sound-out out.flac", MICROPHONE, says="The visit is in"
    ),
    "handsfree visit too-warm": Instead(
        "handsfree visit too-warm --sound-in room.flac --sound-out out.flac", MICROPHONE, says="The visit is in"
    ),
    "handsfree visit --resume VISIT": Instead(
        "handsfree visit --resume STOPPED --typed", "the demo's visit is done, and a stopped one can be taken up",
        says="The visit goes on.",
    ),
    "handsfree stand-by": Instead(
        "handsfree stand-by unit --out stand-by.service", f"it waits until it is stopped; {MICROPHONE}",
        says="is written",
    ),
    "handsfree models pack FILE": Instead(
        "handsfree models pack kit --wheels nowhere", "it fetches 240 MB; tests/bench/packs.py makes one", 2,
        "There is no folder nowhere",
    ),
    "handsfree enrol": Instead(
        "handsfree enrol --sound-in room.flac", f"{MICROPHONE}; two minutes of reading are in tests/speech", 2, "No speech"
    ),
    "handsfree record NAME": Instead("handsfree record NAME --typed", MICROPHONE, says="door-and-fan.yaml"),
    "handsfree rehearse FILE": Instead(
        "handsfree rehearse FILE --most 1 --voice slt", "all voices over all paths take minutes", says="1 walk"
    ),
    "handsfree desk --visits visits": Instead("", "it serves until it is stopped; a desk stands through these tests"),
    "handsfree send visits --to URL --key KEYFILE": Instead(
        "handsfree send visits --to URL --key KEYFILE", "as it stands, with what it must say", says="stored"
    ),
}  # fmt: skip


@dataclass(frozen=True)
class Ground:
    """A folder with a visit of the demo in it, one that was stopped, a sound file, and a desk that is served."""

    folder: Path
    visit: str
    stopped: str
    url: str
    demo: str  # what it printed

    def run(self, line: str, **more: str) -> subprocess.CompletedProcess[str]:
        meant = {**MEANT, "VISIT": self.visit, "STOPPED": self.stopped, "URL": self.url}
        words = [meant.get(word, word) for word in shlex.split(line)]
        assert words[0] == "handsfree"
        return program(words[1:], self.folder, **more)


HANDBOOK = sorted(str(page.relative_to(TOP)) for page in TOP.glob("handsfree/handbook/pages/*.md"))
PAGES = ["README.md", "DEVELOPERS.md", "tests/bench/README.md", *HANDBOOK]


def program(words: list[str], folder: Path, **more: str) -> subprocess.CompletedProcess[str]:
    kept = {name: str(folder / "own") for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME")}
    paths = os.pathsep.join(filter(None, (more.pop("PATHS", ""), str(TOP))))
    return subprocess.run(
        [sys.executable, "-m", "handsfree", *words], cwd=folder, capture_output=True, text=True, check=False, input=TYPED,
        env={**os.environ, "PYTHONPATH": paths, **kept, **more},
    )  # fmt: skip


def extras(line: str) -> set[str]:
    """What an install line names between brackets, as in `-e '.[export,test]'`; nothing for a plain `-e .`."""
    found = re.search(r" -e (?:'\.\[([a-z0-9,-]+)\]'|\. )", line)
    assert found, line
    return set(found[1].split(",")) if found[1] else set()


def brought(wanted: set[str]) -> set[str]:
    """Every distribution that comes with the project and these extras, by the requirements of what is installed.

    The project's own are read from pyproject.toml: those of an editable install may be older.
    """
    project = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    own = [*project["dependencies"], *(need for extra in wanted for need in project["optional-dependencies"][extra])]
    seen: dict[str, set[str]] = {}
    todo = [Requirement(text) for text in own]
    while todo:
        need = todo.pop()
        name = re.sub(r"[-_.]+", "-", need.name).lower()
        if name in seen and need.extras <= seen[name]:
            continue
        seen[name] = seen.get(name, set()) | need.extras
        for text in metadata.requires(need.name) or ():
            found = Requirement(text)
            if not found.marker or any(found.marker.evaluate({"extra": extra}) for extra in ("", *need.extras)):
                todo.append(found)
    return {*seen, "handsfree", "pip"}


def fence(folder: Path, wanted: set[str]) -> str:
    """A folder for PYTHONPATH that lets no process import what an install with these extras would not bring, nor find
    PortAudio: sounddevice fails as it does where no system package was installed (`tests/sound/test_no_portaudio.py`)."""
    allowed = brought(wanted)
    owners = metadata.packages_distributions()
    refused = sorted(
        top for top, names in owners.items() if not {re.sub(r"[-_.]+", "-", name).lower() for name in names} & allowed
    )
    folder.mkdir()
    (folder / "sitecustomize.py").write_text(
        f"import sys\nREFUSED = frozenset({refused!r})\n"
        "class Fence:\n"
        "    @staticmethod\n"
        "    def find_spec(name, path=None, target=None):\n"
        "        if name == 'sounddevice':\n"
        "            raise OSError('PortAudio library not found')\n"
        "        if name.partition('.')[0] in REFUSED:\n"
        "            raise ModuleNotFoundError(f'{name} is not installed by this line', name=name)\n"
        "sys.meta_path.insert(0, Fence)\n",
        encoding="utf-8",
    )
    return str(folder)


@pytest.fixture(scope="module")
def ground(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Ground]:
    folder = tmp_path_factory.mktemp("reader")
    (block,) = [line for line in readme.fenced("README.md") if line.endswith("handsfree demo")]
    done = program(["demo", "--json"], folder, PATHS=fence(folder / "fence", extras(block)))
    assert done.returncode == 0, done.stderr
    visit = json.loads(done.stdout.splitlines()[-1])["visit"]
    stopped = program(["visit", "too-warm", "--typed", "--json"], folder)
    assert stopped.returncode == 0, stopped.stderr
    shutil.copytree(TOP / "procedures", folder / "procedures")
    room(folder / "room.flac")
    (folder / "call.yaml").write_text("site: Talstation\ncabinet: HK-4\ncomplaint: warm\n", encoding="utf-8")
    (folder / "store").mkdir()
    with desk(folder, "store") as entry:
        url = entry.partition("/enter/")[0]
        yield Ground(folder, visit, json.loads(stopped.stdout.splitlines()[-1])["visit"], url, done.stdout)


def room(path: Path) -> None:
    """Twelve seconds of a quiet room (invented: white noise at -60 dB full scale), then one phrase of the fixtures."""
    import numpy as np

    noise = np.random.default_rng(1).normal(0, 10 ** (-60 / 20), 12 * 16_000).astype(np.float32)
    phrase, rate = soundfile.read(TOP / "audio_fixtures" / "demo" / "next-step.flac", dtype="float32")
    assert rate == 16_000
    quiet = noise[: 2 * 16_000]
    soundfile.write(path, np.concatenate([noise, phrase, quiet]), rate)


@contextmanager
def desk(folder: Path, visits: str) -> Iterator[str]:
    """The desk as its command serves it; its address, with the way in that works once."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    served = subprocess.Popen(
        [sys.executable, "-m", "handsfree", "desk", "--visits", visits, "--port", str(port)],
        cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env={**os.environ, "PYTHONPATH": str(TOP)},
    )  # fmt: skip
    assert served.stdout is not None
    try:
        said = ""
        for line in served.stdout:
            said += line
            if found := re.search(r"The desk is at (http://\S+)", line):
                while served.poll() is None:
                    with suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=5):
                        break
                    time.sleep(0.05)
                yield found[1]
                break
        else:
            pytest.fail(said)
    finally:
        served.send_signal(signal.SIGINT)
        served.wait(timeout=30)
        served.stdout.close()


#: What README showed once and the handbook's page of verbs shows now.
ALSO = (
    "handsfree list", "handsfree visit too-warm", "handsfree visit --call SHEET", "handsfree enrol",
    "handsfree export readings out.csv --visit VISIT", "handsfree reckon superheat R-290 250 5",
    "handsfree log clamp.csv --volts 230 --out clamp.svg", "handsfree relisten visits",
)
COMMANDS = sorted({*readme.shown("README.md"), *ALSO, *(line.split("&&")[-1].strip().removeprefix(".venv/bin/")
                   for line in readme.fenced("README.md") if "handsfree" in line.split("&&")[-1])})  # fmt: skip


@pytest.mark.parametrize("command", [line for line in COMMANDS if INSTEAD.get(line) is None or INSTEAD[line].run])
def test_each_command_of_the_readme_works(ground: Ground, command: str) -> None:
    """In the order of their names: a stopped visit is taken up after the record of the finished one is read."""
    instead = INSTEAD.get(command, Instead(command, "as it stands"))
    if "--to URL" in command:
        key = program(["desk", "people-add", "van-three", "--role", "device", "--visits", "store"], ground.folder)
        (ground.folder / "device.key").touch(0o600)
        (ground.folder / "device.key").write_text(key.stdout.splitlines()[-1], encoding="utf-8")
    if "clamp.csv" in instead.run:
        rows = "".join(f"{n},{1.6 if n % 30 < 12 else 0.2}\n" for n in range(120))
        (ground.folder / "clamp.csv").write_text(f"Elapsed (min),Current (A)\n{rows}", encoding="utf-8")
    done = ground.run(instead.run)
    assert done.returncode == instead.status, done.stdout[-1000:] + done.stderr
    assert instead.says in done.stdout + done.stderr
    assert "Traceback" not in done.stderr


def test_the_desk_of_the_readme_serves_the_visits(ground: Ground) -> None:
    assert "handsfree desk --visits visits" in COMMANDS
    with desk(ground.folder, "visits") as entry:
        browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
        browser.open(entry, timeout=30).close()
        with browser.open(entry.partition("enter/")[0], timeout=30) as page:
            assert Path(ground.visit).name in page.read().decode()


def test_what_it_sounds_like_is_what_the_demo_says(ground: Ground) -> None:
    """Every line of the transcript in its order, by who speaks and what is said; times and certainties may differ."""
    said = iter(_spoken(ground.demo))
    for line in _spoken("\n".join(line[4:] for line in readme.text("README.md").splitlines() if line.startswith("    0:"))):
        assert any(_alike(line, one) for one in said), f"the demo does not say, or not there: {line}"


def _spoken(text: str) -> list[str]:
    """'says   Cool, warm or dead calm?' of each line that a person hears or says."""
    found = re.findall(r"^ *\d+:\d\d:\d\d\.\d  (says|hears) +(.*?)(?:  \(.*\))?$", text, re.M)
    return [f"{who} {words}" for who, words in found]


def _alike(line: str, one: str) -> bool:
    """The page may leave out the end of a long sentence."""
    return one.startswith(line.removesuffix("…").rstrip()) if line.endswith("…") else one == line


def test_no_exception_is_left_over() -> None:
    assert set(INSTEAD) <= set(COMMANDS), "an exception for a command that is not tried"


@pytest.mark.parametrize("page", PAGES)
def test_commands_inside_sentences_exist(page: str) -> None:
    """Each verb that a sentence names, and each option it gives with it, is in that verb's help."""
    from typer.main import get_command

    from handsfree.cli import app

    verbs = get_command(app).commands  # type: ignore[attr-defined]  # typer's group, which click types as a command
    for line in readme.in_line(page):
        words = line.split()
        if words[0] != "handsfree" or words[1].startswith("-"):
            continue
        verb = verbs.get(words[1])
        assert verb is not None, line
        for word in words[2:]:
            verb = getattr(verb, "commands", {}).get(word, verb)
        known = {option for parameter in verb.params for option in parameter.opts}
        assert {word for word in words if word.startswith("--")} <= known | {"--help"}, line


@pytest.mark.parametrize("page", PAGES)
def test_modules_that_are_run_exist(page: str) -> None:
    for name in readme.modules(page):
        assert importlib.util.find_spec(name) is not None, name


def test_every_bench_is_listed() -> None:
    listed = readme.text("tests/bench/README.md")
    for path in sorted((TOP / "tests/bench").rglob("*.py")):
        if path.stem != "__main__" and 'if __name__ == "__main__"' in path.read_text(encoding="utf-8"):
            assert re.search(rf"`python -m [\w.]*\.{path.stem}\b|, `{path.stem}`", listed), path.name


def test_the_number_of_procedures_that_ship() -> None:
    count = len(list((TOP / "procedures").glob("*.yaml")))
    assert f" {count} procedures ship" in readme.text("README.md")


def test_the_install_lines_name_extras_that_exist() -> None:
    project = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    lines = [line for line in readme.fenced("README.md") if "pip install" in line]
    assert len(lines) == 2
    for line in lines:
        assert extras(line) <= set(project["optional-dependencies"])
