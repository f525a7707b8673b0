"""A word spelled aloud: 'Bravo, Uniform, Romeo, Romeo' -> 'burr'.

Rules of this file:

- Few words stand for letters, so an engine that cannot write a word of the trade still hears how it is spelled.
- The writing engine is told these words. Each word that it writes is the letter whose word sounds like it; the witness of
  sounds then changes, adds or drops a letter while the whole sounds better for it.
- What is hardly a spelling is none: then it is a word as it was said.
"""

from __future__ import annotations

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
GAIN = 3.0  # nats by which a change of one letter must sound better
_CHANGES = 4


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
        self._write, self._sounds = write, sounds
        self._ways: dict[str, str] = {}
        for way, letter in words.pairs("letter"):
            self._ways.setdefault(letter, way)
        self._told = ", ".join(way.capitalize() for way in self._ways.values())
        self._words = words

    def __call__(self, samples: Samples) -> str:
        """The words of the letters that were spelled; '' where no word was."""
        written = self._write(samples, self._told)
        found = "".join(letters_of(written, self._words)) or self._near(written)
        if len(found) >= FEWEST and self._sounds is not None:
            found = _nearer(samples, found, self._sounds, self._ways)
        return " ".join(self._ways[letter] for letter in found if letter in self._ways)

    def _near(self, written: str) -> str:
        """Letter by letter, by the sound of their words; '' where too little of it is one."""
        said = [word for word in tokens(written) if word.isalpha()]
        likely = [min((distance(word, way), letter) for letter, way in self._ways.items()) for word in said]
        found = "".join(letter for far, letter in likely if far <= LIKE)
        return found if len(found) >= max(FEWEST, SHARE * len(said)) else ""


def _nearer(samples: Samples, found: str, sounds: Phonetic, ways: dict[str, str]) -> str:
    """The letters that sound best, one change after the other."""
    from handsfree.speech.ctc import score

    frames = sounds.frames(samples)
    spoken = {letter: sounds.ways(way) for letter, way in ways.items()}
    known = {letter: way[0] for letter, way in spoken.items() if way}
    if not set(found) <= known.keys():
        return found

    def scores(texts: list[str]) -> list[float]:
        return [float(one) for one in score(frames, [tuple(s for letter in text for s in known[letter]) for text in texts])]

    best = scores([found])[0]
    for _ in range(_CHANGES):
        places = range(len(found) + 1)
        tried = [found[:at] + letter + found[at + cut :] for at in places for cut in (0, 1) for letter in known]
        tried += [found[:at] + found[at + 1 :] for at in places[:-1] if len(found) > FEWEST]
        value, text = max(zip(scores(tried), tried, strict=True))
        if value - best <= GAIN:
            break
        found, best = text, value
    return found
