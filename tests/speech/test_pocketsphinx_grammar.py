"""The automaton of a grammar against the grammar: the same sentences, with the same probabilities."""

from __future__ import annotations

import math
import random
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import pytest

from handsfree.language.base import load
from handsfree.language.meaning import Listening, NumberAsked
from handsfree.speech.pocketsphinx import acoustic_searches, number_grammar
from handsfree.speech.pocketsphinx_grammar import Automaton, Network, automaton, transitions

ENGLISH = load("en")
DECODER = acoustic_searches().decoder
ASKED = {
    "degrees": Listening(number=NumberAsked("degF", 20, 120)),
    "volts": Listening(number=NumberAsked("volt", 0, 300)),
    "count": Listening(number=NumberAsked("")),
    "lock": Listening(digits=(2, 4)),
}


def built(name: str) -> Automaton:
    return automaton(number_grammar(ENGLISH, ASKED[name]))


def walks(found: Automaton, count: int) -> Iterator[tuple[str, ...]]:
    """Sentences of the automaton, by luck."""
    luck = random.Random(5)
    for _ in range(count):
        state, words = found.start, []
        while not (found.ends[state] and luck.random() < 0.4) and found.arcs[state]:
            word, state, _ = luck.choice(found.arcs[state])
            words.append(word)
        if found.ends[state]:
            yield tuple(words)


def best(found: Automaton, words: tuple[str, ...]) -> float:
    """The log-probability of the best path of these words; minus infinity for none."""
    at = {found.start: 0.0}
    for word in words:
        after: dict[int, float] = {}
        for state, score in at.items():
            for arc, to, probability in found.arcs[state]:
                if arc == word:
                    after[to] = max(after.get(to, -math.inf), score + math.log(probability))
        at = after
    return max((score + math.log(found.ends[s]) for s, score in at.items() if found.ends[s]), default=-math.inf)


class Library:
    """The same, by the network that the library makes of the grammar, its steps without a word taken one by one."""

    def __init__(self, grammar: str, folder: Path) -> None:
        DECODER.parse_jsgf(grammar).writefile_fsm(str(folder / "a.fsm"))
        self.spoken: dict[tuple[int, str], list[tuple[int, float]]] = defaultdict(list)
        self.steps: dict[int, list[tuple[int, float]]] = defaultdict(list)
        for line in (folder / "a.fsm").read_text(encoding="utf-8").splitlines():
            at, to, *rest = line.split()
            if not rest:
                self.final = int(at)
            elif rest[0] == "<eps>":
                self.steps[int(at)].append((int(to), -float(rest[1])))
            else:
                self.spoken[int(at), rest[0]].append((int(to), -float(rest[1])))

    def best(self, words: tuple[str, ...]) -> float:
        at = self._on({0: 0.0})
        for word in words:
            after: dict[int, float] = {}
            for state, score in at.items():
                for to, more in self.spoken[state, word]:
                    after[to] = max(after.get(to, -math.inf), score + more)
            at = self._on(after)
        return at.get(self.final, -math.inf)

    def _on(self, at: dict[int, float]) -> dict[int, float]:
        todo = list(at)
        while todo:
            state = todo.pop()
            for to, more in self.steps[state]:
                if at[state] + more > at.get(to, -math.inf) + 1e-9:
                    at[to] = at[state] + more
                    todo.append(to)
        return at


@pytest.mark.parametrize("name", ASKED)
def test_its_sentences_are_those_of_the_grammar_with_their_probabilities(name: str, tmp_path: Path) -> None:
    found, library = built(name), Library(number_grammar(ENGLISH, ASKED[name]), tmp_path)
    said = {*walks(found, 300)}
    assert len(said) > 100
    for words in said:
        assert best(found, words) == pytest.approx(library.best(words), abs=0.02), words
        cut = words[:-1]
        assert math.isfinite(best(found, cut)) == math.isfinite(library.best(cut)), cut


def test_every_way_to_say_a_reading_is_a_path_and_nearly_every_path_is_a_reading() -> None:
    found = built("degrees")
    for value in (0, 4, 15, 43.5, 100, 119.9, -12, 0.25):
        assert math.isfinite(best(found, tuple(ENGLISH.say_number(value).split())))
        assert math.isfinite(best(found, tuple(ENGLISH.say_quantity(value, "degF").lower().split())))
    asked, said = Listening(number=NumberAsked("degF")), [*walks(found, 300)]
    understood = [words for words in said if ENGLISH.understand(" ".join(words), asked)]
    assert len(understood) > 0.9 * len(said)  # 'oh degrees below zero' is in the grammar, and means nothing
    assert best(found, ("forty", "five", "six")) == -math.inf


@pytest.mark.parametrize("name", ASKED)
def test_it_is_small(name: str) -> None:
    """The library's own networks of these have 900 to 1,700 states and 14,000 to 20,000 ways between them."""
    found = built(name)
    assert len(found.arcs) <= 250
    assert sum(map(len, found.arcs)) <= 2000


def paths(network: Network) -> set[tuple[str, ...]]:
    start, final, ways = network
    out, todo = set(), [(start, ())]
    while todo:
        at, words = todo.pop()
        if at == final:
            out.add(words)
        todo += [(way[1], (*words, *way[3:])) for way in ways if way[0] == at]
    return out


def test_phrases_that_end_alike_share_their_ends() -> None:
    phrases = ["it is warm", "is it warm", "warm", "not warm", "warm not"]
    network = transitions(phrases, None)
    assert paths(network) == {tuple(phrase.split()) for phrase in phrases}
    assert len(network[2]) == 9  # of twelve words
    assert sum(way[2] for way in network[2] if way[0] == network[0]) == pytest.approx(1)


def test_a_number_has_as_much_of_the_probability_as_all_phrases() -> None:
    found = built("lock")
    start, final, ways = transitions(["go back", "stand by"], found)
    first = [way for way in ways if way[0] == start]
    assert sorted(way[2] for way in first) == [0.25, 0.25, 0.5]
    assert [way for way in ways if len(way) == 3 and way[1] == final]
    assert transitions([], found)[2][0] == (start, found.start, 1.0)
