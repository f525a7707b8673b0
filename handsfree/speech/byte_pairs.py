"""The tokens of a language model that writes bytes, by byte pair encoding, from its tokenizer.json.

Text is cut into words, numbers and marks, each with the space before it. The bytes of a piece are joined pair by pair, the
pair that was learnt first before the others, until no learnt pair is left. (Sennrich and others, "Neural machine
translation of rare words with subword units", ACL 2016; over bytes as in Radford and others, 2019.) The library that the
weights' makers use brings 35 MB with what it needs; a test holds this module to it.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from functools import lru_cache
from itertools import pairwise
from pathlib import Path

#: Python takes U+001C to U+001F for spaces; Unicode and the library do not.
_SPACE, _MARK = r"[^\S\x1c-\x1f]", r"(?:[^\s\w]|[_\x1c-\x1f])"
_PIECES = re.compile(
    rf"'s|'t|'re|'ve|'m|'ll|'d| ?[^\W\d_]+| ?\d+| ?{_MARK}+|{_SPACE}+(?!{_MARK}|\w)|{_SPACE}+"
)


def _signs() -> dict[int, str]:
    """A printable sign for each byte: the byte itself if it is printable, else one from U+0100 on."""
    printed = [*range(0x21, 0x7F), *range(0xA1, 0xAD), *range(0xAE, 0x100)]
    rest = [byte for byte in range(256) if byte not in printed]
    return {byte: chr(byte) for byte in printed} | {byte: chr(0x100 + n) for n, byte in enumerate(rest)}


_SIGN = _signs()
_BYTE = {sign: byte for byte, sign in _SIGN.items()}


class BytePairs:
    """`special`: tokens that stand for no text, by their names."""

    def __init__(self, path: Path) -> None:
        """ValueError, KeyError or OSError where the file cannot be used."""
        data = json.loads(path.read_text(encoding="utf-8"))
        if data["model"]["type"] != "BPE" or data["pre_tokenizer"]["type"] != "ByteLevel":
            raise ValueError(f"{path.name} is of another kind of tokens")
        self._tokens: dict[str, int] = data["model"]["vocab"]
        pairs = (pair if isinstance(pair, str) else " ".join(pair) for pair in data["model"]["merges"])
        self._rank = {pair: rank for rank, pair in enumerate(pairs)}
        self._silent = {one["id"] for one in data["added_tokens"] if one["special"]}
        self.special: dict[str, int] = {one["content"]: one["id"] for one in data["added_tokens"]}
        self._texts = {token: text for text, token in (self._tokens | self.special).items()}
        self._joined = lru_cache(4096)(self._join)

    def encode(self, text: str) -> list[int]:
        found: list[int] = []
        for piece in _PIECES.findall(text):
            found += self._joined("".join(_SIGN[byte] for byte in piece.encode()))
        return found

    def decode(self, tokens: Iterable[int]) -> str:
        """Without the special tokens; an incomplete byte sequence becomes U+FFFD."""
        signs = "".join(self._texts[token] for token in tokens if token not in self._silent)
        return bytes(byte for sign in signs for byte in ((_BYTE[sign],) if sign in _BYTE else sign.encode())).decode(
            errors="replace"
        )

    def _join(self, piece: str) -> tuple[int, ...]:
        parts = list(piece)
        while len(parts) > 1:
            pairs = [f"{one} {next_}" for one, next_ in pairwise(parts)]
            first = min(range(len(pairs)), key=lambda at: self._rank.get(pairs[at], len(self._rank)))
            if pairs[first] not in self._rank:
                break
            parts[first : first + 2] = [parts[first] + parts[first + 1]]
        return tuple(self._tokens[part] for part in parts)
