"""From sound to what the recorder accepts: commands and choices through the recogniser, free words through dictation.

Rules of this file:

- The sound of every utterance is kept, whatever came of it: only the writer speaks here, and asked for it.
- When free words are asked for, other phrases in force ('that is all') are tried first. For answers, so are the answers of
  the procedures that ship: dictation is worst at single words.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

from handsfree.authoring.dictation import Dictated, Dictation
from handsfree.authoring.machine import DICTATED
from handsfree.dialogue.hearing import kept_sound, utterance_of
from handsfree.journal.events import Utterance
from handsfree.language.meaning import Heard, Listening, Verdict

if TYPE_CHECKING:
    from handsfree.authoring.free_words import FreeRecogniser
    from handsfree.journal.writer import Journal
    from handsfree.sound.samples import Samples
    from handsfree.speech.recogniser import Recogniser


class WriterHearer:
    """The ear sets `topic` and `listening`: which question free words are asked for, and what is in force."""

    def __init__(
        self, recogniser: Recogniser | FreeRecogniser, dictation: Dictation, journal: Journal, language: str
    ) -> None:
        self.recogniser, self._dictation = recogniser, dictation
        self._journal, self._language = journal, language
        self.topic = ""
        self.listening = Listening(commands=())

    def hear_utterance(self, samples: Samples, listening: Listening, started: float, ended: float) -> Utterance:
        clip, digest = kept_sound(self._journal, samples)
        heard = self._fixed(samples, listening) if listening.note else self.recogniser.hear(samples, listening)
        if heard is None:
            return self._dictated(samples, clip, digest, started, ended)
        return utterance_of(replace(heard, started=started, ended=ended), clip, digest)

    def _fixed(self, samples: Samples, listening: Listening) -> Heard | None:
        """A phrase that ends a list, or an answer known from elsewhere; None if it is surely neither."""
        known = answers_known(self._language) if self.topic == "answers" else words_of_pages(self._language, self.topic)
        phrases = tuple(dict.fromkeys((*listening.phrases, *known)))
        if not phrases:
            return None
        heard = self.recogniser.hear(samples, Listening(phrases=phrases, commands=()))
        return heard if heard.verdict == Verdict.ACCEPTED else None

    def _dictated(self, samples: Samples, clip: str, digest: str, started: float, ended: float) -> Utterance:
        written = self._dictation.write(samples)
        return replace(
            dictated(written), started=round(started, 3), ended=round(ended, 3), clip=clip, clip_sha256=digest
        )

    # ---- as dialogue.hearing.Hearer, for the live ear

    def note_of(self, samples: Samples, started: float, ended: float) -> Utterance:
        return self.hear_utterance(samples, replace(self.listening, note=True), started, ended)

    def together(self, heard: Heard, samples: Samples, listening: Listening) -> Heard:
        """Each of the writer's utterances counts by itself."""
        return heard

    def forget(self) -> None: ...

    def event_of(self, heard: Heard, samples: Samples, listening: Listening) -> Utterance:
        return utterance_of(heard, *kept_sound(self._journal, samples))


def dictated(written: Dictated) -> Utterance:
    rivals = tuple((doubt.word, other, float(doubt.at)) for doubt in written.doubts for other in doubt.others or ("",))
    return Utterance(
        Verdict.ACCEPTED if written.text else Verdict.ASKED_AGAIN, DICTATED, written.text, sure=1.0, words=written.text,
        rivals=rivals, engine=written.engine, reason="" if written.text else "no words in it",
    )  # fmt: skip


@cache
def words_of_pages(language: str, topic: str) -> tuple[str, ...]:
    """What the pages that ship have in such a field of a word or two ('colour', 'part'); () for any other."""
    from handsfree.procedure.cabinet import FOLDER, load_page
    from handsfree.procedure.load import procedure_files
    from handsfree.resources import shipped_folder

    found: dict[str, None] = {}
    for path in procedure_files(shipped_folder("procedures") / FOLDER):
        page = load_page(path).page
        if page.language == language:
            rows = [{"colour": lead.colour, "from": lead.source, "to": lead.to} for lead in page.leads]
            rows += [{"part": name, "named": name} for name in (*page.places, *page.parts)]
            found |= {row[topic]: None for row in rows if topic in row}
    return tuple(found)


@cache
def answers_known(language: str) -> tuple[str, ...]:
    """Every answer of the procedures that ship."""
    from handsfree.procedure.load import load_procedure, procedure_files
    from handsfree.procedure.model import Ask
    from handsfree.resources import shipped_folder

    found: dict[str, None] = {}
    for path in procedure_files(shipped_folder("procedures")):
        procedure = load_procedure(path)
        if procedure.language == language:
            for step in procedure.steps:
                if isinstance(step, Ask):
                    found |= {answer.say: None for answer in step.answers}
    return tuple(found)


