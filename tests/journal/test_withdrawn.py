"""A device's key that was withdrawn: what it signed before still holds where something kept outside the device shows that it
was before, and nothing else does. The times in a record are no such thing: who has the key writes them as he likes."""

from __future__ import annotations

import io
import json
from dataclasses import asdict, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from rich.console import Console

from handsfree.desk.heads import Heads
from handsfree.errors import Trouble
from handsfree.journal import commands, keys, ledger
from handsfree.journal.account import account
from handsfree.journal.canonical import as_line, canonical
from handsfree.journal.findings import BROKEN, WITHDRAWN
from handsfree.journal.page import visit_page
from handsfree.journal.prune import prune_visits
from handsfree.journal.rights import KeptHead, Rights, Withdrawn
from handsfree.journal.service import report_markdown, service
from handsfree.journal.tongue import say_in
from handsfree.journal.tree_heads import TreeHead
from handsfree.journal.verdicts import VerifyReport
from handsfree.journal.verify import verify
from tests.journal.made import TestClock, write_visit
from tests.journal.test_adversary import VISIT, Trusted, lines_of, trusted
from tests.journal.test_forged import taken_up
from tests.journal.test_tongue import english_in

__all__ = ["trusted"]
DAY = "2026-05-20T08:00:00+00:00"
BEFORE, AFTER = "2026-05-19T08:00:00+00:00", "2026-05-21T08:00:00+00:00"


def rights_of(trusted: Trusted) -> Rights:
    return Rights(withdrawn={trusted.one.public_key: Withdrawn("van-1", DAY)})


def judged(folder: Path, trusted: Trusted, *kept: KeptHead, signed: bool = True) -> VerifyReport:
    known = {trusted.two.public_key: "van-2"}
    return verify(folder, known=known, rights=rights_of(trusted), kept=kept, signed=signed)


def head_of(folder: Path, event: int) -> str:
    return lines_of(folder)[event][-67:-3].decode()


def note_of(folder: Path, wall: str, event: int = -1) -> KeptHead:
    lines = lines_of(folder)
    event = event % len(lines)
    return KeptHead(event + 1, head_of(folder, event), wall)


def test_what_the_ledger_kept_before_the_withdrawal_holds_and_says_so(tmp_path: Path, trusted: Trusted) -> None:
    folder = write_visit(tmp_path / VISIT, key=trusted.one)
    report = judged(folder, trusted, note_of(folder, BEFORE))
    assert report.holds
    assert report.all_signed
    assert "signed by a key withdrawn on 2026-05-20 08:00, before that" in report.verdict
    assert any("withdrawn on 2026-05-20 08:00" in line and "kept outside on 2026-05-19 08:00" in line
               for line in report.remarks)


@pytest.mark.parametrize("wall", [None, DAY, AFTER])
def test_without_a_note_from_before_nobody_can_tell(tmp_path: Path, trusted: Trusted, wall: str | None) -> None:
    """The record itself says 2026-02-11, long before the withdrawal: whoever has the key can write that."""
    folder = write_visit(tmp_path / VISIT, key=trusted.one)
    report = judged(folder, trusted, *([note_of(folder, wall)] if wall else []), signed=False)
    assert not report.holds
    assert "whether it was signed before" in report.problem
    assert "BROKEN" not in report.verdict
    assert "CANNOT BE TOLD" in report.verdict
    assert not any(cover.trusted for cover in report.covers)
    assert ("2026-05-21" in report.problem) == (wall == AFTER)


def test_a_note_on_another_record_of_this_name_shows_nothing(tmp_path: Path, trusted: Trusted) -> None:
    """The true visit was noted; with the stolen key another one is written in its place, dated back."""
    folder = write_visit(tmp_path / "true" / VISIT, key=trusted.one)
    forged = tmp_path / "forged" / VISIT
    write_visit(forged, key=trusted.one, clock=TestClock(at=400.0))
    assert not judged(forged, trusted, note_of(folder, BEFORE), signed=False).holds


def test_what_the_key_signed_behind_the_note_does_not_hold(tmp_path: Path, trusted: Trusted) -> None:
    """The visit was noted, the key stolen, and the record grown under it."""
    folder = write_visit(tmp_path / VISIT, key=trusted.one)
    kept, events = note_of(folder, BEFORE), len(lines_of(folder))
    taken_up(folder, trusted.one, 9000.0)
    report = judged(folder, trusted, kept, note_of(folder, AFTER), signed=False)
    assert (report.holds, report.at) == (False, events)
    assert f"to event {events - 1}" in report.problem


def test_a_visit_goes_on_under_another_key(tmp_path: Path, trusted: Trusted) -> None:
    """The first part was noted in time; the rest is by a key that counts."""
    folder = write_visit(tmp_path / VISIT, key=trusted.one)
    kept = note_of(folder, BEFORE)
    taken_up(folder, trusted.two, 9000.0)
    report = judged(folder, trusted, kept, note_of(folder, AFTER))
    assert report.holds
    assert report.all_signed
    assert not judged(folder, trusted, note_of(folder, AFTER)).holds


def test_of_two_notes_the_last_before_the_withdrawal_counts(tmp_path: Path, trusted: Trusted) -> None:
    folder = write_visit(tmp_path / VISIT, key=trusted.one)
    half, whole = note_of(folder, BEFORE, 5), note_of(folder, BEFORE)
    assert judged(folder, trusted, half, whole, note_of(folder, AFTER)).holds
    assert judged(folder, trusted, half, signed=False).at == 6


def test_sound_removed_by_a_key_then_trusted_was_removed_with_the_right(tmp_path: Path, trusted: Trusted) -> None:
    folder = write_visit(tmp_path / VISIT, key=trusted.one)
    events, late = len(lines_of(folder)), TestClock(began=datetime(2030, 1, 1, tzinfo=UTC))
    list(prune_visits(folder, timedelta(days=90), now=late.wall(), key=trusted.one, clock=late))
    assert judged(folder, trusted, note_of(folder, BEFORE)).removals[-1].right
    short = note_of(folder, BEFORE, events - 1)
    assert not judged(folder, trusted, short, signed=False).removals[-1].right


def test_views_say_that_it_cannot_be_told_and_not_that_it_is_broken(tmp_path: Path, trusted: Trusted) -> None:
    folder = write_visit(tmp_path / VISIT, key=trusted.one)
    told = account(folder, known=trusted.known, rights=rights_of(trusted))
    assert [f.rule for f in told.findings if f.rule in (BROKEN, WITHDRAWN)] == [WITHDRAWN]
    for shown in (visit_page(told), report_markdown(service(told))):
        assert "BROKEN" not in shown
        assert "withdrawn" in shown


def test_it_is_told_in_spanish_too(tmp_path: Path, trusted: Trusted) -> None:
    folder, say = write_visit(tmp_path / VISIT, key=trusted.one), say_in("es")
    early = account(folder, known=trusted.known, rights=rights_of(trusted), kept=(note_of(folder, BEFORE),))
    late = account(folder, known=trusted.known, rights=rights_of(trusted), kept=(note_of(folder, AFTER),))
    never = account(folder, known=trusted.known, rights=rights_of(trusted))
    taken_up(folder, trusted.one, 9000.0)
    half = account(folder, known=trusted.known, rights=rights_of(trusted), kept=(note_of(folder, BEFORE, 5),))
    for told in (early, late, never, half):
        texts = [told.report.verdict, *told.report.remarks, service(told).warning,
                 *(text for f in told.findings if f.rule == WITHDRAWN for text in (f.rule, f.sentence))]
        assert [line for line in map(say, texts) if english_in(line)] == []


# ---- the keys of this machine -----------------------------------------------------------------------------------------


def said(folder: Path, **how: object) -> str:
    out = io.StringIO()
    commands.keys(keys_folder=folder, console=Console(file=out, width=900), **how)  # type: ignore[arg-type]  # told apart by name
    return out.getvalue()


def test_a_key_is_withdrawn_from_a_day_on(tmp_path: Path, trusted: Trusted) -> None:
    told = said(trusted.folder, withdraw="van-1", as_of="2026-05-20 08:00")
    assert "Withdrawn: van-1" in told
    assert "2026-05-20 08:00" in told
    assert keys.known(trusted.folder) == {trusted.two.public_key: "van-2"}
    found = keys.rights(trusted.folder).withdrawn[trusted.one.public_key]
    assert (found.device, found.wall[:16]) == ("van-1", "2026-05-20T08:00")
    mark = keys.mark_of(trusted.folder)
    said(trusted.folder, withdraw="van-1", as_of="2026-05-18")
    assert keys.rights(trusted.folder).withdrawn[trusted.one.public_key].wall.startswith("2026-05-18T00:00")
    assert keys.mark_of(trusted.folder) != mark, "a running desk sees it"
    said(trusted.folder, withdraw="van-2")
    now = datetime.fromisoformat(keys.rights(trusted.folder).withdrawn[trusted.two.public_key].wall)
    assert abs(now - datetime.now().astimezone()) < timedelta(minutes=2)


@pytest.mark.parametrize(("withdraw", "as_of", "why"), [
    ("van-9", None, "No key is known as 'van-9'"),
    ("van-1", "2999-01-01", "has not come yet"),
    ("van-1", "the day before", "is not a day"),
    ("van-3", "2026-05-22", "already withdrawn on 2026-05-20"),
    ("../van-1", None, "No key is known as"),
])  # fmt: skip
def test_what_cannot_be_withdrawn(tmp_path: Path, trusted: Trusted, withdraw: str, as_of: str | None, why: str) -> None:
    keys.trust("van-3", "0" * 64, trusted.folder)
    said(trusted.folder, withdraw="van-3", as_of="2026-05-20")
    with pytest.raises(Trouble, match=why):
        said(trusted.folder, withdraw=withdraw, as_of=as_of)
    with pytest.raises(Trouble, match="goes with --withdraw"):
        said(trusted.folder, as_of="2026-05-20")


def test_a_withdrawn_key_is_trusted_no_more_under_any_name(tmp_path: Path, trusted: Trusted) -> None:
    said(trusted.folder, withdraw="van-1")
    for name in ("van-1", "van-7"):
        with pytest.raises(Trouble, match="was withdrawn"):
            keys.trust(name, trusted.one.public_key, trusted.folder)
    new = keys.make("van-1", tmp_path / "new")
    keys.trust("van-1", new.public_key, trusted.folder)
    assert keys.known(trusted.folder)[new.public_key] == "van-1"
    said(trusted.folder, withdraw="van-1")
    assert set(keys.rights(trusted.folder).withdrawn) == {trusted.one.public_key, new.public_key}


def test_the_command_tells_by_a_proof_of_the_desk(tmp_path: Path, trusted: Trusted) -> None:
    """`verify --proof`: the desk's word, under a key known here, that it had this head before."""
    folder = write_visit(tmp_path / VISIT, key=trusted.one)
    desk = keys.make("desk-1", tmp_path / "desk-key")
    heads = Heads(tmp_path / "ledger", desk)
    heads.note((VISIT, len(lines_of(folder)), head_of(folder, -1)), by="van-1")
    proof = tmp_path / "proof.json"
    proof.write_text(json.dumps(heads.proof(VISIT)))
    out = io.StringIO()

    def verified(proof: Path | None) -> str:
        commands.verify(folder, proof=proof, keys_folder=trusted.folder, console=Console(file=out, width=900))
        return out.getvalue()

    path = trusted.folder / "trusted" / f"van-1.{trusted.one.public_key[:8]}.withdrawn"
    said(trusted.folder, withdraw="van-1")
    later = (datetime.now().astimezone() + timedelta(hours=1)).isoformat(timespec="seconds")
    path.write_text(f"{trusted.one.public_key}\nwithdrawn {later}\n")  # as it is an hour later
    for given in (None, proof):  # the desk's key is not known here yet: anybody could have made that proof
        with pytest.raises(Trouble, match="whether it was signed before") as caught:
            verified(given)
        assert caught.value.status == 3
        assert "broken" not in caught.value.sentence
    keys.trust("desk-1", desk.public_key, trusted.folder)
    assert "withdrawn on" in verified(proof)
    path.write_text(f"{trusted.one.public_key}\nwithdrawn {DAY}\n")
    with pytest.raises(Trouble, match="after that"):
        verified(proof)
    forged = Heads(tmp_path / "forged", trusted.one)  # by whoever has the stolen key
    forged.note((VISIT, len(lines_of(folder)), head_of(folder, -1)), by="van-1")
    path.write_text(f"{trusted.one.public_key}\nwithdrawn {later}\n")
    proof.write_text(json.dumps(forged.proof(VISIT)))
    with pytest.raises(Trouble, match="whether it was signed before"):
        verified(proof)
    named = heads.proof(VISIT)
    assert named is not None
    named["tree"] |= {"signature": ""}  # it names the desk's key, and nobody signed
    proof.write_text(json.dumps(named))
    with pytest.raises(Trouble, match="whether it was signed before"):
        verified(proof)


def test_a_key_that_its_file_calls_withdrawn_is_not_trusted(tmp_path: Path, trusted: Trusted) -> None:
    """Somebody wrote the line by hand into the file of a trusted key: that may not count for nothing."""
    path = trusted.folder / "trusted" / "van-1.pub"
    path.write_text(f"{trusted.one.public_key}\nwithdrawn {DAY}\n")
    with pytest.raises(Trouble, match=r"van-1\.pub"):
        keys.known(trusted.folder)


@pytest.mark.parametrize("wall", ["yesterday", "2026-05-19T08:00:00", "", "99999-01-01T00:00:00+00:00"])
def test_a_proof_whose_time_is_none_proves_nothing(tmp_path: Path, trusted: Trusted, wall: str) -> None:
    """It was a traceback, where a key of the record was withdrawn."""
    folder = write_visit(tmp_path / VISIT, key=trusted.one)
    line, _ = as_line(canonical({"n": 0, "visit": VISIT, "events": len(lines_of(folder)), "head": head_of(folder, -1),
                              "wall": wall, "by": "x", "prev": ""}))  # fmt: skip
    desk = keys.make("desk-1", tmp_path / "desk-key")
    keys.trust("desk-1", desk.public_key, trusted.folder)
    bare = TreeHead(1, ledger.root([ledger.leaf_hash(line)]).hex(), DAY, "desk-1", desk.public_key)
    tree = replace(bare, signature=desk.sign(bare.unsigned()))
    proof = tmp_path / "proof.json"
    proof.write_text(json.dumps({"tree": asdict(tree), "leaf": line.decode(), "at": 0, "path": []}))
    said(trusted.folder, withdraw="van-1")
    with pytest.raises(Trouble, match="proves nothing") as caught:
        commands.verify(folder, proof=proof, keys_folder=trusted.folder)
    assert caught.value.status == 3
