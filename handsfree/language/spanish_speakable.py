"""Text of a procedure as it is to be spoken in Spanish, and written Spanish numbers as figures.

Rules of this file:

- Only what a synthesiser would say wrongly is changed: numbers with their units, signs, codes, capitals, abbreviations.
- A comma is a decimal point. A point before exactly three digits separates thousands; before fewer it is a decimal point.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from handsfree.language.numerals import PLACES
from handsfree.language.quantities import SYMBOLS
from handsfree.language.spanish_words import WORDS

#: ICAO Doc 9432, the radiotelephony spelling alphabet (from memory), as it is written in Spanish.
_WORDS = (
    "alfa bravo charlie delta eco foxtrot golf hotel india juliett kilo lima mike november oscar papa quebec romeo sierra "
    "tango uniform victor whisky x-ray yankee zulu"
)
SPELLING = {word[0]: word for word in _WORDS.split()}
_ABBREVIATIONS = {
    "p. ej.": "por ejemplo", "etc.": "etcétera", "aprox.": "aproximadamente", "máx.": "como máximo", "mín.": "como mínimo",
    "n.º": "número", "&": "y", "+/-": "más o menos", "±": "más o menos", "≤": "como máximo", "≥": "como mínimo",
    "<": "menos de", ">": "más de", "=": "igual a", "→": "a", "×": "por",
}
#: unit signs that far more often are words or letters of Spanish
_NOT_SIGNS = frozenset({"in", "d", "h", "s", "m", "l", "bar"})
_SYMBOL_UNITS = {
    sign: name
    for name, signs in reversed(SYMBOLS.items()) if not name.startswith("delta_")
    for sign in signs if sign not in _NOT_SIGNS
} | {"h": "hour", "m": "meter", "bar": "bar"}
_NUMBER = r"[-−+±]?(?:\d{1,3}(?:\.\d{3})+(?:,\d+)?|\d*[.,]?\d+)"
_QUANTITY = re.compile(
    rf"(?<![\w.,])(?P<low>{_NUMBER})(?:\s*(?:–|\ba\b|-)\s*(?P<high>{_NUMBER}))?"
    rf"\s?(?P<unit>{'|'.join(sorted(map(re.escape, _SYMBOL_UNITS), key=len, reverse=True))})(?![\w°])"
)
_REFRIGERANT = re.compile(r"\bR-?(\d{2,3})([A-Za-z]{0,2})\b")  # ISO 817 numbers
_PLAIN = re.compile(
    rf"(?<![\w.,-])(?:{_NUMBER})(?![\w]|-\w|[.,]\d)(?P<noun>\s+(?!(?:de|y|o|a|en|es|por|si|con)\b)[^\W\d_]+)?"
)
_CLOCK = re.compile(r"(?<![\d:.,])([01]?\d|2[0-3]):([0-5]\d)(?![\d:])")
_CODE = re.compile(r"\b(?=[A-Za-z0-9-]*\d)(?=[A-Za-z0-9-]*[A-Z])[A-Z0-9]+(?:-[A-Z0-9]+)*[a-z]?\b")
_CAPITALS = re.compile(r"\b[B-DF-HJ-NP-TV-Z]{2,5}\b")  # without a vowel they can only be spelled
_ABBREVIATION = re.compile("|".join(
    (r"(?<!\w)" if key[0].isalpha() else "") + re.escape(key) for key in sorted(_ABBREVIATIONS, key=len, reverse=True)
), re.IGNORECASE)

_THOUSANDS = re.compile(r"(?<![\w.,])([1-9]\d{0,2})((?:\.\d{3})+)(?=(?:,\d+)?(?![\d.,]*\d))")
_SPACED = re.compile(r"(?<![\w.,])([1-9]\d{0,2})((?:[ \u00a0\u202f\u2009]\d{3})+)(?!\d)")
#: '1,234.5' and '1,234,567': commas and points the English way, which no Spanish number can be
_ENGLISH = re.compile(
    r"(?<![\w.,])([1-9]\d{0,2})((?:,\d{3})+)(?=\.\d+(?!\d))|(?<![\w.,])([1-9]\d{0,2})((?:,\d{3}){2,})(?!\d)"
)
_COMMA = re.compile(r"(?<![\w.,])(\d*),(\d+)(?![\d.,]*\d)")


def figures(text: str) -> str:
    """'43,5' -> '43.5', '2.200' and '2 200' -> '2200', '1.234,5' -> '1234.5'; '¿aislado?' -> 'aislado?'."""
    if "¿" in text:
        text = text.replace("¿", " ") + ("" if "?" in text else "?")
    text = text.replace("¡", " ").replace("«", " ").replace("»", " ")
    text = _ENGLISH.sub(lambda m: (m[1] or m[3]) + (m[2] or m[4]).replace(",", ""), text)
    text = _SPACED.sub(lambda m: m[1] + re.sub(r"\s", "", m[2]), text)
    text = _THOUSANDS.sub(lambda m: m[1] + m[2].replace(".", ""), text)
    return _COMMA.sub(lambda m: f"{m[1]}.{m[2]}", text)


def _value(text: str) -> tuple[str, float]:
    """The words before the number, and the number."""
    plain = figures(text.lstrip("-−+±"))
    number = float(plain)
    if text[0] == "±":
        return "más o menos ", number
    return ("más ", number) if text[0] == "+" else ("", -number if text[0] in "-−" else number)


def _digits(text: str) -> str:
    """A number read out figure by figure, for one that has too many figures to be said as a number."""
    whole, point, fraction = figures(text.lstrip("-−+±")).partition(".")
    minus = (WORDS.minus,) if text[0] in "-−" else ()
    return " ".join((*minus, *WORDS.spell(whole or "0"), *((WORDS.point, *WORDS.spell(fraction)) if point else ())))


def _is_long(text: str) -> bool:
    whole, _, fraction = figures(text.lstrip("-−+±")).partition(".")
    return len(whole) > 9 or len(fraction) > PLACES


def _spelled(code: str) -> str:
    signs = [sign for sign in code if sign.isalnum() and sign.isascii()]
    return " ".join(SPELLING[sign.lower()] if sign.isalpha() else WORDS.spell(sign)[0] for sign in signs)


def _clock(match: re.Match[str]) -> str:
    """'10:15' as two numbers, which later steps put into words: 10 y 15, 10 en punto."""
    minutes = "en punto" if match[2] == "00" else f"y {int(match[2])}"
    return f"{int(match[1])} {minutes}"


def speakable(
    text: str, say_quantity: Callable[[float, str], str], say_counted: Callable[[float, str], str]
) -> str:
    """'230 V' -> 'doscientos treinta voltios'; 'HK-204B' -> 'hotel kilo dos cero cuatro bravo'. `say_counted`: the number as
    it stands before a noun ('' for none)."""

    def quantity(match: re.Match[str]) -> str:
        unit = _SYMBOL_UNITS[match["unit"]]
        low, high = match["low"], match["high"]
        noun = say_quantity(2, unit).split(maxsplit=1)[1]
        if _is_long(low) or _is_long(high or "0"):
            return f"{_digits(low)}{f' a {_digits(high)}' if high else ''} {noun}"
        before, value = _value(low)
        if high is None:
            return before + say_quantity(value, unit)
        after, last = _value(high)
        return f"{before}{say_counted(value, noun)} a {after}{say_quantity(last, unit)}"

    def number(match: re.Match[str]) -> str:
        noun = match["noun"] or ""
        figure = match[0].removesuffix(noun)
        if _is_long(figure):
            return _digits(figure) + noun
        before, value = _value(figure)
        return before + say_counted(value, noun.strip().lower()) + noun

    text = _CLOCK.sub(_clock, text)
    text = _QUANTITY.sub(quantity, text)
    text = _ABBREVIATION.sub(lambda m: f" {_ABBREVIATIONS[m[0].lower()]} ", text)
    text = _REFRIGERANT.sub(lambda m: " ".join(("R", *WORDS.spell(m[1]), *m[2].upper())), text)
    text = _CODE.sub(lambda match: _spelled(match[0]), text)
    text = _CAPITALS.sub(lambda match: " ".join(match[0]), text)
    text = _PLAIN.sub(number, text)
    return re.sub(r" +([.,;:!?])", r"\1", " ".join(text.split()))
