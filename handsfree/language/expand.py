"""Walking a grammar: every phrase of a rule."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from handsfree.errors import Trouble
from handsfree.language.jsgf import Choice, Expansion, Grammar, Ref, Repeat, Sequence, Tagged, Word

Bindings = Mapping[str, tuple[str, ...]]


@dataclass(frozen=True)
class Phrase:
    """`tags`: those met on the way, in the order of the words they follow."""

    words: tuple[str, ...]
    tags: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        return " ".join(self.words)

    def __add__(self, other: Phrase) -> Phrase:
        return Phrase(self.words + other.words, self.tags + other.tags)


EMPTY = Phrase(())


@dataclass(frozen=True)
class _Walk:
    grammar: Grammar
    bindings: Bindings
    repeats: int

    def ref(self, name: str, above: tuple[str, ...]) -> Expansion | None:
        """None for <NULL>; bound imports become choices of their phrases."""
        if name == "NULL":
            return None
        if name in above:
            raise Trouble(f"Rule <{above[0]}> of the grammar '{self.grammar.name}' refers to itself through <{name}>.")
        if name in self.bindings:
            branches = tuple(Sequence(tuple(Word(w) for w in phrase.split())) for phrase in self.bindings[name])
            return Choice(branches, (1.0,) * len(branches))
        if name == "VOID" or name in self.grammar.imports:
            return Choice((), ())
        return self.grammar.rule(name).expansion

    def every(self, at: Expansion, above: tuple[str, ...]) -> Iterator[Phrase]:
        match at:
            case Word(text):
                yield Phrase((text,))
            case Ref(name, _):
                inside = self.ref(name, above)
                yield from [EMPTY] if inside is None else self.every(inside, (*above, name))
            case Sequence(items):
                yield from self.product(items, above)
            case Choice(branches, _):
                for branch in branches:
                    yield from self.every(branch, above)
            case Repeat(item, least, most):
                for times in range(least, (most or max(self.repeats, least)) + 1):
                    yield from self.product((item,) * times, above)
            case Tagged(item, tag):
                for phrase in self.every(item, above):
                    yield Phrase(phrase.words, (*phrase.tags, tag))

    def product(self, items: tuple[Expansion, ...], above: tuple[str, ...]) -> Iterator[Phrase]:
        for parts in itertools.product(*(tuple(self.every(item, above)) for item in items)):
            yield sum(parts, EMPTY)


def expand(grammar: Grammar, rule: str, bindings: Bindings | None = None, repeats: int = 2) -> tuple[Phrase, ...]:
    """Every phrase of `rule`, in the order of the file, each once. `bindings` supply the imports; `repeats`: the most times
    that x* and x+ are repeated. Trouble for a rule that refers to itself."""
    walk = _Walk(grammar, bindings or {}, repeats)
    return tuple(dict.fromkeys(walk.every(grammar.rule(rule).expansion, (rule,))))
