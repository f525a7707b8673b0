"""Numbers and phrases as a transcriber writes them in English, and back to words.

Rules of this file:

- Written numbers become words before anything is understood, so that one grammar reads both.
- What a writer joins ('118') is read as the number; what he parts ('1 18', '2 08') is read as the parts were said.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from handsfree.language.english_numbers import exact
from handsfree.language.quantities import SYMBOLS, canonical
from handsfree.language.tokens import is_number, tokens
from handsfree.language.twoway import TwoWay

DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_FRACTIONS = {"1/2": ("a", "half"), "1/4": ("a", "quarter"), "3/4": ("three", "quarters")}


def digit_words(text: str) -> tuple[str, ...]:
    return tuple(DIGITS[int(digit)] for digit in text)


@dataclass(frozen=True)
class Written:
    """`unit_words`: pint name -> its ways to be said, the plural first."""

    numbers: TwoWay
    unit_words: Mapping[str, tuple[tuple[str, ...], ...]]

    def words(self, pieces: Sequence[str]) -> tuple[str, ...]:
        """Tokens with written numbers and the unit signs after them put into words: '43.5', '°', 'f' ->
        forty three point five degrees fahrenheit. Tokens that are neither are left."""
        found: list[str] = []
        at = 0
        while at < len(pieces):
            piece = pieces[at]
            at += 1
            if not is_number(piece):
                found.append(piece)
                continue
            after = pieces[at] if at < len(pieces) else ""
            parted = piece in _TENS and len(after) == 1 and after in "123456789"  # '20 5' was not said as twenty five
            if piece in _FRACTIONS and at > 1 and pieces[at - 2].lstrip("-").isdigit():
                found.append("and")
            found += digit_words(piece) if parted else self.number(piece)
            unit, length = _sign(pieces[at:])
            if unit:
                ways = self.unit_words[unit]
                found += ways[1] if piece == "1" else ways[0]
                at += length
        return tuple(found)

    def number(self, piece: str) -> tuple[str, ...]:
        """One written number: '2200', '-12', '.8', '08', '1/2'. The piece itself where it is no number that is said."""
        if piece in _FRACTIONS:
            return _FRACTIONS[piece]
        minus = ("minus",) if piece.startswith("-") else ()
        whole, point, fraction = piece.lstrip("-").partition(".")
        if "/" in piece or len(whole) > 9:
            return (piece,)
        if len(whole) > 1 and whole.startswith("0"):
            said = digit_words(whole)
        else:
            said = self.numbers.say("cardinal", int(whole))[0] if whole else ()
        return (*minus, *said, *(("point", *digit_words(fraction)) if point else ()))

    def digits(self, pieces: Sequence[str]) -> tuple[str, ...]:
        """Tokens with written whole numbers put digit by digit: 'lock', '42' -> lock four two. Others are left."""
        found: list[str] = []
        for piece in pieces:
            size = piece.removeprefix("-")
            found += [*(("minus",) if size != piece else ()), *digit_words(size)] if _plain(size) else [piece]
        return tuple(found)


_TENS = frozenset(str(ten) for ten in range(20, 100, 10))


def _plain(piece: str) -> bool:
    return piece.isascii() and piece.isdigit()


def _signs() -> dict[tuple[str, ...], str]:
    table: dict[tuple[str, ...], str] = {}
    for name, signs in SYMBOLS.items():
        if not name.startswith("delta_"):
            for sign in signs:
                table.setdefault(tokens(sign), name)
    return table


_SIGNS = _signs()


def _sign(rest: Sequence[str]) -> tuple[str, int]:
    """The unit written at the head of `rest` and how many tokens it takes."""
    for length in (3, 2, 1):
        if len(rest) >= length and tuple(rest[:length]) in _SIGNS:
            return _SIGNS[tuple(rest[:length])], length
    return "", 0


def plain(value: Decimal) -> str:
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def written_numbers(value: float) -> tuple[str, ...]:
    """'43.5'; '2200', '2,200'; '-12', 'minus 12'; '0.8', '.8'; '11.5', '11 1/2'."""
    number = exact(value)
    size, sign = abs(number), "-" if number < 0 else ""
    forms = [plain(size)]
    if size >= 1000:
        whole, point, fraction = plain(size).partition(".")
        forms.append(f"{int(whole):,}{point}{fraction}")
    if 0 < size < 1:
        forms.append(plain(size)[1:])
    half = {Decimal("0.5"): "1/2", Decimal("0.25"): "1/4", Decimal("0.75"): "3/4"}.get(size % 1)
    if half:
        forms.append(f"{int(size)} {half}" if size >= 1 else half)
    signed = [sign + form for form in forms]
    return (*signed, f"minus {forms[0]}") if sign else tuple(signed)


def written_forms(value: float, unit: str, unit_words: Mapping[str, tuple[tuple[str, ...], ...]]) -> tuple[str, ...]:
    """The ways a transcriber writes the reading, the likeliest first, with and without its unit, without a full stop."""
    name = canonical(unit)
    numbers = written_numbers(value)
    said = unit_words.get(name, ())
    one = abs(exact(value)) == 1
    fitting = [" ".join(ways) for at, ways in enumerate(said) if at != (0 if one else 1) or ways == said[1 - at]]
    fitting = [text.replace("fahrenheit", "Fahrenheit").replace("celsius", "Celsius") for text in dict.fromkeys(fitting)]
    signs = [] if not name else [sign for sign in SYMBOLS.get(name, ()) if sign.isascii() or sign[0] in "°Ωµk"]
    forms = [numbers[0], *numbers[1:]]
    for number in numbers[:2]:
        forms += [f"{number} {text}" for text in fitting]
        forms += [f"{number}{sign}" if sign[0] in "°%" else f"{number} {sign}" for sign in signs]
    if exact(value) < 0 and name in ("degF", "degC"):
        size = plain(-exact(value))
        forms += [f"{size} below", f"{size} degrees below", f"{size} below zero"]
    return tuple(dict.fromkeys(forms))


def written_phrase(spoken: str, gates: Sequence[str]) -> tuple[str, ...]:
    """'isolated lock four two' -> 'Isolated, lock 42.' and its like; 'where am i' -> 'Where am I?' and its like."""
    words = spoken.split()
    bare = " ".join("I" if word == "i" else word for word in words)
    texts = [bare]
    run = len(words)
    while run > 0 and words[run - 1] in DIGITS:
        run -= 1
    head, tail = " ".join(words[:run]), "".join(str(DIGITS.index(word)) for word in words[run:])
    gate = next((gate for gate in gates if head.endswith(gate)), "")
    if gate:
        first, _, rest = gate.partition(" ")
        before = head[: len(head) - len(gate)]
        heads = [head, f"{before}{first}, {rest}", f"{before}{first}. {rest.capitalize()}"]
        tails = [tail, "-".join(tail), " ".join(words[run:])] if tail else [""]
        texts = [f"{h} {t}".strip() for t in dict.fromkeys(tails) for h in heads]
    elif tail:
        texts = [f"{head} {tail}".strip(), bare]
    if len(words) > 1 and all(len(word) == 1 for word in words):
        texts.append("".join(words).upper())
    asks = words[:1] and words[0] in ("how", "where", "what", "which", "why", "is", "did", "do", "should")
    capital = [text[:1].upper() + text[1:] for text in texts]
    marks = ("?", ".") if asks else (".",)
    return tuple(dict.fromkeys([*(text + mark for text in capital for mark in marks), *capital, *texts]))
