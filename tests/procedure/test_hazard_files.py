"""A file of hazards beside a procedure may add to what is known, and make it stricter. It never weakens it."""

from __future__ import annotations

import pytest

from handsfree.errors import Trouble
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
