"""A grammar for PocketSphinx as the smallest automaton with the same paths and the same scores.

The library copies a rule into every place that names it and joins the copies by transitions without a word: a number alone
becomes 1,200 states with 18,000 ways between them, 13 MB of search trees and several times as much while they are made. Here
each rule is made small before another takes it in: the steps without a word are worked out beforehand, and states with the
same future are made one. 40 states with 800 ways, 2 MB, and the best path and its score stay what they were.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from handsfree.language import jsgf

#: (from, to, probability, word) or, without a word, (from, to, probability).
Transition = tuple[int, int, float, str] | tuple[int, int, float]
Network = tuple[int, int, list[Transition]]  # start, final, and the ways between the states


@dataclass(frozen=True)
class Automaton:
    """States are numbered from 0. `arcs`: of each state, (word, state, probability) of its ways on. `ends`: of each state,
    the probability that it is the last; 0 where it is not."""

    start: int
    arcs: tuple[tuple[tuple[str, int, float], ...], ...]
    ends: tuple[float, ...]


@lru_cache(maxsize=8)
def automaton(grammar: str) -> Automaton:
    """`grammar`: JSGF; its public rule. A rule may name itself at its end. Trouble where it is not well formed."""
    parsed = jsgf.parse(grammar)
    public = next(rule.name for rule in parsed.rules.values() if rule.public)
    return _rule(parsed, public, {})


@dataclass
class _Parts:
    """An automaton being put together; `steps` take no word."""

    grammar: jsgf.Grammar
    rule: str
    known: dict[str, Automaton]
    steps: defaultdict[int, dict[int, float]] = field(default_factory=lambda: defaultdict(dict))
    spoken: defaultdict[int, list[tuple[str, int, float]]] = field(default_factory=lambda: defaultdict(list))
    states: int = 2  # the first and the last

    def new(self) -> int:
        self.states += 1
        return self.states - 1

    def step(self, at: int, to: int, probability: float) -> None:
        self.steps[at][to] = max(probability, self.steps[at].get(to, 0.0))

    def put(self, part: jsgf.Expansion, at: int, to: int, probability: float) -> None:
        """`part` between two states, its first way with this probability. Branches share it by their weights."""
        match part:
            case jsgf.Word(text):
                self.spoken[at].append((text, to, probability))
            case jsgf.Tagged(item, _):
                self.put(item, at, to, probability)
            case jsgf.Sequence(items):
                for number, item in enumerate(items):
                    after = to if number == len(items) - 1 else self.new()
                    self.put(item, at, after, probability if number == 0 else 1.0)
                    at = after
            case jsgf.Choice(branches, weights):
                for branch, weight in zip(branches, weights, strict=True):
                    self.put(branch, at, to, probability * weight / sum(weights))
            case jsgf.Repeat(item, 0, 1):  # nothing is one branch more
                weights = item.weights if isinstance(item, jsgf.Choice) else (1.0,)
                nothing = 1.0 / (1.0 + sum(weights))
                self.put(item, at, to, probability * (1.0 - nothing))
                self.step(at, to, probability * nothing)
            case jsgf.Ref(self.rule):
                if to != 1:
                    raise ValueError(f"<{self.rule}> names itself elsewhere than at its end")
                self.step(at, 0, probability)
            case jsgf.Ref(name):
                self._copy(_rule(self.grammar, name, self.known), at, to, probability)
            case _:
                raise ValueError(f"{part} is not among what the grammars of numbers are made of")

    def _copy(self, inner: Automaton, at: int, to: int, probability: float) -> None:
        first, self.states = self.states, self.states + len(inner.arcs)
        self.step(at, first + inner.start, probability)
        for state, (arcs, end) in enumerate(zip(inner.arcs, inner.ends, strict=True)):
            self.spoken[first + state] += [(word, first + there, p) for word, there, p in arcs]
            if end:
                self.step(first + state, to, end)


def _rule(grammar: jsgf.Grammar, name: str, known: dict[str, Automaton]) -> Automaton:
    if name not in known:
        parts = _Parts(grammar, name, known)
        parts.put(grammar.rule(name).expansion, 0, 1, 1.0)
        known[name] = _smallest(0, 1, parts.steps, parts.spoken)
    return known[name]


def _smallest(
    start: int, final: int, steps: dict[int, dict[int, float]], spoken: dict[int, list[tuple[str, int, float]]]
) -> Automaton:
    arcs: dict[int, dict[tuple[str, int], float]] = {}
    ends: dict[int, float] = {}
    todo = [start]
    while todo:
        state = todo.pop()
        if state in arcs:
            continue
        there = _without_a_word(state, steps)
        best: dict[tuple[str, int], float] = {}
        for by, so_far in there.items():
            for word, to, probability in spoken.get(by, ()):
                best[word, to] = max(best.get((word, to), 0.0), so_far * probability)
        arcs[state], ends[state] = best, there.get(final, 0.0)
        todo += [to for _, to in best]
    kind: dict[int, int] = dict.fromkeys(arcs, 0)
    while True:  # states part until those of one kind have the same future
        futures = {
            state: (kind[state], round(ends[state], 6),
                    frozenset((word, kind[to], round(p, 6)) for (word, to), p in arcs[state].items()))
            for state in arcs
        }  # fmt: skip
        known: dict[object, int] = {}
        parted = {state: known.setdefault(future, len(known)) for state, future in futures.items()}
        if len(known) == len(set(kind.values())):
            break
        kind = parted
    one_of = {number: state for state, number in kind.items()}
    out = [_merged(arcs[one_of[number]], kind) for number in range(len(one_of))]
    return Automaton(kind[start], tuple(out), tuple(ends[one_of[number]] for number in range(len(one_of))))


def _without_a_word(state: int, steps: dict[int, dict[int, float]]) -> dict[int, float]:
    """Where one can be before the next word, with the best probability of the way there."""
    best, todo = {state: 1.0}, [state]
    while todo:
        at = todo.pop()
        for to, probability in steps.get(at, {}).items():
            if best[at] * probability > best.get(to, 0.0):
                best[to] = best[at] * probability
                todo.append(to)
    return best


def _merged(arcs: dict[tuple[str, int], float], kind: dict[int, int]) -> tuple[tuple[str, int, float], ...]:
    best: dict[tuple[str, int], float] = {}
    for (word, to), probability in arcs.items():
        best[word, kind[to]] = max(best.get((word, kind[to]), 0.0), probability)
    return tuple((word, to, probability) for (word, to), probability in best.items())


def transitions(phrases: Sequence[str], number: Automaton | None) -> Network:
    """What may be said: any of the phrases that have a word, or the number; nothing where there is neither. A number stands
    for a great many phrases: it gets as much of the probability as all of them together."""
    found: list[Transition] = []
    every = [tuple(phrase.split()) for phrase in phrases if phrase.split()]
    count = len(number.arcs) if number is not None else 0
    start, final, free = count, count + 1, count + 2
    part = 0.5 if number is not None and every else 1.0  # of the probability: the number's, or that of all phrases
    tails: dict[tuple[str, ...], int] = {(): final}  # phrases that end alike share their ends
    for words in every:
        for at in range(len(words) - 1, 0, -1):
            if words[at:] not in tails:
                tails[words[at:]] = free
                found.append((free, tails[words[at + 1 :]], 1.0, words[at]))
                free += 1
        found.append((start, tails[words[1:]], part / len(every), words[0]))
    if number is not None:
        found.append((start, number.start, part))
        for state, arcs in enumerate(number.arcs):
            found += [(state, to, probability, word) for word, to, probability in arcs]
            if number.ends[state]:
                found.append((state, final, number.ends[state]))
    if not found:
        found.append((start, final, 1.0))  # the library takes no network without a way
    return start, final, found
