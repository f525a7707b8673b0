"""The sounds of English as the phonetic witness writes them: how each phoneme may come out, and how a text may sound.

Rules of this file:

- A symbol is a phoneme of ARPAbet (`language.phonetics`). A table says what the witness may write for it, and how readily
  that counts: 1 for the sound itself, less for the same sound in another accent. So 'log', 'luck' and 'look' are ways to
  say 'lock', at a cost.
- A word is said in each of the dictionary's ways; a word that is not there, as the witness's own letter-to-sound rules
  say it. An r after a vowel may be left out.
- Between words a boundary may be written or not: it counts as no sound.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from functools import cache

from handsfree.language.phonetics import PHONEMES, Phonemes, dictionary, pronunciations
from handsfree.language.tokens import tokens

#: What the witness may write for each phoneme: token -> weight. 1: the sound itself. Less: as some accents have it, or as
#: the witness is known to write it ('two' with the vowel of 'toe'). Set on the synthetic voices that bars are fitted on.
WRITTEN: dict[str, dict[str, float]] = {
    "AA": {"ɑ": 1, "ɒ": 1, "ɔ": 0.5, "ʌ": 0.3, "ʊ": 0.1, "a": 0.5, "oʊ": 0.1},
    "AE": {"æ": 1, "a": 1, "ɛ": 0.2, "ɑ": 0.1},
    "AH": {"ʌ": 1, "ə": 1, "ɐ": 1, "ɪ": 0.2, "ɑ": 0.2, "ʊ": 0.2, "ɛ": 0.1, "æ": 0.1},
    "AO": {"ɔ": 1, "ɒ": 1, "ɑ": 0.5, "o": 0.5, "oʊ": 0.3, "ʌ": 0.1}, "AW": {"aʊ": 1, "æ": 0.1, "ɑ": 0.05},
    "AY": {"aɪ": 1, "ɔɪ": 0.1, "eɪ": 0.05, "ɑ": 0.05, "i": 0.03}, "B": {"b": 1, "p": 0.1, "v": 0.05},
    "CH": {"t͡ʃ": 1, "ʃ": 0.2, "d͡ʒ": 0.1}, "D": {"d": 1, "ɾ": 1, "t": 0.2, "ð": 0.1},
    "DH": {"ð": 1, "d": 0.3, "θ": 0.2, "v": 0.05},
    "EH": {"ɛ": 1, "e": 1, "eə": 1, "ɪ": 0.2, "æ": 0.2, "eɪ": 0.1, "ə": 0.1, "ʌ": 0.1},
    "ER": {"ɝ": 1, "ɚ": 1, "ɜ": 1, "ə": 0.5, "ɔ": 0.03, "ɑ": 0.03},
    "EY": {"eɪ": 1, "e": 0.5, "ɛ": 0.2, "aɪ": 0.1, "i": 0.05}, "F": {"f": 1, "θ": 0.2, "v": 0.1},
    "G": {"g": 1, "ɡ": 1, "k": 0.2}, "HH": {"h": 1}, "IH": {"ɪ": 1, "ɪə": 1, "i": 0.3, "ə": 0.4, "ɛ": 0.2},
    "IY": {"i": 1, "ɪ": 0.3, "eɪ": 0.05}, "JH": {"d͡ʒ": 1, "ʒ": 0.5, "t͡ʃ": 0.1}, "K": {"k": 1, "g": 0.2, "kʰ": 1},
    "L": {"l": 1, "ɫ": 1}, "M": {"m": 1, "n": 0.1}, "N": {"n": 1, "m": 0.1, "ŋ": 0.1}, "NG": {"ŋ": 1, "n": 0.3},
    "OW": {"oʊ": 1, "o": 1, "ɔ": 0.2, "ʊ": 0.05, "u": 0.05}, "OY": {"ɔɪ": 1, "aɪ": 0.1},
    "P": {"p": 1, "b": 0.1, "pʰ": 1}, "R": {"ɹ": 1, "r": 1, "ɾ": 0.3, "ɝ": 0.1}, "S": {"s": 1, "z": 0.2, "θ": 0.05},
    "SH": {"ʃ": 1, "s": 0.1}, "T": {"t": 1, "ɾ": 1, "d": 0.2, "tʰ": 1},
    "TH": {"θ": 1, "f": 0.3, "ð": 0.2, "s": 0.1, "t": 0.1}, "UH": {"ʊ": 1, "u": 0.2, "ʌ": 0.2, "ə": 0.2},
    "UW": {"u": 1, "ʊ": 0.3, "oʊ": 0.3}, "V": {"v": 1, "f": 0.2, "b": 0.05}, "W": {"w": 1}, "Y": {"j": 1},
    "Z": {"z": 1, "s": 0.3}, "ZH": {"ʒ": 1, "ʃ": 0.2, "d͡ʒ": 0.2},
}  # fmt: skip
SYMBOL = {phoneme: number for number, phoneme in enumerate(PHONEMES)}
VOWELS = frozenset("AA AE AH AO AW AY EH ER EY IH IY OW OY UH UW".split())  # noqa: SIM905
#: What the witness writes for words that are not said as they are spelt: its teacher spelt them so, and it learnt that.
#: Of the 1,500 commonest words in what the program says and hears, those that differ most from the dictionary.
_OWN = {
    "one": "OW N EH", "two": "T W OW", "nine": "N AY N ER", "is": "IY S", "of": "AO F", "to": "T OW", "when": "EH N",
    "do": "D OW", "does": "D OW Z", "are": "EH R", "give": "G AY V", "as": "AA Z", "done": "D OW N", "now": "N OW",
    "nothing": "N OW DH IH NG", "come": "K OW M", "comes": "K OW M Z", "none": "N OW N", "have": "HH EY V",
    "into": "N T UW", "once": "N S EH", "hours": "HH AO R Z", "who": "UW", "were": "W EH R", "yes": "EH S",
    "enough": "IH N AW", "such": "S AH K", "built": "B Y UW T", "both": "B AA TH", "worn": "W ER N", "own": "AW N",
    "circuit": "S ER K Y UW IH T", "lose": "L OW Z", "celsius": "S EH L SH AH S",
}  # fmt: skip
OWN_WAYS: dict[str, tuple[Phonemes, ...]] = {word: (tuple(way.split()),) for word, way in _OWN.items()}
#: In a gate's phrase whose other words are right: how other accents say the word before the figures.
_ACCENTED = {
    "lock": ("L AO K", "L AO G", "L AA G", "L AH K", "B L AA K", "B L AO K", "L UH K", "L AE K", "L AA R K", "L OW K"),
}  # fmt: skip
_MOST_WAYS = 6  # of one text

Symbols = tuple[int, ...]


def ways(text: str, unknown: Callable[[str], Phonemes] | None = None, spelt: bool = False) -> tuple[Symbols, ...]:
    """Every way the text may sound, the usual one first, `_MOST_WAYS` at most. `unknown`: letter-to-sound for a word that
    the dictionary lacks; `spelt`: for every word, for the witness writes what it learnt from such spellings. () for a text
    without sounds."""
    words = [_word_ways(word, unknown, spelt) for word in tokens(text)]
    if not words or not all(words):
        return ()
    found: dict[Symbols, None] = {}
    for chosen in itertools.islice(itertools.product(*words), 64):
        found.setdefault(tuple(sound for word in chosen for sound in word))
        if len(found) == _MOST_WAYS:
            break
    return tuple(found)


def word_ways(word: str, unknown: Callable[[str], Phonemes] | None = None, accented: bool = False) -> tuple[Symbols, ...]:
    """Every way that one word may sound. `accented`: as other accents have it, too, where that changes no meaning."""
    more = (tuple(SYMBOL[sound] for sound in way.split()) for way in _ACCENTED.get(word, ())) if accented else ()
    return tuple(dict.fromkeys((*_word_ways(word, unknown, False), *more)))


_told: dict[str, tuple[Symbols, ...]] = {}
_spelt: set[str] = set()  # words that are also said as they are spelt


def _word_ways(word: str, unknown: Callable[[str], Phonemes] | None, spelt: bool) -> tuple[Symbols, ...]:
    word = word.lower()
    if word not in _told or (spelt and word not in _spelt):
        if len(_told) > 50_000:
            _told.clear()
            _spelt.clear()
        _told[word] = _sounded(word, unknown, spelt)
        if spelt:
            _spelt.add(word)
    return _told[word]


def _sounded(word: str, unknown: Callable[[str], Phonemes] | None, spelt: bool) -> tuple[Symbols, ...]:
    known = dictionary().get(word)
    given = known or ((unknown(word),) if unknown is not None else pronunciations(word))
    more = (unknown(word),) if known and spelt and unknown is not None else ()
    every: dict[Phonemes, None] = {}
    for way in (*given[:3], *OWN_WAYS.get(word, ()), *more):
        every.setdefault(way)
        every.setdefault(_without_r(way))
    return tuple(tuple(SYMBOL[sound] for sound in way if sound in SYMBOL) for way in every if way)


def _without_r(way: Phonemes) -> Phonemes:
    """As where an r after a vowel is silent unless a vowel follows."""
    return tuple(
        sound for at, sound in enumerate(way)
        if not (sound == "R" and at and way[at - 1] in VOWELS and (at + 1 == len(way) or way[at + 1] not in VOWELS))
    )  # fmt: skip


@cache
def arpabet() -> dict[str, str]:
    """The witness's token -> the phoneme it is the sound of; for its own letter-to-sound."""
    return {token: phoneme for phoneme, written in WRITTEN.items() for token, weight in written.items() if weight == 1}


def spoken(symbols: Symbols) -> str:
    """For a reader of the record: 'L AA K'."""
    return " ".join(PHONEMES[symbol] for symbol in symbols)
