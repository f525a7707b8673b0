"""Sentences of the program in another language, by a table of sentences with places.

The text in a place is translated too if it is itself such a sentence and the place may hold one. Names and people's own
words stay as they are. Without a table everything stays English.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache, partial

from handsfree.language import prompts
from handsfree.resources import shipped_folder

PutOver = Callable[[str], str]
_PLACE = re.compile(r"{(\w+)}")
#: Sentences in each other, at most; the program's own come to four.
DEEPEST = 8


def english(text: str) -> str:
    return text


def there(code: str, table: str) -> bool:
    """Whether this language has such a table, grammar/<code>.<table>.yaml."""
    return re.fullmatch("[a-z]{2}", code) is not None and (shipped_folder("grammar") / f"{code}.{table}.yaml").is_file()


@lru_cache(maxsize=16)
def put_over(code: str, table: str, holding: frozenset[str]) -> PutOver:
    """The sentence by grammar/<code>.<table>.yaml; one that it does not know stays as it is. `holding`: the places in which
    a sentence of the program may stand."""
    if not there(code, table):
        return english
    found = prompts.load(shipped_folder("grammar") / f"{code}.{table}.yaml").sentences
    # Those with the most words of their own first: one with few would take in the others.
    placed = sorted((known for known in found if "{" in known), key=lambda known: -len(re.sub(r"{\w+}", "", known)))
    return partial(_said, found, placed, holding)


def known_in(known: str, text: str) -> dict[str, str] | None:
    """What stands in each place of this sentence, if the text is that; the first places as short as can be. A regular
    expression would try every way, and what stands in a place is somebody else's, as long as they like."""
    first, *parts = _PLACE.split(known)
    if not text.startswith(first):
        return None
    found, at = {}, len(first)
    for place, after in zip(parts[::2], parts[1:-1:2], strict=False):
        if (end := text.find(after, at + 1)) < 0:
            return None
        found[place], at = text[at:end], end + len(after)
    end = len(text) - len(parts[-1])
    if end <= at or not text.endswith(parts[-1]):
        return None
    return {**found, parts[-2]: text[at:end]}


def _said(table: Mapping[str, str], placed: Sequence[str], holding: frozenset[str], text: str, deep: int = 0) -> str:
    if text in table or not text or deep > DEEPEST:
        return table.get(text, text)
    for known in placed:
        if (parts := known_in(known, text)) is not None:
            parts |= {at: _said(table, placed, holding, part, deep + 1) for at, part in parts.items() if at in holding}
            return table[known].format(**parts)
    return text
