"""Turns what was heard into what is recorded: `Heard` into an Utterance event, and typed words into `Heard`."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Protocol

from handsfree.dialogue.meant import LIKELY
from handsfree.journal.events import Happening, NoteKept, Utterance
from handsfree.language.base import Language
from handsfree.language.gist import by_gist
from handsfree.language.meaning import EMERGENCY, WHEN_ASKED, Denial, Heard, Listening, Meaning, Sense, Verdict

if TYPE_CHECKING:
    from handsfree.journal.writer import Journal
    from handsfree.sound.samples import Piece, Samples


class HearsAndWrites(Protocol):
    """`handsfree.speech.recogniser.Recogniser` is one."""

    def hear(self, samples: Samples, listening: Listening) -> Heard: ...

    def together(self, heard: Heard, listening: Listening) -> Heard: ...

    def forget(self) -> None: ...

    def dictate(self, samples: Samples) -> str: ...


def utterance_of(heard: Heard, clip: str = "", clip_sha256: str = "", typed: bool = False) -> Utterance:
    meaning = heard.meaning
    return Utterance(
        verdict=heard.verdict,
        sense=meaning.sense if meaning else "",
        text=meaning.text if meaning else "",
        value=meaning.value if meaning else None,
        unit=meaning.unit if meaning else None,
        spoken=meaning.spoken if meaning else "",
        sure=round(float(heard.sure), 6),
        words=heard.words,
        rivals=tuple((str(rival.sense), rival.text, rival.value) for rival in heard.rivals),
        witnesses=tuple((name, round(float(value), 6)) for name, value in heard.witnesses),
        engine=heard.engine,
        started=round(heard.started, 3),
        ended=round(heard.ended, 3),
        clip=clip,
        clip_sha256=clip_sha256,
        reason=heard.reason,
        typed=typed,
        voice=heard.voice,
        meant=round(float(heard.meant), 6),
    )


#: Question marks of other scripts and widths, some of which a tokeniser folds into one that it drops.
_QUESTION_MARKS = {ord(sign): "?" for sign in "？﹖⁇⁈⁉؟՞⸮"}


def typed(language: Language, words: str, listening: Listening, now: float) -> Heard:
    """A typed line counts as heard: it must mean something in force, word for word, and denials count here too."""
    words = words.translate(_QUESTION_MARKS)
    meanings = language.understand(words, listening)
    best = meanings[0] if meanings else None
    if best is not None and "?" in words and (best.sense == Sense.PHRASE or best.text in WHEN_ASKED):
        best = Meaning(Sense.DENIAL, Denial.QUESTION, spoken=words)  # 'nothing runs?' proves nothing
    accepted = best is not None and best.sense != Sense.DENIAL
    rivals: tuple[Meaning, ...] = ()
    if not accepted and "?" not in words and (told := by_gist(language, words, listening)):
        best, rivals = told[0], told if len(told) > 1 else ()
        accepted = not rivals
    unsure = Verdict.NOT_FOR_ME if best is None else Verdict.ASKED_AGAIN
    return Heard(
        verdict=Verdict.ACCEPTED if accepted else unsure,
        meaning=best,
        sure=1.0 if accepted else 0.0,
        words=words,
        rivals=rivals,
        engine="typed",
        started=now,
        ended=now,
        meant=1.0,
        reason="" if accepted else (f"a look-alike: {best.text}" if best else "not in force"),
    )


#: Acts even when said into a note.
NEVER_A_NOTE = ("power is on", *EMERGENCY)


def alarm_in(heard: Heard) -> str:
    """The command of these that a note probably contains, or ''. For 'power is on', which can only make things safer, a
    possibility is enough."""
    if heard.meaning is None or heard.meaning.text not in NEVER_A_NOTE or heard.verdict == Verdict.NOT_FOR_ME:
        return ""
    likely = heard.verdict in (Verdict.ACCEPTED, Verdict.PROPOSED)
    maybe = heard.meaning.text == "power is on" and heard.sure >= LIKELY
    return heard.meaning.text if likely or maybe else ""


def level_of(samples: Samples) -> float:
    """Level of the speech without the noise around it, dB full scale; 0 if there is none to measure."""
    from handsfree.sound.levels import QUIETEST, level_without_noise

    level = level_without_noise(samples)
    return 0.0 if level <= QUIETEST else round(min(level, -0.1), 1)


def kept_sound(journal: Journal, samples: Samples) -> tuple[str, str]:
    """The clip's name beside the record, and the SHA-256 of its bytes."""
    from handsfree.journal.writer import flac

    return journal.keep_sound(flac(samples))


class TellsVoices(Protocol):
    """Tells voices apart; `handsfree.speech.speaker.Voices` does."""

    def of(self, heard: Heard, samples: Samples, listening: Listening) -> str: ...


class Hears(Protocol):
    """What an ear asks of a hearer: `Hearer`, and the recorder's, whose notes are utterances."""

    def hear_utterance(self, samples: Samples, listening: Listening, started: float, ended: float) -> Happening: ...

    def together(self, heard: Heard, samples: Samples, listening: Listening) -> Heard: ...

    def forget(self) -> None: ...

    def event_of(self, heard: Heard, samples: Samples, listening: Listening) -> Happening: ...

    def note_of(self, samples: Samples, started: float, ended: float) -> Happening: ...


class Hearer:
    """Sound to happenings: recognised, its voice compared, its sound kept beside the record where that is due, put into an
    event. `voices`: None where nothing compares them.

    Sound that was not accepted is kept only where `keep_all` asks for it: bystanders are recorded by any open microphone."""

    def __init__(
        self, recogniser: HearsAndWrites, journal: Journal, keep_all: bool = False, voices: TellsVoices | None = None
    ) -> None:
        self.recogniser, self._voices = recogniser, voices
        self._journal, self._keep_all = journal, keep_all

    def hear_utterance(self, samples: Samples, listening: Listening, started: float, ended: float) -> Utterance | NoteKept:
        """One utterance, cut out of the sound. While a note is due it is a note, whatever it says."""
        if listening.note:
            return self.note_of(samples, started, ended)
        heard = replace(self.recogniser.hear(samples, listening), started=started, ended=ended)
        return self.event_of(self.together(heard, samples, listening), samples, listening)

    def together(self, heard: Heard, samples: Samples, listening: Listening) -> Heard:
        """Weighed with what was said before under the same question. Call it once per utterance, with its times on the
        visit's clock. At a gate and at a proof the voice is compared first: what another says adds nothing."""
        if self._voices is not None and listening.guarded:
            heard = replace(heard, voice=self._voices.of(heard, samples, listening))
        return self.recogniser.together(heard, listening)

    def forget(self) -> None:
        """The visit has moved on, or something came between: what was said before no longer counts."""
        self.recogniser.forget()

    def event_of(self, heard: Heard, samples: Samples, listening: Listening) -> Utterance:
        """What is recorded of it, with the result for its voice if it was compared, and its clip if one is kept."""
        if self._voices is not None and not listening.guarded:
            heard = replace(heard, voice=self._voices.of(heard, samples, listening))
        keep = self._keep_all or heard.verdict in (Verdict.ACCEPTED, Verdict.PROPOSED)
        clip, digest = kept_sound(self._journal, samples) if keep and len(samples) else ("", "")
        return replace(utterance_of(heard, clip, digest), level=level_of(samples))

    def note_of(self, samples: Samples, started: float, ended: float) -> NoteKept:
        """A note is also searched for what must never stay a mere note: that the power is on, that somebody needs help."""
        clip, digest = kept_sound(self._journal, samples)
        text = self.recogniser.dictate(samples)
        alarm = alarm_in(self.recogniser.hear(samples, Listening(commands=NEVER_A_NOTE)))
        return NoteKept(clip, digest, text, round(ended - started, 3), alarm)


def utterances(samples: Samples) -> list[Piece]:
    """What the end-of-speech detector finds in a whole recording."""
    from handsfree.speech.endpoint import Endpointer

    endpointer = Endpointer()
    return [*endpointer.feed(samples), *endpointer.flush()]
