"""Recording by voice over the device: what `handsfree record NAME` runs, on the sound card of software.

The writer is a synthetic voice, played by a second stream into the same loudspeaker whenever the program has stopped
speaking; the microphone hears both. Nothing is helped along: what a question makes of her words comes from the loop, the
engine and the machine. A sentence that was asked again is said again.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from handsfree.authoring import live
from handsfree.authoring.asked import RecordOptions
from handsfree.authoring.keeping import open_recording
from handsfree.journal.events import PromptEnded, Say, Utterance
from handsfree.journal.verify import verify
from handsfree.language.meaning import Verdict
from handsfree.language.tokens import tokens
from handsfree.procedure.load import load_procedure
from handsfree.procedure.model import Instruct
from handsfree.settings import load_settings
from handsfree.sound.files import read_sound
from handsfree.sound.loudspeaker import Loudspeaker
from handsfree.sound.prompts import Prompt
from handsfree.sound.samples import RealClock
from tests.authoring.scenes import typed
from tests.journal.made import read_list

from .conftest import LOUDSPEAKER, MICROPHONE, Booth
from .test_loop import recogniser
from .test_loop import said as said
from .test_whole_visit import alone as alone

LONGEST = 240.0  # s: then the writer gives up
THINKS = 0.4  # s of quiet before she speaks
SAYS: Mapping[str, Sequence[str]] = {
    "idle": ("new step", "stop recording"),
    "words": ("Brush the condenser along its fins, from top to bottom.",),
    "settle": ("the first one",) * 6,
    "kind": ("an instruction",),
    "hazards": ("no hazard",),
    "review": ("keep this step",) * 3,  # said again where the review comes again
}


class Writer:
    """Says the next of her lines for the question that is asked, once nobody has spoken for a while."""

    def __init__(self, say: Any, says: Mapping[str, Sequence[str]] = SAYS, voice: str = "rms") -> None:
        self._say, self._voice = say, voice
        self._left = {at: list(lines) for at, lines in says.items()}
        self._last = ("", "")
        self._speaking: set[int] = set()
        self._heard = self._answered = 0
        self.out = Loudspeaker(LOUDSPEAKER, RealClock(), lambda _: None)
        self._over = threading.Event()
        self.said: list[tuple[str, str]] = []
        self.gave_up = ""

    def join(self, recorder: Any) -> None:
        self._runner = recorder._runner
        self._hear = self._runner._ear.next
        self._waits = threading.Event()
        self._runner._ear.next = self.next
        threading.Thread(target=self._work, name="writer", daemon=True).start()

    def leave(self) -> None:
        self._over.set()
        self.out.close()

    def watch(self, entry: Any) -> None:
        event = entry.event
        if isinstance(event, Say):
            self._speaking.add(event.number)
        elif isinstance(event, PromptEnded):
            self._speaking.discard(event.said)
        elif isinstance(event, Utterance):
            self._heard += 1
            self._answered += event.verdict != Verdict.NOT_FOR_ME

    def next(self, timeout: float | None) -> Any:
        if self.gave_up:
            raise EOFError
        self._waits.set()
        try:
            told = self._hear(0.5 if timeout is None else min(timeout, 0.5))
        finally:
            self._waits.clear()
        if isinstance(told, PromptEnded):  # the recorder keeps no record of these
            self._speaking.discard(told.said)
        return told

    def _work(self) -> None:
        until, quiet = time.monotonic() + LONGEST, 0.0
        while not self._over.is_set() and not self.gave_up:
            time.sleep(0.05)
            if time.monotonic() > until:
                self.gave_up = f"no end after {LONGEST:.0f} s; she had said {self.said}"
            elif self._speaking or not self._waits.is_set() or self._runner._mouth._sink.busy():
                quiet = 0.0
            else:
                quiet += 0.05
                if quiet >= THINKS:
                    self._turn()
                    quiet = 0.0

    def _turn(self) -> None:
        at = self._runner.state.at
        if self._runner.state.tries and self._last[0] == at:
            words = self._last[1]
        elif self._left.get(at):
            words = self._left[at].pop(0)
        else:
            self.gave_up = f"nothing to say to '{at}'"
            return
        if self._over.is_set():
            return
        self._last, answered = (at, words), self._answered
        self.said.append(self._last)
        self.out.play(Prompt(0, "", self._say(words, self._voice)))
        self.out.drain(20)
        heard, until = self._heard, time.monotonic() + 20.0  # what ended while she spoke was not hers
        while (self._heard, self._answered) == (heard, answered) and time.monotonic() < until:
            time.sleep(0.05)
        if self._answered == answered:
            self._left.setdefault(at, []).insert(0, words)


def recorded(say: Any, folder: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Any, Any, Writer]:
    """(the recording, its state at the end, the writer)."""
    engine = recogniser()
    monkeypatch.setattr("handsfree.speech.recogniser.build_recogniser", lambda *_: engine)  # loaded once a session
    typed(["Look at the fan", "stop recording"], folder)
    recording = open_recording("fan-look", folder, "en", "Resi Kofler", engine.name)
    asked = RecordOptions("fan-look", folder, sound_in=MICROPHONE, sound_out=LOUDSPEAKER)
    writer = Writer(say)
    recorder = live.live_recorder(recording, asked, load_settings())
    recorder._runner._watch = lambda entry, state: writer.watch(entry)
    writer.join(recorder)
    try:
        state = recorder.run()
    finally:
        writer.leave()
    return recording, state, writer


def test_a_step_is_recorded_over_the_device(
    booth: Booth, alone: Path, said: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    recording, state, writer = recorded(said, alone / "procedures", monkeypatch)
    assert writer.gave_up == ""
    assert state.outcome == "stopped"
    assert verify(recording.shelf.session).holds
    (step,) = load_procedure(recording.shelf.path).steps
    assert isinstance(step, Instruct)
    assert tokens(step.say) == tokens(SAYS["words"][0])
    assert step.hazards == ()
    assert step.own_sound
    assert len(read_sound(recording.shelf.folder / step.own_sound)) > 20_000
    heard = [
        entry.event for entry in read_list(recording.shelf.session)
        if isinstance(entry.event, Utterance) and not entry.event.typed
    ]  # fmt: skip
    assert len(heard) >= len(writer.said)
    assert all((recording.shelf.session / utterance.clip).is_file() for utterance in heard)
