"""Which phrases could have been meant: the short list that is compared with the sound one by one.

Rules of this file:

- A phrasebook is everything in force, decoys included, with how each sounds.
- A rival is chosen by sound alone: near to what the grammar, the free decode or the loop of phones heard. For a number,
  words that sound alike are exchanged or left out (fifteen for fifty), so that a tie can show.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

from handsfree.language.meaning import Listening, Meaning
from handsfree.language.phonetics import Phonemes, letters, phonemes, sound_distance

if TYPE_CHECKING:
    from handsfree.language.base import Language

_NEAR_WORD = 0.55  # words at most this far apart are exchanged for one another
_NUMBER_RIVALS = 6


@dataclass(frozen=True)
class Phrasebook:
    """`meanings`: every fixed phrase in force and every decoy, as spoken. Numbers are understood, not listed."""

    language: Language
    listening: Listening
    meanings: dict[str, Meaning]

    @staticmethod
    def of(language: Language, listening: Listening) -> Phrasebook:
        return Phrasebook(language, listening, {**language.decoys(listening), **language.forms(listening)})

    @cached_property
    def sounds(self) -> dict[str, str]:
        """Phrase -> one letter per phoneme."""
        return {phrase: letters(phonemes(phrase)) for phrase in self.meanings}

    @property
    def open_ended(self) -> bool:
        return self.listening.number is not None or self.listening.digits is not None

    def meaning(self, phrase: str) -> Meaning | None:
        """`spoken` is always the phrase asked about."""
        from dataclasses import replace

        found = self.meanings.get(phrase)
        if found is None:
            understood = self.language.understand(phrase, self.listening)
            found = understood[0] if understood else None
        return None if found is None else replace(found, spoken=phrase)


def rivals_of(book: Phrasebook, grammar: str, free: str, loop: Phonemes, most: int) -> tuple[str, ...]:
    """At most `most` phrases, the grammar's own first; then what the free decode says outright, then by sound."""
    chosen: dict[str, None] = {}
    for phrase in (grammar, free):
        if phrase and book.meaning(phrase) is not None:
            chosen[phrase] = None
    if book.open_ended and grammar and grammar not in book.meanings:
        for phrase in exchanges(book, grammar):
            if len(chosen) >= 2 + _NUMBER_RIVALS:
                break
            chosen.setdefault(phrase)
    for heard in _interleaved([_nearest(book, letters(heard), most) for heard in (phonemes(grammar), phonemes(free), loop)]):
        if len(chosen) >= most:
            break
        chosen.setdefault(heard)
    return tuple(chosen)


def _nearest(book: Phrasebook, heard: str, most: int) -> list[str]:
    from rapidfuzz import process
    from rapidfuzz.distance import Levenshtein

    if not heard:
        return []
    found = process.extract(heard, book.sounds, scorer=Levenshtein.normalized_similarity, limit=most)
    return [phrase for _, _, phrase in found]


def _interleaved(lists: list[list[str]]) -> Iterator[str]:
    for at in range(max(map(len, lists), default=0)):
        yield from (items[at] for items in lists if at < len(items))


@lru_cache(maxsize=2_000)
def _near_words(word: str, vocabulary: frozenset[str]) -> tuple[str, ...]:
    own = phonemes(word)
    ranked = sorted((sound_distance(own, phonemes(other)), other) for other in vocabulary if other != word)
    return tuple(other for far, other in ranked if far <= _NEAR_WORD)[:2]


def exchanges(book: Phrasebook, phrase: str) -> Iterator[str]:
    """The phrase of a number with one word exchanged for one that sounds like it, or left out; only those with a meaning
    other than the phrase's own."""
    words = phrase.split()
    own = book.meaning(phrase)
    vocabulary = book.language.vocabulary()
    swapped = (
        " ".join((*words[:at], other, *words[at + 1 :]))
        for at, word in enumerate(words)
        for other in _near_words(word, vocabulary)
    )
    dropped = (" ".join((*words[:at], *words[at + 1 :])) for at in range(len(words)) if len(words) > 1)
    for changed in (*swapped, *dropped):
        meaning = book.meaning(changed)
        if meaning is not None and (own is None or (meaning.value, meaning.text) != (own.value, own.text)):
            yield changed


def weakest_word(phrase: str, heard: Phonemes) -> float:
    """The smallest, over the phrase's words, of how well the word is found somewhere in the phonemes heard (0 to 1)."""
    from rapidfuzz import fuzz

    text = letters(heard)
    if not text or not phrase:
        return 0.0
    return min(float(fuzz.partial_ratio(letters(phonemes(word)), text)) / 100 for word in phrase.split())
