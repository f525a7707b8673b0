"""What a supervisor looks for, computed from the record, the most serious first.

Rules of this file:

- Each rule is one function over the events and one row of `RANKS`; its limits are `FindingLimits`, rules of thumb without a
  published source unless it says otherwise. A finding is a question to ask, not a verdict on a person.
- What the complaint itself explains is not a finding: a cabinet that was too warm when somebody came because it is too warm.
- A sentence is for a person: words and minutes, no names of steps as a program writes them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from handsfree.journal import events as ev
from handsfree.journal.affirmed import acted_on
from handsfree.journal.events import HAPPENINGS, Stamped
from handsfree.journal.found import FAULT, findings_that_stand, locks_on, tells
from handsfree.journal.left import cut_waits
from handsfree.journal.measured import measured
from handsfree.journal.rows import amount, clock, plainly, range_of, span

StepKey = tuple[tuple[str, ...], str]

#: How grave a finding is, in words, the gravest first.
GRAVE, LOOK, NOTE = "grave", "look", "note"
LEVELS = (GRAVE, LOOK, NOTE)
#: Of the record itself; `account` finds these.
BROKEN, DEPARTED, NO_RIGHT = "record does not hold", "record does not follow", "sound removed without the right"
NOT_COMPARED, WITHDRAWN = "not compared with the program", "signed by a withdrawn key"
GOES_ON_UNSIGNED, NOT_SIGNED = "goes on unsigned", "not signed"
#: Found by the desk alone, which sees other visits.
COPIED, CAME_BACK, NOT_THEIRS = "copy of another visit", "came back after it was fixed", "sent for another team"
DRAWN, AHEAD, ODD_NAME = "drawn for review", "clock ahead", "name may not be what it looks like"
#: Rule -> how grave, in the order of the queue. What can hurt comes before what was merely not done well.
RANKS: Mapping[str, str] = {
    BROKEN: GRAVE, DEPARTED: GRAVE, WITHDRAWN: GRAVE, NOT_THEIRS: GRAVE, COPIED: GRAVE,
    "called for help": GRAVE,
    "lock left on": GRAVE,
    "lock removed for another": GRAVE,
    "gate too fast": GRAVE,
    "hazard without its proof": GRAVE,
    NO_RIGHT: GRAVE,
    NOT_COMPARED: LOOK,
    "end may be cut": LOOK, GOES_ON_UNSIGNED: LOOK,
    "wait cut short": LOOK,
    "borderline accused": LOOK,
    CAME_BACK: LOOK,
    "closed out of range": LOOK, "reading not plausible": LOOK,
    "another voice at a gate": LOOK,
    "silence under isolation": LOOK, "step skipped": LOOK,
    "clock moved": LOOK, AHEAD: LOOK, ODD_NAME: LOOK, "no seal": LOOK,
    DRAWN: NOTE,
    "asked again often": NOTE,
    "earlier program": NOTE, "newer program": NOTE,
    NOT_SIGNED: NOTE,
}
_ORDER = {rule: at for at, rule in enumerate(RANKS)}


@dataclass(frozen=True)
class FindingLimits:
    """`least_seconds`: by (procedure, step), the least time the work of an isolation can take; `otherwise` for the
    rest. `needs`: by (procedure, step), the sources that must be isolated before it is met, '' for the only one there is.
    `many_again`: askings-again in one step; `silence`: seconds without a word under isolation. Common practice, no
    source."""

    least_seconds: Mapping[tuple[str, str], float] = field(default_factory=dict)
    needs: Mapping[tuple[str, str], tuple[str, ...]] = field(default_factory=dict)
    otherwise: float = 10.0
    many_again: int = 3
    silence: float = 600.0


@dataclass(frozen=True)
class ReviewFinding:
    """`n`: the event it points at; `at`: seconds on the visit's clock."""

    rule: str
    n: int
    at: float
    sentence: str

    @property
    def level(self) -> str:
        return RANKS.get(self.rule, LOOK)

    @property
    def rank(self) -> int:
        """For the queue: the gravest has the least."""
        return rank_of(self.rule)


def rank_of(rule: str) -> int:
    return _ORDER.get(rule, len(_ORDER))


Entries = Sequence[Stamped]


def findings(entries: Entries, limits: FindingLimits | None = None) -> tuple[ReviewFinding, ...]:
    """All findings, the gravest first."""
    limits = limits or FindingLimits()
    return in_order([finding for rule in RULES for finding in rule(entries, limits)])


def in_order(found: Sequence[ReviewFinding]) -> tuple[ReviewFinding, ...]:
    return tuple(sorted(found, key=lambda finding: (finding.rank, finding.n)))


def _gate_too_fast(entries: Entries, limits: FindingLimits) -> Iterator[ReviewFinding]:
    """The gate phrase came too soon after the isolation's instructions. The time runs from the end of the last instruction,
    when first said, to the beginning of the phrase. Repeated instructions do not count: whoever asks to hear them again has
    done the work meanwhile, or will take longer still."""
    entered: Stamped | None = None
    since, speaking = 0.0, set[int]()
    texts: set[str] = set()
    spoke = 0.0
    for entry in entries:
        event = entry.event
        if isinstance(event, ev.StepEntered):
            entered = entry if event.kind == "isolate" else None
            since, speaking, texts = entry.mono, set(), set()
        elif isinstance(event, ev.Say) and event.role in ("step", "caution", "question") and event.text not in texts:
            texts.add(event.text)
            speaking.add(event.number)
        elif isinstance(event, ev.PromptEnded) and event.said in speaking:
            speaking.discard(event.said)
            since = max(since, entry.mono)
        elif isinstance(event, ev.Utterance):
            spoke = event.started if 0.0 < event.started <= entry.mono else entry.mono
        elif isinstance(event, ev.Gate) and (event.how, event.now) == ("phrase", "ISOLATING") and entered is not None:
            found = _too_fast(entry, entered, (spoke or entry.mono) - since if not speaking else 0.0, limits)
            if found is not None:
                yield found


def _too_fast(entry: Stamped, entered: Stamped, took: float, limits: FindingLimits) -> ReviewFinding | None:
    step = entered.event
    least = limits.least_seconds.get((step.path[-1] if step.path else "", step.step), limits.otherwise)
    if took >= least:
        return None
    when = f"{span(took)} after the last word of its instructions" if took > 0 else "while its instructions were still read"
    of = f" of {entry.event.source}" if entry.event.source else ""
    sentence = f"The isolation{of} at {plainly(step.step)} was confirmed {when}; the work takes at least {span(least)}."
    return ReviewFinding("gate too fast", entry.n, entry.mono, sentence)


def _hazard_without_proof(entries: Entries, limits: FindingLimits) -> Iterator[ReviewFinding]:
    """A step with a hazard began while a source that feeds it was not proved dead. Other sources may be live. The machine
    does not let this happen: a record that shows it is not the machine's own, or the machine has a fault."""
    states: dict[str, str] = {}
    for entry in entries:
        event = entry.event
        if isinstance(event, ev.Gate):
            states[event.source] = event.now
        if not isinstance(event, ev.StepEntered):
            continue
        needs = limits.needs.get((event.path[-1] if event.path else "", event.step), ())
        live = [name for name in needs if states.get(name, states.get("", "LIVE")) != "ISOLATED"]
        if live:
            what = " and ".join(name or "the supply" for name in live)
            sentence = f"{plainly(event.step).capitalize()} can hurt, and was begun while {what} was not proved dead."
            yield ReviewFinding("hazard without its proof", entry.n, entry.mono, sentence)


def _lock_left_on(entries: Entries, limits: FindingLimits) -> Iterator[ReviewFinding]:
    """The visit ended with a source isolated or a lock on, and was not handed over to anybody."""
    states: dict[str, str] = {}
    locks = locks_on(entries)
    handed, closed = False, None
    for entry in entries:
        event = entry.event
        if isinstance(event, ev.Gate):
            states[event.source] = event.now
        handed = handed or isinstance(event, ev.HandedOver)
        if isinstance(event, ev.Closed | ev.Resumed):
            closed = entry if isinstance(event, ev.Closed) else None
    left = [f"{source or 'the supply'} still {state.lower()}" for source, state in states.items() if state != "LIVE"]
    left += [f"the lock of {owner} still on {source or 'the supply'}" for owner, source in locks]
    if closed is not None and left and not handed and closed.event.outcome != "to be continued":
        asked = "" if locks else ": is the lock still on?"
        sentence = f"The visit ended as {closed.event.outcome} with {' and '.join(left)}{asked or '.'}"
        yield ReviewFinding("lock left on", closed.n, closed.mono, sentence)


def _lock_removed(entries: Entries, limits: FindingLimits) -> Iterator[ReviewFinding]:
    """A lock was taken off without its owner (29 CFR 1910.147 (e)(3))."""
    for entry in entries:
        event = entry.event
        if isinstance(event, ev.LockChanged) and not event.on and event.how == "without its owner":
            sentence = f"The lock of {event.owner} was taken off {event.source or 'the supply'} without its owner."
            yield ReviewFinding("lock removed for another", entry.n, entry.mono, sentence)


def _called_for_help(entries: Entries, limits: FindingLimits) -> Iterator[ReviewFinding]:
    """Somebody said that they are hurt, or that there is fire, a shock or gas."""
    for entry in entries:
        if isinstance(entry.event, ev.Alarm):
            sentence = f"Somebody called for help: “{entry.event.kind}”. Ask what happened."
            yield ReviewFinding("called for help", entry.n, entry.mono, sentence)


def _another_voice(entries: Entries, limits: FindingLimits) -> Iterator[ReviewFinding]:
    """A gate phrase came in another voice, or was accepted although the voice was in doubt twice."""
    doubted = False
    for entry in entries:
        event = entry.event
        if not isinstance(event, ev.Utterance) or (event.sense, event.verdict) != ("gate", "accepted"):
            continue
        if event.voice == "other":
            said = "The gate phrase came in another voice than the one that stated the number; it opened nothing."
            yield ReviewFinding("another voice at a gate", entry.n, entry.mono, said)
        elif event.voice == "doubtful" and doubted:
            said = "The gate phrase was accepted although the voice was in doubt both times."
            yield ReviewFinding("another voice at a gate", entry.n, entry.mono, said)
        doubted = event.voice == "doubtful" and not doubted


def _step_skipped(entries: Entries, limits: FindingLimits) -> Iterator[ReviewFinding]:
    """A step that was entered, left by going back, and never entered again."""
    here: StepKey | None = None
    left: dict[StepKey, Stamped] = {}
    acted, went_back = acted_on(entries), False
    for entry in entries:
        if isinstance(event := entry.event, ev.StepEntered):
            place = (event.path, event.step)
            if went_back and here is not None and here != place:
                left[here] = entry
            left.pop(place, None)
            here, went_back = place, False
        elif isinstance(event, HAPPENINGS):
            went_back = acted.get(entry.n) == "go back"
    for (_, step), entry in left.items():
        sentence = f"{plainly(step).capitalize()} was left by going back at {clock(entry.mono)[:-2]} and never done."
        yield ReviewFinding("step skipped", entry.n, entry.mono, sentence)


def _many_again(entries: Entries, limits: FindingLimits) -> Iterator[ReviewFinding]:
    """The program had to ask again at least `many_again` times in one step."""
    step, count, first = "the start", 0, None
    for entry in [*entries, None]:
        if entry is None or isinstance(entry.event, ev.StepEntered):
            if count >= limits.many_again and first is not None:
                sentence = f"At {plainly(step)} the program had to ask again {count} times."
                yield ReviewFinding("asked again often", first.n, first.mono, sentence)
            if entry is not None:
                step, count, first = entry.event.step, 0, None
        elif isinstance(entry.event, ev.Utterance) and entry.event.verdict == "asked again":
            count, first = count + 1, first or entry


#: Outcomes that say the cabinet is well.
_WELL = ("fixed", "done", "no fault found")
_OUT, _ABSURD = "out of its expected range", "not plausible"


def _not_plausible(entries: Entries, limits: FindingLimits) -> Iterator[ReviewFinding]:
    """A reading was accepted although it is outside its step's plausible range."""
    for entry in entries:
        event = entry.event
        if isinstance(event, ev.ReadingTaken) and range_of(event) == _ABSURD:
            affirmed = ", affirmed" if event.affirmed else ""
            low, high = event.plausible or (0.0, 0.0)
            what = f"{plainly(event.quantity).capitalize()} of {amount(event.value, event.unit)} was accepted{affirmed}"
            yield ReviewFinding("reading not plausible", entry.n, entry.mono, f"{what}; {low:g} to {high:g} is plausible.")


def _closed_out_of_range(entries: Entries, limits: FindingLimits) -> Iterator[ReviewFinding]:
    """The visit ended well although a last reading was out of range. Readings before the work belong to the complaint and do
    not count: those before the supply was restored, or, if it was never off, those before the fault was found. Nor does one
    that was taken again under another name, was set since, or was judged by a proof."""
    since, read = _work_done(entries), measured(entries)
    last: dict[tuple[str, str], tuple[Stamped, ev.ReadingTaken]] = {}
    well = ""
    for entry in entries:
        event, one = entry.event, read.get(entry.n)
        if one is not None and entry.n > since:
            of = one.reading.path[-1] if one.reading.path and not one.alike else ""
            last[(of, one.thing)] = (entry, one.reading)
        if isinstance(event, ev.Closed | ev.Resumed):
            well = event.outcome if isinstance(event, ev.Closed) and event.outcome in _WELL else ""
    for entry, reading in last.values() if well else ():
        if range_of(reading) == _OUT and reading.expected is not None:
            what = f"{plainly(reading.quantity)} was last {amount(reading.value, reading.unit)}"
            sentence = f"Closed as {well}, though {what}; {reading.expected[0]:g} to {reading.expected[1]:g} is expected."
            yield ReviewFinding("closed out of range", entry.n, entry.mono, sentence)


def _work_done(entries: Entries) -> int:
    """The event behind which readings judge the work; -1 where nothing was found or done."""
    restored = [e.n for e in entries if isinstance(e.event, ev.Gate) and (e.event.was, e.event.now) == ("RESTORING", "LIVE")]
    faults = [e.n for e in findings_that_stand(entries) if tells(e.event) == FAULT]
    return restored[-1] if restored else faults[-1] if faults else -1


def _borderline_accused(entries: Entries, limits: FindingLimits) -> Iterator[ReviewFinding]:
    """A diagnosis rests on a reading that is out of range by no more than its instrument's accuracy."""
    latest: dict[str, ev.ReadingTaken] = {}
    standing = {entry.n for entry in findings_that_stand(entries)}
    for entry in entries:
        if isinstance(event := entry.event, ev.ReadingTaken):
            latest[event.step] = event
        if isinstance(event, ev.FindingMade) and entry.n in standing:
            for step, _ in event.evidence:
                taken = latest.get(step)
                if taken is not None and (over := _over(taken)) is not None and over <= _accuracy(taken):
                    what = f"{plainly(taken.quantity)} was only {amount(over, taken.unit)} out of range"
                    sentence = f"“{event.text}” rests on a borderline reading: {what}, and the instrument is good to "
                    yield ReviewFinding("borderline accused", entry.n, entry.mono, f"{sentence}{taken.accuracy}.")


def _over(taken: ev.ReadingTaken) -> float | None:
    """How far out of what is expected; None where it is within, or nothing is expected."""
    if taken.value is None or taken.expected is None or range_of(taken) != _OUT:
        return None
    return max(taken.expected[0] - taken.value, taken.value - taken.expected[1])


def _accuracy(taken: ev.ReadingTaken) -> float:
    """In the reading's unit: '0.5 degC', or a share of the value: '1.5 %'. 0.0 where the record says none."""
    found = re.match(r"\s*(?:±\s*)?([0-9]{1,6}(?:\.[0-9]{1,6})?)\s*(\S*)", taken.accuracy)
    if found is None:
        return 0.0
    number = float(found[1])
    return abs(taken.value or 0.0) * number / 100 if found[2] in ("%", "percent") else number


def _long_silence(entries: Entries, limits: FindingLimits) -> Iterator[ReviewFinding]:
    """A long silence between two utterances to the program, under isolation or after the gate phrase."""
    held, last = False, 0.0
    for entry in entries:
        event = entry.event
        spoke = isinstance(event, ev.Utterance | ev.NoteKept) and getattr(event, "verdict", "") != "not for me"
        if held and (spoke or isinstance(event, ev.Gate)) and entry.mono - last > limits.silence:
            said = f"Nothing was said for {span(entry.mono - last)} under isolation, from {clock(last)[:-2]} on."
            yield ReviewFinding("silence under isolation", entry.n, entry.mono, said)
        if spoke or isinstance(event, ev.Gate):
            last = entry.mono
        if isinstance(event, ev.Gate):
            held = event.now == "ISOLATED" or (event.now == "ISOLATING" and event.how == "phrase")


def _wait_cut(entries: Entries, limits: FindingLimits) -> Iterator[ReviewFinding]:
    """A wait ended because somebody cut it short, not because its time was over."""
    for one in cut_waits(entries):
        asked, took = f" of {span(one.due)}" if one.due else "", span(one.left.mono - one.entered.mono)
        sentence = f"The wait{asked} at {plainly(one.entered.event.step)} was cut short after {took}."
        yield ReviewFinding("wait cut short", one.left.n, one.left.mono, sentence)


def _clock_moved(entries: Entries, limits: FindingLimits) -> Iterator[ReviewFinding]:
    """The wall clock jumped against the visit's own clock."""
    for entry in entries:
        if isinstance(entry.event, ev.ClockMoved):
            said = f"The wall clock jumped by {entry.event.seconds:+.1f} s; order and durations are by the count."
            yield ReviewFinding("clock moved", entry.n, entry.mono, said)


def _not_sealed(entries: Entries, limits: FindingLimits) -> Iterator[ReviewFinding]:
    """The record has no seal at its end."""
    if entries and not isinstance(entries[-1].event, ev.Sealed):
        last = entries[-1]
        sentence = "The record has no seal: it crashed here, is still open, or was cut off."
        yield ReviewFinding("no seal", last.n, last.mono, sentence)


def _end_may_be_cut(entries: Entries, limits: FindingLimits) -> Iterator[ReviewFinding]:
    """The visit was resumed, and the record before had no seal: a crash and a cut end look alike."""
    solid = ""
    joined = False
    for entry in entries:
        event = entry.event
        if isinstance(event, ev.TailDropped | ev.EndOpen | ev.Resumed) and not joined and solid not in ("", "Sealed"):
            sentence = f"Resumed after event {entry.n - 1} without a seal: it crashed there, or its end was cut off."
            yield ReviewFinding("end may be cut", entry.n, entry.mono, sentence)
            joined = True
        if not isinstance(event, ev.TailDropped | ev.EndOpen | ev.SignedBy | ev.ClockMoved):
            solid, joined = type(event).__name__, False


RULES: tuple[Callable[[Entries, FindingLimits], Iterator[ReviewFinding]], ...] = (
    _called_for_help, _gate_too_fast, _hazard_without_proof, _lock_left_on, _lock_removed, _another_voice, _step_skipped,
    _many_again, _not_plausible, _closed_out_of_range, _borderline_accused, _long_silence, _wait_cut, _clock_moved,
    _end_may_be_cut, _not_sealed,
)  # fmt: skip
