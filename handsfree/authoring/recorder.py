"""The recorder at work: happenings to the machine, its effects performed. It has no opinions.

Rules of this file:

- Record, then act: a happening is on disk before `advance` sees it, its effects before any is performed.
- What the check found is said, and recorded as said; the machine does not hang on it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from handsfree.authoring.keeping import Recording
from handsfree.authoring.machine import advance
from handsfree.authoring.turn import CheckIt, Save, State
from handsfree.authoring.words import Words
from handsfree.journal.events import Happening, KeepNote, ListenFor, Say, StopAsked, Tone
from handsfree.procedure.check import check_file
from handsfree.procedure.remarks import Remark, Weight
from handsfree.visit.parts import Ear, Mouth

MOST_FINDINGS = 12  # said aloud in one go; the rest are for the screen
_INTERNAL = (Save, CheckIt)


class Recorder:
    """`watch` sees every recorded event: for the screen and the tests."""

    def __init__(self, recording: Recording, ear: Ear, mouth: Mouth, watch: Callable[[Any], None] | None = None) -> None:
        self.state: State = recording.state
        self._recording, self._ear, self._mouth = recording, ear, mouth
        self._watch = watch or (lambda entry: None)

    def run(self) -> State:
        """To the end. An interrupt, or an ear that has nothing more, stops it; what was kept is saved either way."""
        try:
            try:
                self.happen(self._recording.first)
                while not self.state.closed:
                    heard = self._ear.next(None)
                    if heard is not None:
                        self.happen(heard)
            except KeyboardInterrupt:
                self.happen(StopAsked("interrupted at the keyboard"))
            except EOFError:
                self.happen(StopAsked("there is nothing more to hear"))
            self._recording.journal.seal()
        finally:
            self._ear.close()
            self._mouth.close()
            self._recording.journal.close()
        return self.state

    def happen(self, happening: Happening) -> None:
        for stamped in self._recording.journal.append(happening):
            self._watch(stamped)
            self.state, effects = advance(self.state, stamped)
            told = [effect for effect in effects if not isinstance(effect, _INTERNAL)]
            for entry in self._recording.journal.append(*told) if told else ():
                self._watch(entry)
            for effect in effects:
                self._perform(effect)

    def _perform(self, effect: Any) -> None:
        match effect:
            case Save():
                self._recording.shelf.save(effect.draft)
            case CheckIt():
                self._say_findings()
            case Say():
                self._mouth.say(effect, self.state.rate, self.state.volume)
            case Tone():
                self._mouth.tone(effect)
            case ListenFor():
                self._ear.listen(effect)
            case KeepNote():
                self._ear.keep_note(effect)

    def _say_findings(self) -> None:
        for text in findings(self.state, self._recording):
            say = Say(self.state.said, text, "notice")
            for entry in self._recording.journal.append(say):
                self._watch(entry)
            self._mouth.say(say, self.state.rate, self.state.volume)


def findings(state: State, recording: Recording) -> Iterator[str]:
    """What `check` has to say of the procedure as saved, in the words of the recorder; errors first."""
    words = state.words
    report = check_file(recording.shelf.path)
    remarks = [one for one in report.remarks if one.weight is not Weight.NOTE]
    if not remarks:
        yield words.prompt("check-clean")
        return
    remarks.sort(key=lambda one: one.weight is not Weight.ERROR)
    yield words.prompt("check-count", n=words.language.say_number(len(remarks)))
    numbers = {step.id: at for at, step in enumerate(state.draft.steps, 1)}
    yield from dict.fromkeys(_aloud(one, numbers, words) for one in remarks[:MOST_FINDINGS])


def _aloud(remark: Remark, numbers: Mapping[str, int], words: Words) -> str:
    """For the ear: steps by their numbers, no words of the file. A field that is missing or wrong is named as the recorder
    names it."""
    at = numbers.get(remark.step)
    step = words.step_name(at) if at else ""
    if at and not remark.aloud:
        what = words.name_of("what", remark.field) if remark.field else ""
        return words.prompt("check-incomplete", step=words.language.say_number(at), what=what)
    text = remark.aloud or f"{remark.why} {remark.do}".strip()
    named = re.sub(r"`([^`]*)`", lambda found: words.step_name(numbers[found[1]]) if found[1] in numbers else found[1], text)
    return f"{step[:1].upper()}{step[1:]} {named}".strip()
