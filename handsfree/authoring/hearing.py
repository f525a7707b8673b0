"""From sound to what the recorder accepts: commands and choices through the recogniser, free words through dictation.

Rules of this file:

- The sound of every utterance is kept, whatever came of it: only the writer speaks here, and asked for it.
- When free words are asked for, other phrases in force ('that is all') are tried first. For answers, so are the answers of
  the procedures that ship: dictation is worst at single words. A word or two that may be 'affirm' are never free words.
- The engine that writes the free words of a page is told how such a field reads in the pages that ship.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

from handsfree.authoring.dictation import Dictated, Dictation
from handsfree.authoring.machine import DICTATED
from handsfree.dialogue.hearing import kept_sound, utterance_of
from handsfree.journal.events import Utterance
from handsfree.language.meaning import Heard, Listening, Sense, Verdict
from handsfree.language.tokens import tokens

if TYPE_CHECKING:
    from handsfree.authoring.free_words import FreeRecogniser
    from handsfree.journal.writer import Journal
    from handsfree.procedure.cabinet import Page
    from handsfree.sound.samples import Samples
    from handsfree.speech.recogniser import Recogniser


SHORT = 2  # words
WORD = "settle-word"  # the question whose answer is one word, said or spelled


class WriterHearer:
    """The ear sets `topic` and `listening`: which question free words are asked for, and what is in force. Who records sets
    `before`: what the writer kept so far, and `spelled`: the words that she spelled."""

    def __init__(
        self, recogniser: Recogniser | FreeRecogniser, dictation: Dictation, journal: Journal, language: str
    ) -> None:
        self.recogniser, self._dictation = recogniser, dictation
        self._journal, self._language = journal, language
        self.topic = ""
        self.listening = Listening(commands=())
        self.before: Callable[[], str] = str
        self.spelled: Callable[[], Sequence[str]] = tuple

    def hear_utterance(self, samples: Samples, listening: Listening, started: float, ended: float) -> Utterance:
        clip, digest = kept_sound(self._journal, samples)
        heard = self._fixed(samples, listening) if listening.note else self.recogniser.hear(samples, listening)
        if heard is None:
            return self._dictated(samples, clip, digest, started, ended)
        return utterance_of(replace(heard, started=started, ended=ended), clip, digest)

    def _fixed(self, samples: Samples, listening: Listening) -> Heard | None:
        """A phrase that ends a list, an answer known from elsewhere, or one to what was read back (`also`); None if it is
        surely none of them."""
        known = answers_known(self._language) if self.topic == "answers" else words_of_pages(self._language, self.topic)
        phrases = tuple(dict.fromkeys((*listening.phrases, *known)))
        if not phrases and not listening.also:
            return None
        commands = listening.commands if listening.also else ()
        heard = self.recogniser.hear(samples, Listening(phrases=phrases, commands=commands, also=listening.also))
        command = heard.meaning is not None and heard.meaning.sense is Sense.COMMAND
        perhaps = command and heard.verdict is not Verdict.NOT_FOR_ME and len(tokens(heard.words)) <= SHORT
        return heard if heard.verdict is Verdict.ACCEPTED or perhaps else None

    def _dictated(self, samples: Samples, clip: str, digest: str, started: float, ended: float) -> Utterance:
        if self.topic == WORD:
            written = self._dictation.spelled(samples)
        else:
            among = texts_of_pages(self._language, self.topic)
            written = self._dictation.write(samples, among, self.before(), self.spelled())
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
def _pages(language: str) -> tuple[Page, ...]:
    """Those that ship."""
    from handsfree.procedure.cabinet import FOLDER, load_page
    from handsfree.procedure.load import procedure_files
    from handsfree.resources import shipped_folder

    every = (load_page(path).page for path in procedure_files(shipped_folder("procedures") / FOLDER))
    return tuple(page for page in every if page.language == language)


@cache
def texts_of_pages(language: str, topic: str) -> str:
    """How such a field of free words reads in the pages that ship, after what is asked; '' where there is none."""
    from handsfree.authoring.words import load_words

    found: list[str] = []
    for page in _pages(language):
        data = page.model_dump(by_alias=True, exclude_none=True)
        homes = (data, data.get("keys") or {}, data.get("deck") or {})
        found += [home[topic] for home in homes if isinstance(home.get(topic), str)]
        found += data.get("places", {}).values() if topic == "where" else ()
    return " ".join((load_words(language).prompt(f"page-{topic}", part=""), *found)) if found else ""


@cache
def words_of_pages(language: str, topic: str) -> tuple[str, ...]:
    """What the pages that ship have in such a field of a word or two ('colour', 'part'); () for any other."""
    found: dict[str, None] = {}
    for page in _pages(language):
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


