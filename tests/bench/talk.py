"""How much is said in whole jobs: a simulated technician at ten cabinets, by the real machine, runner and synthesiser.

    python -m tests.bench.talk [--jobs dirty-condenser,noisy] [--json] [--show]

The technician hears the prompts and answers from the facts of the cabinet (`talk_cabinet`, `talk_topics`), never from the
procedure's own text; a question that no fact answers stops the bench. A typed line is a line heard, so nothing is misheard
here. For each job and form:

- `prompts`, `words`: what the program said; `listening_min`: how long that lasts, spoken by the real synthesiser.
- `utterances`: what the technician said.
- `known_asked`: questions asked, or work told, though their answer was known: told before and nothing has changed it since,
  or so already (a plug that is locked, a compressor that has run, a grille that is off, a photo that was taken).
- `first_question`: prompts before the first question about the fault.

`usual` and `short` are the forms of speech; where the program has no short form both are what it has."""

from __future__ import annotations

import argparse
import json
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cache
from math import isinf
from typing import Any

from handsfree.dialogue.hearing import typed, utterance_of
from handsfree.dialogue.listening import listening_of
from handsfree.dialogue.runner import Runner
from handsfree.errors import Trouble
from handsfree.journal.events import (
    Happening,
    KeepNote,
    ListenFor,
    NoteKept,
    PromptEnded,
    Resumed,
    Say,
    Stamped,
    Tone,
    Utterance,
)  # fmt: skip
from handsfree.language import base
from handsfree.language.meaning import Sense
from handsfree.language.quantities import convert
from handsfree.procedure import model
from handsfree.sound.samples import RATE, VirtualClock
from handsfree.visit.machine import MACHINE
from handsfree.visit.state import State
from tests.bench.__main__ import machine
from tests.bench.talk_cabinet import JOBS, Cabinet
from tests.bench.talk_topics import ASKED, GRILLE_OFF, GRILLE_ON, READ, WORK, Topic, topics_of
from tests.bench.talk_visit import OF_THE_PAGE, opening

ENGLISH = base.load("en")
LOCK = "four two"
SECOND = "five six"
THINKS = 1.0  # seconds from the end of a prompt to the answer, beside the work; it counts in no figure
USUAL_MINUTES = 0.3
MOST_UTTERANCES = 400
MOST_VISITS = 4  # a job may go over several days
FORMS = ("usual", "short")
YES_NO = ("yes", "no")
OFFERED = "that is right"  # where 'affirm' was not heard


@dataclass
class Tally:
    prompts: int = 0
    words: int = 0
    utterances: int = 0
    seconds: float = 0.0
    known_asked: int = 0
    first_question: int | None = None
    outcome: str = ""
    known: list[str] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)

    def row(self) -> dict[str, Any]:
        return {
            "prompts": self.prompts, "words": self.words, "utterances": self.utterances,
            "listening_min": round(self.seconds / 60, 2), "known_asked": self.known_asked,
            "first_question": self.first_question,
        }  # fmt: skip


@cache
def _synthesiser() -> Any:
    import tempfile
    from pathlib import Path

    from handsfree.sound.synth import Synthesiser

    return Synthesiser("en", cache=Path(tempfile.gettempdir()) / "handsfree-bench-talk")


@cache
def spoken_seconds(text: str) -> float:
    """How long the real synthesiser speaks it. Trouble where the machine has none."""
    return len(_synthesiser().speak(text)) / RATE


#: Words, how often they were said here before, what is in force, seconds -> the utterance that the machine gets.
Voice = Callable[[str, int, ListenFor, float], Utterance]


def by_typing(words: str, again: int, force: ListenFor, now: float) -> Utterance:
    return utterance_of(typed(ENGLISH, words, listening_of(force), now), typed=True)


class Listener:
    """The mouth's other end: counts what is said, and lets it take its time."""

    def __init__(self, tally: Tally, clock: VirtualClock) -> None:
        self.tally, self.clock = tally, clock

    def say(self, say: Say, rate: int, volume: int) -> Sequence[Happening]:
        seconds = spoken_seconds(say.text)
        self.tally.prompts += 1
        self.tally.words += len(say.text.split())
        self.tally.seconds += seconds
        self.tally.lines.append(f"{self.clock.now() / 60:6.1f}  says   {say.text}")
        self.clock.wait(seconds)
        return (PromptEnded(say.number),)

    def tone(self, tone: Tone) -> None:
        """Costs no listening."""

    def close(self) -> None: ...


class Kept:
    """The record, in memory."""

    def __init__(self, clock: VirtualClock) -> None:
        self.clock, self.count = clock, 0
        self.began = datetime.fromisoformat("2026-03-02T08:00:00+00:00")

    def append(self, *events: Any) -> tuple[Stamped, ...]:
        wall = (self.began + timedelta(seconds=self.clock.now())).isoformat()
        made = tuple(Stamped(self.count + at, wall, self.clock.now(), event) for at, event in enumerate(events))
        self.count += len(made)
        return made

    def close(self) -> None: ...


class Technician:
    """The ear: what the technician says next, once the work is done. `told`: topic -> minute when it was last told."""

    def __init__(self, job: str, tally: Tally, clock: VirtualClock, voice: Voice) -> None:
        self.voice, self.words, self.again = voice, "", 0
        self.read_back, self.unsettled = 0, False  # how often what was read back was answered and not heard
        self.unheard: Any = None  # where what was said was not acted on
        self.meant = Utterance("")
        self.cabinet, self.tally, self.clock = Cabinet(JOBS[job]), tally, clock
        self.runner: Runner[State] | None = None
        self.force = ListenFor()
        self.told: dict[str, float] = dict.fromkeys(OF_THE_PAGE, 0.0)
        self.due: float | None = None
        self.clearing = self.complained = False
        self.last = ""
        self.note = False
        self.refused = 0

    # ---- the ear of the runner

    def listen(self, what: ListenFor) -> None:
        self.force = what

    def keep_note(self, note: KeepNote) -> None:
        self.note = True

    def close(self) -> None: ...

    def next(self, timeout: float | None) -> Happening | None:
        """The technician speaks when the work is done, or waits for a timer where there is nothing to say."""
        state = self.state
        if self.due is None and not self._waits(state):
            self.due = self.clock.now() + THINKS + 60 * self._minutes(state)
        until = self.clock.now() + timeout if timeout is not None else None
        if self.due is None or (until is not None and until < self.due):
            assert until is not None, f"nothing to wait for and nothing to say: {self.tally.lines[-3:]}"
            self.clock.wait(until - self.clock.now())
            return None
        self.clock.wait(max(0.0, self.due - self.clock.now()))
        self.due = None
        return self._spoken()

    @property
    def state(self) -> State:
        assert self.runner is not None
        return self.runner.state

    @property
    def now(self) -> float:
        return self.clock.now() / 60

    def _waits(self, state: State) -> bool:
        if state.awaiting != "wait" or self.force.commands is not None:
            return False
        if re.search(r"\brest", self._text(state)) and state.frames != getattr(self, "rested", None):
            self.rested = state.frames
            if self.cabinet.runs and self.now - self.cabinet.on_since > 5:
                self._known("a rest for a compressor that has run")
        return True

    def _minutes(self, state: State) -> float:
        """The work of a step is done once: what is asked beside it (a number affirmed) takes no time."""
        step = state.step
        where = f"{state.frames}{state.awaiting}"
        if step is None or where == self.last:
            return 0.05
        self.last = where
        return step.minutes or USUAL_MINUTES

    # ---- what is said

    def _spoken(self) -> Happening:
        if self.note or self.force.note:
            self.note = False
            return NoteKept("", "", "a note")
        self.cabinet.pass_to(self.now)
        if self.state.proposed is not None and self.state.overlay:
            words = self._to_a_proposal(self.state.proposed)
            self.read_back = self.read_back + 1 if self.unsettled else 0
            if self.read_back and words == "affirm" and OFFERED in self.tally.lines[-1]:
                words = OFFERED
            heard = self.voice(words, self.read_back, self.force, self.clock.now())
            self.unsettled = heard.verdict != "accepted"
            self.unheard = None if words in ("affirm", OFFERED) and not self.unsettled else self.unheard
        else:
            self.unsettled = False
            where = (self.state.frames, self.state.awaiting)
            self.again = self.again + 1 if self.unheard == where else 0
            self.words = self._again() if self.again else self._words()
            words, self.meant = self.words, by_typing(self.words, 0, self.force, 0.0)
            heard = self.voice(words, self.again, self.force, self.clock.now())
            self.unheard = None if heard.verdict == "accepted" else where
        self.tally.utterances += 1
        self.tally.lines.append(f"{self.now:6.1f}  hears  {words}")
        assert self.tally.utterances < MOST_UTTERANCES, "\n".join(self.tally.lines[-60:])
        return heard

    def _again(self) -> str:
        """In the other words that the program has just offered, if it has."""
        return OFFERED if self.words == "affirm" and OFFERED in self.tally.lines[-1] else self.words

    def _to_a_proposal(self, heard: Utterance) -> str:
        """'Wet?' is affirmed where it is what was said."""
        same = (heard.sense, heard.text, heard.value) == (self.meant.sense, self.meant.text, self.meant.value)
        return "affirm" if same else "negative"

    def _text(self, state: State) -> str:
        return state.step.say if state.step is not None else ""

    def _words(self) -> str:
        force, state = self.force, self.state
        if force.gate:
            return self._gate(force.gate)
        named = (*(force.commands or ()), *getattr(force, "also", ()))
        if "understood" in named:
            return "understood"
        proving = isinstance(state.step, model.Prove) and not _understood("nothing runs", force)
        if "affirm" in named and (not force.phrases or proving):  # off again, the tester good
            return "affirm"
        if force.digits is not None:
            return SECOND if state.joining else LOCK
        if force.phrases and _understood(self.cabinet.facts.complaint, force) and not self.complained:
            self.complained = True
            return self.cabinet.facts.complaint
        if force.phrases:
            return self._answer(state)
        if force.number_unit is not None:
            return self._reading(state)
        self._done(state)
        return "done" if isinstance(state.step, model.Evidence) else "next step"

    def _gate(self, word: str) -> str:
        if word == "isolated":
            if not self.cabinet.powered and self.now - self.cabinet.off_since < 600:
                self._known("isolation of what is locked")
            if self.cabinet.powered:
                self.cabinet.off_since = self.now
            self._power(False)
        else:
            self.clearing = True
        return f"{word} lock {' '.join(self.state.interlock.lock)}"

    def _power(self, on: bool) -> None:
        if on != self.cabinet.powered:
            self._spoil(lambda topic: topic.live)
        self.cabinet.power(on)

    def _spoil(self, stale: Any) -> None:
        for topic in (*ASKED, *READ):
            if stale(topic):
                self.told.pop(topic.name, None)

    def _answer(self, state: State) -> str:
        """The first of what is so that is understood here."""
        if _understood("nothing runs", self.force):
            return "nothing runs"
        text = self._text(state)
        if re.search(r"again", text):
            self._work(text)
        fitting = topics_of(text, numbers=False)
        ways = [(topic, words) for topic in fitting for words in _says(topic, self.cabinet) if words not in YES_NO]
        ways += [(fitting[0], words) for words in _says(fitting[0], self.cabinet) if words in YES_NO]
        for topic, words in ways:
            if _understood(words, self.force):
                self._asked(topic)
                self._work(text)
                return words
        raise AssertionError(f"'{text}' takes no fact of the cabinet, only {', '.join(self.force.phrases)}")

    def _reading(self, state: State) -> str:
        step = state.step
        if isinstance(step, model.Prove):
            return ENGLISH.say_number(0.0)
        text = f"{getattr(step, 'quantity', '')}: {self._text(state)}"
        topic = topics_of(text, numbers=True)[0]
        self._asked(topic)
        assert topic.value is not None
        value = topic.value(self.cabinet)
        if isinf(value):
            return "off scale"
        unit = self.force.number_unit or topic.unit
        value = convert(value, topic.unit, unit) if unit and topic.unit and unit != topic.unit else value
        return ENGLISH.say_number(round(value, 1) if value < 1000 else round(value))

    def _asked(self, topic: Topic) -> None:
        told = self.told.get(topic.name)
        if told is not None and self.now - told < topic.lasts:
            self._known(topic.name)
        self.told[topic.name] = self.now
        if topic.about == "fault" and self.tally.first_question is None:
            # the question itself is not one of the prompts before it
            self.tally.first_question = self.tally.prompts - self._prompts_of_question()

    def _prompts_of_question(self) -> int:
        """Those since the technician last spoke that belong to the question: its own words and its choices."""
        own = 0
        text = self._text(self.state)
        for line in reversed(self.tally.lines):
            if "  says   " not in line:
                break
            own += 1
            if text[:20] in line:
                return own
        return min(own, 1)

    def _known(self, what: str) -> None:
        self.tally.known_asked += 1
        self.tally.known.append(what)
        self.tally.lines.append(f"                (known: {what})")

    def _done(self, state: State) -> None:
        if self.clearing and state.awaiting != "restore check":
            self.clearing = False
            self._power(True)
        step = state.step
        texts = [self._text(state)]
        if isinstance(step, model.Restore):
            texts = [self.tally.lines[-1]]
        elif isinstance(step, model.Evidence):
            what = re.search(r"the (new )?\w+", texts[0])
            name = f"photo of {what.group() if what else texts[0]}"
            if name in self.told:
                self._known(name)
            self.told[name] = self.now
        for text in texts:
            self._work(text)

    def _work(self, text: str) -> None:
        facts = self.cabinet.facts
        if re.search(GRILLE_OFF, text, re.IGNORECASE):
            if not facts.grille_on:
                self._known("the grille is off")
            self.cabinet.change(grille_on=False)
        elif re.search(GRILLE_ON, text, re.IGNORECASE):
            if facts.grille_on:
                self._known("the grille is on")
            self.cabinet.change(grille_on=True)
        for work in WORK:
            if re.search(work.pattern, text, re.IGNORECASE):
                work.does(self.cabinet)
                self._spoil(lambda topic, work=work: topic.name in work.spoils)
                self.told.update(dict.fromkeys(work.tells, self.now))
        if found := re.search(r"set (it|the controller|the setting) (back )?to (\d\d)", text, re.IGNORECASE):
            self.cabinet.change(setting=float(found.group(3)))
            self.told["setting"] = self.now


def _says(topic: Topic, cabinet: Cabinet) -> tuple[str, ...]:
    return topic.says(cabinet) if topic.says is not None else ()


def _understood(words: str, force: ListenFor) -> bool:
    """As an answer, or a command that stands for one."""
    heard = typed(ENGLISH, words, listening_of(force), 0.0)
    return heard.verdict == "accepted" and heard.meaning is not None and heard.meaning.sense in (Sense.PHRASE, Sense.COMMAND)


# ---- one job ----------------------------------------------------------------------------------------------------------


def job(name: str, form: str, voice: Voice = by_typing) -> Tally:
    """A whole job. AssertionError where the technician does not know what to say, or it does not end."""
    tally, clock = Tally(), VirtualClock()
    technician = Technician(name, tally, clock, voice)
    record = Kept(clock)
    state, first = opening(form)
    for _ in range(MOST_VISITS):
        runner = Runner(MACHINE, state, record, technician, Listener(tally, clock), clock)
        technician.runner, technician.due = runner, None
        state = runner.run(first)
        if state.not_before is None:
            break
        clock.wait(max(0.0, state.not_before - clock.now()))
        first = Resumed("return visit")
    tally.outcome = state.outcome
    return tally


def measured(names: Sequence[str]) -> dict[str, dict[str, Tally]]:
    return {name: {form: job(name, form) for form in FORMS} for name in names}


HEAD = (
    "job",
    "form",
    "prompts",
    "words",
    "utterances",
    "listening, min",
    "known, asked",
    "prompts to the first question",
    "ended",
)


def table(made: dict[str, dict[str, Tally]]) -> str:
    lines = [HEAD, tuple("---" for _ in HEAD)]
    for name, forms in made.items():
        for form, tally in forms.items():
            row = tally.row()
            first = row["first_question"]
            lines.append((
                name, form, str(row["prompts"]), str(row["words"]), str(row["utterances"]), f"{tally.seconds / 60:.1f}",
                str(row["known_asked"]), "none" if first is None else str(first), tally.outcome,
            ))  # fmt: skip
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--jobs", default=",".join(JOBS), help="names, by comma")
    parser.add_argument("--json", action="store_true", help="the last line is one object")
    parser.add_argument("--show", action="store_true", help="every line that was said and heard")
    asked = parser.parse_args()
    names = asked.jobs.split(",")
    unknown = [name for name in names if name not in JOBS]
    if unknown:
        raise Trouble(f"There is no job {unknown[0]!r}: there are {', '.join(JOBS)}.")
    made = measured(names)
    for name, forms in made.items():
        if asked.show:
            print(f"\n{name}, usual form", *forms["usual"].lines, sep="\n")
        if forms["usual"].known:
            print(f"{name}, known and asked: {', '.join(forms['usual'].known)}")
    print(table(made))
    if asked.json:
        rows = {name: {form: tally.row() for form, tally in forms.items()} for name, forms in made.items()}
        print(json.dumps({"command": "python -m tests.bench.talk", "machine": machine()} | rows))


if __name__ == "__main__":
    main()
