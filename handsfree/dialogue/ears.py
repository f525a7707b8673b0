"""Ears that hear sound: the live loop on a device or a pipe, and a recording heard one utterance at a time."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from handsfree.dialogue.hearing import Hears, typed, utterance_of, utterances
from handsfree.dialogue.keyboard import event_of
from handsfree.dialogue.listening import listening_of
from handsfree.dialogue.question import Dialogue
from handsfree.journal.events import HAPPENINGS, Event, Happening, KeepNote, ListenFor, PromptEnded, Say, Stamped, Utterance
from handsfree.language.base import Language
from handsfree.language.meaning import EMERGENCY, Heard, Listening, Sense, Verdict
from handsfree.sound.happenings import Ended, HeardPiece, ThreadFailed, TypedLine
from handsfree.sound.samples import LEAD, RATE, Clock

if TYPE_CHECKING:
    from handsfree.sound.live import LiveLoop

PAUSE = 0.5  # seconds of a recording's clock between what the program said and what it hears next


#: What may be said into words that must be heard to their end.
OVER_A_CAUTION = ("say again", "stand by", "power is on", "stop the visit", *EMERGENCY)


class LiveEar:
    """The live loop's happenings, as events. Some speech is not for the program: what was said under another question, what
    began before the last answer was acted on (two quick words never act on a step nobody has heard), and an answer to a
    caution or a gate that had not been heard to its end. `said` receives every prompt. Typed lines join what is heard,
    under the same rules."""

    def __init__(self, loop: LiveLoop, hearer: Hears, clock: Clock, language: Language | None = None) -> None:
        self._loop, self._hearer, self._clock, self._language = loop, hearer, clock, language
        self._listening = Listening(commands=())
        self._acted = -1.0  # when the last accepted utterance was handed over
        self._unheard: set[int] = set()  # prompts that cannot be cut and have not ended
        self._heard_out = -1.0  # when the last of them ended
        loop.in_time = lambda started, heard: not self._early(started, heard)
        loop.listen(self._listening)

    def said(self, say: Say) -> None:
        if not say.cuttable:
            self._unheard.add(say.number)

    def watch(self, event: Event) -> None:
        """Of the record: a key, a timer, a device, a photo, whatever may move the visit parts two attempts. What is heard
        and the end of a prompt do not, nor that nothing happens for a while."""
        heard = isinstance(event, Utterance) and not event.typed
        if isinstance(event, HAPPENINGS) and not heard and not isinstance(event, PromptEnded):
            self._hearer.forget()

    def listen(self, what: ListenFor) -> None:
        now = listening_of(what)
        if now != self._listening:  # what was asked in between parts two attempts, too
            self._hearer.forget()
        self._listening = now
        self._loop.listen(now)

    def keep_note(self, note: KeepNote) -> None:
        """The listening says so already."""

    def next(self, timeout: float | None) -> Happening | None:
        told = self._loop.happenings.next(timeout)
        if isinstance(told, Ended):
            raise EOFError
        if isinstance(told, ThreadFailed):
            raise told.error
        if isinstance(told, HeardPiece):
            return self._event(told)
        if isinstance(told, TypedLine):
            return self._line(told)
        if isinstance(told, PromptEnded) and told.said in self._unheard:
            self._unheard.discard(told.said)
            self._heard_out = self._clock.now()
        return told

    def _event(self, sound: HeardPiece) -> Happening:
        if sound.heard is None:
            self._hearer.forget()
            return self._hearer.note_of(sound.samples, sound.started, sound.ended)
        heard = sound.heard
        reason = self._too_early(sound, heard)
        if reason and heard.verdict != Verdict.NOT_FOR_ME:
            heard = replace(heard, verdict=Verdict.NOT_FOR_ME, reason=reason)
        heard = self._hearer.together(heard, sound.samples, sound.listening)
        if heard.verdict == Verdict.ACCEPTED:
            self._acted = self._clock.now()
        return self._hearer.event_of(heard, sound.samples, sound.listening)

    def _line(self, line: TypedLine) -> Happening | None:
        assert self._language is not None  # lines come only where a keyboard was joined
        if self._listening.note or not line.words:
            return event_of(line, self._language, self._listening)
        heard = typed(self._language, line.words, self._listening, line.now)
        if reason := self._early(line.now, heard):
            heard = replace(heard, verdict=Verdict.NOT_FOR_ME, reason=reason)
        if heard.verdict == Verdict.ACCEPTED:
            self._loop.cut()
            self._acted = self._clock.now()
        return utterance_of(heard, typed=True)

    def _too_early(self, sound: HeardPiece, heard: Heard) -> str:
        if sound.listening != self._listening:
            return "said before what is asked had changed"
        return self._early(sound.started, heard)

    def _early(self, started: float, heard: Heard) -> str:
        """Asked by the thread that recognises, too."""
        if started < self._acted:
            return "said before the last answer was acted on"
        over = heard.meaning is not None and heard.meaning.sense == Sense.COMMAND and heard.meaning.text in OVER_A_CAUTION
        if (self._unheard or started + LEAD < self._heard_out) and not over:
            return "said before the words that must be heard had ended"
        return ""

    def close(self) -> None:
        self._loop.close()


class RecordingEar:
    """A sound file as the technician's side: each utterance in it is heard when the program next waits for an answer.
    During a wait of the procedure it is silent. EOFError when the file has no more."""

    def __init__(self, path: str | Path, hearer: Hears, clock: Clock) -> None:
        from handsfree.errors import Trouble
        from handsfree.sound.files import read_sound

        self._left = list(utterances(read_sound(path)))
        if not self._left:
            raise Trouble(f"There is no speech in '{path}'; record it louder, or nearer to the mouth.")
        self._hearer, self._clock = hearer, clock
        self._listening = Listening(commands=())
        self._waits = False

    def watch(self, entry: Stamped, state: Dialogue) -> None:
        self._waits = state.waiting

    def listen(self, what: ListenFor) -> None:
        self._listening = listening_of(what)

    def keep_note(self, note: KeepNote) -> None:
        """The listening says so already."""

    def next(self, timeout: float | None) -> Happening | None:
        if self._waits and timeout is not None:
            self._clock.wait(timeout)
            return None
        if not self._left:
            raise EOFError
        piece = self._left.pop(0)
        self._clock.wait(PAUSE)
        started = self._clock.now()
        self._clock.wait(len(piece.samples) / RATE)
        return self._hearer.hear_utterance(piece.samples, self._listening, started, self._clock.now())

    def close(self) -> None: ...
