"""Text of a procedure as it is to be spoken in English.

Rules of this file:

- Only what a synthesiser would say wrongly is changed: numbers with their units, signs, codes, capitals, abbreviations.
- Codes are spelled with the spelling words of ICAO Doc 9432 and their digits one by one: a lone letter is lost in noise.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from handsfree.language.english_words import WORDS
from handsfree.language.numerals import PLACES
from handsfree.language.quantities import SYMBOLS

#: ICAO Doc 9432, the radiotelephony spelling alphabet (from memory); spelled as US dictionaries do.
_WORDS = (
    "alpha bravo charlie delta echo foxtrot golf hotel india juliet kilo lima mike november oscar papa quebec romeo sierra "
    "tango uniform victor whiskey x-ray yankee zulu"
)
SPELLING = {word[0]: word for word in _WORDS.split()}
_ABBREVIATIONS = {
    "e.g.": "for example", "i.e.": "that is", "etc.": "and so on", "approx.": "about", "max.": "at most", "min.": "at least",
    "vs.": "against", "w/o": "without", "w/": "with", "&": "and", "+/-": "plus or minus", "±": "plus or minus",
    "≤": "at most", "≥": "at least", "<": "below", ">": "above", "=": "equals", "→": "to",
    "×": "by",
}
#: 'in' is a word far more often than an inch
_SYMBOL_UNITS = {
    sign: name
    for name, signs in reversed(SYMBOLS.items()) if not name.startswith("delta_")
    for sign in signs if sign != "in"
}
#: 'the 24 V relay' is twenty four volt: the unit is singular before a word, unless the word is one of these
_NOUN = re.compile(
    r" (?!(?:and|or|to|at|on|in|is|are|across|between|from|of|with|for|when|while|if|then|by|below|above)\b)[a-z]"
)
_NUMBER = r"[-−+±]?\d{1,3}(?:,\d{3})+(?:\.\d+)?|[-−+±]?\d*\.?\d+"
_QUANTITY = re.compile(
    rf"(?<![\w.])(?P<low>{_NUMBER})(?:\s*(?:–|\bto\b|-)\s*(?P<high>{_NUMBER}))?"
    rf"\s?(?P<unit>{'|'.join(sorted(map(re.escape, _SYMBOL_UNITS), key=len, reverse=True))})(?![\w°])"
)
_REFRIGERANT = re.compile(r"\bR-?(\d{2,3})([A-Za-z]{0,2})\b")  # ISO 817 numbers; the trade says the R itself
_PLAIN = re.compile(rf"(?<![\w.-])(?:{_NUMBER})(?![\w]|-\w|[.,]\d)")
_CODE = re.compile(r"\b(?=[A-Za-z0-9-]*\d)(?=[A-Za-z0-9-]*[A-Z])[A-Z0-9]+(?:-[A-Z0-9]+)*[a-z]?\b")
_CAPITALS = re.compile(r"\b[A-Z]{2,5}s?\b")
_SAID_AS_WORDS = frozenset(
    {"DANGER", "WARNING", "CAUTION", "NOTE", "NOT", "OFF", "ON", "AND", "OR", "NO", "STOP", "DO", "ONE"}
)
_ABBREVIATION = re.compile("|".join(
    (r"(?<!\w)" if key[0].isalpha() else "") + re.escape(key) for key in sorted(_ABBREVIATIONS, key=len, reverse=True)
), re.IGNORECASE)


def _value(text: str) -> tuple[str, float]:
    """The words before the number, and the number."""
    plain = text.replace(",", "").replace("−", "-")
    if plain.startswith("±"):
        return "plus or minus ", float(plain[1:])
    return ("plus ", float(plain[1:])) if plain.startswith("+") else ("", float(plain))


def _spelled(code: str) -> str:
    signs = [sign for sign in code if sign.isalnum() and sign.isascii()]
    return " ".join(SPELLING[sign.lower()] if sign.isalpha() else WORDS.spell(sign)[0] for sign in signs)


def _digits(text: str) -> str:
    """A number read out figure by figure, for one that has too many figures to be said as a number."""
    whole, point, fraction = text.replace(",", "").lstrip("-−+±").partition(".")
    minus = (WORDS.minus,) if text[0] in "-−" else ()
    return " ".join((*minus, *WORDS.spell(whole or "0"), *((WORDS.point, *WORDS.spell(fraction)) if point else ())))


def _is_long(text: str) -> bool:
    whole, _, fraction = text.replace(",", "").lstrip("-−+±").partition(".")
    return len(whole) > 9 or len(fraction) > PLACES


def speakable(
    text: str, say_number: Callable[[float], str], say_quantity: Callable[[float, str], str], say_unit: Callable[[str], str]
) -> str:
    """'208 V' -> 'two hundred and eight volts'; 'HK-204B' -> 'hotel kilo two zero four bravo'; 'LED' -> 'L E D'.
    `say_unit`: the unit as after one."""

    def quantity(match: re.Match[str]) -> str:
        unit = _SYMBOL_UNITS[match["unit"]]
        if _is_long(match["low"]) or _is_long(match["high"] or "0"):
            upper = f" to {_digits(match['high'])}" if match["high"] else ""
            return f"{_digits(match['low'])}{upper} {say_quantity(2, unit).split(maxsplit=1)[1]}"
        before, low = _value(match["low"])
        if match["high"] is None:
            article = re.search(r"\b(?:the|an?) $", match.string[: match.start()], re.IGNORECASE)
            adjective = article and _NOUN.match(match.string, match.end())
            return f"{before}{say_number(low)} {say_unit(unit)}" if adjective else before + say_quantity(low, unit)
        after, high = _value(match["high"])
        return f"{before}{say_number(low)} to {after}{say_quantity(high, unit)}"

    def number(match: re.Match[str]) -> str:
        if _is_long(match[0]):
            return _digits(match[0])
        before, value = _value(match[0])
        return before + say_number(value)

    def refrigerant(match: re.Match[str]) -> str:
        return " ".join(("R", *WORDS.spell(match[1]), *match[2].upper()))

    def capitals(match: re.Match[str]) -> str:
        word = match[0]
        if word in _SAID_AS_WORDS or (len(word) > 3 and set(word) & set("AEIOU") and not word.endswith("s")):
            return word  # a word in capitals for emphasis
        ending = "s" if word.endswith("s") else ""
        return " ".join(word.removesuffix("s") if ending else word) + ("'s" if ending else "")

    text = _QUANTITY.sub(quantity, text)
    text = _ABBREVIATION.sub(lambda m: f" {_ABBREVIATIONS[m[0].lower()]} ", text)
    text = _REFRIGERANT.sub(refrigerant, text)
    text = _CODE.sub(lambda match: _spelled(match[0]), text)
    text = _CAPITALS.sub(capitals, text)
    text = _PLAIN.sub(number, text)
    return re.sub(r" +([.,;:!?])", r"\1", " ".join(text.split()))
