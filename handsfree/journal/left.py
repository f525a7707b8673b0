"""How each step was left: because it was done, and of a wait, whether its time was over. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from handsfree.journal import events as ev
from handsfree.journal.affirmed import acted_on
from handsfree.journal.events import Stamped

_HALF = 900.0  # seconds: an old record does not say whether so long a timer of a wait ends it or rings at its half


@dataclass(frozen=True)
class CutWait:
    """A wait that ended because somebody cut it short. `due`: how long it was to last, 0 if the record does not say."""

    entered: Stamped
    left: Stamped
    due: float


@dataclass(frozen=True)
class StepDone:
    """A step that was left because it was done. `said`: by what somebody said, not by its timer."""

    step: ev.StepEntered
    said: bool


def cut_waits(entries: Sequence[Stamped]) -> Iterator[CutWait]:
    """What ended a wait is what came before its timer was dropped: the next step may first ask for a lock number."""
    waiting: Stamped | None = None
    cause: Stamped | None = None
    ended = False
    due, until = 0.0, None
    for entry in entries:
        event = entry.event
        if isinstance(event, ev.SetTimer) and event.timer == "wait":
            passed = entry.mono - waiting.mono if waiting else 0.0  # set again, it is what is left
            due = event.whole or (event.seconds + passed if passed or event.seconds < _HALF else 0.0)
            ended = False
        elif isinstance(event, ev.DropTimer) and event.timer == "wait":
            ended = True
        elif isinstance(event, ev.Resumed):
            cause, ended = entry, until is not None and entry.mono >= until  # at the close its timer was dropped as well
        elif isinstance(event, ev.HAPPENINGS) and not isinstance(event, ev.PromptEnded):
            cause = cause if ended else entry
        elif isinstance(event, ev.Closed) and event.outcome == "to be continued":
            until = event.not_before
        elif isinstance(event, ev.StepEntered | ev.Closed):
            if waiting is not None and cause is not None and isinstance(cause.event, ev.Utterance):
                yield CutWait(waiting, entry, due)
            due, until, ended = 0.0, None, False
            waiting = entry if isinstance(event, ev.StepEntered) and event.kind == "wait" else None


def steps_done(entries: Sequence[Stamped]) -> dict[int, StepDone]:
    """By the number of the event with which it was left. A step is not done by going back or by a correction, for an
    isolation that was cleared, or with the visit, which may go on with it."""
    found: dict[int, StepDone] = {}
    step: ev.StepEntered | None = None
    acted, moved_on, said = acted_on(entries), False, False
    corrected = cleared = False  # since the last step was entered
    for entry in entries:
        event = entry.event
        if isinstance(event, ev.HAPPENINGS) and not isinstance(event, ev.PromptEnded):
            said = isinstance(event, ev.Utterance)
            moved_on = isinstance(event, ev.TimerRang) or acted.get(entry.n, "go back") != "go back"
        elif isinstance(event, ev.StepEntered):
            if moved_on and step is not None and not corrected and not (cleared and event.kind == "isolate"):
                found[entry.n] = StepDone(step, said)
            step, corrected, cleared = event, False, False
        elif isinstance(event, ev.Closed):
            corrected = cleared = False
        elif isinstance(event, ev.Corrected):
            corrected = True
        elif isinstance(event, ev.Gate):
            cleared = cleared or event.now == "LIVE"
    return found
