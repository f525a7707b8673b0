"""What a diagnosis of a procedure tells: a fault, that something is sound, that work proved itself, or advice.

Procedures call all of these findings. A supervisor, and a customer still more, must not read "Sealed drinks may stay" where
the fault stands. What a procedure itself says of its finding (`means`) counts. Of a finding that says nothing the shipped
names that are no fault are listed here; a name that is not listed is a fault, so that a new one is never lost.
"""

from __future__ import annotations

from collections.abc import Sequence

from handsfree.journal.events import FindingMade, Stamped

FAULT, SOUND, PROVED, ADVICE = "fault", "sound", "proved", "advice"

_IN_ORDER = """
compressor-starts condenser-works supply-parts-sound defrost-heater-sound fans-sound both-fans-run freezing-not-seen
ice-not-seen noise-not-heard nothing-loose temperature-in-range relay-closes relay-works run-time-normal circuit-cools
sensor-tells-the-truth cold-and-resting shelves-empty
"""
_BY_WORK = """
compressor-starts-again deck-exchanged new-deck-runs coil-defrosted condenser-cleaned-not-judged
delivery-air-cold-after-cleaning pulling-down cold-again cold-again-late cold-again-overnight shown-temperature-true-again
"""
_TELLS = dict.fromkeys(_IN_ORDER.split(), SOUND) | dict.fromkeys(_BY_WORK.split(), PROVED)
#: Procedures whose findings are advice on what lies in the cabinet.
_ADVISING = ("food-safety",)


def tells(finding: FindingMade) -> str:
    if finding.means in (FAULT, SOUND, PROVED, ADVICE):
        return finding.means
    if finding.path and finding.path[-1] in _ADVISING:
        return ADVICE
    return _TELLS.get(finding.finding, FAULT)


def diagnosis(entries: Sequence[Stamped]) -> Stamped | None:
    """The event of what was found: the last fault, for a procedure goes from the symptom to the cause; where there is none,
    the last that is no advice; None where nothing was found."""
    made = [entry for entry in entries if isinstance(entry.event, FindingMade)]
    for kinds in ((FAULT,), (SOUND, PROVED)):
        of_kind = [entry for entry in made if tells(entry.event) in kinds]
        if of_kind:
            return of_kind[-1]
    return None
