"""From what was heard to what is recorded of it: `Heard` to an Utterance event, and typed words to `Heard`."""

from __future__ import annotations

from handsfree.journal.events import Utterance
from handsfree.language.base import Language
from handsfree.language.meaning import Heard, Listening, Sense, Verdict


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
    )


def typed(language: Language, words: str, listening: Listening, now: float) -> Heard:
    """A line typed is a line heard: it must mean something in force, word for word, and a denial is one here too."""
    meanings = language.understand(words, listening)
    best = meanings[0] if meanings else None
    accepted = best is not None and best.sense != Sense.DENIAL
    return Heard(
        verdict=Verdict.ACCEPTED if accepted else Verdict.ASKED_AGAIN,
        meaning=best,
        sure=1.0 if accepted else 0.0,
        words=words,
        engine="typed",
        started=now,
        ended=now,
        reason="" if accepted else (f"a look-alike: {best.text}" if best else "not in force"),
    )
