"""How long to wait for more, judged by what was said so far: recognised ahead, while waiting for the end of speech.

Rules of this file:

- What is a beginning of something in force waits longer: a figure where a lock number is stated, what does not open the
  gate that is asked for, a number without its decimals or its unit, an answer with which another begins. "Four … two" is one
  number.
- After a sure answer or command with which nothing else in force begins, it waits less: what follows is another sentence.
  Never at a gate, nor where works are to be proved dead: there a 'not' may come late.
- For everything else the usual pause applies. So it does for the program's own speech: that is not recognised ahead, so
  it never waits longer for an echo.
- It changes where an utterance ends, never what it means: the complete utterance is heard again. Pure.
"""

from __future__ import annotations

import re
from enum import StrEnum
from typing import TYPE_CHECKING

from handsfree.language.meaning import Heard, Listening, Meaning, Sense, Verdict
from handsfree.speech.bars import short_command

if TYPE_CHECKING:
    from handsfree.language.base import Language


class SoFar(StrEnum):
    """What was said so far is unfinished, complete, or unknown."""

    BEGUN = "begun"
    WHOLE = "whole"
    UNKNOWN = "unknown"


def so_far(heard: Heard, listening: Listening, language: Language) -> SoFar:
    """`heard`: of the sound up to now, as if nothing more came."""
    if _begun(heard, listening, language):
        return SoFar.BEGUN
    taken = heard.verdict is Verdict.ACCEPTED and heard.meaning is not None
    if not taken or listening.guarded or heard.meaning is None:
        return SoFar.UNKNOWN
    sentence = heard.meaning.sense in (Sense.PHRASE, Sense.COMMAND) and not short_command(heard.meaning)
    return SoFar.WHOLE if sentence else SoFar.UNKNOWN


def _begun(heard: Heard, listening: Listening, language: Language) -> bool:
    meaning = heard.meaning
    taken = heard.verdict is Verdict.ACCEPTED and meaning is not None
    if meaning is not None and meaning.sense in (Sense.PHRASE, Sense.COMMAND) and taken:
        return _another_begins(meaning, listening, language)
    if meaning is not None and meaning.sense is Sense.NUMBER:
        return meaning.unit is None and meaning.value is not None and float(meaning.value).is_integer()
    if listening.gate is not None:
        return heard.verdict is Verdict.ASKED_AGAIN
    numbers = listening.digits is not None or listening.number is not None
    return numbers and bool(_figures(language) & set(re.findall(r"[a-z]+|\d", heard.words.lower())))


def _another_begins(meaning: Meaning, listening: Listening, language: Language) -> bool:
    said = {meaning.text, meaning.spoken} - {""}
    return any(
        form.startswith(f"{words} ") and (other.sense, other.text) != (meaning.sense, meaning.text)
        for form, other in language.forms(listening).items() for words in said
    )  # fmt: skip


_NUMBERS: dict[str, frozenset[str]] = {}  # by language; a twentieth of a second to list


def _figures(language: Language) -> frozenset[str]:
    """The words and signs that numbers up to a hundred are said with."""
    if language.code not in _NUMBERS:
        said = (say(value) for value in range(101) for say in (language.say_number, language.say_digits))
        _NUMBERS[language.code] = frozenset(word for words in said for word in words.split()) | frozenset("0123456789")
    return _NUMBERS[language.code]
