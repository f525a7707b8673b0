"""Words heard that are nearly a phrase's own, which forbid a gate; and numbers that are taken for one another."""

from __future__ import annotations

import math
import re

from handsfree.language.phonetics import phonemes

_VOWELS = frozenset("AA AE AH AO AW AY EH ER EY IH IY OW OY UH UW".split())  # noqa: SIM905


def longer_word(heard: str, spoken: str) -> str:
    """The first word heard that holds one of the phrase's first two words and more besides, or differs from it in one
    consonant and a vowel at most ('log', 'lot'). Vowels are too easily taken for one another to say
    anything ('look' and 'luck' are how a transcript writes many a good 'lock')."""
    wanted = [phonemes(word) for word in spoken.split()[:2]]
    for word in re.findall(r"[a-z']+", heard.lower()):
        sounds = phonemes(word)
        for inside in wanted:
            if inside != sounds and f" {' '.join(inside)} " in f" {' '.join(sounds)} ":
                return str(word)
            other = [{a, b} for a, b in zip(inside, sounds, strict=False) if a != b]
            if len(inside) == len(sounds) and sum(not pair & _VOWELS for pair in other) == 1 and len(other) <= 2:
                return str(word)
    return ""


def twin(value: float) -> float | None:
    """13 of 30, -40.5 of -14.5, 150 of 115, 15,000 of 50,000 and back; None where neither the whole part nor its thousands
    end in -teen or -ty."""
    whole, part = divmod(abs(value), 1)
    for unit in (1, 1000):
        hundreds, last = divmod(int(whole) // unit, 100)
        other = (last - 10) * 10 if last in range(13, 20) else last // 10 + 10 if last in range(30, 100, 10) else None
        if other is not None:
            return math.copysign(round((100 * hundreds + other) * unit + int(whole) % unit + part, 9), value)
    return None


def taken_for(a: float, b: float) -> bool:
    """Numbers that are known to be taken for one another: those in -teen and -ty, and those with a figure more or less
    ('ninety one point three two' and '91.3')."""
    return b == twin(a) or _one_more(a, b) or _one_more(b, a)


def _one_more(short: float, long: float) -> bool:
    """The figures of `short` are those of `long` with one left out."""
    few, many = (f"{abs(value):.12g}".replace(".", "") for value in (short, long))
    return len(many) == len(few) + 1 and any(many[:at] + many[at + 1 :] == few for at in range(len(many)))
