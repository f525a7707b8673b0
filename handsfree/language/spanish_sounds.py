"""How Spanish words sound, from their letters. The spelling tells the sound, so no dictionary is needed.

Rules of this file:

- The rules are those of the Real Academia Española's Ortografía (2010), from memory: h is silent, b and v are one sound, c
  before e and i is z. As most speakers do, s and z are one sound here, and so are ll and y.
- The phonemes are written in the ARPAbet of `phonetics`, and distances are measured as there.
"""

from __future__ import annotations

from functools import lru_cache

from handsfree.language.phonetics import Phonemes, sound_distance
from handsfree.language.spanish_numbers import bare
from handsfree.language.tokens import tokens

#: letters -> phonemes, the longest first
_LETTERS: tuple[tuple[str, str], ...] = (
    ("güe", "G W EH"), ("güi", "G W IY"), ("gue", "G EH"), ("gui", "G IY"), ("que", "K EH"), ("qui", "K IY"),
    ("ch", "CH"), ("ll", "Y"), ("rr", "R R"), ("ce", "S EH"), ("ci", "S IY"), ("ge", "HH EH"), ("gi", "HH IY"), ("ñ", "N Y"),
    ("a", "AA"), ("b", "B"), ("c", "K"), ("d", "D"), ("e", "EH"), ("f", "F"), ("g", "G"), ("h", ""), ("i", "IY"),
    ("j", "HH"), ("k", "K"), ("l", "L"), ("m", "M"), ("n", "N"), ("o", "OW"), ("p", "P"), ("q", "K"), ("r", "R"), ("s", "S"),
    ("t", "T"), ("u", "UW"), ("v", "B"), ("w", "W"), ("x", "K S"), ("y", "Y"), ("z", "S"),
)


@lru_cache(maxsize=20_000)
def phonemes_of(word: str) -> Phonemes:
    text = word.lower()
    text = text if "ü" in text else bare(text)
    text = text.translate(str.maketrans("áéíóú", "aeiou"))
    if text == "y":
        return ("IY",)
    found: list[str] = []
    at = 0
    while at < len(text):
        for letters, sounds in _LETTERS:
            if text.startswith(letters, at):
                found += sounds.split()
                at += len(letters)
                break
        else:
            at += 1
    return tuple(found)


def phonemes(text: str) -> Phonemes:
    """The text as it sounds, words joined."""
    return tuple(sound for word in tokens(text) for sound in phonemes_of(word))


def distance(a: str, b: str) -> float:
    """How far apart two texts sound: 0 the same ('vaca', 'baca'), 1 nothing in common."""
    return sound_distance(phonemes(a), phonemes(b))
