"""Walking a grammar: every phrase of a rule, one at random, or the rule written out again."""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterable, Iterator, Mapping
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

    def one(self, at: Expansion, above: tuple[str, ...], luck: random.Random) -> Phrase:
        match at:
            case Word(text):
                return Phrase((text,))
            case Ref(name, _):
                inside = self.ref(name, above)
                return EMPTY if inside is None else self.one(inside, (*above, name), luck)
            case Sequence(items):
                return sum((self.one(item, above, luck) for item in items), EMPTY)
            case Choice(branches, weights):
                if not branches:
                    raise Trouble(f"<{above[-1]}> has no phrase to choose from.")
                return self.one(luck.choices(branches, weights)[0], above, luck)
            case Repeat(item, least, most):
                times = luck.randint(least, most or max(self.repeats, least))
                return sum((self.one(item, above, luck) for _ in range(times)), EMPTY)
            case Tagged(item, tag):
                phrase = self.one(item, above, luck)
                return Phrase(phrase.words, (*phrase.tags, tag))


def expand(grammar: Grammar, rule: str, bindings: Bindings | None = None, repeats: int = 2) -> tuple[Phrase, ...]:
    """Every phrase of `rule`, in the order of the file, each once. `bindings` supply the imports; `repeats` is how
    often x* and x+ are repeated at most. Trouble for a rule that refers to itself."""
    walk = _Walk(grammar, bindings or {}, repeats)
    return tuple(dict.fromkeys(walk.every(grammar.rule(rule).expansion, (rule,))))


def sample(grammar: Grammar, rule: str, luck: random.Random, bindings: Bindings | None = None, repeats: int = 3) -> Phrase:
    """One phrase of `rule` by its weights. Trouble for a rule that refers to itself."""
    return _Walk(grammar, bindings or {}, repeats).one(grammar.rule(rule).expansion, (rule,), luck)


def _token(text: str) -> str:
    return text if not set(text) & set(' ;=|()[]*+<>{}"/\\') else '"' + text.replace("\\", r"\\").replace('"', r"\"") + '"'


def written(at: Expansion) -> str:
    """The expansion as JSGF text; reading it back gives the same expansion."""
    match at:
        case Word(text):
            return _token(text)
        case Ref(name, _):
            return f"<{name}>"
        case Sequence(items):
            return " ".join(f"({written(i)})" if isinstance(i, (Choice, Sequence)) else written(i) for i in items)
        case Choice(branches, weights):
            plain = all(weight == 1.0 for weight in weights)
            return " | ".join(
                ("" if plain else f"/{weight:g}/ ") + (f"({written(b)})" if isinstance(b, Choice) else written(b))
                for b, weight in zip(branches, weights, strict=True)
            )
        case Repeat(item, 0, 1):
            return f"[{written(item)}]"
        case Repeat(item, least, _):
            return _grouped(item) + ("+" if least else "*")
        case Tagged(item, tag):
            text = tag.replace("\\", r"\\").replace("}", r"\}")
            return f"{_grouped(item)} {{{text}}}"


def _grouped(item: Expansion) -> str:
    return f"({written(item)})" if isinstance(item, (Choice, Sequence)) else written(item)


def grammar_text(grammar: Grammar) -> str:
    """The whole grammar as a JSGF file."""
    lines = ["#JSGF V1.0 UTF-8;", f"grammar {grammar.name};", *(f"import <{name}>;" for name in grammar.imports)]
    lines += [f"{'public ' * r.public}<{r.name}> = {written(r.expansion)};" for r in grammar.rules.values()]
    return "\n".join(lines) + "\n"


def words(phrases: Iterable[Phrase]) -> frozenset[str]:
    return frozenset(word for phrase in phrases for word in phrase.words)
