"""A cabinet's page recorded by voice: `python -m tests.bench.recording_page [--voice slt] [--snr 20] [--show] [--json]`.

An invented cabinet, each field by a synthetic voice in workshop noise (also by those of `unlike_voices`, which nothing was
fitted on), through the recogniser and the dictation that a writer has. What is read back is affirmed where it is what was
said, else said again, and typed after `SAYINGS` sayings, where the program offers that. `utterances`; `refused`:
readings-back that were wrong; `typed`; `wrong`: what stands in the page otherwise than it was said.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from audio_fixtures import voices
from handsfree.authoring.asked import RecordOptions
from handsfree.authoring.page_fields import GROUPS
from handsfree.authoring.page_files import open_page, run
from handsfree.authoring.pages import PageState
from handsfree.dialogue.hearing import typed
from handsfree.dialogue.keyboard import WrittenMouth, event_of
from handsfree.dialogue.listening import listening_of
from handsfree.journal.events import Happening, KeepNote, ListenFor
from handsfree.language import base
from handsfree.language.tokens import tokens
from handsfree.sound.happenings import TypedLine
from tests.bench import unlike_voices
from tests.bench.corpus import noise

#: What is said to each field, in the order of the rows; after the last, 'that is all'.
SAYS: Mapping[str, tuple[str, ...]] = {
    "title": ("Larchen thirty",), "show-mode": ("Press the round key twice.",),
    "set-mode": ("Hold the round key for four seconds.",), "show-setting": ("Press the star key.",),
    "set-setting": ("Press the star key and turn the wheel.",), "show-offset": ("Hold the star key.",),
    "set-offset": ("Hold the star key and turn the wheel.",), "start-defrost": ("Hold both keys.",),
    "calls": ("A green dot is lit.",),
    "part": ("relay", "sensor", "drain"), "where": ("behind the left panel", "above the coil", "under the deck"),
    "terminal": ("one", "two"), "colour": ("brown", "blue"), "from": ("the cord", "the relay"),
    "to": ("the relay", "the compressor"), "volts": ("two hundred and thirty",), "hertz": ("fifty",),
    "amperes": ("one point eight",), "refrigerant": ("R two nine zero",), "charge-grams": ("eighty five",),
    "flame-symbol": ("yes",), "kilograms": ("twenty two",), "hand-screws": ("four",),
    "out": ("It slides out to the right.",), "works": ("forty three",), "low": ("thirty nine",), "high": ("forty six",),
    "heater": ("no",), "door": ("The door closes by a spring.",), "delivery": ("The opening is at the back.",),
    "named": ("relay",), "number": ("seven one four",),
}  # fmt: skip
SAYINGS = 2
MOST = 200
ENGLISH = base.load("en")


class Writer:
    """The ear. `spoken`: (field, words, what came of it)."""

    def __init__(self, hearer: Any, voice: str, snr: float) -> None:
        self.hearer, self.voice, self.snr = hearer, voice, snr
        self.state: PageState | None = None
        self.given: dict[str, int] = {}  # rows of a field that are behind
        self.sayings = self.refused = self.typed = 0
        self.spoken: list[tuple[str, str, Any]] = []
        self.here: tuple[Any, ...] = ()
        self.last = ""
        self.filled: set[str] = set()

    def watch(self, entry: Any, state: PageState) -> None:
        self.state = state

    def listen(self, what: ListenFor) -> None:
        self.hearer.listening = listening_of(what)

    def keep_note(self, note: KeepNote) -> None:
        self.hearer.topic = note.step

    def close(self) -> None: ...

    def next(self, timeout: float | None) -> Happening | None:
        state = self.state
        assert state is not None
        if len(self.spoken) >= MOST:
            raise EOFError
        here = (state.at, len(state.page.get(state.group.where, ())) if state.group.where else 0)
        if here != self.here:
            self.here, self.sayings = here, 0
        words = self._words(state)
        if words != "affirm":
            self.sayings += 1
            self.last = words
            if self.sayings > SAYINGS:
                self.typed += 1
                return self._by_hand(words)
        speak = voices.synthesise if self.voice in voices.VOICES else unlike_voices.speak
        speech = voices.padded(speak(words, self.voice, (1.0, 0.9, 1.05)[self.sayings % 3]))
        around = noise("workshop", len(speech) / voices.RATE + 0.1, len(self.spoken))[: len(speech)]
        sound = np.asarray(voices.mix(speech, around, self.snr), np.float32)
        event = self.hearer.hear_utterance(sound, self.hearer.listening, float(len(self.spoken)), len(self.spoken) + 1.0)
        self.spoken.append((state.slot.key, words, event))
        return event  # type: ignore[no-any-return]  # of the machine

    def _words(self, state: PageState) -> str:
        if state.pending:
            if _same(state.pending, self.last):
                return "affirm"
            self.refused += 1
        rows = SAYS[state.slot.key]
        at = len(state.page.get(state.group.where, ())) if state.group.form == "rows" else 0
        return rows[at] if at < len(rows) else "that is all"

    def _by_hand(self, words: str) -> Happening | None:
        line = TypedLine(words, float(len(self.spoken)))
        self.spoken.append(("typed", words, None))
        if self.hearer.listening.note:
            return event_of(line, ENGLISH, self.hearer.listening)
        from handsfree.dialogue.hearing import utterance_of

        return utterance_of(typed(ENGLISH, words, self.hearer.listening, line.now), typed=True)


def _same(text: str, said: str) -> bool:
    """As words, figures spoken out."""
    return tokens(ENGLISH.speakable(text)) == tokens(ENGLISH.speakable(said)) or _letters(text) == _letters(said)


def _letters(text: str) -> str:
    """'R-290' and 'R two nine zero' alike."""
    digits = {ENGLISH.say_number(float(each)): each for each in "0123456789"}
    return "".join(digits.get(each, each) for each in tokens(text)).replace("-", "")


def wrong(page: Mapping[str, Any]) -> list[str]:
    """Fields whose text is not what was said."""
    found = []
    for group in GROUPS:
        home = page.get(group.where, {}) if group.where else page
        for slot in group.slots if group.form != "rows" else ():
            value, said = home.get(slot.key), SAYS[slot.key][0]
            if isinstance(value, bool):
                right = value == (said == "yes")
            elif isinstance(value, int | float):
                right = ENGLISH.say_number(float(value)) == said.replace(" and ", " ") or _number(said) == value
            else:
                right = value is not None and _same(str(value), said)
            found += [] if right else [f"{slot.key}: {value}"]
    for where, keys in (("places", ("part", "where")), ("parts", ("named", "number"))):
        wanted = dict(zip(*(SAYS[key] for key in keys), strict=True))
        got = page.get(where, {})
        found += [f"{where} {name}: {got.get(name)}" for name, text in wanted.items() if not _same(str(got.get(name)), text)]
        found += [f"{where} {name}" for name in got if name not in wanted]
    return found


def _number(said: str) -> float | None:
    from handsfree.language.meaning import Listening, NumberAsked

    meant = ENGLISH.understand(said, Listening(number=NumberAsked()))
    return meant[0].value if meant else None


def recorded(voice: str, snr: float, folder: Path, engine: str) -> tuple[dict[str, Any], Writer]:
    from handsfree.authoring.hearing import WriterHearer
    from handsfree.authoring.live import dictation_for
    from handsfree.settings import load_settings
    from handsfree.speech.recogniser import build_recogniser

    recording = open_page(
        RecordOptions("larchen-30", folder, False, "en", cabinet=True), "en", "Resi Kofler", engine or "best"
    )
    recogniser = build_recogniser(engine or None, "en", load_settings().models)
    hearer = WriterHearer(recogniser, dictation_for(recogniser, "en"), recording.journal, "en")
    writer = Writer(hearer, voice, snr)
    state = run(recording, writer, WrittenMouth(lambda words, role: None), writer.watch)
    faults = wrong(state.page)
    result = {
        "finished": state.outcome == "finished", "utterances": len(writer.spoken), "refused": writer.refused,
        "typed": writer.typed, "wrong": len(faults),
    }  # fmt: skip
    for fault in faults:
        print(f"    {fault}")
    return result, writer


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--voice", default="slt")
    parser.add_argument("--snr", type=float, default=20.0)
    parser.add_argument("--engine", default="")
    parser.add_argument("--show", action="store_true")
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        result, writer = recorded(asked.voice, asked.snr, Path(place), asked.engine)
        if asked.show:
            for at, said, event in writer.spoken:
                heard = f"{event.verdict}: {event.sense} {event.text or event.words}" if event is not None else "typed"
                print(f"  {at:14} {said[:50]:50} -> {heard}")
    print(f"{asked.voice} at {asked.snr:g} dB: {result}")
    if asked.json:
        print(json.dumps(result))


if __name__ == "__main__":
    main()
