"""Every state of small visits, walked breadth-first through the real `advance`, judged by `tests.bench.watchman`.

    python -m tests.bench.walk [--book NAME] [--most STATES] [--broken]

In every state everything in `alphabet` happens: all that may be said, by whom, how sure and in which voice, silences,
timers, devices lost, faults, signals, crashes and resumes. Which states are taken for one, and why, is said in `folding`;
of every 64th that is seen again both are asked all over, and what comes of them is compared. A replay of
the record is tried of every 97th. `--broken`: every step has failed before, so that those that may be passed over are.
"""

from __future__ import annotations

import argparse
import time
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

from handsfree.dialogue import question
from handsfree.isolation import interlock, people, rules
from handsfree.journal import events as ev
from handsfree.language.meaning import ALWAYS, WHEN_ASKED, Denial, Sense, Verdict, gate_text
from handsfree.procedure import load
from handsfree.visit import machine
from handsfree.visit.machine import advance, start
from handsfree.visit.state import Frame
from tests.bench import folding, watchman
from tests.bench.small_visits import BOOKS
from tests.bench.watchman import BREAK, DAY, ENGLISH, NOBODYS, WORDS, A, B, Small, Watch, broken, hears
from tests.bench.watchman import quiet as quiet_again

WALL = "2026-03-02T08:00:00+00:00"
AGED = -1.0


def heard(sense: Sense, text: str, value: float | None = None, verdict: Verdict = Verdict.ACCEPTED) -> ev.Utterance:
    return ev.Utterance(verdict, sense, text, value, None, spoken=text, sure=1.0, words=text)


#: They change how and what is told. Tried at one state of eleven.
IDLE = frozenset({
    "faster", "slower", "louder", "softer", "how long", "where am i", "what next", "why", "what can i say", "full form",
    "short form", "usual form", "help",
})  # fmt: skip
IDLE_EVERY = 11
Letters = list[tuple[Any, float]]


def letter(text: str) -> ev.Utterance:
    """Of a good way."""
    kind, _, whose = text.partition(" ")
    number = {"A": A, "B": B}.get(whose)
    if number is not None:
        return heard(Sense.DIGITS, " ".join(number)) if kind == "number" else heard(Sense.GATE, gate_text(kind, number))
    if text[0].isdigit():
        return heard(Sense.NUMBER, text, float(text))
    return heard(Sense.COMMAND if text in (*ALWAYS, *WHEN_ASKED) else Sense.PHRASE, text)


def _sources(small: Small) -> tuple[str, ...]:
    return (*small.sources, "all of them") if len(small.sources) > 1 else ()


def few(small: Small) -> Letters:
    """What a person would say, and what goes wrong most: for a walk of seconds."""
    said_ = ("next step", "affirm", "negative", "power is on", "go back", "note")
    said_ += ("second person", "i am leaving") if len(small.people) > 1 else ()
    letters: Letters = [(heard(Sense.COMMAND, name), 1.0) for name in said_]
    words = (*small.phrases, "nothing runs", "it runs", *_sources(small), *(WHO if len(small.people) > 1 else ()))
    letters += [(heard(Sense.PHRASE, text), 1.0) for text in words]
    letters += [(heard(Sense.NUMBER, f"{value:g}", value), 1.0) for value in (0.5, 208.0)]
    letters += [(heard(Sense.DIGITS, " ".join(number)), 1.0) for number in small.people]
    for word in ("isolated", "clear"):
        letters += [(heard(Sense.GATE, gate_text(word, number)), 1.0) for number in (*small.people, NOBODYS)]
    letters += [(heard(Sense.COMMAND, "next step"), BREAK + 60), (ev.NoteKept("", "", "the power is on", 2.0), 1.0)]
    letters += [(ev.TimerRang("wait"), 3600.0), (ev.SoundLost("d", "microphone"), 1.0), (ev.FaultMet("mouth", "broke"), 1.0)]
    return [*letters, (ev.Resumed("interrupted"), 1.0), (ev.Resumed("stopped"), 1.0)]


def alphabet(small: Small) -> Iterator[tuple[Any, float]]:
    """(happening, seconds of silence before it); `AGED` in place of a silence: somebody spoke just now, and what was proved
    was proved long ago."""
    yield from _spoken(small)
    for text in ("next step", "affirm", "say again", "go ahead"):
        yield heard(Sense.COMMAND, text), BREAK + 60
    yield heard(Sense.PHRASE, "nothing runs"), BREAK + 60
    for happening in _others():
        yield happening, 1.0
        yield happening, BREAK + 60
    yield ev.TimerRang("wait"), 3600.0
    yield ev.Resumed("interrupted"), 1.0
    yield ev.Resumed("interrupted", unrecorded=True), 1.0
    yield ev.Resumed("interrupted"), DAY
    yield ev.Resumed("stopped"), 1.0
    if small.returns:
        for happening in (heard(Sense.COMMAND, "next step"), heard(Sense.COMMAND, "affirm"), ev.TimerRang("break"),
                          heard(Sense.COMMAND, "power is on"), ev.Resumed("interrupted")):  # fmt: skip
            yield happening, AGED


def _spoken(small: Small) -> Iterator[tuple[Any, float]]:
    for name in sorted({*ALWAYS, *WHEN_ASKED}):
        yield heard(Sense.COMMAND, name), 1.0
    for text in (*small.phrases, "nothing runs", "it runs", *_sources(small), *WHO):
        yield heard(Sense.PHRASE, text), 1.0
    yield heard(Sense.NUMBER, "0.5", 0.5), 1.0
    yield heard(Sense.NUMBER, "208", 208.0), 1.0
    yield heard(Sense.STATE, "over range"), 1.0
    for number in small.people:
        yield heard(Sense.DIGITS, " ".join(number)), 1.0
    for number in (*small.people, NOBODYS):
        for word in ("isolated", "clear"):
            yield heard(Sense.GATE, gate_text(word, number)), 1.0
    for voice in ("other", "doubtful"):
        for word in ("isolated", "clear"):
            yield replace(heard(Sense.GATE, gate_text(word, A)), voice=voice), 1.0
    for verdict in (Verdict.ASKED_AGAIN, Verdict.NOT_FOR_ME, Verdict.PROPOSED):
        yield heard(Sense.GATE, gate_text("isolated", A), verdict=verdict), 1.0
        yield heard(Sense.PHRASE, "nothing runs", verdict=verdict), 1.0
        yield heard(Sense.COMMAND, "affirm", verdict=verdict), 1.0
        yield heard(Sense.NUMBER, "0.5", 0.5, verdict=verdict), 1.0
    yield heard(Sense.DENIAL, Denial.NEGATION, verdict=Verdict.ASKED_AGAIN), 1.0


def _others() -> Iterator[Any]:
    for timer in ("wait", "break", "quiet"):
        yield ev.TimerRang(timer)
    yield ev.NoteKept("", "", "the gasket is torn", 2.0)
    yield ev.NoteKept("", "", "the power is on", 2.0)
    yield ev.NoteKept("clip", "0" * 64, "", 2.0)
    yield ev.NoteKept("clip", "0" * 64, "", 2.0, "power is on")
    yield ev.SoundLost("d", "microphone")
    yield ev.SoundBack("d", "microphone")
    yield ev.SoundDropped(900, True)
    yield ev.PromptEnded(0)
    yield ev.Attached("", "photo.jpg", "0" * 64)
    yield ev.ClockMoved(3600.0)
    yield ev.FaultMet("mouth", "it broke")
    yield ev.StopAsked("a signal")


@dataclass
class Walked:
    """`found`: (rule broken, the happenings that lead there), the shortest way first. `twins`: pairs of states taken for one
    that were compared; `unlike`: what differed between two of them."""

    states: int = 0
    steps: int = 0
    entered: set[str] = field(default_factory=set)
    isolated: int = 0
    replayed: int = 0
    twins: int = 0
    unlike: list[str] = field(default_factory=list)
    whole: bool = True
    found: list[tuple[str, tuple[Any, ...]]] = field(default_factory=list)


Way = tuple[Any, ...]  # ((happening, silence), way before) or ()
WHO = ("somebody new", "the first person", "the second person")
BACK = ("go back", "correction")
REPLAY_EVERY, TWINS_EVERY, TWINS_EACH = 97, 64, 2


class Walk:
    """One walk through a small visit."""

    def __init__(self, small: Small, most: int, letters: Letters, first: bool, broken_before: bool = False) -> None:
        self.small, self.most, self.letters, self.first = small, most, letters, first
        self.book = load.book_of(load.parse(small.text, "walked.yaml"))
        self.values = folding.reads_values(self.book)
        WORDS[small.text] = {step.id: step.say for step in self.book.procedures[self.book.main].steps}
        self.opened = ev.Opened("v", self.book.main, "en", "", "", "", "t", "typed")
        self.walked = Walked()
        self.told: set[str] = set()
        self.seen: dict[Any, tuple[Any, int]] = {}  # key -> (the state kept for its twins or None, twins compared)
        self.todo: deque[tuple[Any, Watch, Way]] = deque()
        every = (Frame(self.book.main, step.id) for step in self.book.procedures[self.book.main].steps)
        self.broken = frozenset((one,) for one in every) if broken_before else frozenset()

    def run(self) -> Walked:
        state, _ = advance(start(self.book, ENGLISH), ev.Stamped(0, WALL, 0.0, self.opened))
        self._meet(state, Watch(), ())
        self._good_way(state)
        while self.todo and not (self.first and self.walked.found):
            state, watch, way = self.todo.popleft()
            self.walked.states += 1
            if self.walked.states % REPLAY_EVERY == 0 and not any(_goes_back(event) for event, _ in _in_order(way)):
                self.walked.replayed += 1
                _replay(self, way, state)
            for event, silence in self.letters:
                if state.closed and not isinstance(event, ev.Resumed):
                    continue
                if self.walked.states % IDLE_EVERY and getattr(event, "text", "") in IDLE:
                    continue
                for begun in folding.ways_back(state) if _goes_back(event) else (state,):
                    self._happen(begun, watch, way, event, silence)
        return self.walked

    def _good_way(self, state: Any) -> None:
        """So that a walk that is cut off has been at every part of the visit."""
        watch, way = Watch(), ()
        for text in self.small.good:
            self.walked.steps += 1
            state, watch, way = self._turn(state, watch, way, letter(text), 1.0)
            self._meet(state, watch, way)

    def _happen(self, state: Any, watch: Watch, way: Way, event: Any, silence: float) -> None:
        self.walked.steps += 1
        after, now, then = self._turn(state, watch, way, event, silence)
        if after is not state or now is not watch:
            self._meet(after, now, then)

    def _turn(self, state: Any, watch: Watch, way: Way, event: Any, silence: float) -> tuple[Any, Watch, Way]:
        """(state, watchman, way) after it happened."""
        walked, small = self.walked, self.small
        begun, quiet, over = (folding.aged(state), 1.0, small.returns) if silence == AGED else (state, silence, {})
        stamped = ev.Stamped(9, WALL, begun.now + quiet, event)
        after, effects = advance(begun, stamped)
        now = hears(small, watch, stamped, quiet, tuple(over))
        answered = begun.closed or any(isinstance(one, ev.Say) for one in effects)
        wrong = [] if answered or not _power_on(event, watch) else ["6: nothing is said"]
        for effect in effects:
            before = now
            now, why = broken(small, now, effect)
            if why and not _meant(why, event):
                wrong.append(why)
            if isinstance(effect, ev.StepEntered):
                walked.entered.add(effect.step)
            walked.isolated += bool(now.dead - before.dead)
        then = ((event, silence), way)
        for why in wrong:
            if why not in self.told:
                self.told.add(why)
                walked.found.append((why, _in_order(then)))
        return after, quiet_again(now), then

    def _meet(self, state: Any, watch: Watch, way: Way) -> None:
        """A state that is new is to be walked from."""
        key = (folding.key(state, self.values), watch)
        known = self.seen.get(key)
        if known is not None:
            kept, compared = known
            if kept is not None and compared < TWINS_EACH and state.outcome == "":
                self.seen[key] = (kept, compared + 1)
                self._compare(kept, self._still(state))
            return
        if len(self.seen) >= self.most:
            self.walked.whole = False
            return
        state = self._still(state)
        self.seen[key] = (state if len(self.seen) % TWINS_EVERY == 0 else None, 0)
        self.todo.append((state, watch, way))

    def _still(self, state: Any) -> Any:
        stilled = folding.still(state)
        return replace(stilled, broken=self.broken) if self.broken else stilled

    def _compare(self, one: Any, other: Any) -> None:
        """Two states taken for one answer everything alike."""
        self.walked.twins += 1
        for event, silence in self.letters:
            if silence == AGED or _goes_back(event):
                continue
            ends = []
            for state in (one, other):
                after, effects = advance(state, ev.Stamped(9, WALL, state.now + silence, event))
                ends.append((folding.key(after, self.values), tuple(filter(None, map(_kept, effects)))))
            if ends[0] != ends[1] and len(self.walked.unlike) < 5:
                parts = [n for n, pair in enumerate(zip(ends[0][0], ends[1][0], strict=True)) if pair[0] != pair[1]]
                self.walked.unlike.append(f"{event} at {one.frames} {one.asked}: parts {parts or ends}")


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


def _goes_back(event: Any) -> bool:
    return isinstance(event, ev.Utterance) and event.text in BACK and event.verdict == Verdict.ACCEPTED


def walk(
    small: Small, most: int = 10**9, letters: Letters | None = None, first: bool = False, broken_before: bool = False
) -> Walked:
    """From the opening, through everything. Stops at `most` states, and says so. `letters`: what may happen, all of
    `alphabet` when absent. `first`: stop at the first violation."""
    return Walk(small, most, letters or list(alphabet(small)), first, broken_before).run()


def _power_on(event: Any, watch: Watch) -> bool:
    said_it = isinstance(event, ev.Utterance) and event.verdict == Verdict.ACCEPTED and event.text == "power is on"
    noted = watch.asked == "note" and isinstance(event, ev.NoteKept)
    return said_it or (noted and "power is on" in f"{event.text} {event.alarm}")


def _meant(why: str, event: Any) -> bool:
    """A fault that the walk itself makes is none of the program's."""
    return why.startswith("7") and isinstance(event, ev.FaultMet)


def _in_order(way: Way) -> tuple[Any, ...]:
    found = []
    while way:
        found.append(way[0])
        way = way[1]
    return tuple(reversed(found))


def _replay(walk: Walk, way: Way, state: Any) -> None:
    """The same happenings on one running clock, through what a disk keeps of them: the same state comes of it. What was
    proved long ago is not replayed: how long ago is the clock's."""
    now, again = 0.0, advance(start(walk.book, ENGLISH), ev.Stamped(0, WALL, 0.0, walk.opened))[0]
    for n, (event, silence) in enumerate(_in_order(way)):
        now += 1.0 if silence == AGED else silence
        kept = ev.from_data(type(event).__name__, ev.to_data(event))
        again, _ = advance(folding.aged(again) if silence == AGED else again, ev.Stamped(n, WALL, now, kept))
    keys = folding.key(again, walk.values), folding.key(state, walk.values)
    if keys[0] != keys[1] and not walk.broken:
        parts = [str(n) for n, pair in enumerate(zip(*keys, strict=True)) if pair[0] != pair[1]]
        why = f"7: a replay differs in parts {', '.join(parts)} of its key"
        if why not in walk.told:
            walk.told.add(why)
            walk.walked.found.append((why, _in_order(way)))


def shown(way: tuple[Any, ...]) -> str:
    def one(event: Any, silence: float) -> str:
        text = getattr(event, "text", "") or getattr(event, "timer", "") or getattr(event, "why", "")
        verdict = getattr(event, "verdict", "")
        said_ = f"{type(event).__name__} {text!r}" if not isinstance(event, ev.Utterance) else repr(text)
        aside = f" ({verdict})" if verdict not in ("", "accepted") else ""
        old = " (proved long ago)" if silence == AGED else ""
        return said_ + aside + old + (f" after {silence:g} s" if silence > 1 else "")

    return "; ".join(one(*each) for each in way)


def quick(made: Any, /, **changes: Any) -> Any:
    """`dataclasses.replace` of a class that checks nothing when it is made: half the time of a walk goes into it."""
    new = object.__new__(type(made))
    new.__dict__.update(made.__dict__)
    new.__dict__.update(changes)
    return new


def _change(turn: Any, **changes: Any) -> None:
    turn.state = quick(turn.state, **changes)


def hurried() -> None:
    """For a walk of its own process: the same states, made without checking the names of their fields."""
    question.Turn.change = _change  # type: ignore[method-assign]
    for module in (interlock, rules, people, machine, folding, watchman):
        module.replace = quick  # type: ignore[attr-defined]


def main() -> None:
    hurried()
    parser = argparse.ArgumentParser()
    parser.add_argument("--book", choices=sorted(BOOKS), action="append")
    parser.add_argument("--most", type=int, default=10**9)
    parser.add_argument("--broken", action="store_true", help="every step has failed before")
    asked = parser.parse_args()
    for name in asked.book or list(BOOKS):
        began = time.process_time()
        walked = walk(BOOKS[name], asked.most, broken_before=asked.broken)
        print(f"{name}: {walked.states:,} states{'' if walked.whole else ' (not all)'}, {walked.steps:,} happenings, "
              f"{walked.isolated:,} times isolated, {walked.replayed:,} replays, {walked.twins:,} twins compared, "
              f"{len(walked.unlike)} unlike, {len(walked.found)} violations, {time.process_time() - began:.0f} s",
              flush=True)  # fmt: skip
        for unlike in walked.unlike:
            print(f"  unlike: {unlike}", flush=True)
        for why, way in walked.found:
            print(f"  rule {why}\n    {shown(way)}", flush=True)


if __name__ == "__main__":
    main()
