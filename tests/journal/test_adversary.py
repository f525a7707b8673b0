"""What somebody could do to a record, or what simply befalls one, and what every reader must then say. Each does it to a
whole visit with the program's own tools or with an editor, and reads what a supervisor would read."""

from __future__ import annotations

import dataclasses
import io
import json
import re
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from handsfree.errors import Trouble
from handsfree.journal import commands, exports
from handsfree.journal.account import account
from handsfree.journal.canonical import line_of, unsigned_bytes
from handsfree.journal.events import Closed, NoteKept, Opened, ReadingTaken, Resumed, SignedBy, Stamped
from handsfree.journal.findings import GOES_ON_UNSIGNED, NOT_SIGNED
from handsfree.journal.keys import DeviceKey, make, trust
from handsfree.journal.page import visit_page
from handsfree.journal.prune import prune_visits
from handsfree.journal.reader import JOURNAL
from handsfree.journal.replay import replay, wish
from handsfree.journal.service import report_markdown, service
from handsfree.journal.verify import verify
from handsfree.journal.writer import Journal
from tests.journal.made import TestClock, read_list, write_visit

VISIT = "2026-02-11-kiosk-4"


@dataclasses.dataclass(frozen=True)
class Trusted:
    """Two devices that the reader trusts, and the folder that says so."""

    folder: Path
    one: DeviceKey
    two: DeviceKey

    @property
    def known(self) -> dict[str, str]:
        return {self.one.public_key: "van-1", self.two.public_key: "van-2"}


@pytest.fixture
def trusted(tmp_path: Path) -> Trusted:
    one, two = make("van-1", tmp_path / "k1"), make("van-2", tmp_path / "k2")
    for name, key in (("van-1", one), ("van-2", two)):
        trust(name, key.public_key, tmp_path / "desk")
    return Trusted(tmp_path / "desk", one, two)


def lines_of(folder: Path) -> list[bytes]:
    return (folder / JOURNAL).read_bytes().splitlines(keepends=True)


def put(folder: Path, lines: list[bytes]) -> None:
    (folder / JOURNAL).write_bytes(b"".join(lines))


def told(folder: Path, known: dict[str, str] | None = None) -> str:
    """What the terminal shows of it."""
    out = io.StringIO()
    replay(account(folder, known=known), wish(None, None, None), Console(file=out, width=500))
    return out.getvalue()


def verdict(folder: Path, trusted: Trusted, **more: Any) -> tuple[str, int]:
    """What `handsfree verify` prints or is stopped by, and its exit status."""
    out = io.StringIO()
    try:
        commands.verify(folder, keys_folder=trusted.folder, console=Console(file=out, width=500), **more)
    except Trouble as trouble:
        return out.getvalue() + trouble.sentence, trouble.status
    return out.getvalue(), 0


def written_anew(entries: list[Stamped], key: DeviceKey | None = None) -> list[bytes]:
    """The lines of events given a new chain, and new signatures where there is a key: a forger's whole rewrite."""
    lines, prev, signing = [], "", False
    for n, entry in enumerate(entries):
        entry = dataclasses.replace(entry, n=n, prev=prev, signature="")
        signing = signing or isinstance(entry.event, SignedBy)
        if key is not None and signing:
            entry = dataclasses.replace(entry, signature=key.sign(unsigned_bytes(entry)))
        line, prev = line_of(entry)
        lines.append(line)
    return lines


# ---- the sound of a visit is removed months later -------------------------------------------------------------------


def test_removing_sound_makes_no_record_signed_and_nobody_longer_on_site(tmp_path: Path, trusted: Trusted) -> None:
    folder = write_visit(tmp_path / VISIT)
    before = account(folder)
    late = TestClock(began=datetime(2026, 6, 25, 12, 0, tzinfo=UTC))
    done = list(prune_visits(folder, timedelta(days=90), now=late.wall(), key=trusted.one, clock=late))
    assert done[0].removed > 0
    after = account(folder, known=trusted.known)
    assert after.on_site == before.on_site
    assert after.lasted == before.lasted
    assert after.spans[-1].end == before.spans[-1].end
    assert [s for s in report_markdown(service(after)).splitlines() if "Time on site" in s] == [
        s for s in report_markdown(service(before)).splitlines() if "Time on site" in s
    ]
    said, status = verdict(folder, trusted, signed=True)
    assert status == 3
    assert "event 0" in said
    said, status = verdict(folder, trusted)
    assert status == 0
    assert f"Events 0 to {before.report.events - 1}: under no key" in said
    assert "van-1" in said
    assert re.search(r"\b134\b", told(folder, trusted.known).split("╯")[0]) is None  # days; a key may have these figures


# ---- cut off, and taken up again ------------------------------------------------------------------------------------


def test_a_signed_record_cut_at_any_event_and_taken_up_again_is_not_all_signed(tmp_path: Path, trusted: Trusted) -> None:
    whole = write_visit(tmp_path / "made" / VISIT, key=trusted.one)
    report = verify(whole, known=trusted.known, signed=True)
    assert report.holds
    count = len(lines_of(whole))
    for at in range(3, count - 1, 3):
        folder = tmp_path / f"cut{at}" / VISIT
        shutil.copytree(whole, folder)
        put(folder, lines_of(whole)[:at])
        with Journal.resume(folder, clock=TestClock(at=9000.0), key=trusted.one) as journal:
            journal.append(Resumed("interrupted"))
            journal.append(Closed("fixed"))
            journal.seal()
        assert verify(folder, known=trusted.known, sound=False).holds
        cut = verify(folder, known=trusted.known, signed=True, sound=False)
        assert not cut.holds
        assert cut.at == at
        assert "there is no seal before" in cut.problem
        assert any(join.n == at and not join.sealed for join in cut.joins)
        assert not verify(folder, known=trusted.known, sound=False, head=report.head).holds
        assert not verify(folder, known=trusted.known, sound=False, words=report.words).holds
    assert any(f.rule == "end may be cut" for f in account(folder).findings)


def test_who_gives_the_words_they_noted_is_told_whether_they_are_of_the_end(tmp_path: Path, trusted: Trusted) -> None:
    folder = write_visit(tmp_path / VISIT, key=trusted.one)
    before = verify(folder, known=trusted.known)
    assert "That is what you noted." in verdict(folder, trusted, words=before.words)[0]
    assert "That is what you noted." in verdict(folder, trusted, head=before.head)[0]
    with Journal.resume(folder, clock=TestClock(at=9000.0), key=trusted.one) as journal:
        journal.append(Closed("fixed"))
        journal.seal()
    for noted in ({"words": before.words}, {"head": before.head}):
        text, status = verdict(folder, trusted, **noted)
        assert status == 0
        assert "of an earlier end of this record; it went on after that" in text


def test_a_stop_that_was_sealed_and_taken_up_again_is_all_signed(tmp_path: Path, trusted: Trusted) -> None:
    folder = write_visit(tmp_path / VISIT, key=trusted.one)
    with Journal.resume(folder, clock=TestClock(at=9000.0), key=trusted.one) as journal:
        journal.append(Resumed("stopped"))
        journal.append(Closed("fixed"))
        journal.seal()
    assert verify(folder, known=trusted.known, signed=True).holds


def test_what_stood_in_a_torn_end_is_shown(tmp_path: Path, trusted: Trusted) -> None:
    """A denied gate, its first line damaged so that the resume takes it for what a crash left."""
    folder = write_visit(tmp_path / VISIT, key=trusted.one)
    lines = lines_of(folder)
    at = next(n for n, line in enumerate(lines) if b'"reason":"wrong number"' in line)
    torn = [*lines[:at], lines[at][:40] + b"#" + lines[at][41:], lines[at + 1]]
    put(folder, torn)
    with Journal.resume(folder, clock=TestClock(at=9000.0), key=trusted.one) as journal:
        journal.append(Resumed("interrupted"))
        journal.seal()
    text = told(folder, trusted.known)
    assert "never acknowledged" not in text
    assert "the number was not theirs" in text or "wrong number" in text


def test_a_signed_visit_taken_up_without_its_key_is_told_where(tmp_path: Path, trusted: Trusted) -> None:
    folder = write_visit(tmp_path / VISIT, key=trusted.one)
    count = len(lines_of(folder))
    with Journal.resume(folder, clock=TestClock(at=9000.0)) as journal:
        journal.append(Resumed("stopped"))
        journal.append(Closed("fixed"))
        journal.seal()
    said, status = verdict(folder, trusted)
    assert status == 0
    assert f"Events 0 to {count - 1}: by van-1" in said
    assert f"Events {count} to {count + 2}: under no key" in said
    said, status = verdict(folder, trusted, signed=True)
    assert status == 3
    assert f"event {count}" in said


# ---- signatures taken away, or put anew -----------------------------------------------------------------------------


def test_stripped_of_signatures_and_changed_it_is_nobodys_word(tmp_path: Path, trusted: Trusted) -> None:
    folder = write_visit(tmp_path / VISIT, key=trusted.one)
    honest = verify(folder, known=trusted.known)
    changed = [
        dataclasses.replace(e, event=dataclasses.replace(e.event, value=3.0)) if isinstance(e.event, ReadingTaken) else e
        for e in read_list(folder)
        if not isinstance(e.event, SignedBy)
    ]
    sealed = dataclasses.replace(changed[-1].event, events=len(changed) - 1)
    lines = written_anew(changed[:-1])
    sealed = dataclasses.replace(sealed, head=lines[-1][-67:-3].decode())
    put(folder, written_anew([*changed[:-1], dataclasses.replace(changed[-1], event=sealed)]))
    said, status = verdict(folder, trusted)
    assert status == 0
    assert "The record is intact" not in said
    assert "under no key" in said
    assert "were removed" in said
    assert verdict(folder, trusted, signed=True)[1] == 3
    assert verdict(folder, trusted, words=honest.words)[1] == 3
    assert verdict(folder, trusted, head=honest.head)[1] == 3
    assert "The record is intact" not in told(folder, trusted.known)


def test_signatures_taken_away_show_where_the_signer_is_still_named(tmp_path: Path, trusted: Trusted) -> None:
    """The writer signs the event that names the signer: without that it is no honest record of any kind."""
    folder = write_visit(tmp_path / VISIT, key=trusted.one)
    bare = [dataclasses.replace(entry, signature="") for entry in read_list(folder)]
    sealed = dataclasses.replace(bare[-1].event, head=written_anew(bare[:-1])[-1][-67:-3].decode())
    put(folder, written_anew([*bare[:-1], dataclasses.replace(bare[-1], event=sealed)]))
    said, status = verdict(folder, trusted)
    assert status == 3
    assert "its signatures were removed" in said


def test_what_was_pruned_is_not_called_as_it_was(tmp_path: Path, trusted: Trusted) -> None:
    folder = write_visit(tmp_path / VISIT, key=trusted.one)
    assert "files beside it are as they were recorded" in verdict(folder, trusted)[0]
    pruned = prune_visits(tmp_path, timedelta(0), now=datetime(2030, 1, 1, tzinfo=UTC), key=trusted.one)
    [removed] = [one.removed for one in pruned]
    assert removed > 0
    assert "as they were recorded" not in verdict(folder, trusted)[0]


def test_signed_again_by_another_trusted_device_every_reader_names_that_one(tmp_path: Path, trusted: Trusted) -> None:
    folder = write_visit(tmp_path / VISIT, key=trusted.one)
    honest = verify(folder, known=trusted.known)
    claimed = [
        dataclasses.replace(e, event=SignedBy("van-1", trusted.two.public_key)) if isinstance(e.event, SignedBy) else e
        for e in read_list(folder)[:-1]
    ]
    put(folder, written_anew(claimed, trusted.two))
    with Journal.resume(folder, clock=TestClock(at=9000.0), key=trusted.two) as journal:
        journal.seal()
    said, _ = verdict(folder, trusted)
    assert "by van-2" in said
    assert "by van-1" not in said
    shown = told(folder, trusted.known)
    assert "Signed by van-1" not in shown
    assert "van-2" in shown
    assert "calls itself van-1" in said + shown
    assert not verify(folder, known=trusted.known, words=honest.words).holds


def test_signatures_that_are_nobodys_are_found_wherever_they_stand(tmp_path: Path, trusted: Trusted) -> None:
    """Only the last of a device vouched for all before it; garbage before passed."""
    folder = write_visit(tmp_path / VISIT, key=trusted.one)
    entries = read_list(folder)[:-1]
    lines, prev = [], ""
    for n, entry in enumerate(entries):
        entry = dataclasses.replace(entry, n=n, prev=prev, signature="")
        if n:
            sign = trusted.one.sign(unsigned_bytes(entry))
            entry = dataclasses.replace(entry, signature="ab" * 64 if n == 5 else sign)
        line, prev = line_of(entry)
        lines.append(line)
    put(folder, lines)
    report = verify(folder, known=trusted.known, sound=False)
    assert report.at == 5
    assert "signature" in report.problem


# ---- where it lies --------------------------------------------------------------------------------------------------


def test_a_renamed_folder_is_told(tmp_path: Path, trusted: Trusted) -> None:
    folder = write_visit(tmp_path / "2026-03-01-another-visit", key=trusted.one)
    said, _ = verdict(folder, trusted)
    assert "renamed or copied" in said
    assert VISIT in said
    assert "renamed or copied" in told(folder, trusted.known)
    assert verify(write_visit(tmp_path / VISIT), known={}).renamed == ""


# ---- what is in it reaches a screen ---------------------------------------------------------------------------------

ESCAPE = "\x1b]0;pwned\x07\x1b[2J\u202eevil"


def test_no_control_of_a_terminal_comes_out_of_a_record(tmp_path: Path, trusted: Trusted) -> None:
    folder = tmp_path / VISIT
    opened = Opened(VISIT, "kiosk-warm", "en", f"A{ESCAPE}", f"S{ESCAPE}", f"C{ESCAPE}", "0.1", "typed")
    with Journal.create(folder, clock=TestClock()) as journal:
        journal.append(opened)
        journal.append(NoteKept("", "", f"note {ESCAPE}", 2.0))
        journal.append(Closed("fixed", None, f"text {ESCAPE}"))
        journal.seal()
    for text in (told(folder), verdict(folder, trusted)[0], report_markdown(service(account(folder)))):
        assert not [c for c in text if not c.isprintable() and c != "\n"]


# ---- damage ---------------------------------------------------------------------------------------------------------


def damaged(tmp_path: Path, trusted: Trusted, at: int = 7) -> tuple[Path, list[Stamped]]:
    folder = write_visit(tmp_path / VISIT, key=trusted.one)
    honest = read_list(folder)
    lines = lines_of(folder)
    begin = lines[at].index(b'"event":{') + 12
    lines[at] = lines[at][:begin] + bytes([lines[at][begin] ^ 1]) + lines[at][begin + 1 :]
    put(folder, lines)
    return folder, honest


def test_one_changed_byte_hides_nothing_that_follows(tmp_path: Path, trusted: Trusted) -> None:
    folder, honest = damaged(tmp_path, trusted)
    assert verify(folder, known=trusted.known).at == 7
    seen = account(folder, known=trusted.known)
    assert len(seen.entries) == 7
    assert [e.n for e in seen.after] == [e.n for e in honest[8:]]
    assert {row.n for row in seen.rows if row.unverified} >= {7}
    text = told(folder, trusted.known)
    assert "The fan is seized." in text
    assert "unverified" in text
    assert text.index("unverified") < text.index("The fan is seized.")
    html = visit_page(seen)
    assert "The fan is seized." in html
    assert "unverified" in html
    rows = list(exports.reading_rows([*seen.entries, *seen.after], seen.report.at))
    assert [r["record"] for r in rows] == ["unverified"] * 2
    paper = report_markdown(service(seen))
    assert paper.index("BROKEN") < paper.index("Site")
    assert "The fan is seized." not in paper.split("## Fault")[1].split("##")[0]


def test_exports_give_what_follows_a_break_marked(tmp_path: Path, trusted: Trusted) -> None:
    folder, honest = damaged(tmp_path, trusted)
    out = tmp_path / "events.jsonl"
    with pytest.raises(Trouble) as caught:
        commands.export(folder, "events", out, console=Console(file=io.StringIO()))
    assert caught.value.status == 3
    lines = [json.loads(line) for line in out.read_text(encoding="utf-8").splitlines()]
    assert {entry["n"] for entry in lines} == {e.n for e in honest} - {7}
    assert [entry.get("unverified", False) for entry in lines] == [entry["n"] > 7 for entry in lines]


# ---- what is not broken is not called so ----------------------------------------------------------------------------


def test_a_record_that_is_not_signed_or_not_closed_is_not_called_broken(tmp_path: Path, trusted: Trusted) -> None:
    """`--signed` asks for more than a whole record; and a visit that still goes on has no seal yet."""
    for name, key in (("plain", None), ("signed", trusted.one)):
        said, status = verdict(write_visit(tmp_path / name / VISIT, key=key), trusted, signed=True)
        assert (status, "broken" in said) == (0 if key else 3, False)
        assert key or "is not what --signed asks for, from event 0 on" in said
        said, status = verdict(write_visit(tmp_path / f"{name} open" / VISIT, key=key, seal=False), trusted)
        assert (status, "broken" in said) == (3, False)
        assert "It ends without a seal" in said


# ---- signatures that are not there ----------------------------------------------------------------------------------


def goes_on(folder: Path, key: DeviceKey | None) -> None:
    with Journal.resume(folder, clock=TestClock(at=9000.0), key=key) as journal:
        journal.append(Resumed("stopped"))
        journal.seal()


def unsigned_rules(folder: Path, known: dict[str, str]) -> list[tuple[str, int]]:
    rules = (GOES_ON_UNSIGNED, NOT_SIGNED)
    return [(one.rule, one.n) for one in account(folder, known=known).findings if one.rule in rules]


def test_where_keys_are_known_a_reader_is_told_what_none_of_them_signed(tmp_path: Path, trusted: Trusted) -> None:
    """A record whose signatures were taken away and a reading changed stood in the desk's list as good as any."""
    whole = write_visit(tmp_path / "whole" / VISIT, key=trusted.one)
    bare = write_visit(tmp_path / "bare" / VISIT)
    assert unsigned_rules(whole, trusted.known) == []
    assert unsigned_rules(bare, trusted.known) == [(NOT_SIGNED, 0)]
    assert unsigned_rules(whole, {trusted.two.public_key: "van-2"}) == [], "that is a record that does not hold"
    assert unsigned_rules(bare, {}) == [], "nobody here could sign"
    count = len(lines_of(whole))
    goes_on(whole, None)
    assert unsigned_rules(whole, trusted.known) == [(GOES_ON_UNSIGNED, count)]
    goes_on(bare, trusted.one)
    assert unsigned_rules(bare, trusted.known) == [], "its key vouches for what it found"
