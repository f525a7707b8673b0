"""Text to tokens: case, punctuation and the shapes of written numbers, for every language.

Rules of this file:

- Only the punctuation named here is dropped. Any other sign stays as a token of its own, so that no phrase with it matches.
- A number stays one token, as written: '2,200', '43.5', '-12', '1/2'. The language turns it into words.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping

_DROPPED = frozenset(".,!;:?\"…–—()-“”„")
_VULGAR = {"½": " 1/2", "¼": " 1/4", "¾": " 3/4"}
_TOKEN = re.compile(
    r"""(?P<number>(?<![\w.])[-−–]?\d*(?:,\d{3})*(?:\.\d+|(?<=\d))(?:/\d+)?)
    | (?P<word>[^\W\d_]+(?:'[^\W\d_]+)*'?) | (?P<space>\s+) | (?P<other>.)""",
    re.VERBOSE | re.DOTALL,
)
NUMBER = re.compile(r"-?(\d*\.\d+|\d+|\d+/\d+)")


def tokens(text: str) -> tuple[str, ...]:
    """'Isolated, lock 42.' -> ('isolated', 'lock', '42'); numbers lose their thousands commas."""
    for sign, plain in _VULGAR.items():
        text = text.replace(sign, plain)
    text = unicodedata.normalize("NFKC", text).replace("’", "'").replace("‘", "'").lower()
    found = []
    for match in _TOKEN.finditer(text):
        piece = match.group()
        if match.lastgroup == "space" or piece in _DROPPED:
            continue
        if match.lastgroup == "number":
            piece = piece.replace(",", "").replace("−", "-").replace("–", "-")
        found.append(piece.strip("'") or piece)
    return tuple(found)


def respelled(words: tuple[str, ...], spelling: Mapping[str, tuple[str, ...]]) -> tuple[str, ...]:
    """The words with each one in `spelling` replaced: 'ol' -> 'o', 'l'."""
    return tuple(new for word in words for new in spelling.get(word, (word,)))


def is_number(token: str) -> bool:
    return NUMBER.fullmatch(token) is not None


def capital(text: str) -> str:
    """The text with a capital at its beginning, after any opening mark ('¿cuatro dos?'), whatever was filled in there."""
    at = len(text) - len(text.lstrip("¿¡"))
    return f"{text[:at]}{text[at : at + 1].upper()}{text[at + 1 :]}"
