"""A file of hazards beside a procedure may add to what is known, and make it stricter. It never weakens it."""

from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.errors import Trouble
from handsfree.procedure import load
from handsfree.procedure.hazards import catalogue_of, hazard_files

WEAKER = {
    "what feeds a hazard": "hazards: {mains: {fed_by: []}}",
    "a hazard's caution": "hazards: {water: {fed_by: [water]}}",
    "a lock": "kinds: {mains: {lock: false, proofs: [switch, meter]}}",
    "what fills a source again": "kinds: {charge: {lock: false, proofs: [meter], returns: 30 min}}",
    "a proof by looking": "kinds: {mains: {proofs: [switch, meter, rests]}}",
    "how long a charge stays away": "kinds: {charge: {lock: false, behind: [mains], proofs: [meter], returns: 9 h}}",
    "that a charge returns": "kinds: {charge: {lock: false, behind: [mains], proofs: [meter]}}",
    "a limit": "proofs: {meter: {form: measure, quantity: absence of voltage, unit: volt, most: 400, "
               "points: [line to neutral, line to frame, neutral to frame]}}",
    "the points": "proofs: {meter: {form: measure, quantity: absence of voltage, unit: volt, most: 5, points: [anywhere]}}",
    "the way of proving": "proofs: {meter: {form: look}}",
}  # fmt: skip


@pytest.mark.parametrize("text", WEAKER.values(), ids=list(WEAKER))
def test_a_weaker_entry_is_refused_with_its_file(text: str) -> None:
    with pytest.raises(Trouble, match=r"ours\.yaml: .* not weaken them"):
        catalogue_of([*hazard_files(), ("ours.yaml", text)])


@pytest.mark.parametrize("text", [
    "kinds: {steam trap: {proofs: [rests]}}\nhazards: {scald: {fed_by: [steam trap], caution: true}}",
    "hazards: {mains: {fed_by: [mains, charge], caution: true}}",
    "kinds: {mains: {proofs: [meter]}}",
    "proofs: {meter: {form: measure, quantity: absence of voltage, unit: volt, most: 3, "
    "points: [line to neutral, line to frame, neutral to frame, line to line]}}",
])  # fmt: skip
def test_more_and_stricter_is_taken(text: str) -> None:
    assert catalogue_of([*hazard_files(), ("ours.yaml", text)]).hazards


DRAGONS = """
procedure: x
title: X
language: LANGUAGE
steps:
  - {id: a, kind: instruct, say: Look., hazards: [HAZARD]}
  - {id: done, kind: end, outcome: done, say: Done.}
"""


@pytest.mark.parametrize(("language", "hazard", "wanted"), [
    ("en", "dragon", "; it may be mains, "), ("en", "sharp fin", "; did you mean `sharp fins`? It may be mains, "),
    ("es", "dragon", "; puede ser mains, "), ("es", "sharp fin", "; ¿quería decir `sharp fins`? Puede ser mains, "),
])  # fmt: skip
def test_an_unknown_hazard_names_the_folder_in_which_it_would_be_declared(
    language: str, hazard: str, wanted: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its writer may have put the file beside the procedure, where nobody looks."""
    monkeypatch.chdir(tmp_path)
    text = DRAGONS.replace("LANGUAGE", language).replace("HAZARD", hazard)
    with pytest.raises(Trouble) as told:
        load.parse_procedure(text, "x.yaml")
    assert wanted in str(told.value)
    folder = tmp_path.resolve() / "procedures" / "hazards"
    end = {"en": "More are declared by files in", "es": "Otros los declaran archivos en"}[language]
    assert str(told.value).endswith(f"heavy load. {end} {folder}.")
