"""Numbers and phrases as a transcriber writes them, and back to words, in any language.

Rules of this file:

- Written numbers become words before anything is understood, so that one grammar reads both.
- A language's few number words that stand outside its grammar of numbers are in one `NumberWords`.
- Figures written together ('118') are read as one number. Figures written apart ('1 18', '2 08') are read as parts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from handsfree.language.quantities import SYMBOLS, pint_name
from handsfree.language.tokens import is_number, tokens
from handsfree.language.twoway import TwoWay

PLACES = 3  # the most decimals said in a number; instruments of the trade show no more
MOST = 10**9  # numbers below this can be said


@dataclass(frozen=True)
class NumberWords:
    """`digits`: the ten, zero first. `cardinal`: the name in the two-way grammar of whole numbers in full. `minus`, `point`,
    `decimal` (the point when digits are read out), `with_fraction` (between a whole and a fraction). `fractions`: '1/2' ->
    its words.
    `capitals`: words that are written otherwise than in the grammar. `below`: other ways to write a minus temperature, with
    {} for its size. `likely`: digits most often taken for one another. `decimal_sign`, `thousands_sign`: how numbers are
    written. `per`, `power`: the words for these in the name of a unit that has none of its own."""

    digits: tuple[str, ...]
    cardinal: str
    minus: str
    point: str
    decimal: str
    with_fraction: str
    fractions: Mapping[str, tuple[str, ...]]
    capitals: Mapping[str, str]
    below: tuple[str, ...]
    likely: Mapping[str, str]
    decimal_sign: str = "."
    thousands_sign: str = ","
    per: str = "per"
    power: str = "to the"

    def spell(self, figures: str) -> tuple[str, ...]:
        """'42' -> four two."""
        return tuple(self.digits[int(figure)] for figure in figures)

    def figures(self, words: Sequence[str]) -> str:
        """four two -> '42'. ValueError for a word that is not the plain name of a digit."""
        return "".join(str(self.digits.index(word)) for word in words)

    def capital(self, text: str) -> str:
        return " ".join(self.capitals.get(word, word) for word in text.split())


def exact(value: float) -> Decimal:
    """The number as it is said, rounded to PLACES decimals. ValueError for one too large, or for what is no number."""
    number = round(Decimal(repr(float(value))), PLACES)
    if not abs(number) < MOST:
        raise ValueError(f"{value} is too large to be said")
    return number or Decimal(0)  # never minus zero


@dataclass(frozen=True)
class Written:
    """`unit_words`: pint name -> its ways to be said, the plural first."""

    said: NumberWords
    numbers: TwoWay
    unit_words: Mapping[str, tuple[tuple[str, ...], ...]]

    def words(self, pieces: Sequence[str]) -> tuple[str, ...]:
        """The tokens, with written numbers and the unit signs after them put into words: '43.5', '°', 'f' ->
        forty three point five degrees fahrenheit. Other tokens are left."""
        found: list[str] = []
        at = 0
        while at < len(pieces):
            piece = pieces[at]
            at += 1
            if not is_number(piece):
                found.append(piece)
                continue
            after = pieces[at] if at < len(pieces) else ""
            parted = piece in _TENS and len(after) == 1 and after in "123456789"  # '20 5' written apart is not twenty five
            if piece in self.said.fractions and at > 1 and pieces[at - 2].lstrip("-").isdigit():
                found.append(self.said.with_fraction)
            found += self.said.spell(piece) if parted else self.number(piece)
            unit, length = _sign(pieces[at:])
            if unit:
                ways = self.unit_words[unit]
                found += ways[1] if piece == "1" else ways[0]
                at += length
        return tuple(found)

    def number(self, piece: str) -> tuple[str, ...]:
        """One written number in words: '2200', '-12', '.8', '08', '1/2'. The piece itself where it is no sayable number."""
        minus = (self.said.minus,) if piece.startswith("-") else ()
        if piece.removeprefix("-") in self.said.fractions:
            return (*minus, *self.said.fractions[piece.removeprefix("-")])
        whole, point, fraction = piece.lstrip("-").partition(".")
        if "/" in piece or len(whole) > 9:
            return (piece,)
        if len(whole) > 1 and whole.startswith("0"):
            said = self.said.spell(whole)
        else:
            said = self.numbers.say(self.said.cardinal, int(whole))[0] if whole else ()
        return (*minus, *said, *((self.said.point, *self.said.spell(fraction)) if point else ()))

    def digits(self, pieces: Sequence[str]) -> tuple[str, ...]:
        """The tokens, with written whole numbers put digit by digit: 'lock', '42' -> lock four two. Others are left."""
        found: list[str] = []
        for piece in pieces:
            size = piece.removeprefix("-")
            found += [*((self.said.minus,) if size != piece else ()), *self.said.spell(size)] if _plain(size) else [piece]
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


def written_plainly(value: Decimal) -> str:
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def written_numbers(value: float, said: NumberWords) -> tuple[str, ...]:
    """Written forms: '43.5'; '2200', '2,200'; '-12', 'minus 12'; '0.8', '.8'; '11.5', '11 1/2'; in the language's signs."""
    number = exact(value)
    size, sign = abs(number), "-" if number < 0 else ""
    forms = [written_plainly(size)]
    if size >= 1000:
        whole, point, fraction = written_plainly(size).partition(".")
        forms.append(f"{int(whole):,}{point}{fraction}")
    if 0 < size < 1:
        forms.append(written_plainly(size)[1:])
    signs = str.maketrans({".": said.decimal_sign, ",": said.thousands_sign})
    forms = [form.translate(signs) for form in forms]
    half = {Decimal("0.5"): "1/2", Decimal("0.25"): "1/4", Decimal("0.75"): "3/4"}.get(size % 1)
    if half:
        forms.append(f"{int(size)} {half}" if size >= 1 else half)
    signed = [sign + form for form in forms]
    return (*signed, f"{said.minus} {forms[0]}") if sign else tuple(signed)


def written_forms(value: float, unit: str, written: Written) -> tuple[str, ...]:
    """The ways a transcriber writes the reading, the likeliest first, with and without its unit, without a full stop."""
    name = pint_name(unit)
    numbers = written_numbers(value, written.said)
    said = written.unit_words.get(name, ())
    one = abs(exact(value)) == 1
    fitting = [" ".join(ways) for at, ways in enumerate(said) if at != (0 if one else 1) or ways == said[1 - at]]
    fitting = [written.said.capital(text) for text in dict.fromkeys(fitting)]
    signs = [] if not name else [sign for sign in SYMBOLS.get(name, ()) if sign.isascii() or sign[0] in "°Ωµk"]
    forms = [numbers[0], *numbers[1:]]
    for number in numbers[:2]:
        forms += [f"{number} {text}" for text in fitting]
        forms += [f"{number}{sign}" if sign[0] in "°%" else f"{number} {sign}" for sign in signs]
    if exact(value) < 0 and name in ("degF", "degC"):
        size = written_plainly(-exact(value)).replace(".", written.said.decimal_sign)
        forms += [form.format(size) for form in written.said.below]
    return tuple(dict.fromkeys(forms))


def written_phrase(spoken: str, gates: Sequence[str], said: NumberWords, asking: frozenset[str]) -> tuple[str, ...]:
    """'isolated lock four two' -> 'Isolated, lock 42.' and the like; 'where am i' -> 'Where am I?'. `gates`: how gate
    phrases begin; these are written as such even where no number follows. `asking`: words that begin a question."""
    words = spoken.split()
    bare = said.capital(spoken)
    texts = [bare]
    run = len(words)
    while run > 0 and words[run - 1] in said.digits:
        run -= 1
    head, tail = " ".join(words[:run]), said.figures(words[run:])
    if tail or any(head.endswith(gate) for gate in gates):
        before, _, last = head.rpartition(" ")
        heads = [head, f"{before}, {last}", f"{before}. {last.capitalize()}"] if before else [head]
        tails = [" ".join(tail), tail, "-".join(tail), " ".join(words[run:])] if tail else [""]
        texts = [f"{h} {t}".strip() for t in dict.fromkeys(tails) for h in heads]
    if len(words) > 1 and all(len(word) == 1 for word in words):
        texts.append("".join(words).upper())
    asks = bool(words) and words[0] in asking
    capital = [text[:1].upper() + text[1:] for text in texts]
    marks = ("?", ".") if asks else (".",)
    return tuple(dict.fromkeys([*(text + mark for text in capital for mark in marks), *capital, *texts]))
