"""The fields of a cabinet's page: what is asked for, in which order, and how an answer stands in the file.

Rules of this file:

- The fields are in one table, `GROUPS`, in the order in which a person at the cabinet meets them. A group is one value,
  several that belong together, or any number of rows.
- This module knows nothing of the dialogue, or of files.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import yaml

from handsfree.authoring.words import RecorderWords
from handsfree.procedure.wording import word_lists

FieldKind = Literal["text", "name", "sentence", "refrigerant", "number", "yes"]
Data = Mapping[str, Any]


@dataclass(frozen=True)
class Slot:
    """`key`: of the prompts (`page-KEY`) and of the file. `unit` and `most`: of a number."""

    key: str
    kind: FieldKind
    unit: str = ""
    most: float = 500.0


@dataclass(frozen=True)
class Group:
    """`where`: the field of the page, '' for fields of their own. `form`: 'one' value each, 'together' or 'rows'."""

    where: str
    form: Literal["one", "together", "rows"]
    slots: tuple[Slot, ...]


def _sentences(*keys: str) -> tuple[Slot, ...]:
    return tuple(Slot(key, "sentence") for key in keys)


GROUPS = (
    Group("", "one", (Slot("title", "text"),)),
    Group("keys", "one", _sentences(
        "show-mode", "set-mode", "show-setting", "set-setting", "show-offset", "set-offset", "start-defrost", "calls",
    )),
    Group("places", "rows", (Slot("part", "name"), Slot("where", "text"))),
    Group("leads", "rows", (
        Slot("terminal", "number", most=30), Slot("colour", "text"), Slot("from", "text"), Slot("to", "text"),
    )),
    Group("plate", "together", (
        Slot("volts", "number", "volt"), Slot("hertz", "number", "hertz"), Slot("amperes", "number", "ampere"),
        Slot("refrigerant", "refrigerant"), Slot("charge-grams", "number", "gram", 20_000), Slot("flame-symbol", "yes"),
    )),
    Group("deck", "together", (
        Slot("kilograms", "number", "kilogram"), Slot("hand-screws", "number", most=40), Slot("out", "sentence"),
    )),
    Group("setting", "together", (
        Slot("works", "number", "degF"), Slot("low", "number", "degF"), Slot("high", "number", "degF"),
    )),
    Group("", "one", (Slot("heater", "yes"), Slot("door", "sentence"), Slot("delivery", "sentence"))),
    Group("parts", "rows", (Slot("named", "name"), Slot("number", "text"))),
)  # fmt: skip
COUNTS = ("terminal", "hand-screws")


def is_filled(page: Data, group: Group, slot: Slot) -> bool:
    if group.form == "one":
        home = page.get(group.where, {}) if group.where else page
        return slot.key in home
    return group.where in page


def with_row(page: Data, group: Group, row: Data) -> dict[str, Any]:
    if not group.where:
        return {**page, **row}
    if group.where in ("places", "parts"):
        name, text = row.values()
        return {**page, group.where: {**page.get(group.where, {}), name: text}}
    if group.form == "rows":
        return {**page, group.where: [*page.get(group.where, ()), dict(row)]}
    return {**page, group.where: {**page.get(group.where, {}), **row}}


def text_of(page: Data) -> str:
    return yaml.safe_dump(dict(page), sort_keys=False, allow_unicode=True, width=118)


def _name(text: str, language: str) -> str:
    """Without capitals, accents and its article: 'La válvula' -> 'valvula'."""
    plain = unicodedata.normalize("NFKD", text.casefold())  # 'á' is an 'a' and a sign
    first, *rest = re.sub(r"[^a-z ]", "", plain.replace("-", " ")).split() or [""]
    return " ".join(rest if first in word_lists(language)["articles"] else (first, *rest))


def as_written(slot: Slot, text: str, words: RecorderWords) -> str:
    """As in the file: a sentence with capital and full stop; a name in small letters; a refrigerant as 'R-134a', whether
    its digits were written together or one by one, and its letter as the word that it sounds like."""
    text = " ".join(text.split()).strip(" .")
    if text and slot.kind == "sentence":
        return f"{text[:1].upper()}{text[1:]}."
    if slot.kind == "name":
        return _name(text, words.language.code)
    if slot.kind == "refrigerant":
        figures = {words.language.say_number(float(figure)): figure for figure in "0123456789"}
        written = " ".join(figures.get(word.casefold(), word) for word in text.split())
        found = re.fullmatch(r"(?:r|ar|are|or|our|hour|erre)[ -]*(\d[\d ]*?) *([a-z]{0,3})", written, re.IGNORECASE)
        return f"R-{found[1].replace(' ', '')}{found[2]}" if found else text
    return text
