"""What the desk noted, held against it by somebody outside: by a proof of one visit, or by a tree head kept elsewhere."""

from __future__ import annotations

import io
import json
import shutil
from pathlib import Path

import pytest
from rich.console import Console

from handsfree.desk import commands
from handsfree.desk.configuration import Desk
from handsfree.desk.heads import FILE, TREE, Heads
from handsfree.desk.refreshing import read_folders
from handsfree.desk.serve import DeskOptions
from handsfree.errors import Trouble
from handsfree.journal import commands as record
from handsfree.journal.keys import make, trust
from tests.desk.browsing import signed_in
from tests.desk.made import Made, another_of


def told(folder: Path, proof: Path, keys: Path) -> str:
    out = io.StringIO()
    record.verify(folder, proof=proof, keys_folder=keys, console=Console(file=out, width=900))
    return out.getvalue()


def test_a_proof_from_the_desk_is_held_against_a_record_elsewhere(desk: Desk, season: Made, tmp_path: Path) -> None:
    desk.key = make("desk-1", tmp_path / "keys")
    read_folders(desk)
    one, other = season.folders["once"], season.folders["back"]
    desk.heads.note(*[(f.name, _events(f), _head(f)) for f in (one, other)], by="van-1")
    proof = tmp_path / "proof.json"
    proof.write_bytes(signed_in(desk, "Vera").get(f"/visits/{one.name}/proof").content)
    trust("desk-1", desk.key.public_key, tmp_path / "outside")
    said = told(one, proof, tmp_path / "outside")
    assert "The desk's ledger has the head of its event" in said
    assert "by desk-1" in said
    assert "under no key that is known here" in told(one, proof, tmp_path / "nobody")
    shorter = another_of(one, tmp_path, without=9)
    for folder, why in ((other, "another record"), (shorter, "another record")):
        with pytest.raises(Trouble, match=why) as caught:
            told(folder, proof, tmp_path / "outside")
        assert caught.value.status == 3
    data = json.loads(proof.read_bytes())
    renamed = {**data, "leaf": data["leaf"].replace(one.name, other.name)}
    for changed in ({**data, "at": data["at"] + 1}, renamed, [], {}, "x"):
        proof.write_text(json.dumps(changed))
        with pytest.raises(Trouble, match="proves nothing"):
            told(one, proof, tmp_path / "outside")
    data["tree"] |= {"signature": "", "size": data["tree"]["size"]}
    proof.write_text(json.dumps(data))
    assert "under no key" in told(one, proof, tmp_path / "outside"), "a tree without its signature is nobody's word"


def _events(folder: Path) -> int:
    return len((folder / "journal.jsonl").read_bytes().splitlines())


def _head(folder: Path) -> str:
    return (folder / "journal.jsonl").read_bytes()[-67:-3].decode()


def test_a_ledger_rolled_back_together_with_its_tree_head_is_told_by_one_kept_elsewhere(
    season: Made, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    visits = tmp_path / "visits"
    shutil.copytree(season.visits, visits)
    asked, own = DeskOptions(visits), visits / ".desk"
    commands.check(asked)
    assert "5 noted heads" in capsys.readouterr().out
    kept = shutil.copy(own / TREE, tmp_path / "kept.json")
    commands.check(asked, kept)
    Heads(own).note(("another", 1, "0" * 64), by="test")
    commands.check(asked, kept)
    capsys.readouterr()
    (own / FILE).write_bytes(b"".join((own / FILE).read_bytes().splitlines(keepends=True)[:3]))
    _write_again(own)
    gone = visits / sorted(path.name for path in visits.iterdir() if path.name[0] != ".")[-1]
    shutil.rmtree(gone)  # what somebody rolls a ledger back for
    with pytest.raises(Trouble, match="rolled back") as caught:
        commands.check(asked, kept)
    assert caught.value.status == 3
    with pytest.raises(Trouble, match="no tree head"):
        commands.check(asked, own / FILE)


def _write_again(own: Path) -> None:
    """The tree head that fits the ledger as it is now: whoever rolls it back can work it out."""
    from handsfree.journal import ledger

    lines = (own / FILE).read_bytes().splitlines(keepends=True)
    root = ledger.root([ledger.leaf_hash(line) for line in lines]).hex()
    (own / TREE).write_text(json.dumps({"size": len(lines), "root": root, "wall": "2026-01-01T00:00:00+00:00"}))
