"""How words sound: pronunciations, and how far two sayings lie apart.

Rules of this file:

- Phonemes are ARPAbet without stress, as in the CMU dictionary that PocketSphinx carries in its wheel.
- A word the dictionary lacks gets eSpeak NG's pronunciation, or, without it, one by plain letter rules. `lacking` says which
  those are.
- A distance is a share: 0 for the same sound, 1 for nothing in common. Phonemes often taken for one another count half.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import cache, lru_cache
from pathlib import Path

from handsfree.language import espeak
from handsfree.language.pronouncing import Phonemes as Phonemes
from handsfree.language.pronouncing import Pronouncing, Some
from handsfree.language.tokens import tokens

PHONEMES: Phonemes = tuple(
    "AA AE AH AO AW AY B CH D DH EH ER EY F G HH IH IY JH K L M N NG OW OY P R S SH T TH UH UW V W Y Z ZH".split()  # noqa: SIM905
)
_LETTER = {phoneme: chr(0x100 + at) for at, phoneme in enumerate(PHONEMES)}
#: Groups whose members are taken for one another in noise: they differ in voicing, in the place of nasals and fricatives, or
#: are neighbouring vowels. Consonants after Miller and Nicely, J. Acoust. Soc. Am. 27 (1955), from memory; vowels by common
#: practice, no source.
_NEAR_GROUPS = (
    "P T K", "B D G", "F TH", "V DH", "S SH", "Z ZH", "M N NG", "P B", "T D", "K G", "F V", "S Z", "CH JH", "CH SH", "TH DH",
    "IH IY", "EH IH", "EH AE", "AA AO", "AO OW", "UH UW", "AH UH", "AH AA", "AH IH", "AH EH", "ER R", "AY AA", "AW AA",
    "EY EH", "L W", "L R",
)
_NEAR = frozenset(frozenset((a, b)) for group in _NEAR_GROUPS for a in group.split() for b in group.split() if a != b)
_HALF = 0.5
_RARE = math.log(1e-6)  # the dictionary is full of surnames, which would be useless decoys


@cache
def dictionary() -> Pronouncing:
    """The pronouncing dictionary of PocketSphinx' US English model: word -> its pronunciations. Trouble where it
    is missing."""
    from handsfree.errors import Trouble

    try:
        import pocketsphinx

        text = (Path(pocketsphinx.get_model_path()) / "en-us" / "cmudict-en-us.dict").read_text(encoding="utf-8")
    except (ImportError, OSError) as error:
        raise Trouble(f"The dictionary of pocketsphinx cannot be read ({error}); install handsfree again.") from error
    return Pronouncing(text, PHONEMES)


def lacking(words: Iterable[str]) -> tuple[str, ...]:
    """The words that the recogniser's dictionary lacks, each once, in order."""
    known = dictionary()
    return tuple(dict.fromkeys(word for word in words if word.lower() not in known))


#: Letters to phonemes, longest first, for a word that neither dictionary nor eSpeak NG can say. Crude on purpose.
_SPELLED = {
    "tion": "SH AH N", "igh": "AY", "tch": "CH", "ch": "CH", "sh": "SH", "th": "TH", "ph": "F", "ck": "K", "ng": "NG",
    "qu": "K W", "ee": "IY", "ea": "IY", "oo": "UW", "ou": "AW", "ow": "OW", "ai": "EY", "ay": "EY", "oi": "OY",
    "oy": "OY", "er": "ER", "ar": "AA R", "or": "AO R", "wh": "W", "kn": "N", "a": "AE", "b": "B", "c": "K", "d": "D",
    "e": "EH", "f": "F", "g": "G", "h": "HH", "i": "IH", "j": "JH", "k": "K", "l": "L", "m": "M", "n": "N", "o": "AA",
    "p": "P", "q": "K", "r": "R", "s": "S", "t": "T", "u": "AH", "v": "V", "w": "W", "x": "K S", "y": "IY", "z": "Z",
}


def by_letters(word: str) -> Phonemes:
    """A pronunciation by plain letter rules; a final silent e and doubled consonants are dropped."""
    text = word.lower()
    text = text[:-1] if len(text) > 3 and text.endswith("e") and text[-2] not in "aeiouy" else text
    found: list[str] = []
    at = 0
    while at < len(text):
        size = next((n for n in (4, 3, 2, 1) if text[at : at + n] in _SPELLED), 1)
        if not (at and size == 1 and text[at] == text[at - 1]):
            found += _SPELLED.get(text[at : at + size], "").split()
        at += size
    return tuple(found)


@lru_cache(maxsize=20_000)
def pronunciations(word: str) -> tuple[Phonemes, ...]:
    """Every known pronunciation: the dictionary's if it has the word, else eSpeak NG's, else one by letter rules."""
    known = dictionary().get(word.lower())
    if known:
        return known
    ipa = espeak.ipa(word.lower())
    return (espeak.arpabet(ipa) if ipa else by_letters(word),)


@lru_cache(maxsize=20_000)
def phonemes(text: str) -> Phonemes:
    """The text as it sounds, words joined, each with its first pronunciation."""
    return tuple(phoneme for word in tokens(text) for phoneme in pronunciations(word)[0])


def letters(sounds: Iterable[str]) -> str:
    """One character per phoneme, for string libraries."""
    return "".join([_LETTER[sound] for sound in sounds if sound in _LETTER])


def _cost(a: str, b: str) -> float:
    return 0.0 if a == b else _HALF if frozenset((a, b)) in _NEAR else 1.0


def apart_at_least(a: Phonemes, b: Phonemes, least: float) -> float:
    """No more than their distance where two unlike sounds cost `least` or more, here or in another measure."""
    from rapidfuzz.distance import Levenshtein

    unlike = Levenshtein.distance(letters(a), letters(b))
    return min(1.0, unlike * min(least, _HALF) / max(len(a), len(b), 1)) - 1e-9


@lru_cache(maxsize=50_000)
def sound_distance(a: Phonemes, b: Phonemes) -> float:
    """The weighted edit distance of two phoneme sequences, as a share of the longer one."""
    from rapidfuzz.distance import Levenshtein

    if not a or not b:
        return 0.0 if a == b else 1.0
    # rapidfuzz aligns the sequences; each aligned pair then costs by how unlike it sounds
    total = 0.0
    for step in Levenshtein.editops(letters(a), letters(b)):
        total += _cost(a[step.src_pos], b[step.dest_pos]) if step.tag == "replace" else 1.0
    return min(1.0, total / max(len(a), len(b)))


def distance(a: str, b: str) -> float:
    """How far apart two texts sound: 0 the same ('the firm', 'the firm'), 1 nothing in common. A word with several
    pronunciations counts by its first."""
    return sound_distance(phonemes(a), phonemes(b))


def similarity(a: str, b: str) -> float:
    return 1.0 - distance(a, b)


@cache
def _index() -> tuple[Sequence[str], tuple[str, ...]]:
    """The dictionary's plain words, and each one's sound as a string."""
    plain = [number for number, word in enumerate(dictionary()) if word.isalpha()]
    return Some(dictionary(), plain), tuple(letters(sounds) for sounds in dictionary().firsts(plain))


@cache
def _common_words() -> frozenset[str]:
    """The dictionary's common words. The model takes 30 MB and is released again; the words take a fiftieth of that."""
    from pocketsphinx import Config, LogMath, NGramModel, get_model_path

    path = str(Path(get_model_path()) / "en-us" / "en-us.lm.bin")
    model = NGramModel(Config(loglevel="FATAL"), LogMath(), path)
    rare = _RARE / math.log(1.0001)  # the model's logarithms are to the base 1.0001
    return frozenset(word for word in dictionary() if model.prob([word]) > rare)


def common(word: str) -> bool:
    """The word is one that people say: in the dictionary, and at least one in a million by PocketSphinx' US English
    language model."""
    return word in _common_words()


@cache
def _usual() -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The common words of the dictionary, and each one's first sound as a string."""
    words = tuple(sorted(word for word in _common_words() if word.isalpha()))
    return words, tuple(letters(dictionary()[word][0]) for word in words)


def heard_as(sounds: Phonemes, how_many: int) -> tuple[str, ...]:
    """The common words of the dictionary nearest to these sounds, nearest first; words of the same sounds included."""
    from rapidfuzz import process
    from rapidfuzz.distance import Levenshtein

    words, every = _usual()
    reach = max(2, len(sounds) // 2)
    found = process.extract(letters(sounds), every, scorer=Levenshtein.distance, score_cutoff=reach, limit=how_many)
    return tuple(words[at] for _, _, at in found)


@cache
def _by_sound() -> dict[str, tuple[str, ...]]:
    words, sounds = _index()
    found: dict[str, list[str]] = {}
    for word, sound in zip(words, sounds, strict=True):
        found.setdefault(sound, []).append(word)
    return {sound: tuple(some) for sound, some in found.items()}


def spelled(sounds: Phonemes) -> tuple[str, ...]:
    """The words of the dictionary, rare ones and names too, whose first pronunciation is exactly this."""
    return _by_sound().get(letters(sounds), ())


@lru_cache(maxsize=2_000)
def nearest(word: str, how_many: int) -> tuple[str, ...]:
    """The common words of the dictionary that sound nearest without sounding the same; one for each sound."""
    from rapidfuzz import process
    from rapidfuzz.distance import Levenshtein

    words, sounds = _index()
    own = pronunciations(word)
    found = process.extract(letters(own[0]), sounds, scorer=Levenshtein.normalized_distance, limit=200)
    same = {letters(sound) for sound in own}
    near = [words[at] for sound, _, at in found if sound not in same and common(words[at])]
    ranked = sorted((sound_distance(own[0], dictionary()[other][0]), other) for other in near)
    chosen: dict[Phonemes, str] = {}
    for _, other in ranked:
        chosen.setdefault(dictionary()[other][0], other)
    return tuple(chosen.values())[:how_many]
