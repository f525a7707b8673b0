"""A visit from the keyboard: a line typed is a line heard, everything else is the same."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Sequence
from typing import TextIO

from handsfree.dialogue.hearing import typed, utterance_of
from handsfree.dialogue.listening import listening_of
from handsfree.journal.events import Happening, KeepNote, ListenFor, NoteKept, PromptEnded, Say, Tone
from handsfree.language.base import Language
from handsfree.language.meaning import Listening
from handsfree.sound.samples import Clock

LONGEST_LINE = 500


class TypedEar:
    """Reads lines in a thread of its own, so that timers ring between them. EOFError once the lines have ended."""

    def __init__(self, lines: TextIO | None, language: Language, clock: Clock) -> None:
        self._language, self._clock = language, clock
        self._listening = Listening(commands=())
        self._heard: queue.Queue[str | None] = queue.Queue()
        self._reader = threading.Thread(target=self._read, args=(lines,), name="keyboard", daemon=True)
        self._reader.start()

    def _read(self, lines: TextIO | None) -> None:
        try:
            for line in lines or ():  # None: the program was started without a standard input
                self._heard.put(line.strip()[:LONGEST_LINE])
        except (ValueError, OSError):  # closed under us, or bytes that are no text: no more lines
            pass
        self._heard.put(None)

    def listen(self, what: ListenFor) -> None:
        self._listening = listening_of(what)

    def keep_note(self, note: KeepNote) -> None:
        """The listening says so already."""

    def next(self, timeout: float | None) -> Happening | None:
        try:
            words = self._heard.get(timeout=timeout)
        except queue.Empty:
            return None
        if words is None:
            raise EOFError
        if self._listening.note:
            return NoteKept(clip="", clip_sha256="", text=words)
        if not words:
            return None
        return utterance_of(typed(self._language, words, self._listening, self._clock.now()), typed=True)

    def close(self) -> None:
        """The thread is a daemon and ends with its lines."""


class WrittenMouth:
    """Says by writing; every prompt ends at once. `write` takes (what is said, its role)."""

    def __init__(self, write: Callable[[str, str], None]) -> None:
        self._write = write

    def say(self, say: Say, rate: int, volume: int) -> Sequence[Happening]:
        self._write(say.text, say.role)
        return (PromptEnded(say.number),)

    def tone(self, tone: Tone) -> None:
        """Nothing to hear."""

    def close(self) -> None: ...
