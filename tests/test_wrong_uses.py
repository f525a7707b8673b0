"""Every command used wrongly, by the real program: one sentence that helps, the exit status, and nothing half done.

What the command line's own parser refuses (an unknown option, a number out of range) has three lines and status 2; the rest
is `handsfree: SENTENCE`. Status 3 is kept for a record that does not hold.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parents[1]
STOPPED = "seven three nine\naffirm\nstop the visit\naffirm\n"


def program(words: list[str], folder: Path, typed: str = "", **more: str) -> subprocess.CompletedProcess[str]:
    own = {name: str(folder / "own") for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_CACHE_HOME")}
    return subprocess.run(
        [sys.executable, "-m", "handsfree", *words], cwd=folder, capture_output=True, text=True, check=False, input=typed,
        env={**os.environ, "PYTHONPATH": str(TOP), **own, **more}, timeout=120,
    )  # fmt: skip


@pytest.fixture(scope="module")
def ground(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a stopped visit as `visit`, and with things that are not what a command wants."""
    folder = tmp_path_factory.mktemp("ground")
    done = program(["visit", "too-warm", "--typed", "--visits", "visits"], folder, STOPPED)
    assert done.returncode == 0, done.stderr
    (made,) = (folder / "visits").iterdir()
    made.rename(folder / "visit")
    (folder / "file.bin").write_bytes(b"\x00\xff\x01not at all\n" * 9)
    (folder / "nothing-in-it").touch()
    (folder / "folder").mkdir()
    (folder / "garbage").mkdir()
    shutil.copy(folder / "file.bin", folder / "garbage" / "journal.jsonl")
    (folder / "blank").mkdir()
    (folder / "blank" / "journal.jsonl").touch()
    (folder / "taken").mkdir()
    (folder / "taken" / ".desk").touch()
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
    ("desk check --visits nothing", 2, "There is no folder nothing"),
    ("desk check --visits file.bin", 2, "There is no folder file.bin"),
    ("desk check --visits taken", 2, "cannot keep its folder taken/.desk"),
    ("desk people-list --visits taken", 2, "cannot keep its folder taken/.desk"),
    ("desk --visits folder --sound s3://", 2, "s3://BUCKET/PREFIX"),
    ("desk --visits folder --certificate file.bin --key file.bin", 2, "PEM"),
    ("desk --visits folder --host 192.0.2.7 --certificate file.bin --key file.bin", 2, "has no accounts"),
    ("export events out.jsonl --visit garbage", 3, "There is no event in garbage"),
    ("export events out.jsonl --visit blank", 3, "There is no event in blank"),
    ("export readings out.csv --visit garbage", 3, "There is no event in garbage"),
    ("export readings out.parquet --visit blank", 3, "There is no event in blank"),
    ("visit too-warm --typed --sound-in room.flac", 2, "--typed and --sound-in cannot stand together"),
    ("visit too-warm --typed --sound-out room.flac", 2, "--typed and --sound-out cannot stand together"),
    ("visit too-warm --typed --screen", 2, "--typed and --screen cannot stand together"),
    ("record door-and-fan --typed --sound-in room.flac", 2, "--typed and --sound-in cannot stand together"),
    ("rehearse too-warm --typed --spoken", 2, "--typed and --spoken cannot stand together"),
    ("rehearse too-warm --spoken --most 3", 2, "--spoken and --most cannot stand together"),
    ("send visits --to http://127.0.0.1:9 --minutes 0", 2, "a number above 0"),
    ("send visits --to http://127.0.0.1:9 --minutes -1", 2, "a number above 0"),
    ("send visits --to http://127.0.0.1:9 --minutes nan", 2, "a number above 0"),
]  # fmt: skip


@pytest.mark.parametrize(("words", "status", "says"), WRONG, ids=[words for words, _, _ in WRONG])
def test_a_wrong_use_gets_one_sentence(ground: Path, words: str, status: int, says: str) -> None:
    sentence(program(words.split(), ground), status, says)


def test_what_was_refused_wrote_nothing(ground: Path) -> None:
    for words in ("export events out.jsonl --visit garbage", "visit too-warm --typed --sound-in room.flac --visits new",
                  "record door-and-fan --typed --sound-in room.flac"):  # fmt: skip
        program(words.split(), ground)
    assert not {"out.jsonl", "new", "procedures"} & {path.name for path in ground.iterdir()}


def test_the_desk_tells_its_address_only_once_it_listens(ground: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        done = program(["desk", "--visits", "folder", "--port", str(port)], ground)
    sentence(done, 2, f"cannot listen on port {port}")
    assert "The desk is at" not in done.stdout + done.stderr
