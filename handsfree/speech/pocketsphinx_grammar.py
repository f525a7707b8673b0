"""A grammar for PocketSphinx as the smallest automaton with the same paths and the same scores.

The library copies a rule into every place that names it and joins the copies by transitions without a word: a number alone
becomes 1,300 states with 14,000 ways between them, 13 MB of search trees and several times as much while they are made. Here
the steps without a word are worked out beforehand, and states with the same future are made one: 120 states, 2 MB, and the
best path and its score stay what they were.
"""

from __future__ import annotations

import tempfile
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pocketsphinx import Decoder

#: (from, to, probability, word) or, without a word, (from, to, probability).
Transition = tuple[int, int, float, str] | tuple[int, int, float]
Network = tuple[int, int, list[Transition]]  # start, final, and the ways between the states
_LEAST = 5e-7  # the library writes six places: less is written as nothing


@dataclass(frozen=True)
class Automaton:
    """States are numbered from 0. `arcs`: of each state, (word, state, probability) of its ways on. `ends`: of each state,
    the probability that it is the last; 0 where it is not."""

    start: int
    arcs: tuple[tuple[tuple[str, int, float], ...], ...]
    ends: tuple[float, ...]


@lru_cache(maxsize=4)
def automaton(decoder: Decoder, grammar: str) -> Automaton:
    """`grammar`: JSGF with one public rule. ValueError or RuntimeError where the library cannot read it."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "grammar.fsg"
        decoder.parse_jsgf(grammar).writefile(str(path))
        lines = [line.split() for line in path.read_text(encoding="utf-8").splitlines()]
    heads = {words[0]: int(words[1]) for words in lines if words and words[0] in ("START_STATE", "FINAL_STATE")}
    steps: defaultdict[int, dict[int, float]] = defaultdict(dict)  # without a word
    spoken: defaultdict[int, list[tuple[str, int, float]]] = defaultdict(list)
    for words in lines:
        if words and words[0] == "TRANSITION":
            at, to, probability = int(words[1]), int(words[2]), max(float(words[3]), _LEAST)
            if len(words) > 4:
                spoken[at].append((words[4], to, probability))
            else:
                steps[at][to] = max(probability, steps[at].get(to, 0.0))
    return _smallest(heads["START_STATE"], heads["FINAL_STATE"], steps, spoken)


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
    """What may be said: any of the phrases, or the number. A number stands for a great many
    phrases: it gets as much of the probability as all of them together."""
    found: list[Transition] = []
    count = len(number.arcs) if number is not None else 0
    start, final, free = count, count + 1, count + 2
    share = 1.0 / max(1, len(phrases)) * (1.0 if number is None else 0.5 if phrases else 1.0)
    tails: dict[tuple[str, ...], int] = {(): final}  # phrases that end alike share their ends
    for phrase in phrases:
        words = tuple(phrase.split())
        for at in range(len(words) - 1, 0, -1):
            if words[at:] not in tails:
                tails[words[at:]] = free
                found.append((free, tails[words[at + 1 :]], 1.0, words[at]))
                free += 1
        if words:
            found.append((start, tails[words[1:]], share, words[0]))
    if number is not None:
        found.append((start, number.start, 0.5 if phrases else 1.0))
        for state, arcs in enumerate(number.arcs):
            found += [(state, to, probability, word) for word, to, probability in arcs]
            if number.ends[state]:
                found.append((state, final, number.ends[state]))
    return start, final, found
