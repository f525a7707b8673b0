"""What the writer's own words already say about a step: its kind, unit, range, hazards, waiting time, answers.

Rules of this file:

- Only what is said plainly counts. What is missing is asked for; what is found is read back before the step is kept.
- The words to look for are in the recorder's grammar; this module knows no language.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from handsfree.authoring.words import RecorderWords

#: pint name -> how the model writes a time
TIMES = {"second": "s", "minute": "min", "hour": "h", "day": "d"}
_LONGEST_QUANTITY = 8  # words


def facets_said(text: str, words: RecorderWords) -> dict[str, Any]:
    """Facets by the names of the model; 'kind' only if the words leave no doubt."""
    said = words.tokens(text)
    unit = unit_said(said, words)
    found: dict[str, Any] = {}
    kind = _kind(text, said, unit, words)
    if kind:
        found["kind"] = kind
    maker = _MAKERS.get(kind)
    if maker is not None:
        found |= maker(text, said, unit, words)
    hazards = hazards_said(said, words)
    if hazards:
        found["hazards"] = hazards
    return found


def as_sentence(text: str, words: RecorderWords, dictated: bool) -> str:
    """With a capital and a full stop; '' for no words. `dictated`: its other punctuation must be found too."""
    text = " ".join(text.split())
    if not text.strip(" .,?!"):
        return ""
    text = _capital(text) + ("" if text.endswith((".", "?", "!")) else ".")
    return punctuated(text, words) if dictated else text


def _capital(text: str) -> str:
    """The first letter big, whatever sign stands before it."""
    return re.sub(r"\w", lambda found: found[0].upper(), text, count=1)


def punctuated(text: str, words: RecorderWords) -> str:
    """Dictated words as sentences: a signal word stands alone, and a sentence that begins as a question ends as one."""
    for way in words.ways("cue_level"):
        found = re.match(rf"{way}[ ,:]+(\w)", text, flags=re.IGNORECASE)
        text = f"{way.capitalize()}. {found[1].upper()}{text[found.end():]}" if found else text
    pieces = []
    for piece in _pieces(text):
        asks = any(_begins(words.tokens(piece), way) for way in words.ways("cue_ask"))
        pieces.append(words.prompt("as-question", text=piece[:-1]) if asks and piece.endswith(".") else piece)
    return " ".join(pieces) if pieces else text


def without_signal(text: str, words: RecorderWords) -> str:
    """A caution without the signal word it begins with: the visit says that word itself, by the step's level."""
    for way in words.ways("cue_level"):
        found = re.match(rf"{way}[ ,:.!]+(?=\w)", text, flags=re.IGNORECASE)
        if found:
            return _capital(text[found.end() :])
    return text


def _kind(text: str, said: tuple[str, ...], unit: str | None, words: RecorderWords) -> str:
    pieces = [words.tokens(piece) for piece in _pieces(text)]
    last = pieces[-1] if pieces else ()
    for way, kind in words.pairs("cue_kind"):
        if _begins(said, way):
            return kind
    if unit is not None and any(_begins(piece, way) for piece in pieces for way in words.ways("cue_read")):
        return "read"
    if "?" in text or any(_begins(last, way) for way in words.ways("cue_ask")):
        return "ask"
    return ""


def _pieces(text: str) -> list[str]:
    return [piece.strip() for piece in re.split(r"(?<=[.?!])\s+", text) if piece.strip(" .?!")]


def _begins(said: Sequence[str], way: str) -> bool:
    first = tuple(way.split())
    return tuple(said[: len(first)]) == first


def _holds(said: tuple[str, ...], way: str) -> bool:
    part = tuple(way.split())
    return any(said[at : at + len(part)] == part for at in range(len(said) - len(part) + 1))


def unit_said(said: tuple[str, ...], words: RecorderWords) -> str | None:
    """The pint name of the longest unit in the words."""
    best: tuple[int, str] | None = None
    for name, ways in words.language.units.items():
        for way in ways:
            size = len(way.split())
            if name != "degree" and _holds(said, way) and (best is None or size > best[0]):
                best = size, name
    return None if best is None else best[1]


def hazards_said(said: tuple[str, ...], words: RecorderWords) -> list[str]:
    return list(dict.fromkeys(hazard for way, hazard in words.pairs("hint_hazard") if _holds(said, way)))


def range_said(said: tuple[str, ...], words: RecorderWords) -> list[float] | None:
    """'Between twenty and ninety degrees': [20, 90]."""
    for opener, between in words.pairs("range_from"):
        size = len(opener.split())
        for at in range(len(said) - size):
            if said[at : at + size] != tuple(opener.split()):
                continue
            for middle in range(at + size + 1, min(at + size + _LONGEST_QUANTITY, len(said))):
                if said[middle] != between:
                    continue
                low = _number(said[at + size : middle], words)
                high = _longest_number(said[middle + 1 :], words)
                if low is not None and high is not None and low < high:
                    return [low, high]
    return None


def _number(said: Sequence[str], words: RecorderWords) -> float | None:
    found = words.language.numbers(said)
    return found[0].value if found else None


def _longest_number(said: Sequence[str], words: RecorderWords) -> float | None:
    for size in range(min(_LONGEST_QUANTITY, len(said)), 0, -1):
        value = _number(said[:size], words)
        if value is not None:
            return value
    return None


def duration_said(said: tuple[str, ...], words: RecorderWords) -> str | None:
    """'for three minutes' -> '3 min'."""
    for size in range(min(_LONGEST_QUANTITY, len(said)), 1, -1):
        for at in range(len(said) - size + 1):
            for meaning in words.language.numbers(said[at : at + size]):
                if meaning.unit in TIMES and meaning.value:
                    return lasting(meaning.value, str(meaning.unit))
    return None


def lasting(value: float, unit: str) -> str:
    return f"{value:g} {TIMES[unit]}"


def answers_said(text: str, words: RecorderWords) -> list[str]:
    """'How is it, cool, warm or dead calm?': the three. Only if commas and an 'or' separate them."""
    lines = text.rstrip(" ?.!")
    joined = next((way for way in words.ways("joined") if re.search(rf"\b{way}\b", lines, re.IGNORECASE)), None)
    if joined is None:
        return []
    before, after = re.split(rf"\b{joined}\b(?!.*\b{joined}\b)", lines, maxsplit=1, flags=re.IGNORECASE)
    pieces = [piece.strip(" ,") for piece in re.split(r"[,:]", before)]
    if len(pieces) < 2:
        return []
    last = re.split(r"[?.]", pieces[1])[-1]
    found = [last, *pieces[2:], after]
    cleaned = [_without_lead(piece.strip(" ,.").lower(), words) for piece in found]
    return cleaned if len(cleaned) >= 2 and all(0 < len(words.tokens(one)) <= 4 for one in cleaned) else []


def _without_lead(piece: str, words: RecorderWords) -> str:
    for way in words.ways("hint_answers"):
        piece = re.sub(rf"^{way}\s+", "", piece)
    return piece


# ---- by kind ----------------------------------------------------------------------------------------------------------


def _read(text: str, said: tuple[str, ...], unit: str | None, words: RecorderWords) -> dict[str, Any]:
    found: dict[str, Any] = {} if unit is None else {"unit": unit}
    limits = range_said(said, words)
    return found | ({"plausible": limits} if limits else {})


def _wait(text: str, said: tuple[str, ...], unit: str | None, words: RecorderWords) -> dict[str, Any]:
    lasts = duration_said(said, words)
    return {"lasts": lasts} if lasts else {}


def _ask(text: str, said: tuple[str, ...], unit: str | None, words: RecorderWords) -> dict[str, Any]:
    answers = answers_said(text, words)
    return {"answers": [{"say": answer} for answer in answers]} if answers else {}


def _cue(rule: str, facet: str) -> Any:
    def make(text: str, said: tuple[str, ...], unit: str | None, words: RecorderWords) -> dict[str, Any]:
        return next(({facet: value} for way, value in words.pairs(rule) if _begins(said, way)), {})

    return make


_MAKERS = {
    "read": _read, "wait": _wait, "ask": _ask, "caution": _cue("cue_level", "level"),
    "evidence": _cue("cue_evidence", "what"),
}  # fmt: skip


