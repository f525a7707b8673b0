"""Every command used wrongly, by the real program: one sentence that helps, the exit status, and nothing half done.

What the command line's own parser refuses (an unknown option, a number out of range) has three lines and status 2; the rest
is `handsfree: SENTENCE`. Status 3 is kept for a record that does not hold.
"""

from __future__ import annotations

import os
import re
import shutil
import socket
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

from tests.forked import Forks

TOP = Path(__file__).resolve().parents[1]
STOPPED = "seven three nine\naffirm\nstop the visit\naffirm\n"


@cache
def _forks() -> Forks:
    return Forks()


def program(words: list[str], folder: Path, typed: str = "", **more: str) -> subprocess.CompletedProcess[str]:
    own = {name: str(folder / "own") for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_CACHE_HOME")}
    return _forks().run(words, folder, typed, {**os.environ, "PYTHONPATH": str(TOP), **own, **more})


@pytest.fixture(scope="module")
def ground(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a stopped visit as `visit`, and with things that are not what a command wants."""
    folder = tmp_path_factory.mktemp("ground")
    done = program(["visit", "too-warm", "--typed", "--visits", "visits"], folder, STOPPED)
    assert done.returncode == 0, done.stderr
    (made,) = (folder / "visits").iterdir()
    made.rename(folder / "visit")
    shutil.copytree(folder / "visit", folder / "locked")
    (folder / "locked" / "journal.lock").unlink(missing_ok=True)
    (folder / "locked" / "journal.lock").mkdir()
    (folder / "linked.jsonl").symlink_to(folder / "visit" / "journal.jsonl")
    (folder / "file.bin").write_bytes(b"\x00\xff\x01not at all\n" * 9)
    (folder / "nothing-in-it").touch()
    (folder / "folder").mkdir()
    (folder / "garbage").mkdir()
    shutil.copy(folder / "file.bin", folder / "garbage" / "journal.jsonl")
    (folder / "blank").mkdir()
    (folder / "blank" / "journal.jsonl").touch()
    (folder / "taken").mkdir()
    (folder / "taken" / ".desk").touch()
    os.mkfifo(folder / "pipe.pdf")
    return folder


def sentence(done: subprocess.CompletedProcess[str], status: int, says: str) -> None:
    assert "Traceback" not in done.stderr, done.stderr
    assert done.returncode == status, (done.returncode, done.stdout[-500:], done.stderr)
    last = done.stderr.strip().splitlines()[-1]
    assert last.startswith("handsfree: "), done.stderr
    assert last.endswith((".", "?")) or "://" in last or "'" in last, last
    assert says in last


#: (what is typed after `handsfree`, exit status, what the sentence has in it).
WRONG = [
    ("stand-by --sound-in file.bin", 2, "name a device with --sound-in"),
    ("stand-by --sound-out -", 2, "name a device with --sound-out"),
    ("desk check --visits nothing", 2, "There is no folder nothing"),
    ("desk check --visits file.bin", 2, "There is no folder file.bin"),
    ("desk check --visits taken", 2, "cannot keep its folder taken/.desk"),
    ("desk people-list --visits taken", 2, "cannot keep its folder taken/.desk"),
    ("desk --visits folder --sound s3://", 2, "s3://BUCKET/PREFIX"),
    ("desk --visits folder --certificate file.bin --key file.bin", 2, "PEM"),
    ("desk --visits folder --host 192.0.2.7 --certificate file.bin --key file.bin", 2, "has no accounts"),
    ("desk --visits folder --people sqlite:///file.bin", 2, "file is not a database"),
    ("desk --visits folder --people postgresql://127.0.0.1:9/none", 2, "does not answer"),
    ("desk --visits folder --database sqlite:///file.bin", 2, "file is not a database"),
    ("desk check --visits folder --database sqlite:///file.bin", 2, "file is not a database"),
    ("desk people-list --visits folder --people sqlite:////nowhere/x", 2, "unable to open database file"),
    ("desk people-add X --role device --visits nothing", 2, "There is no folder nothing"),
    ("verify nothing", 2, "holds no visit"),
    ("verify visit --head 12ab", 2, "64 digits and letters"),
    ("verify garbage", 3, "is broken at event 0"),
    ("replay nothing", 2, "holds no visit"),
    ("replay blank", 3, "does not begin with an opened visit"),
    ("replay visit --speed nan", 2, "from 0.1 to 100"),
    ("replay visit --html folder", 2, ".html or .htm"),
    ("replay visit --html visit/journal.jsonl", 2, ".html or .htm"),
    ("replay visit --html visit/sound/00001.html", 2, "belongs to the record of a visit"),
    ("replay visit --pdf mine.yaml", 2, "as .pdf"),
    ("export events visit/journal.jsonl --visit visit", 2, "belongs to the record of a visit"),
    ("export events linked.jsonl --visit visit", 2, "belongs to the record of a visit"),
    ("export sound visit/sound/00001.flac --visit visit", 2, "belongs to the record of a visit"),
    ("demo --sound-out visit/attached/x.wav", 2, "belongs to the record of a visit"),
    ("schema --out mine.yaml", 2, "give --out such a name"),
    ("visit --resume locked --typed", 2, "Nothing can be recorded in locked"),
    ("replay visit --pdf file.bin/x.pdf", 2, "cannot be written"),
    ("export events file.bin/x.jsonl --visit visit", 2, "cannot be written"),
    ("export sound /nowhere/out.flac --visit visit", 2, "cannot be written"),
    ("export schema folder", 2, "is a folder, not a file"),
    ("report visit out.xyz", 2, ".md or .pdf"),
    ("attach visit nothing --step x", 2, "No evidence was taken"),
    ("prune file.bin --days 3", 2, "There is no folder"),
    ("prune folder --days 1e99", 2, "from 0 to 36500"),
    ("keys --make a/../b", 2, "cannot name a device"),
    ("models --name x", 2, "give its file with --add"),
    ("models --add file.bin", 2, "is not a complete zip archive"),
    ("evaluate folder", 2, "cannot be read"),
    ("visit nothing-here --typed", 2, "There is no procedure"),
    ("visit --resume garbage --typed", 2, "nothing to resume"),
    ("visit too-warm --typed --visits file.bin", 2, "cannot be made"),
    ("sound check --sound-in nothing.flac", 2, "There is no sound file"),
    ("sound check --sound-in file.bin", 2, "is not a readable sound file"),
    ("sound check --sound-in nothing-in-it", 2, "is empty; record it again"),
    ("chart file.bin", 2, "is not the name of a procedure"),
    ("chart too-warm --out folder", 2, "is a folder, not a file"),
    ("print too-warm --out /nowhere/x.pdf", 2, "cannot be written"),
    ("print platform-check --out pipe.pdf", 2, "is not an ordinary file"),
    ("compare too-warm nothing", 2, "There is no procedure"),
    ("check folder", 2, "There is no procedure file"),
    ("record ok-name --typed --folder file.bin", 2, "cannot be made"),
    ("schema --out folder", 2, "is a folder, not a file"),
    ("send visit --to http://127.0.0.1:9 --key nothing", 2, "cannot be read"),
    ("send visit --to ftp://desk", 2, "is not the address of a desk"),
    ("relisten folder", 2, "There is no visit"),
    ("relisten visit --scheduler nonsense", 2, "not the address of a scheduler"),
    ("export events out.jsonl --visit garbage", 3, "There is no event in garbage"),
    ("export events out.jsonl --visit blank", 3, "There is no event in blank"),
    ("export readings out.csv --visit garbage", 3, "There is no event in garbage"),
    ("export readings out.parquet --visit blank", 3, "There is no event in blank"),
    ("visit too-warm --typed --sound-in room.flac", 2, "--typed and --sound-in cannot be used together"),
    ("visit too-warm --typed --sound-out room.flac", 2, "--typed and --sound-out cannot be used together"),
    ("record door-and-fan --typed --sound-in room.flac", 2, "--typed and --sound-in cannot be used together"),
    ("rehearse too-warm --typed --spoken", 2, "--typed and --spoken cannot be used together"),
    ("replay visit --html page.html --only gates", 2, "--html and --only cannot be used together"),
    ("replay visit --pdf page.pdf --from 0:10", 2, "--pdf and --from cannot be used together"),
    ("models --add file.bin --fetch", 2, "--add and --fetch cannot be used together"),
    ("models --fetch --fetch-whisper base", 2, "--fetch and --fetch-whisper cannot be used together"),
    ("enrol --forget --sound-in room.flac", 2, "--forget and --sound-in cannot be used together"),
    ("rehearse too-warm --spoken --most 3", 2, "--spoken and --most cannot be used together"),
    ("record a-b --words " + "burr,hopper," * 50, 2, "--words has 600 letters, and only 400 are used"),
    ("send visits --to http://127.0.0.1:9 --minutes 0", 2, "a number above 0"),
    ("send visits --to http://127.0.0.1:9 --minutes -1", 2, "a number above 0"),
    ("send visits --to http://127.0.0.1:9 --minutes nan", 2, "a number above 0"),
]  # fmt: skip


@pytest.mark.parametrize(("words", "status", "says"), WRONG, ids=[words for words, _, _ in WRONG])
def test_a_wrong_use_gets_one_sentence(ground: Path, words: str, status: int, says: str) -> None:
    sentence(program(words.split(), ground), status, says)


@pytest.mark.parametrize(
    "words", ["verify visit --events -1", "relisten visit --jobs 99999999", "desk --visits folder --port 0", "nonsense"]
)
def test_what_the_parser_refuses_says_how_to_get_help(ground: Path, words: str) -> None:
    done = program(words.split(), ground)
    assert done.returncode == 2
    assert "--help' for help" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("words", ["list", "settings", "schema", "replay visit", "verify visit --json"])
def test_a_reader_that_goes_away_is_no_fault(ground: Path, words: str) -> None:
    """As with `| head -1`: silence, and a status that is not success."""
    line = ["bash", "-c", f'"{sys.executable}" -m handsfree {words} | true; exit ${{PIPESTATUS[0]}}']
    done = subprocess.run(line, cwd=ground, capture_output=True, text=True, check=False, timeout=120,
                          env={**os.environ, "PYTHONPATH": str(TOP), "PYTHONUNBUFFERED": "1"})  # fmt: skip
    assert done.returncode in (0, 1)  # 0 where it had written all before the reader went
    assert done.stderr == ""


def test_the_settings_say_where_one_is_set(ground: Path) -> None:
    """And a line written there, as it says, counts."""
    said = program(["settings"], ground).stdout.splitlines()
    assert not any("= None" in line for line in said)
    found = re.fullmatch(r"To set one: a line such as (.+) in (.+), or (.+)\.", said[-1])
    assert found is not None, said[-1]
    line, file, variable = found.groups()
    Path(file).parent.mkdir(parents=True, exist_ok=True)
    try:
        Path(file).write_text(f"{line}\n")
        assert f"words_a_minute = 130    ({file}; speaking rate)" in program(["settings"], ground).stdout
    finally:
        Path(file).unlink()
    name, _, value = variable.partition("=")
    assert "words_a_minute = 130    (environment; speaking rate)" in program(["settings"], ground, **{name: value}).stdout


def test_what_is_no_ordinary_file_stays_what_it_is(ground: Path) -> None:
    """Found by hand: a chart written to /dev/full, as root, took the place of the device."""
    program(["print", "platform-check", "--out", "pipe.pdf"], ground)
    assert (ground / "pipe.pdf").is_fifo()


def test_what_was_refused_wrote_nothing(ground: Path) -> None:
    for words in ("export events out.jsonl --visit garbage", "visit too-warm --typed --sound-in room.flac --visits new",
                  "record door-and-fan --typed --sound-in room.flac"):  # fmt: skip
        program(words.split(), ground)
    assert not {"out.jsonl", "new", "procedures", "mine.yaml"} & {path.name for path in ground.iterdir()}
    assert program(["verify", "visit"], ground).returncode == 0


def test_the_desk_tells_its_address_only_once_it_listens(ground: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        done = program(["desk", "--visits", "folder", "--port", str(port)], ground)
    sentence(done, 2, f"cannot listen on port {port}")
    assert "The desk is at" not in done.stdout + done.stderr
