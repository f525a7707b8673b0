"""A word spelled aloud: 'Bravo, Uniform, Romeo, Romeo' -> 'burr'.

Rules of this file:

- Few words stand for letters, so an engine that cannot write a word of the trade still hears how it is spelled.
- The writing engine is told these words. Where it writes another, the witness of sounds chooses the letter that stands
  there, or none. A word that is said twice it sometimes writes once, and the last one too often: there too the sounds
  decide.
- What is hardly a spelling is none: then it is a word as it was said.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from handsfree.language.phonetics import distance
from handsfree.language.tokens import tokens

if TYPE_CHECKING:
    from handsfree.authoring.free_words import Write
    from handsfree.authoring.words import RecorderWords
    from handsfree.sound.samples import Samples
    from handsfree.speech.phonetic import Phonetic

LIKE = 0.6  # distance in sound up to which what was written may be a letter's word
FEWEST, SHARE = 2, 0.6  # letters of a spelling, and the share of what was written that must be such words
_WORD = 6  # letters of a word, in what the engine is told
#: Nats that a letter said twice, and one said once, must sound better. By three voices, a letter too many sounded 15 to 33
#: worse; one too few up to 15 worse, and up to 5 better.
_TWICE, _ONCE = 0.0, 10.0
_ROUNDS = 2  # of choosing: one choice may change what is best beside it


def letters_of(text: str, words: RecorderWords) -> tuple[str, ...]:
    """The letters of a text that has nothing but letters and words that stand for one; () for any other, and for one
    letter alone."""
    known = {words.tokens(way): letter for way, letter in words.pairs("letter")}
    said, found, at = words.tokens(text), [], 0
    while at < len(said):
        long = 2 if said[at : at + 2] in known else 1
        letter = known.get(said[at : at + long], said[at])
        if len(letter) != 1 or not letter.isalpha():
            return ()
        found.append(letter)
        at += long
    return tuple(found) if len(found) >= FEWEST else ()


class Speller:
    """`write`: the engine that writes free words. `sounds`: None where the witness of sounds is not there."""

    def __init__(self, write: Write, sounds: Phonetic | None, words: RecorderWords) -> None:
        self._write, self._sounds, self._words = write, sounds, words
        self._ways: dict[str, str] = {}
        for way, letter in words.pairs("letter"):
            self._ways.setdefault(letter, way)
        ways = [way.capitalize() for way in self._ways.values()]
        self._told = " ".join(f"{', '.join(ways[at : at + _WORD])}." for at in range(0, len(ways), _WORD))

    def __call__(self, samples: Samples) -> str:
        """The words of the letters that were spelled; '' where no word was."""
        written = self._write(samples, self._told)
        letters = self._doubled(samples, letters_of(written, self._words)) or self._near(samples, written)
        return " ".join(self._ways.get(letter, letter) for letter in letters)

    def _doubled(self, samples: Samples, letters: tuple[str, ...]) -> tuple[str, ...]:
        """With a letter twice that the engine wrote once, and once that it wrote twice, where that sounds better."""
        for _ in letters if self._sounds is not None else ():
            twice = [(*letters[:at], *letters[at - 1 :]) for at in range(1, len(letters) + 1)]
            pairs = enumerate(pairwise(letters if len(letters) > FEWEST else ()))
            once = [(*letters[:at], *letters[at + 1 :]) for at, (one, other) in pairs if one == other]
            plain, *scores = self._scores(samples, [letters, *twice, *once])
            bars = [_TWICE] * len(twice) + [_ONCE] * len(once)
            gains = [score - plain - bar for score, bar in zip(scores, bars, strict=True)]
            gain, best = max(zip(gains, [*twice, *once], strict=True))
            if gain <= 0.0:
                break
            letters = best
        return letters

    def _scores(self, samples: Samples, texts: Sequence[Sequence[str]]) -> list[float]:
        from handsfree.speech.ctc import score

        assert self._sounds is not None
        spoken = {letter: way[0] for letter, name in self._ways.items() if (way := self._sounds.ways(name))}
        sounds = [tuple(symbol for letter in some for symbol in spoken.get(letter, ())) for some in texts]
        return [float(one) for one in score(self._sounds.frames(samples), sounds)]

    def _near(self, samples: Samples, written: str) -> tuple[str, ...]:
        """Where some of it is no letter's word; () where too much is none."""
        said = [word for word in tokens(written) if word.isalpha()]
        sure = [self._letter(word) for word in said]
        likely = [known or self._alike(word) for word, known in zip(said, sure, strict=True)]
        if sum(map(bool, likely)) < max(FEWEST, SHARE * len(said)):
            return ()
        if self._sounds is not None:
            likely = self._best(samples, likely, [at for at, known in enumerate(sure) if not known])
        return tuple(letter for letter in likely if letter)

    def _letter(self, word: str) -> str:
        doubled = letters_of(f"{word} {word}", self._words)
        return doubled[0] if doubled else ""

    def _alike(self, word: str) -> str:
        far, letter = min((distance(word, way), letter) for letter, way in self._ways.items())
        return letter if far <= LIKE else ""

    def _best(self, samples: Samples, likely: list[str], open_: list[int]) -> list[str]:
        """In each open place the letter, or none, with which the whole sounds best."""
        found = list(likely)
        for at in open_ * _ROUNDS:
            tried = [[*found[:at], letter, *found[at + 1 :]] for letter in ("", *self._ways)]
            found = max(zip(self._scores(samples, tried), tried, strict=True))[1]
        return found
