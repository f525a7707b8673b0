"""What may be asked of a cabinet's page at any time, and its answers: the page's facts in words of `grammar/XX.page.yaml`.

A language without that file, or a page in another language, answers nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from handsfree import plain_yaml
from handsfree.language.base import Language
from handsfree.language.tokens import tokens
from handsfree.procedure.cabinet import Page, spoken_from
from handsfree.procedure.model import Book
from handsfree.resources import shipped_folder


def at_cabinet(book: Book, page: Page, language: Language) -> Book:
    """The book as it is spoken at this cabinet."""
    return replace(spoken_from(book, page), asides=asides(page, language))


@lru_cache(maxsize=4)
def _templates(path: Path) -> Any:
    return plain_yaml.load(path.read_text(encoding="utf-8"))


def asides(page: Page, language: Language) -> dict[str, str]:
    """Question, as it is spoken -> answer."""
    path = shipped_folder("grammar") / f"{language.code}.page.yaml"
    if page.language != language.code or not path.is_file():
        return {}
    templates = _templates(path)
    found: dict[str, str] = {}
    for key, values in _asked(page, language, templates):
        row = templates[key]
        for way in row["asked"]:
            found.setdefault(way.format(**values), row["answer"].format(**values))
    return found


def aside_asked(asked_of: Mapping[str, str], words: str, language: Language) -> str | None:
    """The question of the page that these words ask, with others around it; None where they ask none, or two alike."""
    path = shipped_folder("grammar") / f"{language.code}.page.yaml"
    if not asked_of or not path.is_file():
        return None
    templates = _templates(path)
    said = _content(words, language, templates)
    if not said & set(templates["asks"]) and "?" not in words:
        return None
    small = set(templates["small"])
    fits = {question: _content(question, language, templates) - small for question in asked_of}
    fits = {question: content for question, content in fits.items() if content and content <= said}
    most = max(map(len, fits.values()), default=0)
    best = [question for question, content in fits.items() if len(content) == most]
    named = {word for each in asked_of for word in _content(each, language, templates)} - small - set(templates["asks"])
    named -= {*templates["same"], *templates["same"].values()}
    if any((said & named) - fits[question] for question in best):
        return None  # it names something else of the page besides: 'the condenser fan' is not the condenser
    return best[0] if len({asked_of[question] for question in best}) == 1 else None


def _content(words: str, language: Language, templates: Mapping[str, Any]) -> set[str]:
    same = templates["same"]
    said = [token.replace("'", "") for token in tokens(language.speakable(words.replace("’", "'")))]
    said = [language.say_number(float(word)) if word.isdecimal() else word for word in said]
    said = [word[:-1] if word.endswith("s") and word[:-1] in templates["asks"] else word for word in said]
    return {*said, *(same[word] for word in said if word in same)}


def _asked(page: Page, language: Language, templates: Mapping[str, Any]) -> Iterator[tuple[str, Mapping[str, str]]]:
    """(key of the templates, what fills them in)."""
    for part, text in page.places.items():
        yield "where-many" if part.endswith("s") else "where", {"part": part, "text": text}
    for lead in page.leads:
        number = language.say_number(float(lead.terminal))
        yield "terminal", {"terminal": number, "colour": lead.colour, "source": lead.source, "to": lead.to}
    for name, text in page.keys.model_dump(by_alias=True).items():
        if text:
            yield f"key-{name}", {"text": text}
    for part, text in page.parts.items():
        yield "part", {"part": part, "text": text}
    yield from _figures(page, templates)
    for key, sentence in (("door", page.door), ("delivery", page.delivery)):
        if sentence:
            yield key, {"text": sentence}


def _figures(page: Page, templates: Mapping[str, Any]) -> Iterator[tuple[str, Mapping[str, str]]]:
    if page.plate is not None:
        plate = page.plate
        values = {
            "volts": f"{plate.volts:g}", "hertz": f"{plate.hertz:g}", "amperes": f"{plate.amperes:g}",
            "refrigerant": plate.refrigerant, "charge": f"{plate.charge_grams:g}",
            "flame": templates["flame-yes" if plate.flame_symbol else "flame-no"],
        }  # fmt: skip
        yield "plate", values
        yield "charge", values
    if page.deck is not None:
        yield "deck", {
            "kilograms": f"{page.deck.kilograms:g}", "screws": str(page.deck.hand_screws), "text": page.deck.out,
        }  # fmt: skip
    if page.setting is not None:
        yield "setting", {name: f"{getattr(page.setting, name):g}" for name in ("works", "low", "high")}
