"""How much a person wants to hear is remembered; a file that is none is no reason to stop."""

from __future__ import annotations

from pathlib import Path

from handsfree.visit import habits
from handsfree.visit.state import Form


def test_each_person_has_their_own_form(tmp_path: Path) -> None:
    kept = tmp_path / "new" / "forms.json"
    assert habits.form_of("R. Amstad", kept) == ""
    habits.remember("R. Amstad", Form.SHORT, kept)
    habits.remember("M. Aldermatt", Form.FULL, kept)
    assert (habits.form_of("R. Amstad", kept), habits.form_of("M. Aldermatt", kept)) == ("short", "full")


def test_what_cannot_be_read_is_the_usual_form(tmp_path: Path) -> None:
    kept = tmp_path / "forms.json"
    for text in ("", "[]", '{"R. Amstad": "loud"}', "\ufffd{"):
        kept.write_text(text, encoding="utf-8")
        assert habits.form_of("R. Amstad", kept) == ""
    habits.remember("R. Amstad", Form.SHORT, tmp_path / "forms.json" / "no-folder.json")
