"""What a line may look like: each way in which an entry can be no entry, told in words; the fast way and the slow agree."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest

from handsfree.journal.canonical import canonical
from handsfree.journal.disk import RealDisk
from handsfree.journal.shapes import envelope, file_allowed, parse

ENTRY: dict[str, Any] = {
    "event": {"name": "heard"}, "kind": "Tone", "mono": 12.25, "n": 7, "prev": "ab" * 32,
    "wall": "2026-02-11T09:30:00.125+01:00",
}  # fmt: skip


def test_an_entry_is_read_both_ways_alike() -> None:
    entry = canonical({**ENTRY, "signature": "cd" * 64})
    judged = envelope(entry)
    assert judged == parse(entry)[0]
    assert (judged.kind, judged.n, judged.mono, judged.prev, judged.signature) == ("Tone", 7, 12.25, "ab" * 32, "cd" * 64)
    assert (judged.wall, judged.file, judged.file_sha256) == (ENTRY["wall"], "", "")
    assert judged.time == 1770798600.125


def test_the_file_that_an_event_binds_is_in_the_envelope_escapes_and_all() -> None:
    note = {"clip": 'sound/"1"\u00e4.flac', "clip_sha256": "00" * 32, "seconds": 1.5, "text": "x"}
    entry = canonical({**ENTRY, "event": note, "kind": "NoteKept"})
    assert envelope(entry) == parse(entry)[0]
    assert (envelope(entry).file, envelope(entry).file_sha256) == ('sound/"1"\u00e4.flac', "00" * 32)


@pytest.mark.parametrize(("change", "why"), [
    ({"n": -1}, "n is not a whole number from 0"), ({"n": 1.5}, "n is not a whole number from 0"),
    ({"n": True}, "n is not a whole number from 0"), ({"n": "1"}, "n is not a whole number from 0"),
    ({"mono": "1"}, "mono is not a number of seconds"), ({"mono": True}, "mono is not a number of seconds"),
    ({"mono": 1e12}, "mono is not a number of seconds"), ({"mono": -1e12}, "mono is not a number of seconds"),
    ({"wall": 1}, "wall is not an RFC 3339 time"), ({"wall": "2026-02-11T09:30:00Z"}, "wall is not an RFC 3339 time"),
    ({"wall": "2026-02-30T09:30:00.125+01:00"}, "day"), ({"prev": 1}, "prev is not a SHA-256"),
    ({"prev": "ab"}, "prev is not a SHA-256"), ({"prev": "AB" * 32}, "prev is not a SHA-256"),
    ({"signature": ""}, "signature is not 64 bytes"), ({"signature": 1}, "signature is not 64 bytes"),
    ({"signature": "cd" * 63}, "signature is not 64 bytes"), ({"more": 1}, "nothing else"),
    ({"kind": 1}, "kind is not a string"), ({"event": []}, "event is not an object"),
    ({"kind": "Nonsense"}, ""), ({"event": {}}, ""), ({"event": {"name": 1}}, ""), ({"event": {"name": "x", "more": 1}}, ""),
    ({"kind": "T\u00e4ne"}, ""),
])  # fmt: skip
def test_each_fault_of_an_entry_is_named(change: dict[str, Any], why: str) -> None:
    entry = canonical({**ENTRY, **change})
    for judge in (envelope, parse):
        with pytest.raises(ValueError, match=why):
            judge(entry)


@pytest.mark.parametrize("gone", sorted(ENTRY))
def test_every_part_of_an_entry_is_needed(gone: str) -> None:
    with pytest.raises(ValueError, match="nothing else"):
        parse(canonical({name: value for name, value in ENTRY.items() if name != gone}))


@pytest.mark.parametrize(("entry", "why"), [
    (b"[]", "not a JSON object"), (b"", ""), (b"{", ""), (b"nonsense", ""), (b"\xff", "not UTF-8"),
    (canonical(ENTRY) + b" ", "canonical"), (canonical(ENTRY).replace(b"12.25", b"12.250"), "canonical"),
    (canonical(ENTRY).replace(b"12.25", b"NaN"), "NaN is not JSON"),
    (canonical(ENTRY).replace(b"12.25", b"9" * 400), "number too large"),
    (canonical(ENTRY).replace(b'"heard"', b"[" * 100_000 + b"]" * 100_000), "nested too deep"),
    (canonical(ENTRY).replace(b"heard", b"h\xffard"), "not UTF-8"),
    (json.dumps(ENTRY).encode(), "canonical"),
])  # fmt: skip
def test_what_is_no_canonical_json_is_named(entry: bytes, why: str) -> None:
    for judge in (envelope, parse):
        with pytest.raises(ValueError, match=why):
            judge(entry)


def test_long_numbers_are_judged_by_the_standards_form() -> None:
    """Past nine digits before the point the fast pattern asks RFC 8785 for each number; in a text a number is no number."""
    for mono in (12345678901.25, 0.1234567890123):
        for name in ("heard", "1,2.50,3", ":1e999,"):
            entry = canonical({**ENTRY, "mono": mono, "event": {"name": name}})
            assert envelope(entry) == parse(entry)[0]
    with pytest.raises(ValueError, match="canonical"):
        envelope(canonical({**ENTRY, "mono": 12345678901.25}).replace(b"901.25", b"901.250"))


def test_a_number_past_53_bits_was_a_double() -> None:
    entry = canonical({**ENTRY, "kind": "SetTimer", "event": {"seconds": 2.0**60, "timer": "wait"}})
    assert parse(entry)[1].seconds == 2.0**60
    assert envelope(entry) == parse(entry)[0]


@pytest.mark.parametrize(("name", "allowed"), [
    ("sound/00001.flac", True), ("sound/123456789.flac", True), ("attached/001-photo.jpg", True), ("attached/a..b", False),
    ("sound/0001.flac", False), ("sound/1234567890.flac", False), ("sound/00001.wav", False), ("../sound/00001.flac", False),
    ("attached/.x", False), ("attached/a/b", False), ("/etc/passwd", False), ("attached/" + "x" * 121, True),
    ("attached/" + "x" * 122, False), ("", False), ("sound/00001.flac\n", False),
])  # fmt: skip
def test_which_files_a_record_may_name(name: str, allowed: bool) -> None:
    assert file_allowed(name) is allowed


def test_a_folder_without_a_handle_is_left_to_the_file_system(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Stands in for Windows, which is not here: no handle of the folder may be asked for."""
    asked: list[str] = []
    monkeypatch.setattr(os, "open", lambda *given: asked.append("open"))
    monkeypatch.setattr(os, "name", "nt")
    try:
        RealDisk().sync_folder(tmp_path)
    finally:
        monkeypatch.undo()
    assert asked == []
