"""Every state of small visits, walked breadth-first through the real `advance`, judged by `tests.bench.watchman`.

    python -m tests.bench.walk [--book NAME] [--most STATES]

What is left out of a state, so that there are finitely many: clocks (a silence is a happening of its own), how often
was asked again, whether the long or the short form is said, failures beyond three, all but the last three ways back.
"""

from __future__ import annotations

import argparse
import time
from collections import deque
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields, is_dataclass, replace
from typing import Any

from handsfree.journal import events as ev
from handsfree.language.meaning import ALWAYS, WHEN_ASKED, Denial, Sense, Verdict, gate_text
from handsfree.procedure import load
from handsfree.visit.machine import advance, start
from tests.bench.small_visits import BOOKS
from tests.bench.watchman import BREAK, DAY, ENGLISH, NOBODYS, WORDS, A, B, Small, Watch, broken, hears

WALL = "2026-03-02T08:00:00+00:00"
WAIT = 120.0  # s, what is left of every wait in a state at time zero


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
    words = (*small.phrases, "nothing runs", "it runs", *_sources(small))
    letters += [(heard(Sense.PHRASE, text), 1.0) for text in words]
    letters += [(heard(Sense.NUMBER, f"{value:g}", value), 1.0) for value in (0.5, 208.0)]
    letters += [(heard(Sense.DIGITS, " ".join(number)), 1.0) for number in small.people]
    for word in ("isolated", "clear"):
        letters += [(heard(Sense.GATE, gate_text(word, number)), 1.0) for number in (*small.people, NOBODYS)]
    letters += [(heard(Sense.COMMAND, "next step"), BREAK + 60), (ev.NoteKept("", "", "the power is on", 2.0), 1.0)]
    letters += [(ev.TimerRang("wait"), 3600.0), (ev.SoundLost("d", "microphone"), 1.0), (ev.FaultMet("mouth", "broke"), 1.0)]
    return [*letters, (ev.Resumed("interrupted"), 1.0), (ev.Resumed("stopped"), 1.0)]


def alphabet(small: Small) -> Iterator[tuple[Any, float]]:
    """(happening, seconds of silence before it)."""
    for name in sorted({*ALWAYS, *WHEN_ASKED}):
        yield heard(Sense.COMMAND, name), 1.0
    for text in (*small.phrases, "nothing runs", "it runs", *_sources(small)):
        yield heard(Sense.PHRASE, text), 1.0
    yield heard(Sense.NUMBER, "0.5", 0.5), 1.0
    yield heard(Sense.NUMBER, "208", 208.0), 1.0
    yield heard(Sense.STATE, "over range"), 1.0
    for number in small.people:
        yield heard(Sense.DIGITS, " ".join(number)), 1.0
    for number in (*small.people, NOBODYS):
        for word in ("isolated", "clear"):
            yield heard(Sense.GATE, gate_text(word, number)), 1.0
    for verdict in (Verdict.ASKED_AGAIN, Verdict.NOT_FOR_ME, Verdict.PROPOSED):
        yield heard(Sense.GATE, gate_text("isolated", A), verdict=verdict), 1.0
        yield heard(Sense.PHRASE, "nothing runs", verdict=verdict), 1.0
    yield heard(Sense.DENIAL, Denial.NEGATION, verdict=Verdict.ASKED_AGAIN), 1.0
    for text in ("next step", "affirm", "say again", "go ahead"):
        yield heard(Sense.COMMAND, text), BREAK + 60
    yield heard(Sense.PHRASE, "nothing runs"), BREAK + 60
    for timer in ("wait", "break", "quiet"):
        yield ev.TimerRang(timer), 1.0
    yield ev.TimerRang("break"), BREAK + 60
    yield ev.TimerRang("wait"), 3600.0
    yield ev.NoteKept("", "", "the gasket is torn", 2.0), 1.0
    yield ev.NoteKept("", "", "the power is on", 2.0), 1.0
    yield ev.SoundLost("d", "microphone"), 1.0
    yield ev.SoundBack("d", "microphone"), 1.0
    yield ev.SoundDropped(900, True), 1.0
    yield ev.FaultMet("mouth", "it broke"), 1.0
    yield ev.StopAsked("a signal"), 1.0
    yield ev.Resumed("interrupted"), 1.0
    yield ev.Resumed("interrupted"), DAY
    yield ev.Resumed("stopped"), 1.0


#: Fields of a state or of what is in it that are clocks, or do not decide what comes.
CLOCKS = ("now", "began", "last_heard", "since", "proved_at", "heard_out", "wall")
LEFT_OUT = (
    "found", "voice_doubted",
    "book", "language", "listening", "said", "spoken", "rate", "volume", "told_quiet", "tellings", "fault", "failed_at",
    "tries", "form",
)  # fmt: skip


def still(made: Any) -> Any:
    """The same at time zero, counters at three at most."""
    if not is_dataclass(made) or isinstance(made, type):
        return made
    changes: dict[str, Any] = {}
    for one in fields(made):
        value = getattr(made, one.name)
        if one.name in CLOCKS:
            zero: Any = dict.fromkeys(value, 0.0) if isinstance(value, Mapping) else "" if one.name == "wall" else 0.0
            changes[one.name] = zero
        elif one.name in ("tries", "failures"):
            changes[one.name] = min(value, 3)
        elif one.name == "said":
            changes[one.name] = 0
        elif one.name == "trail":
            changes[one.name] = value[-3:]
        elif one.name == "wait_ends":
            changes[one.name] = WAIT if value - made.now > 0.5 else 0.0  # over when its timer rings, or cut short
        elif one.name == "broken":
            changes[one.name] = frozenset()
        elif one.name == "interlock":
            changes[one.name] = still(value)
    return replace(made, **changes)


def bare(made: Any) -> Any:
    """What decides the future, to be looked up."""
    if is_dataclass(made) and not isinstance(made, type):
        return tuple(bare(getattr(made, one.name)) for one in fields(made) if one.name not in LEFT_OUT)
    if isinstance(made, Mapping):
        return frozenset((bare(key), bare(value)) for key, value in made.items())
    if isinstance(made, (tuple, list)):
        return tuple(bare(one) for one in made)
    if isinstance(made, (set, frozenset)):
        return frozenset(bare(one) for one in made)
    return made


@dataclass
class Walked:
    """`found`: (rule broken, the happenings that lead there), the shortest way first."""

    states: int = 0
    steps: int = 0
    entered: set[str] = field(default_factory=set)
    isolated: int = 0
    replayed: int = 0
    whole: bool = True
    found: list[tuple[str, tuple[Any, ...]]] = field(default_factory=list)


Way = tuple[Any, ...]  # ((happening, silence), way before) or ()


def walk(
    small: Small, most: int = 10**9, replay_every: int = 97, letters: Letters | None = None, first: bool = False
) -> Walked:
    """From the opening, through everything. Stops at `most` states, and says so. `letters`: what may happen, all of
    `alphabet` when absent. `first`: stop at the first violation."""
    book = load.book_of(load.parse(small.text, "walked.yaml"))
    WORDS[small.text] = {step.id: step.say for step in book.procedures[book.main].steps}
    opened = ev.Opened("v", book.main, "en", "", "", "", "t", "typed")
    letters = letters or list(alphabet(small))
    walked, told = Walked(), set()
    state, _ = advance(start(book, ENGLISH), ev.Stamped(0, WALL, 0.0, opened))
    state, watch = still(state), Watch()
    seen = {(bare(state), watch)}
    todo: deque[tuple[Any, Watch, Way]] = deque([(state, watch, ())])
    way: Way = ()
    for text in small.good:  # so that a walk that is cut off has been at every part of the visit
        happening = ev.Stamped(9, WALL, 1.0, letter(text))
        watch = hears(small, watch, happening, 1.0)
        state, effects = advance(state, happening)
        for effect in effects:
            watch, _ = broken(small, watch, effect)
            walked.entered |= {effect.step} if isinstance(effect, ev.StepEntered) else set()
        state, way = still(state), ((happening.event, 1.0), way)
        seen.add((bare(state), watch))
        todo.append((state, watch, way))
    while todo and not (first and walked.found):
        state, watch, way = todo.popleft()
        walked.states += 1
        if walked.states % replay_every == 0:
            walked.replayed += 1
            _replay(book, opened, way, state, walked)
        for event, silence in letters:
            if walked.states % IDLE_EVERY and getattr(event, "text", "") in IDLE:
                continue
            walked.steps += 1
            stamped = ev.Stamped(9, WALL, silence, event)
            after, effects = advance(state, stamped)
            now = hears(small, watch, stamped, silence)
            answered = state.closed or any(isinstance(one, ev.Say) for one in effects)
            wrong = [] if answered or not _power_on(event, watch) else ["6: nothing is said"]
            for effect in effects:
                before = now
                now, why = broken(small, now, effect)
                wrong += [why] if why and not _meant(why, event) else []
                walked.entered |= {effect.step} if isinstance(effect, ev.StepEntered) else set()
                walked.isolated += bool(now.dead - before.dead)
            then = ((event, silence), way)
            for why in wrong:
                if why not in told:
                    told.add(why)
                    walked.found.append((why, _in_order(then)))
            after = still(after)
            key = (bare(after), now)
            if key not in seen:
                if len(seen) >= most:
                    walked.whole = False
                    continue
                seen.add(key)
                todo.append((after, now, then))
    return walked


def _power_on(event: Any, watch: Watch) -> bool:
    said_it = isinstance(event, ev.Utterance) and event.verdict == Verdict.ACCEPTED and event.text == "power is on"
    return said_it or (watch.asked == "note" and isinstance(event, ev.NoteKept) and "power is on" in event.text)


def _meant(why: str, event: Any) -> bool:
    """A fault that the walk itself makes is none of the program's."""
    return why.startswith("7") and isinstance(event, ev.FaultMet)


def _in_order(way: Way) -> tuple[Any, ...]:
    found = []
    while way:
        found.append(way[0])
        way = way[1]
    return tuple(reversed(found))


def _replay(book: Any, opened: ev.Opened, way: Way, state: Any, walked: Walked) -> None:
    """The same happenings on one running clock, through what a disk keeps of them: the same state comes of it."""
    now, again = 0.0, advance(start(book, ENGLISH), ev.Stamped(0, WALL, 0.0, opened))[0]
    for n, (event, silence) in enumerate(_in_order(way)):
        now += silence
        kept = ev.from_data(type(event).__name__, ev.to_data(event))
        again, _ = advance(again, ev.Stamped(n, WALL, now, kept))
    differ = [one.name for one in fields(state) if one.name not in (*LEFT_OUT, "trail")
              and _compared(getattr(still(again), one.name)) != _compared(getattr(state, one.name))]  # fmt: skip
    if differ:
        why = f"7: a replay differs in {', '.join(differ)}"
        if all(why != told for told, _ in walked.found):
            walked.found.append((why, _in_order(way)))


def _compared(value: Any) -> Any:
    """Of what was answered, by which step: how long a wait lasted hangs on the clock, which the walk holds still."""
    return frozenset(value) if isinstance(value, Mapping) else bare(value)


def shown(way: tuple[Any, ...]) -> str:
    def one(event: Any, silence: float) -> str:
        text = getattr(event, "text", "") or getattr(event, "timer", "") or getattr(event, "why", "")
        verdict = getattr(event, "verdict", "")
        said_ = f"{type(event).__name__} {text!r}" if not isinstance(event, ev.Utterance) else repr(text)
        aside = f" ({verdict})" if verdict not in ("", "accepted") else ""
        return said_ + aside + (f" after {silence:g} s" if silence > 1 else "")

    return "; ".join(one(*each) for each in way)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--book", choices=sorted(BOOKS), action="append")
    parser.add_argument("--most", type=int, default=10**9)
    asked = parser.parse_args()
    for name in asked.book or list(BOOKS):
        began = time.process_time()
        walked = walk(BOOKS[name], asked.most)
        print(f"{name}: {walked.states:,} states{'' if walked.whole else ' (not all)'}, {walked.steps:,} happenings, "
              f"{walked.isolated:,} times isolated, {walked.replayed:,} replays, {len(walked.found)} violations, "
              f"{time.process_time() - began:.0f} s", flush=True)  # fmt: skip
        for why, way in walked.found:
            print(f"  rule {why}\n    {shown(way)}", flush=True)


if __name__ == "__main__":
    main()
