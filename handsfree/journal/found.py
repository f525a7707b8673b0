"""What a diagnosis of a procedure says: a fault, that something is in order, that the work is proved, or advice.

Procedures call all of these findings. A supervisor, and still more a customer, must not read "Sealed drinks may stay"
instead of the fault. What a procedure says of its finding (`means`) counts. For findings that say nothing, the shipped names
that are not faults are listed here. A name that is not listed counts as a fault, so that a new one is never lost.
"""

from __future__ import annotations

from collections.abc import Sequence

from handsfree.journal.events import FindingMade, LockChanged, Stamped

FAULT, SOUND, PROVED, ADVICE = "fault", "sound", "proved", "advice"

_IN_ORDER = """
compressor-starts condenser-works supply-parts-sound defrost-heater-sound fans-measure-sound both-fans-run
freezing-not-seen fans-sound ice-not-seen noise-not-heard nothing-loose temperature-in-range relay-closes relay-works
run-time-normal circuit-cools sensor-tells-the-truth cold-and-resting shelves-empty
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
    """The event of the diagnosis: the last fault, because a procedure goes from the symptom to the cause; if there is none,
    the last finding that is not advice; None if nothing was found."""
    made = [entry for entry in entries if isinstance(entry.event, FindingMade)]
    for kinds in ((FAULT,), (SOUND, PROVED)):
        of_kind = [entry for entry in made if tells(entry.event) in kinds]
        if of_kind:
            return of_kind[-1]
    return None


def locks_on(entries: Sequence[Stamped]) -> list[tuple[str, str]]:
    """(owner, source) of each lock that is on at the end."""
    changes = (entry.event for entry in entries if isinstance(entry.event, LockChanged))
    return [lock for lock, on in {(one.owner, one.source): one.on for one in changes}.items() if on]
