"""What people say in place of the words they were taught: 'um, yeah, it is', 'right then, that's done', 'yep yep'.

Rules of this file:

- It works only where nothing is at stake (`Listening.own_words`): never at a gate, a proof, or what leads to one.
- Every word must be accounted for: each is part of a way to say something in force, or may stand around one. One word too
  many ('not', 'nearly', 'he', 'when') and the sentence means nothing.
- All that is said must mean the same, or do the same ('got it, next'). 'Yeah, no' means nothing.
- These ways are never listed for a recogniser. One that writes freely may write them; the others then score what it wrote.
  So what is in force stays short, and is heard as well as before.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from handsfree.language.meaning import ALIKE, Listening, Meaning, Sense

Words = tuple[str, ...]
_LONGEST = 14  # words: nobody answers in more


@dataclass(frozen=True)
class OwnWords:
    """`ways`: command -> further ways to say it. `around`: what may stand anywhere beside an answer and says nothing.
    `assent`: likewise, but only where no yes is asked for. `unwritten`: what a transcriber leaves out at the beginning. All
    from the language's grammar."""

    ways: Mapping[str, frozenset[Words]]
    around: frozenset[Words]
    assent: frozenset[Words]
    unwritten: frozenset[Words]

    def every(self) -> Iterator[tuple[str, Words]]:
        """All there is, each by the name of what it belongs to."""
        yield from ((name, way) for name, ways in self.ways.items() for way in ways)
        for name in ("around", "assent", "unwritten"):
            yield from ((name, way) for way in getattr(self, name))

    def beside(self, listening: Listening) -> tuple[Words, ...]:
        """What may stand beside an answer here."""
        return tuple(self.around if "yes" in listening.named else self.around | self.assent)

    def meaning(self, words: Words, listening: Listening, in_force: Mapping[Words, Meaning]) -> Meaning | None:
        """What the whole sentence means; None where a word is left over or two things are said."""
        if not listening.own_words or listening.guarded or not 0 < len(words) <= _LONGEST:
            return None
        pieces: dict[Words, Meaning | None] = dict.fromkeys(self.beside(listening))
        for name in listening.named:
            pieces |= {way: Meaning(Sense.COMMAND, name) for way in self.ways.get(name, ())}
        pieces |= in_force
        said = _apart(words, pieces)
        meant = [one for one in said or () if one is not None]
        if len({_does(one) for one in meant}) != 1:
            return None
        return Meaning(meant[0].sense, meant[0].text, spoken=" ".join(words))


def _does(meaning: Meaning) -> tuple[Sense, str]:
    if meaning.sense is Sense.COMMAND:
        return meaning.sense, next((alike[0] for alike in ALIKE if meaning.text in alike), meaning.text)
    return meaning.sense, meaning.text


def _apart(words: Words, pieces: Mapping[Words, Meaning | None]) -> list[Meaning | None] | None:
    """The meanings of the pieces that the words are made of, the longest first; None where they cannot all be used."""
    if not words:
        return []
    for size in range(len(words), 0, -1):
        if words[:size] in pieces and (rest := _apart(words[size:], pieces)) is not None:
            return [pieces[words[:size]], *rest]
    return None


def without(words: Words, around: Iterable[Words]) -> Words:
    """The words without those at either end that say nothing; something always remains."""
    every = sorted(around, key=len, reverse=True)
    while True:
        for piece in every:
            size = len(piece)
            if len(words) > size and words[:size] == piece:
                words = words[size:]
                break
            if len(words) > size and words[-size:] == piece:
                words = words[:-size]
                break
        else:
            return words
