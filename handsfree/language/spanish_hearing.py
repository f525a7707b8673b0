"""What is easily misheard or has two readings in spoken Spanish numbers.

Rules of this file:

- `AMBIGUOUS` lists every class of phrase with more than one sensible reading, with the reading taken and why. The tests hold
  the parser to it.
- Which words are misheard for one another is common practice, no source: 'sesenta' and 'setenta', 'seiscientos' and
  'setecientos', 'dos' and 'doce', 'tres' and 'trece', 'seis' and 'tres'.
"""

from __future__ import annotations

from typing import NamedTuple

from handsfree.language.misheard import near_numbers
from handsfree.language.numerals import exact


class Ambiguity(NamedTuple):
    """`others`: readings given besides the chosen one. `never`: readings people may have in mind but that are not given."""

    phrase: str
    chosen: float
    others: tuple[float, ...]
    never: tuple[float, ...]
    why: str


AMBIGUOUS: tuple[Ambiguity, ...] = (
    Ambiguity("dos veinte", 220, (), (2.2, 22), "Centenas sin la palabra; una coma nunca se supone."),
    Ambiguity("uno dieciocho", 118, (), (1.18, 19), "Lo mismo; las partes no se suman."),
    Ambiguity("dos cero ocho", 208, (), (2.08, 10), "Cifras seguidas son un solo número."),
    Ambiguity("cero ocho", 8, (0.8,), (), "Cifras seguidas, o una coma perdida: se dan las dos, y se pregunta."),
    Ambiguity("doce cincuenta", 1250, (), (12.5, 62), "Como se dice un año o un teléfono; una coma nunca se supone."),
    Ambiguity("veinte cero cinco", 2005, (), (205, 25), "Lo mismo."),
    Ambiguity("treinta cinco", 35, (), (305, 3005), "La 'y' se traga al hablar."),
    Ambiguity("cuarenta y tres coma veinticinco", 43.25, (), (43.205,), "Un instrumento muestra dos cifras."),
    Ambiguity("cuarenta y tres con cinco", 43.5, (), (48,), "'Con' se dice por coma."),
    Ambiguity("cien y medio", 100.5, (), (150,), "'Y' une una fracción."),
    Ambiguity("doce bajo cero", -12, (), (12,), "Bajo cero; la lectura devuelta dice 'menos'."),
    Ambiguity("doble cuatro cinco", 445, (), (88, 45), "'Doble' vale para la cifra que sigue."),
    Ambiguity("mil dos", 1002, (), (1200,), "Tras mil no se callan las centenas."),
    Ambiguity("un cuarto", 0.25, (), (4, 14), "La fracción."),
    Ambiguity("2.200", 2200, (), (2.2,), "Escrito: el punto ante tres cifras separa millares; la coma es decimal."),
    Ambiguity("2,200", 2.2, (), (2200,), "Lo mismo."),
    Ambiguity("43.5", 43.5, (), (435,), "El punto ante una o dos cifras es decimal, como se escribe en México."),
)

#: Phrases that must not become a number.
NO_NUMBER: tuple[str, ...] = (
    "veinte cero", "y medio", "coma", "menos doce bajo cero", "treinta cuarenta cincuenta", "cien cien", "un", "mil mil",
)

_SWAPS = {2: 12, 12: 2, 3: 13, 13: 3}


def _swaps(whole: int) -> set[int]:
    """The whole number with one word taken for its neighbour, in any place where that word is said."""
    found = set()
    for group in (1, 1000, 10**6):
        part = whole // group % 1000
        if whole < group:
            break
        ending = part % 100
        if ending in _SWAPS and not (group > 1 and part == 1):
            found.add(whole + (_SWAPS[ending] - ending) * group)
        if ending // 10 in (6, 7):
            found.add(whole + (10 if ending < 70 else -10) * group)
        if part // 100 in (6, 7):
            found.add(whole + (100 if part < 700 else -100) * group)
    return found


def needs_both_ways(value: float) -> bool:
    """The number contains a word that may be taken for another, and its digits tell the two apart: 12, 13, the sixties and
    seventies, the six and seven hundreds. 'Dos' alone has no second way to be said."""
    whole = int(abs(exact(value)))
    parts = [whole // group % 1000 for group in (1, 1000, 10**6) if whole >= group]
    return any(
        part % 100 in (12, 13) or part % 100 // 10 in (6, 7) or part // 100 in (6, 7) or (part > 99 and part % 100 in (2, 3))
        for part in parts
    )


def confusable(value: float) -> tuple[float, ...]:
    """Values that sound near, without the value itself: sixty for seventy, two for twelve, six for three, and what
    `near_numbers` adds."""
    return near_numbers(value, _swaps, "36")
