"""What a supervisor looks for, computed from the record.

Each rule is one function over the events; its limits are `Limits`, rules of thumb without a published source where not said
otherwise. A finding is a question to ask, not a verdict on a person.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from handsfree.journal import events as ev
from handsfree.journal.events import HAPPENINGS, Stamped
from handsfree.journal.rows import amount, clock, range_of, span

Place = tuple[tuple[str, ...], str]


@dataclass(frozen=True)
class Limits:
    """`least_seconds`: by (procedure, step), the least time the work of an isolation can take; `otherwise` for the
    rest. `many_again`: askings-again in one step; `silence`: seconds without a word under isolation.
    Common practice, no source."""

    least_seconds: Mapping[tuple[str, str], float] = field(default_factory=dict)
    otherwise: float = 10.0
    many_again: int = 3
    silence: float = 600.0


@dataclass(frozen=True)
class Finding:
    """`n`: the event it points at; `at`: seconds on the visit's clock."""

    rule: str
    n: int
    at: float
    sentence: str


Entries = Sequence[Stamped]


def findings(entries: Entries, limits: Limits | None = None) -> tuple[Finding, ...]:
    """All findings, in the order of the record."""
    limits = limits or Limits()
    found = [finding for rule in RULES for finding in rule(entries, limits)]
    return tuple(sorted(found, key=lambda finding: (finding.n, finding.rule)))


def _gate_too_fast(entries: Entries, limits: Limits) -> Iterator[Finding]:
    """From the isolation step being entered to its phrase."""
    entered: Stamped | None = None
    for entry in entries:
        event = entry.event
        if isinstance(event, ev.StepEntered):
            entered = entry if event.kind == "isolate" else None
        if isinstance(event, ev.Gate) and event.how == "phrase" and event.now == "ISOLATING" and entered is not None:
            step = entered.event
            least = limits.least_seconds.get((step.path[-1] if step.path else "", step.step), limits.otherwise)
            took = entry.mono - entered.mono
            if took < least:
                yield Finding(
                    "gate too fast",
                    entry.n,
                    entry.mono,
                    f"The gate at {step.step} was confirmed {span(took)} after it was read; its work takes {span(least)}.",
                )


def _step_skipped(entries: Entries, limits: Limits) -> Iterator[Finding]:
    """A step that was entered, left by going back, and never entered again."""
    here: Place | None = None
    left: dict[Place, Stamped] = {}
    went_back = False
    for entry in entries:
        event = entry.event
        if isinstance(event, ev.StepEntered):
            place = (event.path, event.step)
            if went_back and here is not None and here != place:
                left[here] = entry
            left.pop(place, None)
            here, went_back = place, False
        elif isinstance(event, HAPPENINGS):
            went_back = isinstance(event, ev.Utterance) and event.verdict == "accepted" and event.text == "go back"
    for (_, step), entry in left.items():
        yield Finding(
            "step skipped", entry.n, entry.mono, f"Step {step} was left by going back at {clock(entry.mono)} and never done."
        )


def _many_again(entries: Entries, limits: Limits) -> Iterator[Finding]:
    """Within one step the program had to ask again so many times."""
    step, count, first = "the start", 0, None
    for entry in [*entries, None]:
        if entry is None or isinstance(entry.event, ev.StepEntered):
            if count >= limits.many_again and first is not None:
                yield Finding(
                    "asked again often", first.n, first.mono, f"At {step} the program had to ask again {count} times."
                )
            if entry is not None:
                step, count, first = entry.event.step, 0, None
        elif isinstance(entry.event, ev.Utterance) and entry.event.verdict == "asked again":
            count, first = count + 1, first or entry


def _out_of_range(entries: Entries, limits: Limits) -> Iterator[Finding]:
    """A reading was accepted that its step does not call plausible, or does not expect."""
    for entry in entries:
        event = entry.event
        if isinstance(event, ev.ReadingTaken) and range_of(event) in ("not plausible", "out of its expected range"):
            affirmed = ", affirmed" if event.affirmed else ""
            what = f"{event.quantity.capitalize()} of {amount(event.value, event.unit)}"
            yield Finding(
                "reading out of range",
                entry.n,
                entry.mono,
                f"{what} was accepted{affirmed}: {range_of(event)}.",
            )


def _long_silence(entries: Entries, limits: Limits) -> Iterator[Finding]:
    """Under isolation, or with the phrase given: between two utterances that were for the program."""
    held, last = False, 0.0
    for entry in entries:
        event = entry.event
        spoke = isinstance(event, ev.Utterance | ev.NoteKept) and getattr(event, "verdict", "") != "not for me"
        if held and (spoke or isinstance(event, ev.Gate)) and entry.mono - last > limits.silence:
            yield Finding(
                "silence under isolation",
                entry.n,
                entry.mono,
                f"Nothing was said for {span(entry.mono - last)} under isolation, from {clock(last)} on.",
            )
        if spoke or isinstance(event, ev.Gate):
            last = entry.mono
        if isinstance(event, ev.Gate):
            held = event.now == "ISOLATED" or (event.now == "ISOLATING" and event.how == "phrase")


def _wait_cut(entries: Entries, limits: Limits) -> Iterator[Finding]:
    """A wait left because somebody said so, not because its time was over."""
    waiting: Stamped | None = None
    cause: Stamped | None = None
    for entry in entries:
        event = entry.event
        if isinstance(event, HAPPENINGS) and not isinstance(event, ev.PromptEnded):
            cause = entry
        elif isinstance(event, ev.StepEntered | ev.Closed):
            said = cause is not None and isinstance(cause.event, ev.Utterance)
            if waiting is not None and said and not (isinstance(event, ev.Closed) and event.outcome == "to be continued"):
                yield Finding(
                    "wait cut short",
                    entry.n,
                    entry.mono,
                    f"The wait {waiting.event.step} was cut short after {span(entry.mono - waiting.mono)}.",
                )
            waiting = entry if isinstance(event, ev.StepEntered) and event.kind == "wait" else None


def _clock_moved(entries: Entries, limits: Limits) -> Iterator[Finding]:
    """The wall clock jumped against the count of the visit."""
    for entry in entries:
        if isinstance(entry.event, ev.ClockMoved):
            yield Finding(
                "clock moved",
                entry.n,
                entry.mono,
                f"The wall clock jumped by {entry.event.seconds:+.1f} s; order and durations are by the count.",
            )


def _not_sealed(entries: Entries, limits: Limits) -> Iterator[Finding]:
    """The record has no seal at its end."""
    if entries and not isinstance(entries[-1].event, ev.Sealed):
        last = entries[-1]
        sentence = "The record has no seal: it crashed here, is still open, or was cut off."
        yield Finding("no seal", last.n, last.mono, sentence)


def _end_may_be_cut(entries: Entries, limits: Limits) -> Iterator[Finding]:
    """It was taken up again, and no seal stood before: a crash and a cut end look alike."""
    solid = ""
    joined = False
    for entry in entries:
        event = entry.event
        if isinstance(event, ev.TailDropped | ev.EndOpen | ev.Resumed) and not joined and solid not in ("", "Sealed"):
            sentence = f"Taken up again after event {entry.n - 1} without a seal: it crashed there, or its end was cut off."
            yield Finding("end may be cut", entry.n, entry.mono, sentence)
            joined = True
        if not isinstance(event, ev.TailDropped | ev.EndOpen | ev.SignedBy | ev.ClockMoved):
            solid, joined = type(event).__name__, False


RULES: tuple[Callable[[Entries, Limits], Iterator[Finding]], ...] = (
    _gate_too_fast,
    _step_skipped,
    _many_again,
    _out_of_range,
    _long_silence,
    _wait_cut,
    _clock_moved,
    _end_may_be_cut,
    _not_sealed,
)
