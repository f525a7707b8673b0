"""Recording by voice: microphone or sound file, recogniser, dictation and loudspeaker joined to the recorder."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from handsfree.authoring import free_words
from handsfree.authoring.dictation import Dictation
from handsfree.authoring.hearing import WriterHearer
from handsfree.authoring.keeping import Recording
from handsfree.authoring.recorder import Recorder
from handsfree.authoring.spelling import Speller
from handsfree.authoring.words import load_words
from handsfree.dialogue.ears import LiveEar, RecordingEar
from handsfree.dialogue.listening import listening_of
from handsfree.dialogue.mouth import SpokenMouth
from handsfree.errors import Trouble
from handsfree.journal.events import Happening, KeepNote, ListenFor
from handsfree.language.tokens import tokens
from handsfree.procedure import phrasing
from handsfree.speech.commands import tell_missing

if TYPE_CHECKING:
    from handsfree.authoring.asked import RecordOptions
    from handsfree.authoring.draft import Doubt
    from handsfree.authoring.free_words import FreeRecogniser
    from handsfree.journal.events import Stamped
    from handsfree.journal.writer import Journal
    from handsfree.language.base import Language
    from handsfree.settings import Settings
    from handsfree.sound.live import LiveLoop
    from handsfree.sound.samples import Clock, Samples
    from handsfree.speech.phonetic import Phonetic
    from handsfree.speech.recogniser import Recogniser

#: Seconds of silence that end a sentence of the writer's, and the longest one: people think while they dictate.
PAUSE, LONGEST = 1.2, 40.0


def dictation_for(
    recogniser: Recogniser | FreeRecogniser, language: str, models: Path | None = None, words: str = ""
) -> Dictation:
    """The best available: an engine without extra training, the recogniser's own, or the language model of the trade beside
    one that dictates everyday language. `models`: where else weights may be, besides packages. `words`: of the trade, for an
    engine that can be told what to expect: on 1,314 words of three trades by two synthetic voices 65 were wrong without,
    and 37 with the words that everyday language lacks."""
    first = recogniser.engines[0]
    write, other = (*free_words.writers(language, models or Path("no-models")), None, None)[:2]
    second = None if other is None else lambda samples: other(samples, "")
    like = load_words(language).prompt("dictation-like")
    usual = f"{like} {' '.join(words.split())}." if words.strip() else ""
    expected = "" if write is None else usual or like
    told = None if write is None else lambda samples, among: write(samples, among or usual)
    writer = told or (lambda samples, among: recogniser.dictate(samples))
    if language != "en":
        return Dictation(writer, None, None, first.name, second, None, Speller(writer, None, load_words(language)), expected)
    from handsfree.authoring import trade_ear

    if first.declares.everyday:
        spelling = Speller(told or (lambda samples, among: first.dictate(samples)), None, load_words(language))
        return Dictation(None, trade_ear.load(), first.dictate, first.name, spelling=spelling)
    sounds = _sounds(language)
    spelling = Speller(writer, sounds, load_words(language))
    doubting = None if write is None or sounds is None or second is not None else _doubting(write, sounds, language, words)
    trade = None if doubting else trade_ear.load()
    return Dictation(writer, trade, None, first.name, second, doubting, spelling, expected)


def _sounds(language: str) -> Phonetic | None:
    """The witness of sounds; None where it is not installed or is damaged: the recogniser says so."""
    from handsfree.language import base
    from handsfree.speech import phonetic

    if phonetic.missing():
        return None
    sounds = phonetic.Phonetic(base.load(language))
    try:
        sounds.load()
    except Trouble:
        return None
    return sounds


def _doubting(
    write: free_words.FreeWriter, sounds: Phonetic, language: str, words: str
) -> Callable[[Samples, str, str], tuple[Doubt, ...]]:
    """By the witness of sounds, where no other engine doubts."""
    from handsfree.authoring.second_ear import SecondEar
    from handsfree.authoring.trade_ear import used

    often, slight = used(), load_words(language).ways("slight word")
    ear = SecondEar(sounds, write.weigh, lambda word: often.get(word, 0.0))
    return lambda samples, text, before: ear.doubts(samples, text, slight, sorted({*tokens(f"{words} {before}")}))


class WriterEar(LiveEar):
    """The live ear, which also tells the hearer what is asked."""

    def __init__(self, loop: LiveLoop, hearer: WriterHearer, clock: Clock, language: Language) -> None:
        super().__init__(loop, hearer, clock, language)
        self.writer = hearer

    def listen(self, what: ListenFor) -> None:
        self.writer.listening = listening_of(what)
        super().listen(what)

    def keep_note(self, note: KeepNote) -> None:
        self.writer.topic = note.step


class FileEar(RecordingEar):
    """A sound file as the writer's side."""

    def __init__(self, path: str, hearer: WriterHearer, clock: Clock) -> None:
        super().__init__(path, hearer, clock)
        self.writer = hearer

    def keep_note(self, note: KeepNote) -> None:
        self.writer.topic = note.step


def live_recorder(recording: Recording, asked: RecordOptions, settings: Settings) -> Recorder:
    """Trouble for a device, a file or a model that cannot be used; what was recorded before is kept."""
    ear, mouth = joined(recording.journal, recording.state.words.language.code, asked, settings)
    recorder = Recorder(recording, ear, mouth, lambda entry: _print(entry, recording.state.words.language.code))
    ear.writer.before, ear.writer.spelled = lambda: recorder.state.draft.said, lambda: recorder.state.spelled
    return recorder


def joined(journal: Journal, code: str, asked: RecordOptions, settings: Settings) -> tuple[WriterEar | FileEar, SpokenMouth]:
    """Ear and mouth of a writer, whose sound is kept beside `journal`. Trouble as of `live_recorder`."""
    recogniser = free_words.recogniser(asked.engine or settings.engine or None, code, settings.models)
    tell_missing(recogniser.missing)
    hearer = WriterHearer(recogniser, dictation_for(recogniser, code, settings.models, asked.words), journal, code)
    return _joined(journal, code, hearer, asked, settings)


def _print(entry: Stamped, code: str) -> None:
    from handsfree.journal.rows import clock
    from handsfree.visit.telling import line

    found = line(entry, code)
    if found is not None:
        print(f"{clock(found.at)}  {phrasing.value(code, 'mark', found.who):<5}  {found.text}", flush=True)


def _joined(
    journal: Journal, code: str, hearer: WriterHearer, asked: RecordOptions, settings: Settings
) -> tuple[WriterEar | FileEar, SpokenMouth]:
    from handsfree.dialogue import keyboard
    from handsfree.dialogue.wiring import Devices, voice_of, wired
    from handsfree.language import base
    from handsfree.sound.files import is_file
    from handsfree.sound.samples import RealClock, VirtualClock
    from handsfree.speech.endpoint import Endpointer, Timing

    voice, language = voice_of(code, settings), base.load(code)
    if is_file(asked.sound_in):
        from handsfree.sound.sinks import FileSink

        if not Path(str(asked.sound_in)).is_file():
            raise Trouble(f"There is no sound file '{asked.sound_in}'; check the name.")
        ended: list[Happening] = []
        pretended = VirtualClock()
        sink = FileSink(asked.sound_out, pretended, ended.append)
        return FileEar(str(asked.sound_in), hearer, pretended), SpokenMouth(voice, sink, language, ended)
    clock = RealClock(journal.now())  # the record's, also where it is taken up again
    cutter = Endpointer(Timing(pause=PAUSE, longest=LONGEST))
    wires = wired(Devices(asked.sound_in, asked.sound_out, settings), cutter, hearer.recogniser, clock)
    ear = WriterEar(wires.loop, hearer, clock, language)
    wires.loop.start()
    if asked.sound_in != "-" and sys.stdin is not None and sys.stdin.isatty():  # a hand that is dry may type
        keyboard.beside(sys.stdin, wires.happenings.tell, clock)
    return ear, SpokenMouth(voice, wires.sink, language, [], told=ear.said)
