"""Every state of small visits, walked through the real `advance`, judged by `tests.bench.watchman`.

    python -m tests.bench.walk [--book NAME] [--most STATES] [--processes N] [--seconds S] [--all-letters] [--broken]

In every state of the machine happens what `letters` has: all that may be said, by whom, how sure and in which voice,
silences, timers, devices lost, faults, signals, crashes and resumes. What is not in force is tried by one of each sense
and verdict, by all with `--all-letters`. Which states are taken for one, and why, is said in `folding`; of every 64th that
is seen again both are asked all over, and what comes of them is compared. A replay of the record is tried of every 97th.

A state of the walk is a state of the machine and an account of the watchman. What the machine does is worked out once for
each of its states; what the watchman makes of it, once for each account. With several processes each has the states of the
machine that fall to it by a hash (`tests.bench.spread`). `--broken`: every step has failed before.
"""

from __future__ import annotations

import argparse
import time
from array import array
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

from handsfree.journal import events as ev
from handsfree.language.meaning import Sense, Verdict
from handsfree.procedure import load
from handsfree.visit.machine import advance, start
from handsfree.visit.state import Frame, State
from tests.bench import folding
from tests.bench.letters import AGED, Letters, alphabet, goes_back, letter, may_happen
from tests.bench.small_visits import BOOKS
from tests.bench.watchman import ENGLISH, WORDS, Small, Watch, broken, hears
from tests.bench.watchman import quiet as quiet_again

WALL = "2026-03-02T08:00:00+00:00"
REPLAY_EVERY, TWINS_EVERY, TWINS_EACH, KEPT_AT_MOST = 97, 64, 2, 2_000_000
Digest = int
Trace = tuple[Any, ...]  # what of the effects the watchman reads, the first of all whether something must be said


@dataclass
class Walked:
    """`states`: of the walk; `machine`: of the machine alone; `steps`: happenings of the machine; `judged`: of the walk.
    `found`: (rule broken, the happenings that lead there). `twins`: pairs of states taken for one that were compared;
    `unlike`: what differed between two of them."""

    states: int = 0
    machine: int = 0
    steps: int = 0
    judged: int = 0
    entered: set[str] = field(default_factory=set)
    isolated: int = 0
    replayed: int = 0
    twins: int = 0
    unlike: list[str] = field(default_factory=list)
    whole: bool = True
    left: int = 0
    found: list[tuple[str, tuple[Any, ...]]] = field(default_factory=list)


@dataclass
class Node:
    """A state of the machine. `next`: (move, node it leads to, trace, whether numbers changed places), None before it was
    worked out. `accounts`: the watchman's that were met here."""

    state: Any
    next: tuple[tuple[int, Digest, int, bool], ...] | None = None
    accounts: set[int] = field(default_factory=set)
    kept: Any = None
    compared: int = 0


#: A node, its state or None where it is known there, an account or None where there is none yet, the way there.
Todo = tuple[Digest, State | None, Watch | None, bytes]


class Walk:
    """One walk through a small visit, or one process's part of it. `elsewhere`: takes what falls to another process."""

    def __init__(
        self, small: Small, most: int, letters: Letters | None = None, first: bool = False, broken_before: bool = False,
        whole: bool = False, elsewhere: Callable[[Todo], bool] = lambda todo: False,
    ) -> None:  # fmt: skip
        self.small, self.most, self.first, self.whole = small, most, first, whole or letters is not None
        self.book = load.book_of(load.parse_procedure(small.text, "walked.yaml"))
        self.values = folding.reads_values(self.book)
        steps = self.book.procedures[self.book.main].steps
        WORDS[small.text] = {step.id: step.say for step in steps}
        self.opened = ev.Opened("v", self.book.main, "en", "", "", "", "t", "typed")
        self.walked = Walked()
        self.told: set[str] = set()
        self.nodes: dict[Digest, Node] = {}
        self.todo: deque[Todo] = deque()
        self.broken = frozenset((Frame(self.book.main, step.id),) for step in steps) if broken_before else frozenset()
        self.letters = letters or list(alphabet(small))
        self.moves: list[tuple[Any, float, int]] = []  # (happening, silence, which way back)
        for event, silence in self.letters:
            ways = len(steps) + 2 if goes_back(event) else 1
            self.moves += [(event, silence, way) for way in range(ways)]
        self.plain = [(event, silence) for event, silence, _ in self.moves]
        one, other = small.people if len(small.people) > 1 else (small.people[0], small.people[0])
        self.swap = {one: other, other: one} if one != other else {}
        self.traces: dict[Trace, int] = {}
        self.traced: list[Trace] = []
        self.accounts: dict[Watch, int] = {}
        self.watches: list[Watch] = []
        self.judged: dict[tuple[int, int, int], tuple[int, tuple[str, ...], bool]] = {}
        self.turned: dict[int, int] = {}
        self.elsewhere = elsewhere

    # ---- going through it -------------------------------------------------------------------------------------------

    def begin(self) -> None:
        state, _ = advance(start(self.book, ENGLISH), ev.Stamped(0, WALL, 0.0, self.opened))
        self._good_way(state)

    def run(self) -> Walked:
        self.begin()
        while self.todo and not (self.first and self.walked.found):
            self.take(self.todo.popleft())
        self.walked.machine = len(self.nodes)
        return self.walked

    def _good_way(self, state: State) -> None:
        """So that a walk that is cut off has been at every part of the visit."""
        watch, way, swapped = Watch(), b"", False
        digest, state, _ = self._folded(state)
        self.meet((digest, state, watch, way))
        for text in self.small.good:
            n = self.moves.index((self._as_here(letter(text), swapped), 1.0, 0))
            digest, after, trace, turned = self._moved(state, n)
            watch, _, _ = self._judge(watch, n, self.traced[trace])
            watch = folding.watched_as(watch, self.swap) if turned else watch
            way += array("H", [2 * n + turned]).tobytes()
            swapped ^= turned
            state = after
            self.meet((digest, state, watch, way))

    def _as_here(self, event: Any, swapped: bool) -> Any:
        """What a person said, as it reads with the numbers in each other's place."""
        if not swapped or getattr(event, "sense", "") not in (Sense.GATE, Sense.DIGITS):
            return event
        for mine, other in self.swap.items():
            if event.text.endswith(" ".join(mine)):
                text = event.text.removesuffix(" ".join(mine)) + " ".join(other)
                return replace(event, text=text, spoken=text, words=text)
        return event

    def meet(self, todo: Todo) -> None:
        """A place that may be new: here, or with the process that has its node."""
        if not self.elsewhere(todo):
            self.add(todo)

    def add(self, todo: Todo) -> None:
        """Into the list of places to go on from, if it is new."""
        digest, state, watch, way = todo
        node = self.nodes.get(digest)
        if node is None:
            node = self.nodes[digest] = Node(state, kept=state if digest % TWINS_EVERY == 0 else None)
        elif node.kept is not None and state is not None and node.compared < TWINS_EACH and not state.closed:
            node.compared += 1
            self._compare(node.kept, state)
        if watch is None:
            return
        account = self._account(watch)
        if account in node.accounts:
            return
        if self.walked.states + len(self.todo) >= self.most:
            self.walked.whole = False
            return
        node.accounts.add(account)
        self.todo.append((digest, None, watch, way))

    def take(self, todo: Todo) -> None:
        """Everything that may happen at one place."""
        digest, _, watch, way = todo
        assert watch is not None
        node, walked = self.nodes[digest], self.walked
        if node.next is None:
            self._work_out(digest, node)
        assert node.next is not None
        walked.states += 1
        if walked.states % REPLAY_EVERY == 0:
            self._replay(digest, way)
        account = self._account(watch)
        for move, then, trace, turned in node.next:
            walked.judged += 1
            key = (account, move, trace)
            judged = self.judged.get(key)
            if judged is None:
                after, whys, isolated = self._judge(watch, move, self.traced[trace])
                if len(self.judged) > KEPT_AT_MOST:
                    self.judged.clear()
                judged = self.judged[key] = (self._account(after), whys, isolated)
            after_account, whys, isolated = judged
            walked.isolated += isolated
            onward = way + array("H", [2 * move + turned]).tobytes()
            for why in whys:
                if why not in self.told:
                    self.told.add(why)
                    walked.found.append((why, self.happened(onward)))
            if then == digest and after_account == account and not turned:
                continue
            if turned:
                after_account = self._turned(after_account)
            known = self.nodes.get(then)
            if known is None or after_account not in known.accounts:
                self.meet((then, None, self.watches[after_account], onward))

    # ---- what the machine does --------------------------------------------------------------------------------------

    def _work_out(self, digest: Digest, node: Node) -> None:
        state = node.state
        tried = range(len(self.moves)) if self.whole else may_happen(state, self.plain, digest)
        back, found = tuple(folding.ways_back(state)), []
        for n in tried:
            event, _, way = self.moves[n]
            if (state.closed and not isinstance(event, ev.Resumed)) or way >= len(back):
                continue
            then, after, trace, turned = self._moved(back[way] if goes_back(event) else state, n)
            found.append((n, then, trace, turned))
            if then != digest:
                self.meet((then, after, None, b""))
        node.next, node.state = tuple(found), None

    def _moved(self, begun: State, move: int) -> tuple[Digest, State, int, bool]:
        """(node, state at time zero, trace, whether numbers changed places) after it happened."""
        event, silence, _ = self.moves[move]
        self.walked.steps += 1
        if silence == AGED:
            begun, silence = folding.aged(begun), 1.0
        after, effects = advance(begun, ev.Stamped(9, WALL, begun.now + silence, event))
        answered = begun.closed or any(isinstance(one, ev.Say) for one in effects)
        trace: Trace = (answered, *filter(None, map(_read, effects)))
        number = self.traces.setdefault(trace, len(self.traced))
        if number == len(self.traced):
            self.traced.append(trace)
            self.walked.entered |= {one.step for one in trace[1:] if isinstance(one, ev.StepEntered)}
        digest, after, turned = self._folded(after)
        return digest, after, number, turned

    def _folded(self, state: State) -> tuple[Digest, State, bool]:
        stilled = folding.still(state)
        if self.broken:
            stilled = replace(stilled, broken=self.broken)
        turned = bool(self.swap) and folding.number_first(stilled) == self.small.people[1]
        if turned:
            stilled = folding.renamed(stilled, self.swap)
        return self.digest(stilled), stilled, turned

    def digest(self, state: State) -> Digest:
        """128 bits of two hashes of the key; two states of millions share one with a chance of less than one in 10²⁰."""
        key = folding.key(state, self.values)
        return (hash(key) & _MASK) << 64 | hash(("again", *reversed(key))) & _MASK

    # ---- what the watchman makes of it ------------------------------------------------------------------------------

    def _account(self, watch: Watch) -> int:
        number = self.accounts.setdefault(watch, len(self.watches))
        if number == len(self.watches):
            self.watches.append(watch)
        return number

    def _turned(self, account: int) -> int:
        if account not in self.turned:
            self.turned[account] = self._account(folding.watched_as(self.watches[account], self.swap))
        return self.turned[account]

    def _judge(self, watch: Watch, move: int, trace: Trace) -> tuple[Watch, tuple[str, ...], bool]:
        """(the watchman's account after it, the rules it breaks, whether a source became dead)."""
        event, silence, _ = self.moves[move]
        quiet, over = (1.0, tuple(self.small.returns)) if silence == AGED else (silence, ())
        now = hears(self.small, watch, ev.Stamped(9, WALL, quiet, event), quiet, over)
        wrong = [] if trace[0] or not _power_on(event, watch) else ["6: nothing is said"]
        isolated = False
        for effect in trace[1:]:
            before = now
            now, why = broken(self.small, now, effect)
            if why and not (why.startswith("7") and isinstance(event, ev.FaultMet)):  # a fault that the walk makes
                wrong.append(why)
            isolated |= bool(now.dead - before.dead)
        return quiet_again(now), tuple(wrong), isolated

    # ---- what else is tried -----------------------------------------------------------------------------------------

    def _compare(self, one: State, other: State) -> None:
        """Two states taken for one answer everything alike."""
        self.walked.twins += 1
        for event, silence in self.letters:
            if silence == AGED:
                continue
            ways = zip(folding.ways_back(one), folding.ways_back(other), strict=True)
            for pair in ways if goes_back(event) else [(one, other)]:
                ends = []
                for state in pair:
                    after, effects = advance(state, ev.Stamped(9, WALL, state.now + silence, event))
                    ends.append((folding.key(after, self.values), tuple(filter(None, map(_kept, effects)))))
                if ends[0] != ends[1] and len(self.walked.unlike) < 5:
                    parts = [n for n, each in enumerate(zip(ends[0][0], ends[1][0], strict=True)) if each[0] != each[1]]
                    self.walked.unlike.append(f"{event} at {one.frames} {one.asked}: parts {parts or ends}")

    def happened(self, way: bytes) -> tuple[tuple[Any, float, int], ...]:
        """What was said and done on a way, with each number as it was first said."""
        moves, swapped, found = array("H"), False, []
        moves.frombytes(way)
        for one in moves:
            event, silence, back = self.moves[one >> 1]
            found.append((self._as_here(event, swapped), silence, back))
            swapped ^= bool(one & 1)
        return tuple(found)

    def _replay(self, digest: Digest, way: bytes) -> None:
        """The same happenings on one running clock, through what a disk keeps of them: the same state comes of it. What was
        proved long ago is not replayed: how long ago is the clock's."""
        happened = self.happened(way)
        if self.broken or any(goes_back(event) for event, _, _ in happened):
            return
        self.walked.replayed += 1
        now, again = 0.0, advance(start(self.book, ENGLISH), ev.Stamped(0, WALL, 0.0, self.opened))[0]
        for n, (event, silence, _) in enumerate(happened):
            now += 1.0 if silence == AGED else silence
            kept = ev.from_data(type(event).__name__, ev.to_data(event))
            again, _ = advance(folding.aged(again) if silence == AGED else again, ev.Stamped(n, WALL, now, kept))
        why = "7: a replay comes to another state"
        if self._folded(again)[0] != digest and why not in self.told:
            self.told.add(why)
            self.walked.found.append((why, happened))


_MASK = (1 << 64) - 1


@lru_cache(maxsize=100_000)
def _said(text: str) -> ev.Say:
    return ev.Say(0, text, "")


def _read(effect: Any) -> Any:
    """What of an effect the watchman reads; None where he reads nothing."""
    match effect:
        case ev.Say():
            return _said(effect.text)
        case ev.Gate():
            return replace(effect, why="")
        case ev.FaultCaught() | ev.ListenFor() | ev.KeepNote() | ev.Closed() | ev.ReadingTaken():
            return effect
        case ev.LockChanged() | ev.StepEntered():
            return effect
    return None


def _kept(effect: Any) -> Any:
    """What of an effect must be the same for states taken for one; None where how it is told is all there is to it."""
    match effect:
        case ev.StepEntered():
            return "step", effect.step, effect.isolation
        case ev.LockChanged():
            return "lock", effect.owner, effect.source, effect.on, effect.how
        case ev.Gate() if effect.was != effect.now:
            return "gate", effect.was, effect.now, effect.how, effect.source
        case ev.Closed():
            return "closed", effect.outcome
    return None


def walk(
    small: Small, most: int = 10**9, letters: Letters | None = None, first: bool = False, broken_before: bool = False,
    whole: bool = False,
) -> Walked:  # fmt: skip
    """From the opening, through everything. Stops at `most` states, and says so. `letters`: what may happen, all of
    `alphabet` when absent. `first`: stop at the first violation. `whole`: what is not in force, too, in every state."""
    return Walk(small, most, letters, first, broken_before, whole).run()


def _power_on(event: Any, watch: Watch) -> bool:
    said_it = isinstance(event, ev.Utterance) and event.verdict == Verdict.ACCEPTED and event.text == "power is on"
    noted = watch.asked == "note" and isinstance(event, ev.NoteKept)
    return said_it or (noted and "power is on" in f"{event.text} {event.alarm}")


def shown(way: tuple[Any, ...]) -> str:
    def one(event: Any, silence: float, back: int) -> str:
        text = getattr(event, "text", "") or getattr(event, "timer", "") or getattr(event, "why", "")
        verdict, voice = getattr(event, "verdict", ""), getattr(event, "voice", "")
        said_ = f"{type(event).__name__} {text!r}" if not isinstance(event, ev.Utterance) else repr(text)
        aside = f" ({verdict})" if verdict not in ("", "accepted") else f" ({voice} voice)" if voice else ""
        old = " (proved long ago)" if silence == AGED else f" (to step {back})" if back else ""
        return said_ + aside + old + (f" after {silence:g} s" if silence > 1 else "")

    return "; ".join(one(*each) for each in way)


def main() -> None:
    from tests.bench.spread import hurried, walk_spread

    hurried()
    parser = argparse.ArgumentParser()
    parser.add_argument("--book", choices=sorted(BOOKS), action="append")
    parser.add_argument("--most", type=int, default=10**9)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=1e9, help="stop then, and say how much is left")
    parser.add_argument("--all-letters", action="store_true", help="what is not in force, too, in every state")
    parser.add_argument("--broken", action="store_true", help="every step has failed before")
    asked = parser.parse_args()
    for name in asked.book or list(BOOKS):
        began = time.monotonic()
        if asked.processes > 1:
            walked = walk_spread(name, asked.processes, asked.seconds, whole=asked.all_letters, broken_before=asked.broken)
        else:
            walked = walk(BOOKS[name], asked.most, broken_before=asked.broken, whole=asked.all_letters)
        print(f"{name}: {walked.states:,} states{'' if walked.whole else f' (not all: {walked.left:,} waiting)'} of "
              f"{walked.machine:,} of the machine, {walked.steps:,} happenings worked out, {walked.judged:,} judged, "
              f"{walked.isolated:,} times isolated, {walked.replayed:,} replays, {walked.twins:,} twins compared, "
              f"{len(walked.unlike)} unlike, {len(walked.found)} violations, {time.monotonic() - began:.0f} s",
              flush=True)  # fmt: skip
        for unlike in walked.unlike:
            print(f"  unlike: {unlike}", flush=True)
        for why, way in walked.found:
            print(f"  rule {why}\n    {shown(way)}", flush=True)


if __name__ == "__main__":
    main()
