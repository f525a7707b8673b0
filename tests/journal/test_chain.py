"""The chain link by link: the line and its canonical form; what `verify` and `read` say of each fault, in forged records.

The forger knows the format: numbers, hashes and seals are right again unless a test makes them wrong on purpose.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import rfc8785
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from handsfree.errors import Trouble
from handsfree.journal import canonical as form
from handsfree.journal import keys
from handsfree.journal.canonical import _same, _Unsure, as_line, canonical, entry_in, entry_of, line_of, unsigned_bytes
from handsfree.journal.coverage import Cover
from handsfree.journal.events import (
    ClockMoved,
    Opened,
    Resumed,
    Sealed,
    SignedBy,
    SoundRemoved,
    Stamped,
    TailDropped,
    Tone,
    to_data,
)
from handsfree.journal.reader import Broken, lines, read, torn_tail, walk
from handsfree.journal.verdicts import VerifyReport
from handsfree.journal.verify import verify
from tests.journal.made import read_list

WALL = "2026-02-11T09:30:00.000+01:00"
OPENED = Opened("v", "p", "en", "A. Brandner (invented)", "Hochgrat (invented)", "HK-4", "0.1", "typed")
Entry = dict[str, Any]


# ---- the line -------------------------------------------------------------------------------------------------------


def test_a_line_byte_by_byte() -> None:
    """RFC 8785 sorts the keys and writes no blank; SHA-256 by hashlib, over the entry as it stands in the line."""
    stamped = Stamped(3, WALL, 2.0, Tone("heard"), "ab" * 32)
    entry = f'{{"event":{{"name":"heard"}},"kind":"Tone","mono":2,"n":3,"prev":"{"ab" * 32}","wall":"{WALL}"}}'.encode()
    digest = hashlib.sha256(entry).hexdigest()
    assert line_of(stamped) == (b'{"entry":' + entry + b',"sha256":"' + digest.encode() + b'"}\n', digest)
    assert entry_in(line_of(stamped)[0]) == entry
    assert json.loads(line_of(stamped)[0]) == {"entry": json.loads(entry), "sha256": digest}
    assert len(line_of(stamped)[0]) == len(entry) + form.AROUND
    assert form.LONGEST == 64_000_000


def test_a_signature_is_in_the_hash_and_not_under_itself() -> None:
    bare = Stamped(3, WALL, 2.5, Tone("heard"), "")
    signed = dataclasses.replace(bare, signature="cd" * 64)
    assert entry_of(bare) == {"event": {"name": "heard"}, "kind": "Tone", "mono": 2.5, "n": 3, "prev": "", "wall": WALL}
    assert entry_of(signed) == {**entry_of(bare), "signature": "cd" * 64}
    assert unsigned_bytes(signed) == unsigned_bytes(bare) == canonical(entry_of(bare))
    assert line_of(signed)[1] != line_of(bare)[1]


def test_a_line_with_any_piece_wrong_holds_no_entry() -> None:
    line, digest = as_line(b'{"n":1}')
    assert entry_in(line) == b'{"n":1}'
    for wrong in (
        line[:-1], line + b"\n", b" " + line, line.replace(b"entry", b"entri"), line.replace(b"sha256", b"sha255"),
        line.replace(b'"n":1', b'"n":2'), line.replace(digest.encode(), digest.upper().encode()), b"", b"\n",
        line.replace(digest[:8].encode(), b"00000000"),
    ):  # fmt: skip
        assert entry_in(wrong) is None, wrong
    assert entry_in(as_line(b'{"n":1]')[0]) is None


@pytest.mark.parametrize("value", [
    0.0, -0.0, 1.0, -1.0, 0.1, 1e-4, 9.999e-5, 1e15, -1e15, 999999999999999.0, -999999999999999.0, 999999999999999.9,
    1e14 + 0.5, 1e21, 1e-7, 2**53 - 1, -(2**53) + 1, True, False, None, "", "ä€\n", [], (), {}, [1.0, (2.0, "x")],
    {"b": 1, "a": 2}, {"b": 1, "a": {"ä": 2.0}}, {"\u20ac": 1, "\U0001f600": 2, "\ufb33": 3},
])
def test_the_fast_form_is_the_standards(value: Any) -> None:
    assert canonical(value) == rfc8785.dumps(value)


@pytest.mark.parametrize(("value", "is_"), [
    (1.0, 1), (0.0, 0), (-0.0, 0), (0.5, 0.5), (1e-4, 1e-4), (-1e-4, -1e-4), (999999999999999.0, 999999999999999),
    (-999999999999999.0, -999999999999999), (999999999999999.9, 999999999999999.9), (2**53 - 1, 2**53 - 1),
    (-(2**53) + 1, -(2**53) + 1), (None, None), ("x", "x"), ((1.0, [2.0]), [1, [2]]), ({"a": (1.0,)}, {"a": [1]}),
])
def test_what_the_fast_path_takes(value: Any, is_: Any) -> None:
    same = _same(value)
    assert same == is_
    assert type(same) is type(is_)
    assert _same(True) is True


@pytest.mark.parametrize("value", [
    1e15, -1e15, 9.99e-5, -9.99e-5, 1e300, float("nan"), float("inf"), 2**53, -(2**53), {"ä": 1}, {1: 2}, object(), {1.0},
    [{"ä": 1}], b"x",
])
def test_what_the_fast_path_leaves_to_the_standards(value: Any) -> None:
    with pytest.raises(_Unsure):
        _same(value)


@pytest.mark.parametrize("value", [float("nan"), float("-inf"), 2**53, {1: 2}, "\ud800", {"\ud800": 1}, object()])
def test_what_has_no_canonical_form_says_so(value: Any) -> None:
    with pytest.raises(ValueError, match="it has no canonical form"):
        canonical(value)


def test_nesting_too_deep_is_an_error_of_its_own() -> None:
    deep: Any = []
    for _ in range(100_000):
        deep = [deep]
    with pytest.raises(ValueError, match="no canonical form"):
        canonical(deep)


# ---- records, forged ------------------------------------------------------------------------------------------------


def entry(event: Any, at: float, **more: Any) -> Entry:
    wall = (datetime.fromisoformat(WALL) + timedelta(seconds=at)).isoformat(timespec="milliseconds")
    return {"event": to_data(event), "kind": type(event).__name__, "mono": at, "wall": wall, **more}


def story(*middle: Entry, seal: bool = True) -> list[Entry]:
    found = [entry(OPENED, 0.0), *(middle or (entry(Tone("heard"), 1.0), entry(Tone("waiting"), 2.0)))]
    return [*found, entry(Sealed(0, ""), found[-1]["mono"] + 1)] if seal else found


def write(folder: Path, entries: list[Entry], key: keys.DeviceKey | None = None, unsigned: tuple[int, ...] = ()) -> Path:
    """`n`, `prev`, seals and signatures are put in where an entry does not bring its own. Signed from the SignedBy on."""
    folder.mkdir(parents=True, exist_ok=True)
    prev, out, signing = "", [], False
    for n, one in enumerate(entries):
        whole = {"n": n, "prev": prev, **one}
        if whole["kind"] == "Sealed" and not whole["event"]["head"]:
            whole["event"] = {"events": n, "head": prev}
        signing = signing or whole["kind"] == "SignedBy"
        if key is not None and signing and n not in unsigned and "signature" not in whole:
            whole["signature"] = key.sign(canonical(whole))
        line, prev = as_line(canonical(whole))
        out.append(line)
    (folder / "journal.jsonl").write_bytes(b"".join(out))
    return folder


def first(report: VerifyReport) -> tuple[int | None, str]:
    return report.at, report.problem


def test_a_sealed_record_holds_and_says_what_it_is(tmp_path: Path) -> None:
    report = verify(write(tmp_path, story()))
    lines_ = (tmp_path / "journal.jsonl").read_bytes().splitlines(keepends=True)
    wall = json.loads(lines_[0])["entry"]["wall"]
    assert (report.events, report.head, report.sealed) == (4, json.loads(lines_[-1])["sha256"], True)
    assert report.covers == (Cover(0, 3, wall),)
    assert report.remarks[0] == (
        "Events 0 to 3: under no key: the chain shows accidents and careless edits, not a completely rewritten record.")
    assert "It was never signed, or its signatures were removed" in verify(tmp_path, known={"0" * 64: "x"}).remarks[0]
    assert report.holds
    assert [stamped.n for stamped in read_list(tmp_path)] == [0, 1, 2, 3]
    assert verify(tmp_path / "journal.jsonl") == report


def test_a_record_without_a_seal_has_an_open_end(tmp_path: Path) -> None:
    report = verify(write(tmp_path, story(seal=False)))
    assert first(report) == (
        3, "It ends without a seal: it was cut off, or the visit crashed or still goes on.")  # fmt: skip
    assert (report.open_end, report.sealed, report.holds, report.events) == (True, False, False, 3)


def test_no_event_at_all(tmp_path: Path) -> None:
    (tmp_path / "journal.jsonl").touch()
    assert first(verify(tmp_path)) == (0, "There is no event in it.")
    assert (verify(tmp_path).sealed, verify(tmp_path).head, verify(tmp_path).events) == (False, "", 0)
    assert VerifyReport(1, "ab") == VerifyReport(1, "ab", "", None, None, (), 0, 0, (), sealed=False, open_end=False)
    assert read_list(tmp_path) == []
    (tmp_path / "journal.jsonl").unlink()
    with pytest.raises(Trouble, match=r"holds no visit: there is no journal\.jsonl in it"):
        verify(tmp_path)


def changed(at: int, **fields: Any) -> Callable[[list[Entry]], list[Entry]]:
    return lambda entries: [{**one, **fields} if n == at else one for n, one in enumerate(entries)]


@pytest.mark.parametrize(("forge", "at", "why"), [
    (changed(1, n=2), 1, "Event 2 is here: events were removed, moved or added."),
    (changed(2, prev="0" * 64), 2, "It does not follow from the event before it: one of the two was changed or moved."),
    (changed(0, prev="0" * 64), 0, "It does not follow from the event before it: one of the two was changed or moved."),
    (changed(2, mono=0.5), 2, "The count falls from 1.0 s to 0.5 s."),
    (changed(1, kind="Nonsense"), 1, ""),
    (lambda entries: entries[1:], 0, "A visit begins with Opened, not with Tone."),
    (changed(3, event={"events": 2, "head": "x"}), 3, "The seal is for 2 events, not for those before it."),
    (changed(3, event={"events": 3, "head": "0" * 64}), 3, "The seal is for 3 events, not for those before it."),
])
def test_the_first_place_that_does_not_hold_is_named(
    forge: Callable[[list[Entry]], list[Entry]], at: int, why: str, tmp_path: Path
) -> None:
    report = verify(write(tmp_path, forge(story())))
    assert report.at == at
    assert report.events == at
    assert report.problem == why or not why
    assert report.problem
    assert not report.open_end
    if "seal" not in why and "begins" not in why:  # those are no matter of the chain, which `read` goes by
        with pytest.raises(Trouble, match="is broken at event") as trouble:
            read_list(tmp_path)
        assert trouble.value.status == 3
        assert "handsfree verify" in trouble.value.sentence


def test_the_byte_of_a_broken_line_is_that_it_begins_at(tmp_path: Path) -> None:
    path = write(tmp_path, story()) / "journal.jsonl"
    data = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(data[0] + data[1].replace(b"heard", b"hoard") + data[2] + data[3])
    with path.open("rb") as stream, pytest.raises(Broken) as broken:
        list(walk(stream))
    assert (broken.value.n, broken.value.at) == (1, len(data[0]))
    assert str(broken.value) == f"event 1 (byte {len(data[0])}): {broken.value.why}"
    assert "torn or was changed" in broken.value.why
    assert torn_tail(path, broken.value) is None
    assert "left half-written" not in verify(tmp_path).problem
    with path.open("rb") as stream:
        assert [at for at, _ in lines(stream)] == [0, len(data[0]), len(data[0]) * 1 + len(data[1]), len(b"".join(data[:3]))]


@pytest.mark.parametrize(("cut", "torn"), [(1, True), (40, True), (200, True)])
def test_a_torn_last_line_is_told_and_left_out(cut: int, torn: bool, tmp_path: Path) -> None:
    path = write(tmp_path, story(seal=False)) / "journal.jsonl"
    data = path.read_bytes()
    path.write_bytes(data[:-cut])
    report = verify(tmp_path)
    assert (report.at, report.events) == (2, 2)
    assert report.problem.startswith("The line ")
    assert report.problem.endswith("a resume would cut it off, keep it beside and note it.") is torn
    assert [stamped.n for stamped in read(tmp_path)] == [0, 1]


@pytest.mark.parametrize(("after", "torn"), [
    ([], True),
    ([{"n": 3, "mono": 2.0}, {"n": 4, "mono": 2.0}], True),  # one append, one stamp
    ([{"n": 3, "mono": 2.0}, {"n": 4, "mono": 2.5}], False),  # two appends: the first of them was acknowledged
    ([{"n": 1, "mono": 2.0}], False),
    ([{"n": 2, "mono": 2.0}], False),
    ([{"n": 3, "mono": 2.0, "kind": "Nonsense"}], False),
])
def test_a_torn_tail_is_one_append_and_nothing_else(after: list[Entry], torn: bool, tmp_path: Path) -> None:
    path = write(tmp_path, story(seal=False)) / "journal.jsonl"
    good = path.read_bytes()
    rest = b""
    for fields in after:
        whole = {**entry(Tone("heard"), 2.0), "prev": "0" * 64, **fields}
        rest += as_line(canonical(whole))[0]
    path.write_bytes(good[:-1] + b"X\n" + rest)  # the third line is no line any more
    broken = Broken(2, len(b"".join(good.splitlines(keepends=True)[:2])), "torn")
    tail = torn_tail(path, broken)
    assert (tail is not None) is torn
    if tail is not None:
        assert (tail.at, tail.size, tail.why) == (broken.at, path.stat().st_size - broken.at, "torn")


def test_a_whole_line_that_should_not_stand_there_is_no_torn_tail(tmp_path: Path) -> None:
    path = write(tmp_path, changed(2, n=7)(story(seal=False))) / "journal.jsonl"
    at = len(b"".join(path.read_bytes().splitlines(keepends=True)[:2]))
    assert torn_tail(path, Broken(2, at, "the line")) is None
    path = write(tmp_path, changed(2, kind="Nonsense")(story(seal=False))) / "journal.jsonl"
    assert torn_tail(path, Broken(2, at, "the line")) is None


def test_what_cannot_be_read_is_trouble_with_its_reason() -> None:
    """A file of the system whose first byte nobody may read."""
    place = Path("/proc/self/mem")
    if not place.exists():
        pytest.skip("only Linux has such a file")
    for act in (verify, read_list):
        with pytest.raises(Trouble, match=r"cannot be read: .*\. Check the disk and who may read it"):
            act(place)


DROPPED = TailDropped(40, "0" * 64, "attached/001-torn.bin")

# ---- the clock ------------------------------------------------------------------------------------------------------


def jumped(seconds: float, event: Any, at: float = 1.0) -> list[Entry]:
    """From event 1 on, the wall clock is `seconds` off what the count says."""
    shift = [entry(event, at), entry(Tone("x"), at + 1), entry(Sealed(0, ""), at + 2)]
    for one in shift:
        one["wall"] = (datetime.fromisoformat(one["wall"]) + timedelta(seconds=seconds)).isoformat(timespec="milliseconds")
    return [entry(OPENED, 0.0), *shift]


@pytest.mark.parametrize(("seconds", "event", "why"), [
    (2.0, Tone("x"), ""), (-2.0, Tone("x"), ""),
    (2.1, Tone("x"), "The wall clock was set forward by 2.1 s here and the record does not note it."),
    (-2.1, Tone("x"), "The wall clock was set back by 2.1 s here (the record does not note it)."),
    (-2.1, Resumed("interrupted"), "The wall clock was set back by 2.1 s here (the record does not note it)."),
    (-2.1, ClockMoved(-2.1), "The wall clock was set back by 2.1 s here (the record notes it)."),
])
def test_a_jump_of_the_wall_clock(seconds: float, event: Any, why: str, tmp_path: Path) -> None:
    report = verify(write(tmp_path, jumped(seconds, event)))
    assert report.problem == why
    assert report.at == (1 if why else None)


@pytest.mark.parametrize("event", [ClockMoved(90.0), Resumed("interrupted"), DROPPED])
def test_a_jump_forward_that_is_noted_is_a_remark(event: Any, tmp_path: Path) -> None:
    report = verify(write(tmp_path, jumped(90.0, event)), sound=False)
    assert report.holds
    assert report.remarks[-1] == "The wall clock jumped forward 1 times, noted each time. Order is by the count."


def test_every_jump_is_counted(tmp_path: Path) -> None:
    later = [entry(ClockMoved(90.0), at, wall=entry(OPENED, 90.0 * at)["wall"]) for at in (1.0, 2.0, 3.0)]
    assert verify(write(tmp_path, story(*later, seal=False))).remarks[-1].startswith("The wall clock jumped forward 3 times")


# ---- signatures -----------------------------------------------------------------------------------------------------


@pytest.fixture
def key(tmp_path: Path) -> keys.DeviceKey:
    return keys.make("van-7", tmp_path / "keys")


def signed_story(key: keys.DeviceKey) -> list[Entry]:
    return story(entry(SignedBy(key.device, key.public_key), 0.0), entry(Tone("a"), 1.0), entry(Tone("b"), 2.0))


def test_a_signed_record_names_its_signer(tmp_path: Path, key: keys.DeviceKey) -> None:
    folder = write(tmp_path / "v", signed_story(key), key)
    report = verify(folder, known=keys.known(tmp_path / "keys"), signed=True)
    assert report.holds
    assert report.signers == (f"van-7 ({key.public_key[:8]}…)",)
    assert report.all_signed
    assert report.remarks[0].startswith(f"Events 0 to 4: by van-7 (key {key.public_key[:8]}…), unchanged since")
    assert verify(folder, known={key.public_key: "the van"}).signers == (f"the van ({key.public_key[:8]}…)",)
    nobody = "No device's key is known here, so nothing says whose signature it is."
    assert nobody in verify(folder).remarks
    assert nobody not in verify(folder, known={key.public_key: "the van"}).remarks


@pytest.mark.parametrize("gap", [2, 4])
def test_an_event_between_that_is_not_signed_is_told_and_is_not_all_signed(
    gap: int, tmp_path: Path, key: keys.DeviceKey
) -> None:
    folder, known = write(tmp_path / "v", signed_story(key), key, (gap,)), {key.public_key: "the van"}
    report = verify(folder, known=known)
    assert not report.all_signed
    assert [(c.first, c.last) for c in report.covers if not c.key] == [(gap, gap)]
    judged = verify(folder, known=known, signed=True)
    assert (judged.at, judged.problem[:16]) == (gap, "It is not signed")


def test_a_signature_before_any_device_is_named(tmp_path: Path, key: keys.DeviceKey) -> None:
    entries = story()
    entries[1]["signature"] = "0" * 128
    assert first(verify(write(tmp_path / "v", entries))) == (1, "It is signed, but nothing says by which device.")


@pytest.mark.parametrize("at", [2, 3, 4])
def test_the_first_signature_that_is_false_is_found_from_the_last(at: int, tmp_path: Path, key: keys.DeviceKey) -> None:
    entries = signed_story(key)
    for n in range(at, len(entries)):
        entries[n]["signature"] = "0" * 128
    report = verify(write(tmp_path / "v", entries, key))
    assert first(report) == (at, "Its signature is not by the device that the record names: it was changed.")


def test_one_false_signature_in_the_middle_is_found_though_a_later_one_holds(tmp_path: Path, key: keys.DeviceKey) -> None:
    """Whoever signs later says that it stood so, not who wrote it."""
    entries = signed_story(key)
    entries[2]["signature"] = "0" * 128
    assert first(verify(write(tmp_path / "v", entries, key))) == (
        2, "Its signature is not by the device that the record names: it was changed.")  # fmt: skip


def test_a_known_key_is_asked_for_and_another_refused(tmp_path: Path, key: keys.DeviceKey) -> None:
    folder = write(tmp_path / "v", signed_story(key), key)
    assert first(verify(folder, known={"0" * 64: "other"})) == (
        1, "It is signed by 'van-7', whose key is not known here.")  # fmt: skip
    assert first(verify(folder, signed=True)) == (
        0, "It is signed, but no key is known here to judge it by; add one with 'handsfree keys'.")  # fmt: skip
    assert first(verify(write(tmp_path / "u", story()), signed=True)) == (0, "It is not signed.")


def test_two_devices_each_sign_their_part(tmp_path: Path, key: keys.DeviceKey) -> None:
    other = keys.make("van-8", tmp_path / "other")
    entries = signed_story(key)[:-1]
    write(tmp_path / "v", entries, key)
    prev = json.loads((tmp_path / "v" / "journal.jsonl").read_bytes().splitlines()[-1])["sha256"]
    more = []
    for event, at in ((SignedBy("van-8", other.public_key), 3.0), (Tone("c"), 4.0), (Sealed(len(entries) + 2, ""), 5.0)):
        one = {"n": len(entries) + len(more), "prev": prev, **entry(event, at)}
        if one["kind"] == "Sealed":
            one["event"]["head"] = prev
        one["signature"] = other.sign(canonical(one))
        line, prev = as_line(canonical(one))
        more.append(line)
    path = tmp_path / "v" / "journal.jsonl"
    good = path.read_bytes() + b"".join(more)
    path.write_bytes(good)
    report = verify(tmp_path / "v")
    assert report.holds
    assert report.signers == (f"van-7 ({key.public_key[:8]}…)", f"van-8 ({other.public_key[:8]}…)")
    stranger = keys.make("van-9", tmp_path / "stranger")
    false = [{**one, "signature": stranger.sign(canonical({"n": n, **one}))} if n == 3 else one
             for n, one in enumerate(entries)]  # fmt: skip
    write(tmp_path / "w", false, key)
    assert verify(tmp_path / "w").at == 3


def test_a_thousand_devices_are_too_many(tmp_path: Path, key: keys.DeviceKey, monkeypatch: pytest.MonkeyPatch) -> None:
    """With signatures of their own, and without: a claim must not fill the memory."""
    prev, lines = "", []
    for n in range(1002):
        one = keys.DeviceKey("d", Ed25519PrivateKey.generate())
        event = SignedBy("d", one.public_key) if n else OPENED
        whole = {"n": n, "prev": prev, **entry(event, 1.0)}
        line, prev = as_line(canonical({**whole, "signature": one.sign(canonical(whole))} if n else whole))
        lines.append(line)
    (tmp_path / "signed").mkdir()
    (tmp_path / "signed" / "journal.jsonl").write_bytes(b"".join(lines))
    assert first(verify(tmp_path / "signed")) == (1001, "More than 1000 devices claim to have signed it.")
    marks = [entry(SignedBy("d", f"{n:064x}"), 1.0) for n in range(1001)]
    report = verify(write(tmp_path / "v", [entry(OPENED, 0.0), *marks], None))
    assert "its signatures were removed" in report.problem
    assert len(report.signers) <= 1


# ---- files beside ---------------------------------------------------------------------------------------------------


def kept(folder: Path, name: str = "sound/00001.flac", data: bytes = b"sound", digest: str | None = None) -> Entry:
    from handsfree.journal.events import NoteKept

    (folder / "sound").mkdir(parents=True, exist_ok=True)
    if not name.startswith(".."):
        (folder / name).write_bytes(data)
    return entry(NoteKept(name, digest or hashlib.sha256(data).hexdigest(), "words"), 1.0)


def test_a_file_is_counted_and_judged_by_its_hash(tmp_path: Path) -> None:
    write(tmp_path, story(kept(tmp_path)))
    assert (verify(tmp_path).clips, verify(tmp_path).holds) == (1, True)
    (tmp_path / "sound" / "00001.flac").write_bytes(b"other")
    assert first(verify(tmp_path)) == (
        1, "Its file sound/00001.flac is not the one that was recorded: its hash differs.")  # fmt: skip
    assert verify(tmp_path, sound=False).holds
    assert verify(tmp_path, sound=False).clips == 1


def test_a_file_that_is_gone_a_link_or_a_folder(tmp_path: Path) -> None:
    write(tmp_path, story(kept(tmp_path)))
    place = tmp_path / "sound" / "00001.flac"
    place.rename(tmp_path / "elsewhere")
    assert first(verify(tmp_path)) == (
        1, "Its file sound/00001.flac is missing, and no mark says that it was removed.")  # fmt: skip
    place.symlink_to(tmp_path / "elsewhere")
    assert first(verify(tmp_path)) == (1, "Its file sound/00001.flac is a link, not the file.")
    place.unlink()
    place.mkdir()
    assert first(verify(tmp_path)) == (1, "Its file sound/00001.flac is a folder.")


def test_of_several_missing_files_the_first_is_named(tmp_path: Path) -> None:
    two = [kept(tmp_path, f"sound/0000{n}.flac") for n in (2, 1)]
    write(tmp_path, story(*two))
    for path in (tmp_path / "sound").iterdir():
        path.unlink()
    assert verify(tmp_path, sound=False).clips == 2
    assert verify(tmp_path).problem.startswith("Its file sound/00002.flac is missing")
    assert verify(tmp_path).at == 1


def test_a_file_outside_the_folder_is_refused_unopened(tmp_path: Path) -> None:
    report = verify(write(tmp_path / "v", story(kept(tmp_path / "v", "../x"))))
    assert first(report) == (1, "It names a file outside its folder: '../x'.")


def test_a_removal_needs_its_mark_with_the_hash(tmp_path: Path) -> None:
    note = kept(tmp_path)
    digest = note["event"]["clip_sha256"]
    (tmp_path / "sound" / "00001.flac").unlink()

    def marked(name: str, said: str) -> VerifyReport:
        return verify(write(tmp_path, story(note, entry(SoundRemoved(((name, said),), "age"), 2.0))))

    report = marked("sound/00001.flac", digest)
    assert report.holds
    assert (report.clips, report.removed) == (1, 1)
    assert "At event 2 the sound of 1 events was removed, under no key, with no right that is known here." in report.remarks
    assert first(marked("sound/00001.flac", "0" * 64)) == (
        2, "It says sound/00001.flac was removed, but not with the hash that event 1 gave it.")  # fmt: skip
    assert "is missing" in marked("sound/00009.flac", digest).problem
    both = tuple((f"sound/0000{n}.flac", digest) for n in (1, 2))
    notes = [kept(tmp_path), kept(tmp_path, "sound/00002.flac")]
    for name, _ in both:
        (tmp_path / name).unlink()
    assert verify(write(tmp_path, story(*notes, entry(SoundRemoved(both, "age"), 2.0)))).removed == 2


# ---- what was noted elsewhere ---------------------------------------------------------------------------------------


def test_what_was_noted_elsewhere_finds_a_cut_end(tmp_path: Path) -> None:
    folder = write(tmp_path, story())
    heads = [json.loads(line)["sha256"] for line in (folder / "journal.jsonl").read_bytes().splitlines()]
    for head in heads:
        assert verify(folder, head=head).holds
    assert verify(folder, events=4).holds
    assert first(verify(folder, events=5)) == (4, "It ends here, but 5 events were noted: its end was cut off.")
    assert first(verify(folder, head="0" * 64)) == (
        4, "No event in it has the head hash that was noted: it was cut off or rewritten.")  # fmt: skip
