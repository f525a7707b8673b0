"""What stand-by does next: a pure function of what happened.

Rules of this file:

- A visit that a crash or a loss of power broke off is taken up again at once: somebody may be kneeling at the cabinet. It
  resumes with everything live, as every resume does.
- A visit that a person stopped, or left to be continued, waits for that person's words.
- What fails again and again is tried at ever longer intervals, and reported.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

TRIES = 3  # times that one visit is taken up again automatically before its person is asked
FRESH = 12 * 3600.0  # s: nobody is kneeling there now from a visit broken off longer ago (common practice, no source)
LONGEST_REST = 60.0  # s

START, GO_ON = "start", "go on"


@dataclass(frozen=True)
class Unfinished:
    """A visit that did not reach its end. `age`: seconds since its last event. `broken`: neither stopped by a person nor
    left to be continued."""

    folder: Path
    age: float
    broken: bool


@dataclass(frozen=True)
class StandbyState:
    """`tries`: how often the visit `last` was taken up automatically. `failures`: failures of the listener in a row."""

    last: Path | None = None
    tries: int = 0
    failures: int = 0


@dataclass(frozen=True)
class Begun:
    """Stand-by began, or a visit is over. `unfinished`: the newest visit that did not reach its end, None for none."""

    unfinished: Unfinished | None = None


@dataclass(frozen=True)
class Wanted:
    """The listener heard START or GO_ON."""

    what: str
    unfinished: Unfinished | None = None


@dataclass(frozen=True)
class Deaf:
    """The listener ended without hearing either word. `why`: a sentence, '' where it told none."""

    why: str = ""


StandbyHappening = Begun | Wanted | Deaf


@dataclass(frozen=True)
class Listen:
    """Listen for the words. `may_go_on`: there is a visit to go on with. `say`: key of the sentence to say first."""

    may_go_on: bool
    say: str = "standby-ready"


@dataclass(frozen=True)
class HoldVisit:
    """Hold a visit. `folder`: the one to take up again, None for a new one."""

    folder: Path | None


@dataclass(frozen=True)
class Rest:
    """Wait, then listen again. `why`: to be told."""

    seconds: float
    why: str


StandbyEffect = Listen | HoldVisit | Rest


def advance(state: StandbyState, happening: StandbyHappening) -> tuple[StandbyState, StandbyEffect]:
    """What to do next: one thing at a time."""
    match happening:
        case Begun(unfinished):
            return _begun(state, unfinished)
        case Wanted(what, unfinished):
            state = StandbyState()
            if what == GO_ON and unfinished is not None:
                return replace(state, last=unfinished.folder), HoldVisit(unfinished.folder)
            return state, HoldVisit(None)
        case Deaf(why):
            state = replace(state, failures=state.failures + 1)
            return state, Rest(min(LONGEST_REST, 2.0**state.failures), why)


def _begun(state: StandbyState, unfinished: Unfinished | None) -> tuple[StandbyState, StandbyEffect]:
    again = StandbyState(failures=state.failures)  # failures stay: starting to listen does not prove that it can hear
    if unfinished is None:
        return again, Listen(may_go_on=False)
    tries = state.tries if unfinished.folder == state.last else 0
    if not unfinished.broken or unfinished.age > FRESH:
        return again, Listen(may_go_on=True, say="standby-unfinished")
    if tries >= TRIES:
        return replace(again, last=unfinished.folder, tries=tries), Listen(may_go_on=True, say="standby-broken")
    return replace(again, last=unfinished.folder, tries=tries + 1), HoldVisit(unfinished.folder)
