"""The keyboard as an ear: a line typed is a line heard, by the same rules, alone or beside the microphone."""

from __future__ import annotations

import contextlib
import queue
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from typing import TextIO

from handsfree.dialogue.hearing import typed, utterance_of
from handsfree.dialogue.listening import listening_of
from handsfree.journal.events import Happening, KeepNote, ListenFor, NoteKept, PromptEnded, Say, Tone
from handsfree.language.base import Language
from handsfree.language.meaning import Listening
from handsfree.sound.happenings import TypedLine
from handsfree.sound.samples import Clock

LONGEST_LINE = 500
ERASES, ENDS = ("\x7f", "\b"), "\x04"


def event_of(line: TypedLine, language: Language, listening: Listening) -> Happening | None:
    """A note if one is due; None for an empty line."""
    if listening.note:
        return NoteKept(clip="", clip_sha256="", text=line.words)
    if not line.words:
        return None
    return utterance_of(typed(language, line.words, listening, line.now), typed=True)


class Keyboard:
    """Reads lines in its own thread and hands each to `tell`; None once they have ended. `shows` receives what is being
    typed, for a terminal that is redrawn all the time and must not echo."""

    def __init__(
        self, lines: TextIO | None, tell: Callable[[str | None], object], shows: Callable[[str], object] | None = None
    ) -> None:
        self._tell, self._shows = tell, shows
        self._reader = threading.Thread(target=self._read, args=(lines,), name="keyboard", daemon=True)
        self._reader.start()

    def _read(self, lines: TextIO | None) -> None:
        with contextlib.suppress(ValueError, OSError):  # closed under us, or bytes that are no text: no more lines
            for line in self._lines(lines):
                self._tell(line.strip()[:LONGEST_LINE])
        self._tell(None)

    def _lines(self, lines: TextIO | None) -> Iterator[str]:
        if lines is None:  # the program was started without a standard input
            return
        if self._shows is not None and lines.isatty() and sys.platform != "win32":
            yield from self._keys(lines, self._shows)
        else:
            yield from lines

    def _keys(self, lines: TextIO, shows: Callable[[str], object]) -> Iterator[str]:
        """Key by key, without the terminal's own echo; the terminal is put back as it was."""
        import termios
        import tty

        number = lines.fileno()
        before = termios.tcgetattr(number)
        so_far = ""
        try:
            tty.setcbreak(number, termios.TCSADRAIN)  # what was typed before is not thrown away
            while (key := lines.read(1)) and key != ENDS:
                if key in "\r\n":
                    yield so_far
                    so_far = ""
                else:
                    so_far = so_far[:-1] if key in ERASES else (so_far + key)[:LONGEST_LINE]
                shows(so_far)
        finally:
            termios.tcsetattr(number, termios.TCSADRAIN, before)


class TypedEar:
    """The keyboard alone; timers ring between its lines. EOFError once the lines have ended."""

    def __init__(
        self, lines: TextIO | None, language: Language, clock: Clock, shows: Callable[[str], object] | None = None
    ) -> None:
        self._language, self._clock = language, clock
        self._listening = Listening(commands=())
        self._heard: queue.Queue[str | None] = queue.Queue()
        self._keyboard = Keyboard(lines, self._heard.put, shows)

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
        return event_of(TypedLine(words, self._clock.now()), self._language, self._listening)

    def close(self) -> None:
        """The thread is a daemon and ends with its lines."""


def beside(
    lines: TextIO | None, tell: Callable[[TypedLine], object], clock: Clock, shows: Callable[[str], object] | None = None
) -> Keyboard:
    """A keyboard whose lines join what is heard. When they end, the microphone goes on."""

    def line(words: str | None) -> None:
        if words is not None:
            tell(TypedLine(words, clock.now()))

    return Keyboard(lines, line, shows)


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
