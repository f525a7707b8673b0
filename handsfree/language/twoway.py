"""A grammar that runs both ways: words to values and values to words, from one table.

Rules of this file:

- A production says how a value is made from the values of its parts (`join`) and how it splits into them (`split`). The
  reader and the sayer walk the same productions, so what one can say the other can read.
- Reading gives every value, in the order of the productions: earlier is preferred. Nothing is guessed or scored.
- This file knows no language: each language has its own tables.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from handsfree.language.expand import expand
from handsfree.language.jsgf import Grammar

_MOST_WORDS = 40  # reading goes as deep as there are words
WaysToSay = tuple[tuple[str, ...], ...]
SpokenValue = Any  # int for counts, str for digit strings, Decimal for magnitudes: each nonterminal has one kind


@dataclass(frozen=True)
class Production:
    """`name`: what this is a way to say. `parts`: '<other>' refers to another name, anything else is a word.
    `join`: the parts' values -> value, or None where they do not go together. `split`: value -> every tuple of parts'
    values that joins to it. `rare`: understood, but not said unless asked for, and left out of recognisers' grammars."""

    name: str
    parts: tuple[str, ...]
    join: Callable[..., SpokenValue | None]
    split: Callable[[SpokenValue], Iterable[tuple[SpokenValue, ...]]]
    rare: bool = False


@dataclass(frozen=True)
class Entry:
    """A word or words with one value: ('thirteen',) is 13."""

    name: str
    words: tuple[str, ...]
    value: SpokenValue
    rare: bool = False


#: A rule of a grammar, the name of its words as entries, how a tag becomes their value, and whether they are rare.
WordsOfRule = tuple[str, str, Callable[[str], Any], bool]


def entries(grammar: Grammar, words: Iterable[WordsOfRule]) -> list[Entry]:
    """Every phrase of these rules. Trouble where the grammar has no such rule."""
    return [
        Entry(name, phrase.words, value(phrase.tags[-1]), rare)
        for rule, name, value, rare in words
        for phrase in expand(grammar, rule)
    ]


@dataclass(frozen=True)
class TwoWay:
    productions: tuple[Production, ...]
    lexicon: tuple[Entry, ...]
    _memo: dict[tuple[str, SpokenValue, bool], WaysToSay] = field(default_factory=dict, compare=False, repr=False)

    @cached_property
    def _by_name(self) -> Mapping[str, tuple[Production, ...]]:
        names = {p.name for p in self.productions}
        return {name: tuple(p for p in self.productions if p.name == name) for name in names}

    @cached_property
    def _entries(self) -> Mapping[str, tuple[Entry, ...]]:
        names = {e.name for e in self.lexicon}
        return {name: tuple(e for e in self.lexicon if e.name == name) for name in names}

    @cached_property
    def _beginning(self) -> Mapping[tuple[str, str], tuple[Entry, ...]]:
        """Entries by their name and first word."""
        found: dict[tuple[str, str], tuple[Entry, ...]] = {}
        for entry in self.lexicon:
            key = (entry.name, entry.words[0])
            found[key] = (*found.get(key, ()), entry)
        return found

    def read(self, name: str, words: Sequence[str]) -> tuple[SpokenValue, ...]:
        """Every value of all the words as `name`, preferred first, each once; () for none, and for more words than anyone
        says in one number."""
        if len(words) > _MOST_WORDS:
            return ()
        chart: dict[tuple[str, int], tuple[tuple[SpokenValue, int], ...]] = {}
        found = self._ends(name, 0, tuple(words), chart)
        return tuple(dict.fromkeys(value for value, end in found if end == len(words)))

    def _ends(
        self, name: str, start: int, words: tuple[str, ...],
        chart: dict[tuple[str, int], tuple[tuple[SpokenValue, int], ...]],
    ) -> tuple[tuple[SpokenValue, int], ...]:
        """Every (value, where its words end) of `name` that begins at `start`."""
        key = (name, start)
        if key not in chart:
            found: list[tuple[SpokenValue, int]] = []
            for entry in self._beginning.get((name, words[start] if start < len(words) else ""), ()):
                end = start + len(entry.words)
                if words[start:end] == entry.words:
                    found.append((entry.value, end))
            for production in self._by_name.get(name, ()):
                for values, end in self._parts(production.parts, start, words, chart):
                    value = production.join(*values)
                    if value is not None:
                        found.append((value, end))
            chart[key] = tuple(dict.fromkeys(found))
        return chart[key]

    def _parts(
        self, parts: tuple[str, ...], start: int, words: tuple[str, ...],
        chart: dict[tuple[str, int], tuple[tuple[SpokenValue, int], ...]],
    ) -> Iterator[tuple[tuple[SpokenValue, ...], int]]:
        if not parts:
            yield (), start
        elif parts[0].startswith("<"):
            for value, end in self._ends(parts[0][1:-1], start, words, chart):
                for rest, last in self._parts(parts[1:], end, words, chart):
                    yield (value, *rest), last
        elif start < len(words) and words[start] == parts[0]:
            yield from self._parts(parts[1:], start + 1, words, chart)

    def say(self, name: str, value: SpokenValue, rare: bool = False) -> tuple[tuple[str, ...], ...]:
        """Every way to say `value` as `name`, in the order of the tables, each once; () where there is none."""
        key = (name, value, rare)
        if key not in self._memo:
            if len(self._memo) > 50_000:  # a long run of a benchmark must not fill the memory
                self._memo.clear()
            self._memo[key] = tuple(dict.fromkeys(self._ways(name, value, rare)))
        return self._memo[key]

    def _ways(self, name: str, value: SpokenValue, rare: bool) -> Iterator[tuple[str, ...]]:
        for entry in self._entries.get(name, ()):
            if entry.value == value and (rare or not entry.rare):
                yield entry.words
        for production in self._by_name.get(name, ()):
            if production.rare and not rare:
                continue
            for values in production.split(value):
                taken = iter(values)
                choices: list[tuple[tuple[str, ...], ...]] = [
                    self.say(part[1:-1], next(taken), rare) if part.startswith("<") else ((part,),)
                    for part in production.parts
                ]
                for ways in itertools.product(*choices):
                    yield tuple(word for way in ways for word in way)

    def words(self, rare: bool = True) -> frozenset[str]:
        """Every word that anything here may be said with."""
        entries = {word for e in self.lexicon if rare or not e.rare for word in e.words}
        return frozenset(entries | {
            part for p in self.productions if rare or not p.rare for part in p.parts if not part.startswith("<")
        })

    def jsgf(self, names: Iterable[str] | None = None, leave_out: frozenset[str] = frozenset()) -> str:
        """The rules as JSGF text without tags, rare ones left out; `names`: only these and what they need."""
        ways: dict[str, list[str]] = {}
        for entry in self.lexicon:
            if not entry.rare:
                ways.setdefault(entry.name, []).append(" ".join(entry.words))
        for p in self.productions:
            if not p.rare and not leave_out & {part[1:-1] for part in p.parts if part.startswith("<")}:
                ways.setdefault(p.name, []).append(" ".join(p.parts))
        wanted, queue = dict[str, None](), list(ways if names is None else names)
        while queue:
            name = queue.pop(0)
            if name not in wanted and name in ways:
                wanted[name] = None
                queue += [part[1:-1] for way in ways[name] for part in way.split() if part.startswith("<")]
        return "\n".join(f"<{name}> = {_factored([way.split() for way in dict.fromkeys(ways[name])])};" for name in wanted)


def _factored(ways: list[list[str]]) -> str:
    """Alternatives with their common beginnings written once: a b | a c | a -> a [b | c]."""
    groups: dict[str, list[list[str]]] = {}
    for way in ways:
        groups.setdefault(way[0], []).append(way[1:])
    texts = []
    for first, rests in groups.items():
        longer = [rest for rest in rests if rest]
        if not longer:
            texts.append(first)
        elif len(longer) < len(rests):
            texts.append(f"{first} [{_factored(longer)}]")
        else:
            inner = _factored(longer)
            texts.append(f"{first} ({inner})" if " | " in inner else f"{first} {inner}")
    return " | ".join(texts)
