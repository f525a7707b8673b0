"""What a diagnosis of a procedure says: a fault, that something is in order, that the work is proved, or advice; and which
findings, answers and readings were taken back.

Procedures call all of these findings. A supervisor, and still more a customer, must not read "Sealed drinks may stay"
instead of the fault. What a procedure says of its finding (`means`) counts. For findings that say nothing, the shipped names
that are not faults are listed here. A name that is not listed counts as a fault, so that a new one is never lost.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from handsfree.journal.affirmed import acted_on
from handsfree.journal.events import (
    HAPPENINGS,
    AnswerTaken,
    Corrected,
    FindingMade,
    LockChanged,
    PromptEnded,
    ReadingTaken,
    Stamped,
    StepEntered,
)

_Place = tuple[tuple[str, ...], str]
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
#: Procedures that judge the work.
_JUDGING = ("prove-pull-down",)


def tells(finding: FindingMade) -> str:
    if finding.means in (FAULT, SOUND, PROVED, ADVICE):
        return finding.means
    if finding.path and finding.path[-1] in _ADVISING:
        return ADVICE
    return _TELLS.get(finding.finding, FAULT)


def findings_that_stand(entries: Sequence[Stamped]) -> list[Stamped]:
    """The events of the findings without those that the technician went back behind, by 'go back' or by a correction. A
    finding that still holds then is made again, and the later one counts. Where 'go back' leads to an isolation first, what
    counts is the step it leads to afterwards."""
    made: list[Stamped] = []
    way: list[tuple[_Place, int]] = []  # the steps entered, without those that somebody went back behind
    times: Counter[_Place] = Counter()  # how often each is on the way
    acted, back, isolates = acted_on(entries), False, False
    for entry in entries:
        event = entry.event
        if isinstance(event, FindingMade):
            made.append(entry)
        elif isinstance(event, Corrected):
            _go_behind((event.path, event.step), made, way, times)
            back = isolates = False
        elif isinstance(event, StepEntered):
            place = (event.path, event.step)
            if back and event.kind in ("isolate", "prove"):
                isolates = True
            elif back and (not isolates or event.isolation == "ISOLATED"):
                _go_behind(place, made, way, times)
                back = isolates = False
            way.append((place, entry.n))
            times[place] += 1
        elif isinstance(event, HAPPENINGS) and not isinstance(event, PromptEnded):
            again = acted.get(entry.n) == "go back"
            back, isolates = again or isolates, isolates and not again
    return made


def _go_behind(place: _Place, made: list[Stamped], way: list[tuple[_Place, int]], times: Counter[_Place]) -> None:
    """Takes off the findings and the way all since this place was entered last; nothing if nobody had been there before.
    The end of the way is where they went back from."""
    if not way or times[place] <= (way[-1][0] == place):
        return
    left = [way.pop()]
    while left[-1][0] != place or len(left) == 1:
        left.append(way.pop())
    times.subtract(one for one, _ in left)
    while made and made[-1].n >= left[-1][1]:
        made.pop()


def taken_back(entries: Sequence[Stamped]) -> set[int]:
    """Answers and readings that a correction took back."""
    latest: dict[_Place, int] = {}
    gone: set[int] = set()
    for entry in entries:
        event = entry.event
        if isinstance(event, AnswerTaken | ReadingTaken):
            latest[(event.path, event.step)] = entry.n
        elif isinstance(event, Corrected) and (event.path, event.step) in latest:
            gone.add(latest.pop((event.path, event.step)))
    return gone


def diagnosis(entries: Sequence[Stamped]) -> Stamped | None:
    """The event of the diagnosis: the last fault, because a procedure goes from the symptom to the cause. What a procedure
    finds that judges the work is no cause, and counts only where there is no other. If there is no fault, the last finding
    that is not advice; None if nothing was found."""
    made = findings_that_stand(entries)
    faults = [entry for entry in made if tells(entry.event) == FAULT]
    causes = [entry for entry in faults if not {*entry.event.path} & {*_JUDGING}]
    others = [entry for entry in made if tells(entry.event) in (SOUND, PROVED)]
    return next((some[-1] for some in (causes, faults, others) if some), None)


def locks_on(entries: Sequence[Stamped]) -> list[tuple[str, str]]:
    """(owner, source) of each lock that is on at the end."""
    changes = (entry.event for entry in entries if isinstance(entry.event, LockChanged))
    return [lock for lock, on in {(one.owner, one.source): one.on for one in changes}.items() if on]
