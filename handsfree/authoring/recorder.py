"""The recorder at work: the machine of `authoring.machine` under the runner of every dialogue.

What the check found is said, and recorded as said; the machine does not depend on it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from handsfree.authoring.keeping import Recording
from handsfree.authoring.machine import advance
from handsfree.authoring.turn import CheckIt, RecorderState, Save
from handsfree.authoring.words import RecorderWords
from handsfree.dialogue.parts import Ear, Machine, Mouth
from handsfree.dialogue.runner import Runner
from handsfree.journal.events import StopAsked
from handsfree.language.tokens import capital
from handsfree.procedure.check import check_file
from handsfree.procedure.remarks import Remark, Weight
from handsfree.sound.samples import RealClock

MOST_FINDINGS = 12  # said aloud in one go; the rest are for the screen


class Recorder:
    """A recording under way. `watch` sees every recorded event: for the screen and the tests."""

    def __init__(self, recording: Recording, ear: Ear, mouth: Mouth, watch: Callable[[Any], None] | None = None) -> None:
        def save(state: RecorderState, effect: Save) -> Iterator[str]:
            recording.shelf.save(effect.draft)
            return iter(())

        def check(state: RecorderState, effect: CheckIt) -> Iterator[str]:
            return findings(state, recording)

        machine = Machine[RecorderState](
            advance, lambda state: state.words.prompt("unrecorded"), {Save: save, CheckIt: check}
        )
        clock = RealClock(recording.journal.now())
        self._recording = recording
        self._runner = Runner(
            machine, recording.state, recording.journal, ear, mouth, clock,
            None if watch is None else lambda entry, state: watch(entry),
        )  # fmt: skip

    @property
    def state(self) -> RecorderState:
        return self._runner.state

    def run(self) -> RecorderState:
        """To the end. An interrupt, or an ear that has nothing more, stops it; what was kept is saved in any case."""
        try:
            try:
                self._runner.run(self._recording.first)
            except KeyboardInterrupt:
                self._runner.happen(StopAsked("interrupted at the keyboard"))
            except EOFError:
                self._runner.happen(StopAsked("there is nothing more to hear"))
            self._recording.journal.seal()
        finally:
            self._runner.close()
            self._recording.journal.close()
        return self.state


def findings(state: RecorderState, recording: Recording) -> Iterator[str]:
    """What `check` says about the saved procedure, in the recorder's words; errors first."""
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


def _aloud(remark: Remark, numbers: Mapping[str, int], words: RecorderWords) -> str:
    """For the ear: steps by their numbers, no words of the file. A missing or wrong field has the recorder's name for it."""
    at = numbers.get(remark.step)
    step = words.step_name(at) if at else ""
    if at and not remark.aloud:
        what = words.name_of("what", remark.field) if remark.field else ""
        return words.prompt("check-incomplete", step=words.language.say_number(at), what=what)
    text = remark.aloud or f"{remark.why} {remark.do}".strip()
    named = re.sub(r"`([^`]*)`", lambda found: words.step_name(numbers[found[1]]) if found[1] in numbers else found[1], text)
    return f"{capital(step)} {named}".strip()
