"""No input makes the reader crash, hang or accept."""

from __future__ import annotations

import contextlib
import shutil
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.errors import Trouble
from handsfree.journal.canonical import as_line, canonical
from handsfree.journal.events import Tone
from handsfree.journal.reader import read
from handsfree.journal.verify import verify
from handsfree.journal.writer import Journal
from tests.journal.made import TestClock, write_visit
from tests.journal.test_canonical import JSON


@pytest.fixture(scope="module")
def whole() -> bytes:
    folder = Path(tempfile.mkdtemp())
    data = (write_visit(folder / "v", sound=False) / "journal.jsonl").read_bytes()
    shutil.rmtree(folder)
    return data


def _judge(data: bytes) -> bool:
    """Is it accepted? Nothing but Trouble may come out of any part of the reader."""
    with tempfile.TemporaryDirectory(dir="/dev/shm" if Path("/dev/shm").is_dir() else None) as name:
        folder = Path(name)
        (folder / "journal.jsonl").write_bytes(data)
        for work in (lambda: list(read(folder)), lambda: Journal.resume(folder, clock=TestClock(at=3000.0)).close()):
            with contextlib.suppress(Trouble):
                work()
        (folder / "journal.jsonl").write_bytes(data)
        return verify(folder).holds


@given(st.binary(max_size=300))
@settings(max_examples=300, deadline=None)
def test_any_bytes(data: bytes) -> None:
    assert not _judge(data)


@given(JSON)
@settings(max_examples=300, deadline=None)
def test_any_json_with_a_right_hash(value: object) -> None:
    assert not _judge(as_line(canonical({"x": value}))[0])
    assert not _judge(
        as_line(canonical({"event": value, "kind": "Opened", "mono": 1, "n": 0, "prev": "", "wall": value}))[0]
    )


NUMBERS = [b"1e999", b"-1", b"99999999999999999999999", b"NaN", b"0.0", b"true", b"null", b'""', b"[" * 5000, b"9" * 5000]


@given(st.data())
@settings(max_examples=500, deadline=None)
def test_a_record_with_pieces_changed_and_hashes_right(whole: bytes, data: st.DataObject) -> None:
    """The hash of one changed line is made right; its neighbour's `prev` is not."""
    lines = whole.splitlines(keepends=True)
    n = data.draw(st.integers(0, len(lines) - 1))
    entry = lines[n][9:-78]
    at = data.draw(st.integers(0, len(entry)))
    length = data.draw(st.integers(0, 12))
    entry = entry[:at] + data.draw(st.binary(max_size=8) | st.sampled_from(NUMBERS)) + entry[at + length :]
    if entry == lines[n][9:-78] or not entry:
        return
    lines[n] = as_line(entry)[0]
    changed = b"".join(lines)
    assert changed == whole or not _judge(changed) or n == len(lines) - 1


@given(st.lists(st.integers(0, 60), max_size=40))
@settings(max_examples=200, deadline=None)
def test_lines_in_any_order(whole: bytes, order: list[int]) -> None:
    lines = whole.splitlines(keepends=True)
    changed = b"".join(lines[n % len(lines)] for n in order)
    assert changed == whole or not _judge(changed)


@pytest.mark.parametrize(
    "file",
    ["/etc/passwd", "../../etc/passwd", "sound/../x", "attached/..", "attached/a/b", "sound/00001.flac\x00", "C:\\x", "."],
)
def test_a_file_outside_the_folder_is_never_opened(file: str, tmp_path: Path) -> None:
    from dataclasses import replace

    from tests.journal.made import OPENED, story

    utterance = next(batch[0] for batch in story() if type(batch[0]).__name__ == "Utterance")
    with Journal.create(tmp_path / "v", clock=TestClock()) as journal:
        journal.append(OPENED)
        journal.append(replace(utterance, clip=file, clip_sha256="0" * 64), Tone("x"))
        journal.seal()
    report = verify(tmp_path / "v")
    assert report.at == 1
    assert "outside its folder" in report.problem
