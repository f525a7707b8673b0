"""What people say in place of the words they were taught: 'um, yeah, it is', 'right then, that's done', 'yep yep'.

Rules of this file:

- It works only where nothing is at stake (`Listening.own_words`): never at a gate, a proof, or what leads to one.
- Every word must be accounted for: each is part of a way to say something in force, or may stand around one. One word too
  many ('not', 'nearly', 'he', 'when') and the sentence means nothing.
- All that is said must mean the same, or do the same ('got it, next'). 'Yeah, no' means nothing.
- A word that judges, such as 'fine', may only come before everything else: 'it is fine' is not a yes. Beside an answer in
  force no word of another may stand: 'right, left' means nothing where both are answers.
- These ways are never listed for a recogniser. One that writes freely may write them; the others then score what it wrote.
  So what is in force stays short, and is heard as well as before.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from handsfree.language.meaning import ALIKE, Listening, Meaning, Sense

Words = tuple[str, ...]
_LONGEST = 14  # words: nobody answers in more


@dataclass(frozen=True, eq=False)
class OwnWords:
    """`ways`: command -> further ways to say it. `around`: what may stand anywhere beside an answer and says nothing.
    `opening`: likewise, but only before all else. `assent`: likewise, but only where no yes is asked for. `unwritten`: what
    a transcriber leaves out at the beginning. `yes_no`: the listed ways to say either. All from the language's grammar."""

    ways: Mapping[str, frozenset[Words]]
    around: frozenset[Words]
    opening: frozenset[Words]
    assent: frozenset[Words]
    unwritten: frozenset[Words]
    yes_no: frozenset[Words]

    def every(self) -> Iterator[tuple[str, Words]]:
        """All there is, each by the name of what it belongs to."""
        yield from ((name, way) for name, ways in self.ways.items() for way in ways)
        for name in ("around", "opening", "assent", "unwritten"):
            yield from ((name, way) for way in getattr(self, name))

    def bare(self, words: Words, listening: Listening, in_force: Mapping[Words, Meaning]) -> Words:
        """The words without those at either end that say nothing here; something always remains."""
        return self.reading(listening, in_force).bare(words)

    def reading(self, listening: Listening, in_force: Mapping[Words, Meaning]) -> OwnPieces:
        """What is made of sentences under this listening: put together once, asked of very many."""
        around, opening = self._beside(listening, in_force)
        pieces: dict[Words, Meaning | None] = {}
        if listening.own_words and not listening.guarded:
            pieces |= dict.fromkeys(around)
            for name in listening.named_in_own_words:
                pieces |= self._commands.get(name, {})
            pieces |= in_force
        return OwnPieces(pieces, around, opening, max(map(len, around | opening), default=0))

    @cached_property
    def _commands(self) -> Mapping[str, Mapping[Words, Meaning]]:
        return {name: dict.fromkeys(ways, Meaning(Sense.COMMAND, name)) for name, ways in self.ways.items()}

    def _beside(self, listening: Listening, in_force: Mapping[Words, Meaning]) -> tuple[frozenset[Words], frozenset[Words]]:
        """What may stand anywhere beside an answer here, and what only before all else."""
        answers = [words for words, meaning in in_force.items() if meaning.sense is Sense.PHRASE]
        taken = {word for words in answers for word in words}
        asked = "yes" in listening.named or any(words in self.yes_no for words in answers)
        around = self.around if asked else self.around | self.assent
        return _free(around, taken), _free(self.opening, taken)


@dataclass(frozen=True)
class OwnPieces:
    """`pieces`: all that a sentence may be made of, with what each means, None for nothing; empty where nobody's own words
    count. `around`, `opening`: as of `OwnWords`, what may stand here. `longest`: words of the longest of these."""

    pieces: Mapping[Words, Meaning | None]
    around: frozenset[Words]
    opening: frozenset[Words]
    longest: int

    def meaning(self, words: Words) -> Meaning | None:
        """What the whole sentence means; None where a word is left over or two things are said."""
        if not self.pieces or not 0 < len(words) <= _LONGEST:
            return None
        said = _apart(words, self.pieces, self.opening)
        meant = [one for one in said or () if one is not None]
        if len({_does(one) for one in meant}) != 1:
            return None
        return Meaning(meant[0].sense, meant[0].text, spoken=" ".join(words))

    def bare(self, words: Words) -> Words:
        """The words without those at either end that say nothing here; something always remains."""

        def begins(size: int) -> bool:
            return words[:size] in self.around or words[:size] in self.opening

        sizes = range(self.longest, 0, -1)
        while cut := next((size for size in sizes if size < len(words) and begins(size)), 0):
            words = words[cut:]
        while cut := next((size for size in sizes if size < len(words) and words[-size:] in self.around), 0):
            words = words[:-cut]
        return words


def _free(pieces: frozenset[Words], taken: set[str]) -> frozenset[Words]:
    return frozenset(piece for piece in pieces if not taken & set(piece))


def _does(meaning: Meaning) -> tuple[Sense, str]:
    if meaning.sense is Sense.COMMAND:
        return meaning.sense, next((alike[0] for alike in ALIKE if meaning.text in alike), meaning.text)
    return meaning.sense, meaning.text


def _apart(
    words: Words, pieces: Mapping[Words, Meaning | None], opening: frozenset[Words] = frozenset()
) -> list[Meaning | None] | None:
    """The meanings of the pieces that the words are made of, the longest first; None where they cannot all be used.
    `opening`: pieces that say nothing, before the first that does."""
    if not words:
        return []
    for size in range(len(words), 0, -1):
        piece = words[:size]
        silent = piece in opening or (piece in pieces and pieces[piece] is None)
        if piece in pieces or silent:
            rest = _apart(words[size:], pieces, opening if silent else frozenset())
            if rest is not None:
                return [pieces.get(piece), *rest]
    return None
