"""Sentences of the program in another language, by a table of sentences with places.

The text in a place is translated too if it is itself such a sentence and the place may hold one. Names and people's own
words stay as they are. Without a table everything stays English.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from functools import lru_cache, partial

from handsfree.language import prompts
from handsfree.resources import shipped_folder

PutOver = Callable[[str], str]


def english(text: str) -> str:
    return text


def there(code: str, table: str) -> bool:
    """Has this language such a table, grammar/<code>.<table>.yaml?"""
    return (shipped_folder("grammar") / f"{code}.{table}.yaml").is_file()


@lru_cache(maxsize=16)
def put_over(code: str, table: str, holding: frozenset[str]) -> PutOver:
    """The sentence by grammar/<code>.<table>.yaml; one that it does not know stays as it is. `holding`: the places in which
    a sentence of the program may stand."""
    if not there(code, table):
        return english
    found = prompts.load(shipped_folder("grammar") / f"{code}.{table}.yaml").sentences
    # Those with the most words of their own first: one with few would take in the others.
    placed = sorted((known for known in found if "{" in known), key=lambda known: -len(re.sub(r"{\w+}", "", known)))
    patterns = [(_pattern(known), found[known]) for known in placed]
    return partial(_said, found, patterns, holding)


def _pattern(known: str) -> re.Pattern[str]:
    parts = re.split(r"{(\w+)}", known)
    return re.compile("".join(f"(?P<{part}>.+?)" if at % 2 else re.escape(part) for at, part in enumerate(parts)), re.DOTALL)


def _said(table: Mapping[str, str], patterns: list[tuple[re.Pattern[str], str]], holding: frozenset[str], text: str) -> str:
    if text in table or not text:
        return table.get(text, "")
    for pattern, said in patterns:
        if (found := pattern.fullmatch(text)) is not None:
            parts = found.groupdict()
            parts |= {at: _said(table, patterns, holding, part) for at, part in parts.items() if at in holding}
            return said.format(**parts)
    return text
