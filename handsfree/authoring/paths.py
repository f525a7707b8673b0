"""Every path of a procedure, found by the machine itself: what to say at each place, and where it leads.

Rules of this file:

- A path is what is said from the start to the close; two paths through the same steps with the same answers are one.
- Readings are tried at the middle of what is expected and on either side of every number that a decision compares with.
- A step is passed at most twice, so a loop is walked once. The proof is answered 'nothing runs': what a live
  circuit does to the interlock is the interlock's own test.
- All paths, if a budget of turns allows; otherwise walks that take the least used branch, until these find nothing new.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from handsfree.dialogue.hearing import typed, utterance_of
from handsfree.dialogue.listening import listening_of
from handsfree.journal.events import AnswerTaken, Decided, Opened, ReadingTaken, Resumed, Stamped, StepEntered, TimerRang
from handsfree.procedure import expressions, model
from handsfree.procedure.evaluation import limits
from handsfree.procedure.model import Book, Procedure, Read
from handsfree.visit.machine import advance, start
from handsfree.visit.state import Awaiting, State

LOCK, SECOND = ("seven", "three"), ("five", "six")
BUDGET = 6_000  # turns of the machine
WALKS, STALE = 300, 40  # walks at the most; so many without a new path are enough
LONGEST = 400  # sayings in one path
WAIT = ""  # nothing is said: time passes
RETURN = "\x00"  # nothing is said: the technician comes back another day
WALL = "2026-01-01T08:00:00+00:00"


@dataclass(frozen=True)
class Path:
    """`says`: what is said, in order; WAIT and RETURN among it. `route`: steps and ways, as people read them."""

    says: tuple[str, ...]
    route: tuple[str, ...]
    outcome: str


@dataclass(frozen=True)
class _PathWalk:
    state: State
    says: tuple[str, ...] = ()
    route: tuple[str, ...] = ()
    passed: tuple[tuple[str, str], ...] = ()


def find(book: Book, budget: int = BUDGET) -> tuple[tuple[Path, ...], bool]:
    """(the paths, whether these are all of them)."""
    found: dict[tuple[str, ...], Path] = {}
    waiting = [_begin(book)]
    while waiting and budget > 0:
        walk = waiting.pop()
        for say in reversed(_options(walk.state)):
            budget -= 1
            after = _step(walk, say)
            if after is None:
                continue
            if _over(after.state):
                found.setdefault(after.route, Path(after.says, after.route, after.state.outcome))
            elif len(after.says) < LONGEST:
                waiting.append(after)
    if not waiting:
        return tuple(found.values()), True
    return tuple(_trodden(book, found).values()), False


def _trodden(book: Book, found: dict[tuple[str, ...], Path]) -> dict[tuple[str, ...], Path]:
    """Walks that prefer what was said least at a place so far."""
    chance, used, stale = random.Random(0), Counter[tuple[object, str]](), 0
    for _ in range(WALKS):
        walk: _PathWalk | None = _begin(book)
        while walk is not None and not _over(walk.state) and len(walk.says) < LONGEST:
            place = (walk.state.frames, walk.state.awaiting)
            least = sorted(_options(walk.state), key=lambda say: (used[(place, say)], chance.random()))
            used[(place, least[0])] += 1
            walk = next((after for say in least if (after := _step(walk, say)) is not None), None)
        new = walk is not None and _over(walk.state) and walk.route not in found
        stale = 0 if new else stale + 1
        if walk is not None and new:
            found[walk.route] = Path(walk.says, walk.route, walk.state.outcome)
        if stale >= STALE:
            break
    return found


def _over(state: State) -> bool:
    return state.closed and state.not_before is None


def _begin(book: Book) -> _PathWalk:
    from handsfree.language import base

    language = base.load(book.procedures[book.main].language)
    opened = Opened("rehearsal", book.main, language.code, "", "", "", "", "typed")
    state, effects = advance(start(book, language), Stamped(0, WALL, 0.0, opened))
    return _gone(_PathWalk(state), state, (), effects) or _PathWalk(state)


def happening(state: State, say: str) -> object:
    """The machine's input for one utterance."""
    if say == WAIT:
        return TimerRang("wait")
    if say == RETURN:
        return Resumed("return visit")
    assert state.listening is not None
    return utterance_of(typed(state.language, say, listening_of(state.listening), state.now), typed=True)


def _step(walk: _PathWalk, say: str) -> _PathWalk | None:
    """None if that leads round a loop again, or nowhere."""
    state = walk.state
    mono = state.now + 1.0
    if say == WAIT:
        mono = max(mono, state.wait_ends)
    elif say == RETURN:
        mono = max(mono, state.not_before or 0.0)
    after, effects = advance(state, Stamped(0, WALL, mono, happening(state, say)))
    if after.tries > state.tries or (say != WAIT and after.frames == state.frames and after.awaiting == state.awaiting
                                     and after.check == state.check and after.closed == state.closed):  # fmt: skip
        return None
    return _gone(walk, after, (say,), effects)


def _gone(walk: _PathWalk, after: State, said: tuple[str, ...], effects: Iterable[Any]) -> _PathWalk | None:
    """The walk with what these effects tell of its way; None where that leads round a loop again."""
    route, passed = list(walk.route), list(walk.passed)
    for effect in effects:
        match effect:
            case StepEntered():
                place = ("/".join(effect.path), effect.step)
                if passed.count(place) >= 2:
                    return None
                passed.append(place)
                route.append(effect.step)
            case AnswerTaken():
                route.append(f"({effect.answer})")
            case ReadingTaken() if effect.state:
                route.append(f"({effect.state})")
            case Decided():
                route.append(f"[{effect.case}]")
    return _PathWalk(after, (*walk.says, *said), tuple(route), tuple(passed))


def _options(state: State) -> tuple[str, ...]:
    """Everything worth saying here."""
    if state.closed:
        return (RETURN,)
    language, step = state.language, state.step
    lock = " ".join(state.interlock.lock)
    first = {name: ways[0] for name, ways in language.gates.items()}
    match state.awaiting:
        case Awaiting.LOCK_NUMBER:
            return (" ".join(SECOND if state.joining else LOCK),)
        case (
            Awaiting.LOCK_AFFIRM | Awaiting.TESTER_BEFORE | Awaiting.TESTER_AFTER | Awaiting.SEEN | Awaiting.OFF_AGAIN
            | Awaiting.LOOKED
            | Awaiting.READING_AFFIRM | Awaiting.DEAD_AFFIRM
        ):
            return (language.commands["affirm"][0],)
        case Awaiting.UNDERSTOOD:
            return (language.commands["understood"][0],)
        case Awaiting.ANSWER:
            assert isinstance(step, model.Ask)
            return tuple(answer.say for answer in step.answers)
        case Awaiting.READING:
            assert isinstance(step, Read)
            return tuple(_readings(state, step))
        case Awaiting.GATE | Awaiting.JOIN_GATE:
            return (f"{first['isolated']} {lock}",)
        case Awaiting.RESTORE_GATE:
            return (f"{first['clear']} {lock}",)
        case Awaiting.SWITCH_TRIED:
            return (language.prompt("answer-nothing-runs"),)
        case Awaiting.DEAD_READING:
            return (language.say_number(0),)
        case Awaiting.WAIT:
            return (WAIT,)
    return (language.commands["next step"][0],)


def _readings(state: State, step: Read) -> Iterator[str]:
    for value in values_of(state.procedure, step):
        yield state.language.say_number(value)
    if step.over_range is not None:
        yield state.language.states["over range"][0]
    if step.unsteady is not None:
        yield state.language.states["unsteady"][0]


@lru_cache(maxsize=512)
def values_of(procedure: Procedure, step: Read) -> tuple[float, ...]:
    """Readings worth giving, all plausible, to as many digits as the range calls for."""
    low, high = step.plausible
    middle = step.expected or step.plausible
    tried = [(middle[0] + middle[1]) / 2]
    compared = list(limits(procedure, step))
    for limit in compared:
        beyond = max((high - low) * 0.03, abs(limit) * 0.05)
        tried += [limit - beyond, limit + beyond]
    if compared or _decides(procedure, step):
        tried += [low + (high - low) * 0.15, high - (high - low) * 0.15]
    digits = 0 if high - low >= 20 else 1 if high - low >= 2 else 2
    rounded = dict.fromkeys(round(value, digits) for value in tried)
    return tuple(value for value in rounded if low <= value <= high) or (middle[0],)


def _decides(procedure: Procedure, step: Read) -> bool:
    name = expressions.name_of(step.id)
    return any(name in expressions.names_used(case.when) for case in _cases(procedure))


def _cases(procedure: Procedure) -> Iterator[model.Case]:
    for step in procedure.steps:
        if isinstance(step, model.Decide):
            yield from step.cases


def shortened(path: Path, most: int = 8) -> str:
    """The answers and decisions of a path, for a line on the screen."""
    ways = [one for one in path.route if one[0] in "(["]
    return " ".join(ways[:most]) + (" …" if len(ways) > most else "")


