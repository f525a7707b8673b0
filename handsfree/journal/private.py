"""What people may read of an utterance: without the number on a lock. Only the record has it: replay needs all of it.

29 CFR 1910.147 (c)(5)(ii) asks for a name on a lock, not for its number to be passed round.
"""

from __future__ import annotations

import re

from handsfree.journal.events import Say, Utterance

HIDDEN = "…"
#: `Say.role` of the prompt that reads a number back.
OWN_NUMBER = "own number"
#: The same in records made before it had a role of its own.
_READ_BACK_ONCE = re.compile(r"(I heard|He oído) [\w\s]+\. (Affirm|Afirm)")
#: Digits as they are said or written, in the languages that ship.
FIGURES = frozenset({
    "zero", "oh", "nought", "naught", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "niner",
    "wun", "tree", "fower", "fife", "ait",
    "cero", "uno", "una", "dos", "tres", "cuatro", "cinco", "seis", "siete", "ocho", "nueve",
})  # fmt: skip
#: Kinds of meaning that may hold a number of a lock.
HOLDS_A_NUMBER = ("digits", "gate", "denial")


def shown_words(event: Utterance, words: str = "") -> str:
    """What was said, as a reader may see it; `words` in place of the first of its own."""
    words = words or event.spoken or event.text or event.words
    if event.sense in HOLDS_A_NUMBER:
        return without_figures(words)
    return words if event.sense else without_figures(words, least=2)  # not understood: it may have been the number


def shown_said(event: Say) -> str:
    """What the program said, as a reader may see it: it read the number back once, to its owner."""
    hidden = event.role == OWN_NUMBER or (event.role == "readback" and _READ_BACK_ONCE.match(event.text))
    return without_figures(event.text) if hidden else event.text


def without_figures(words: str, least: int = 1) -> str:
    """'isolated lock seven three nine' -> 'isolated lock …'. `least`: this many digits in a row are left out."""
    kept: list[str] = []
    run: list[str] = []
    for word in [*words.split(), ""]:
        bare = word.strip(".,;:!?").casefold()
        if bare and (bare.isdigit() or bare in FIGURES):
            run.append(word)
            continue
        digits = sum(len(one.strip(".,;:!?")) if one[:1].isdigit() else 1 for one in run)
        kept += [HIDDEN] if run and digits >= least else run
        run = []
        kept += [word] if word else []
    return " ".join(kept)
