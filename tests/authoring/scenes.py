"""Recordings made for the tests: from lines as typed, and from a writer with a synthetic voice."""

from __future__ import annotations

import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from handsfree.authoring.dictation import Dictated
from handsfree.authoring.draft import Doubt
from handsfree.authoring.hearing import WriterHearer, dictated
from handsfree.authoring.keeping import Recording, open_recording
from handsfree.authoring.recorder import Recorder
from handsfree.authoring.turn import RecorderState
from handsfree.dialogue.keyboard import TypedEar, WrittenMouth
from handsfree.dialogue.listening import listening_of
from handsfree.journal.events import Happening, KeepNote, ListenFor, NoteKept
from handsfree.journal.writer import Journal, flac
from handsfree.language import base
from handsfree.language.tokens import tokens
from handsfree.sound.samples import RealClock

#: A whole short procedure of the Hochgrat Mountain Railway (invented), as it would be typed.
LOOK_AT_FAN = """\
Look at the fan
new step
Danger. Mains voltage can kill.
that is all
keep
new step
Hold your palm in front of the opening. How does the air feel, cool, warm or dead calm?
the following step
the following step
a later step
none
keep
new step
Give the temperature of the cabinet in degrees Fahrenheit.
temperature of the cabinet
minus 20
130 degrees
39
46
none
keep
new step
The cabinet is cold enough. The complaint is not seen now.
finding
temperature in range
step 2
step 3
that is all
keep
new step
No fault was found.
the end
no fault found
keep
new step
The fan moves little air.
end
not fixed
keep
finish
step six
finish
"""


#: Much the same in Spanish.
MIRAR = """\
Mirar el ventilador
nuevo paso
Peligro. La tensión de red puede matar.
eso es todo
guardar
nuevo paso
Ponga la palma delante de la boca. ¿Cómo se siente el aire, fresco, caliente o en calma?
el paso que sigue
el paso que sigue
un paso posterior
ninguno
guardar
nuevo paso
Dé la temperatura del mueble en grados Celsius, entre menos treinta y cincuenta y cinco grados.
temperatura del mueble
4
8
ninguno
guardar
nuevo paso
El mueble está bastante frío. La queja no se ve ahora.
hallazgo
temperatura normal
paso 2
paso tres
eso es todo
guardar
nuevo paso
No se ha encontrado ninguna avería.
el final
sin avería encontrada
guardar
nuevo paso
El ventilador mueve poco aire.
final
sin reparar
guardar
terminar
paso seis
terminar
"""


@dataclass
class Told:
    """A recording that was run: what it said, and how it ended."""

    recording: Recording
    state: RecorderState
    said: list[str]

    @property
    def text(self) -> str:
        return self.recording.shelf.path.read_text(encoding="utf-8")


def typed(lines: str | Sequence[str], folder: Path, name: str = "fan-look", language: str = "en") -> Told:
    """Recorded from the keyboard until the lines end."""
    text = lines if isinstance(lines, str) else "\n".join(lines) + "\n"
    recording = open_recording(name, folder, language, "Resi Kofler", "typed")
    said: list[str] = []
    ear = TypedEar(io.StringIO(text), base.load(language), RealClock())
    recorder = Recorder(recording, ear, WrittenMouth(lambda words, role: said.append(words)))
    return Told(recording, recorder.run(), said)


class DoubtingEar(TypedEar):
    """Lines as typed, but free words come as an engine dictates them: with a clip, and where a line has 'fans|fins|fence',
    with the first written and the others what it may be. So every doubt of a dictation is known."""

    def __init__(self, lines: Sequence[str], journal: Journal, language: str) -> None:
        super().__init__(io.StringIO("\n".join(lines) + "\n"), base.load(language), RealClock())
        self._journal = journal

    def next(self, timeout: float | None) -> Happening | None:
        happening = super().next(timeout)
        if not isinstance(happening, NoteKept):
            return happening
        pieces = [tuple(word.split("|")) for word in happening.text.split()]
        doubts = tuple(Doubt(at, word, tuple(others)) for at, (word, *others) in enumerate(pieces) if others)
        clip, digest = self._journal.keep_sound(flac(np.zeros(4000, dtype=np.float32)))
        event = dictated(Dictated(" ".join(word for word, *_ in pieces), doubts, "scripted"))
        return replace(event, clip=clip, clip_sha256=digest)


def doubted(lines: Sequence[str], folder: Path, name: str = "fan-look", language: str = "en") -> Told:
    """Recorded by dictation whose doubts the lines say."""
    recording = open_recording(name, folder, language, "Resi Kofler", "scripted")
    said: list[str] = []
    mouth = WrittenMouth(lambda words, role: said.append(words))
    recorder = Recorder(recording, DoubtingEar(lines, recording.journal, language), mouth)
    return Told(recording, recorder.run(), said)


def spoken(words: str, voice: str, rate: float) -> Any:
    """Sentence by sentence, with the pause between them that a person makes: flite runs them together."""
    from audio_fixtures.voices import padded, silence, synthesise

    sentences = re.split(r"(?<=[.?!])\s+", words)
    pieces = [piece for sentence in sentences for piece in (synthesise(sentence, voice, rate), silence(0.4))]
    return padded(np.concatenate(pieces[:-1]))


ORDINALS = ("first", "second", "third")


def which(heard: str, said: str, doubts: Sequence[Doubt]) -> str:
    """What a writer says who knows what she said: 'second first'; of one word that is not offered, to leave it."""
    from rapidfuzz.distance import Levenshtein

    own, right = [" ".join(tokens(word)) for word in heard.split()], list(tokens(said))
    places = Levenshtein.opcodes(own, right)
    chosen: list[str] = []
    for doubt in doubts:
        part = next(one for one in places if one.src_start <= doubt.at < one.src_end)
        to = part.dest_start + doubt.at - part.src_start
        offered = [" ".join(tokens(word)) for word in (doubt.word, *doubt.others)]
        meant = right[to] if to < part.dest_end else ""
        if meant not in offered[: len(ORDINALS)]:
            return "leave it" if not chosen else " ".join(chosen[:1])
        chosen.append(ORDINALS[offered.index(meant)])
    return " ".join(chosen)


@dataclass
class Voice:
    """A writer who answers each question with the next of her lines for it, and says it again, slower and in another
    voice, when she is asked again. `settles`: of a doubtful word she knows which she said. `spoken`: what she said, and what
    came of it."""

    hearer: WriterHearer
    lines: Mapping[str, Sequence[str]]
    voices: Sequence[str]
    most: int = 80
    recorder: Any = None
    settles: bool = False
    spoken: list[tuple[str, str, Any]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._left = {at: list(lines) for at, lines in self.lines.items()}
        self._last: tuple[str, str] = ("", "")

    def listen(self, what: ListenFor) -> None:
        self.hearer.listening = listening_of(what)

    def keep_note(self, note: KeepNote) -> None:
        self.hearer.topic = note.step

    def close(self) -> None: ...

    def settle(self, heard: str, said: str, doubts: Sequence[Doubt]) -> str:
        return which(heard, said, doubts)

    def next(self, timeout: float | None) -> Happening | None:
        state: RecorderState = self.recorder.state
        if self.settles and state.at == "settle" and state.pending is not None and not state.tries:
            said = next(words for at, words, _ in reversed(self.spoken) if not at.startswith("settle"))
            self._left["settle"] = [self.settle(state.pending[1].text, said, state.doubts)]
        if state.tries and self._last[0] == state.at:
            words = self._last[1]
        elif self._left.get(state.at):
            words = self._left[state.at].pop(0)
        else:
            raise EOFError
        self._last = (state.at, words)
        if len(self.spoken) >= self.most:
            raise EOFError
        sound = spoken(words, self.voices[state.tries % len(self.voices)], 1.0 - 0.1 * (state.tries // 2 % 2))
        event = self.hearer.hear_utterance(sound, self.hearer.listening, float(len(self.spoken)), len(self.spoken) + 1.0)
        self.spoken.append((state.at, words, event))
        return event


def by_voice(
    lines: Mapping[str, Sequence[str]], folder: Path, engine: str, voices: Sequence[str], name: str
) -> tuple[Told, Voice]:
    """Recorded by voice alone, through the real engine, by one who knows which of two words she said."""
    from handsfree.authoring.live import dictation_for
    from handsfree.speech.recogniser import build_recogniser

    recording = open_recording(name, folder, "en", "Resi Kofler", engine)
    recogniser = build_recogniser(engine, "en", Path("no-models"))
    hearer = WriterHearer(recogniser, dictation_for(recogniser, "en"), recording.journal, "en")
    voice = Voice(hearer, lines, voices, settles=True)
    said: list[str] = []
    voice.recorder = Recorder(recording, voice, WrittenMouth(lambda words, role: said.append(words)))
    return Told(recording, voice.recorder.run(), said), voice
