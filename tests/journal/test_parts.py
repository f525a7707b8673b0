"""Parts are what the procedure declares that a step puts in new, in its own language: not what a word of a sentence sounds
like."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.journal import events as ev
from handsfree.journal.account import account
from handsfree.journal.declared import declared_by, declared_in
from handsfree.journal.gathering import gathered, parts_of
from handsfree.journal.service import service
from handsfree.journal.writer import Journal
from handsfree.resources import shipped_folder
from tests.journal import visited
from tests.journal.made import TestClock

JUNTA = """
procedure: junta
title: Cambiar la junta
version: 1
language: es
purpose: Poner una junta nueva en la puerta.
steps:
  - id: quitar
    kind: instruct
    say: Quite la junta vieja de su ranura.
  - id: poner
    kind: instruct
    part: junta de la puerta
    say: Meta a presión la junta por todo su borde.
  - id: tapa
    kind: instruct
    part: tornillo de la tapa
    say: Ponga la tapa con su tornillo.
  - id: fin
    kind: end
    outcome: fixed
    say: La junta está puesta.
"""


def parts(folder: Path) -> list[str]:
    return parts_of(gathered(account(folder).entries))


def test_a_spanish_visit_lists_the_parts_that_were_put_in(tmp_path: Path) -> None:
    book = tmp_path / "junta.yaml"
    book.write_text(JUNTA, encoding="utf-8")
    whole = visited.visit(tmp_path / "a", ["siguiente paso"] * 3, procedure=str(book))
    assert parts(whole) == ["junta de la puerta", "tornillo de la tapa"]
    (section,) = [one for one in service(account(whole)).sections if one.title == "Parts"]
    assert section.lines == ("Junta de la puerta", "Tornillo de la tapa")
    short = visited.visit(tmp_path / "b", ["siguiente paso"] * 2, procedure=str(book))
    assert parts(short) == ["junta de la puerta"], "the last step was only read"


def test_words_alone_are_no_part(tmp_path: Path) -> None:
    """'Replace the cover': what was taken off is put back."""
    book = tmp_path / "junta.yaml"
    text = JUNTA.replace("language: es\n", "").replace("    part: tornillo de la tapa\n", "")
    text = text.replace("    part: junta de la puerta\n", "")
    book.write_text(text.replace("Ponga la tapa con su tornillo.", "Replace the cover."))
    assert parts(visited.visit(tmp_path / "a", ["next step"] * 3, procedure=str(book))) == []


@pytest.mark.parametrize("text", ["", "steps: 3", "a: [", "steps: [3, {part: 4}, {id: x, part: [y]}]", "- part: x",
                                  "part: x\nsteps:", "steps: &a [*a]\npart: 1", "\x00part: x"])  # fmt: skip
def test_a_copy_that_is_no_procedure_declares_none(text: str) -> None:
    assert declared_by(text).parts == {}


def test_a_record_that_declares_far_too_much_is_cut(tmp_path: Path) -> None:
    text = "steps:\n- {id: x, part: " + "y" * 5_000 + "}\n"
    assert len(declared_by(text).parts.get("x", "")) <= 80
    assert declared_in([("long", "#" * 3_000_000 + "\n" + text)]) == {}
    with Journal.create(tmp_path / "v", clock=TestClock()) as journal:
        journal.append(ev.Opened("v", "p", "en", "", "", "", "0.1", "typed", copies=(("p", text),)))
        journal.append(ev.Closed("fixed"))
        journal.seal()
    assert parts(tmp_path / "v") == []


def test_no_value_of_a_copy_is_worked_out() -> None:
    """'1:01:01:…' is a number on base 60, which took the desk 46 s for each megabyte of a record that had sixty."""
    assert declared_by("steps:\n- {id: x, part: 1:01:01}\n").parts == {"x": "1:01:01"}
    assert declared_by("steps:\n- {id: x, part: 2026-99-99}\n").parts == {"x": "2026-99-99"}


def test_all_copies_of_a_visit_together_are_bounded() -> None:
    text = "steps:\n- {id: x, part: y}\n" + "#" * 400_000
    copies = [(f"p{n}", f"{text}{n}") for n in range(60)]
    assert list(declared_in(copies)) == ["p0", "p1"]


#: What every procedure that ships puts in new; a new one is added here, or declares none.
SHIPPED = {
    ("compressor-does-not-start", "fit-part"), ("compressor-does-not-start", "fit-known"),
    ("compressor-does-not-start", "fit-relay"), ("dead-or-trips", "fit-fuse"), ("deck-put-in", "slide-in"),
    ("deck-put-in", "new-grommet"), ("fans-check-and-exchange", "fit-try"), ("fans-check-and-exchange", "fit-fan"),
    ("relay-and-connector-check", "fit-relay"), ("sensor-check-and-exchange", "fit-sensor"),
}  # fmt: skip


def test_the_procedures_that_ship_declare_what_they_put_in() -> None:
    found = set()
    for path in sorted(shipped_folder("procedures").glob("*.yaml")):
        found |= {(path.stem, step) for step in declared_by(path.read_text(encoding="utf-8")).parts}
    assert found == SHIPPED
