"""What may happen in a small visit: all of it (`alphabet`), and what a person would say (`few`), for `tests.bench.walk`.

What is not in force cannot be heard, for the ear is given what is in force and nothing else; a machine that is told it all
the same must stay safe. `in_force` says of a happening whether it can come; a walk tries, of those that cannot, one of
each sense in every state, another one in the next (`spread` by the state), so that over the states all are tried.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from handsfree.dialogue.meant import TOO_EARLY
from handsfree.journal import events as ev
from handsfree.language.meaning import ALWAYS, WHEN_ASKED, Denial, Sense, Verdict, gate_text
from handsfree.visit.state import State
from tests.bench.watchman import BREAK, DAY, NOBODYS, A, B, Small

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
    said_: tuple[str, ...] = ("next step", "affirm", "negative", "power is on", "go back", "note")
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
        for number in small.people:
            for word in ("isolated", "clear"):
                yield replace(heard(Sense.GATE, gate_text(word, number)), voice=voice), 1.0
    for verdict in (Verdict.ASKED_AGAIN, Verdict.NOT_FOR_ME, Verdict.PROPOSED):
        for number in small.people:
            yield heard(Sense.GATE, gate_text("isolated", number), verdict=verdict), 1.0
        yield heard(Sense.PHRASE, "nothing runs", verdict=verdict), 1.0
        yield heard(Sense.COMMAND, "affirm", verdict=verdict), 1.0
        yield heard(Sense.NUMBER, "0.5", 0.5, verdict=verdict), 1.0
    yield heard(Sense.DENIAL, Denial.NEGATION, verdict=Verdict.ASKED_AGAIN), 1.0
    early = replace(heard(Sense.GATE, gate_text("isolated", A), verdict=Verdict.NOT_FOR_ME), engine="ear", reason=TOO_EARLY)
    yield early, 1.0
    asked = replace(heard(Sense.DENIAL, Denial.QUESTION, verdict=Verdict.ASKED_AGAIN), words="it is isolated now")
    yield asked, 1.0
    if small.called:
        yield replace(heard(Sense.COMMAND, "go ahead", verdict=Verdict.ASKED_AGAIN), sure=0.5), 1.0
        yield ev.Utterance(Verdict.NOT_FOR_ME, words="I cut my finger", engine="ear"), 1.0
    for words in small.besides:
        yield ev.Utterance(Verdict.NOT_FOR_ME, words=words, engine="ear"), 1.0


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


WHO = ("somebody new", "the first person", "the second person")
BACK = ("go back", "correction")


def goes_back(event: Any) -> bool:
    return isinstance(event, ev.Utterance) and event.text in BACK and event.verdict == Verdict.ACCEPTED


def in_force(state: State, event: ev.Utterance) -> bool:
    """The ear may hear it now. At a gate every number is tried, in every voice, and 'power is on' is never left out."""
    now = state.listening
    if now is None or event.text == "power is on":
        return True
    match event.sense:
        case Sense.COMMAND:
            return event.text in (*(ALWAYS if now.commands is None else now.commands), *now.also)
        case Sense.PHRASE:
            return event.text in now.phrases
        case Sense.NUMBER | Sense.STATE:
            return now.number_unit is not None
        case Sense.DIGITS:
            return now.digits is not None
        case Sense.GATE:
            return bool(now.gate) and event.text.startswith(now.gate)
    return True


def may_happen(state: State, moves: list[tuple[Any, float]], spread: int) -> Iterator[int]:
    """Which of the moves are tried in this state. `spread`: a number of the state's own. Left out: what is not in force, but
    for one of each sense and verdict; a silence too long where nobody relies on anything; what only changes how it is told,
    in ten states of eleven."""
    barred: dict[tuple[Any, Any], list[int]] = {}
    relied = state.interlock.held
    for n, (event, silence) in enumerate(moves):
        if isinstance(event, ev.Resumed):
            yield n
        elif state.closed or (silence in (BREAK + 60, AGED) and not relied):
            continue
        elif not isinstance(event, ev.Utterance):
            yield n
        elif event.text in IDLE and spread % IDLE_EVERY:
            continue
        elif in_force(state, event):
            yield n
        else:
            barred.setdefault((event.sense, event.verdict), []).append(n)
    for those in barred.values():
        yield those[spread // IDLE_EVERY % len(those)]
